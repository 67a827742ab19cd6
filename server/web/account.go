package web

import (
	"errors"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/schedule/people"
)

// accountPage answers: what may I where, where am I signed in, by what do I sign in?
type accountPage struct {
	Page
	Facts      []fact
	Grants     []grantLine
	Sessions   []sessionLine
	More       bool // there are others to end
	EndForm    *Form
	Password   *Form // nil: the account has none
	Keys       []keyLine
	Second     *secondLine // nil: none
	SecondForm *Form       // nil: the account has no password
	PIN        *Form       // number to sign with on a device that several use
	PINSay     string
	Tokens     bool   // they may make tokens for programs
	KeyForm    *Form  // nil: no passkeys here
	KeysSay    string // why not
	Confirms   bool   // removing a passkey asks for the password
	Elsewhere  []string
}

type sessionLine struct {
	ID, Browser, From, Since, Used, Way string
	Current                             bool
}

type keyLine struct{ ID, Name, Made, Used string }

// accountRoutes are everybody's own.
func accountRoutes() []Route {
	return append(secondRoutes(), []Route{
		{Method: get, Path: "/account", May: people.KeepOwnAccount, Under: "account", Do: (*Site).account},
		{Method: post, Path: "/account/password", May: people.KeepOwnAccount, Under: "account", Do: (*Site).changePassword},
		{Method: post, Path: "/account/pin", May: people.KeepOwnAccount, Under: "account", Do: (*Site).setPIN},
		{Method: post, Path: "/account/sessions", May: people.KeepOwnAccount, Under: "account", Do: (*Site).endOwnSessions},
		{Method: post, Path: "/account/passkeys", May: people.KeepOwnAccount, Under: "account", Do: ofOwn((*Site).offerPasskey)},
		{Method: post, Path: "/account/passkeys/made", May: people.KeepOwnAccount, Under: "account", Raw: true, Do: ofOwn((*Site).takePasskey)},
		{Method: post, Path: "/account/passkeys/remove", May: people.KeepOwnAccount, Under: "account", Do: (*Site).removePasskey},
	}...)
}

func (s *Site) account(r *Request) error {
	p, err := s.accountPage(r)
	if err != nil {
		return err
	}
	return r.Show("account", p)
}

// accountPage is the page with its forms as they stand empty.
func (s *Site) accountPage(r *Request) (*accountPage, error) {
	me := r.Who.Person
	account, err := s.desk.Account(r.Context(), me.ID)
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return nil, err
	}
	p := &accountPage{}
	p.Sheet = "Account"
	sessions, current, err := s.desk.OwnSessions(r.C.Request)
	if err != nil {
		return nil, err
	}
	p.Say = accountSay(me.Name, len(sessions))
	p.Facts = append(p.Facts, fact{"Name in the records", me.Name})
	if account.SignInName != "" {
		p.Facts = append(p.Facts, fact{"Signs in as", account.SignInName})
	}
	p.Grants = r.ownGrants()
	p.sessions(r, sessions, current)
	p.forms(r, account.PasswordHash != "")
	p.Tokens = s.tokens != nil
	if err := s.addSecond(r, p); err != nil {
		return nil, err
	}
	if err := s.addPIN(r, p); err != nil {
		return nil, err
	}
	return p, s.addWays(r, p)
}

func accountSay(name string, sessions int) string {
	return name + " is signed in at " + Count(sessions, "browser", "browsers")
}

func (p *accountPage) sessions(r *Request, all []assets.Session, current int64) {
	for _, o := range all {
		p.More = p.More || o.ID != current
		p.Sessions = append(p.Sessions, sessionLine{ID: plainInt(o.ID), Browser: browserName(o.Browser), From: o.Address,
			Since: r.F.Stamp(o.StartedAt), Used: r.F.Stamp(o.UsedAt), Way: string(o.Way), Current: o.ID == current})
	}
}

// browserName is how a browser names itself, cut to a line or two.
func browserName(agent string) string {
	switch {
	case agent == "":
		return "a program that does not name itself"
	case len(agent) > 140:
		return strings.ToValidUTF8(agent[:140], "") + "…"
	}
	return agent
}

// forms adds the forms. Each has a field for the password where there is one: whoever sits down at somebody's open
// browser must not take the account over.
func (p *accountPage) forms(r *Request, password bool) {
	p.Confirms = password
	p.EndForm = r.formOf("end-")
	if password {
		p.EndForm.secret("password", "Your password", "current-password")
		p.Password = r.formOf("pw-")
		p.Password.secret("password", "Password now", "current-password")
		p.Password.secret("new_password", "New password", "new-password").Hinted("At least 8 characters; a few words that do not belong together are better than one with signs in it")
		p.Password.secret("again", "The new one again", "new-password")
	}
}

// formOf is a form of a page that has several.
func (r *Request) formOf(prefix string) *Form {
	f := r.NewForm()
	f.prefix = prefix
	return f
}

// addWays adds passkeys and single sign-on.
func (s *Site) addWays(r *Request, p *accountPage) error {
	identities, err := s.desk.Identities(r.Context(), r.Who.Person.ID)
	if err != nil {
		return err
	}
	for _, i := range identities {
		p.Elsewhere = append(p.Elsewhere, i.Issuer)
	}
	keys, uses, err := s.desk.OwnPasskeys(r.Context(), r.Who.Person.ID)
	if err != nil {
		return err
	}
	for _, k := range keys {
		line := keyLine{ID: plainInt(k.ID), Name: k.Name, Made: r.F.Stamp(k.MadeAt), Used: "not yet"}
		if at := uses[k.ID].UsedAt; !at.IsZero() {
			line.Used = r.F.Stamp(at)
		}
		p.Keys = append(p.Keys, line)
	}
	if !s.desk.Passkeys() {
		p.KeysSay = "Passkeys need the program's address to be a host's name by https, or localhost: browsers ask for it. Whoever runs the program gives it with --public-url."
		return nil
	}
	p.KeyForm = r.formOf("key-")
	p.KeyForm.Text("name", "Name of the device", "").Must().Hinted("e.g. phone")
	if p.Confirms {
		p.KeyForm.secret("password", "Your password", "current-password")
	}
	return nil
}

// refused shows the account page again with what is wrong in one of its forms.
func (s *Site) refused(r *Request, err error, form func(*accountPage) *Form) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return err
	}
	p, failed := s.accountPage(r)
	if failed != nil {
		return failed
	}
	if f := form(p); f != nil {
		f.Refused(bad)
	} else {
		return err
	}
	return r.Refill("account", p)
}

func (s *Site) changePassword(r *Request) error {
	next := r.typedSecret("new_password")
	err := error(nil)
	if next != r.typedSecret("again") {
		err = assets.Invalid{"again": "the two passwords differ; type the same twice"}
	} else {
		err = s.desk.ChangePassword(r.C.Request, r.typedSecret("password"), next)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.Password })
	}
	return r.Done("/account", "Your password is changed. You are signed out everywhere else.")
}

// addPIN adds the number to sign with.
func (s *Site) addPIN(r *Request, p *accountPage) error {
	held, err := s.desk.PIN(r.Context(), r.Who.Person.ID)
	switch {
	case errors.Is(err, assets.ErrNotFound):
		p.PINSay = "None yet. With one you sign job sheets on a device that is signed in for somebody else; without one such a signature goes to the lead."
	case err != nil:
		return err
	default:
		p.PINSay = "Set " + r.F.Stamp(held.MadeAt) + ". It is asked for under every signature on a sheet that was taken along."
	}
	p.PIN = r.formOf("pin-")
	p.PIN.secret("pin", "New PIN", "off").Hinted("6 to 12 digits that do not follow each other")
	p.PIN.secret("again", "The same again", "off")
	if p.Confirms {
		p.PIN.secret("password", "Your password", "current-password")
	}
	return nil
}

func (s *Site) setPIN(r *Request) error {
	pin := r.typedSecret("pin")
	err := error(assets.Invalid{"again": "the two PINs differ; type the same twice"})
	if pin == r.typedSecret("again") {
		err = s.desk.SetPIN(r.C.Request, r.typedSecret("password"), pin)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.PIN })
	}
	return r.Done("/account", "Your PIN is set.")
}

// endOwnSessions ends one session, or all but this one.
func (s *Site) endOwnSessions(r *Request) error {
	end, others := r.C.Request.PostForm.Get("end"), r.C.Request.PostForm.Get("end") == "others"
	id, bad := strconv.ParseInt(end, 10, 64)
	err := s.desk.Confirm(r.C.Request, r.typedSecret("password"))
	switch {
	case err != nil:
	case !others && (bad != nil || id <= 0):
		err = assets.Invalid{"": "choose the session to end"}
	case others:
		err = s.desk.EndOwn(r.C.Request, 0)
	default:
		err = s.desk.EndOwn(r.C.Request, id)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.EndForm })
	}
	return r.Done("/account", pick(others, "You are signed out everywhere else.", "That session is over."))
}

func (s *Site) removePasskey(r *Request) error {
	id, bad := strconv.ParseInt(r.C.Request.PostForm.Get("passkey"), 10, 64)
	if bad != nil {
		return assets.ErrNotFound
	}
	err := s.desk.Confirm(r.C.Request, r.typedSecret("password"))
	if err == nil {
		err = s.desk.RemovePasskey(r.C.Request, id)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.KeyForm })
	}
	return r.Done("/account", "The passkey no longer signs you in. Remove it from the device too.")
}
