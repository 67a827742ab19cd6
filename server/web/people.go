package web

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/signin"
)

// Staff is who may what where, as an administrator keeps it. Nothing here shows a plant but its name. keep is how far
// whoever asks keeps people: what lies beyond is not there.
type Staff interface {
	// Members returns everybody who has a grant, by name.
	Members(ctx context.Context, keep assets.Scope) ([]assets.Member, error)
	// Member returns one person. assets.ErrNotFound when there is none.
	Member(ctx context.Context, keep assets.Scope, personID int64) (assets.Member, error)
	// Places returns the customers and plants that a grant can be for.
	Places(ctx context.Context, keep assets.Scope) ([]assets.Customer, []assets.Plant, error)
	// Invite adds a person, gives a grant and keeps the code of the invitation.
	Invite(ctx context.Context, keep assets.Scope, by int64, name string, g assets.Grant, code *assets.SignUpCode) (assets.Person, error)
	// NewAddress keeps a code for somebody who is there already.
	NewAddress(ctx context.Context, keep assets.Scope, code *assets.SignUpCode) error
	// ResetSecondFactor takes the second factor and the passkeys of somebody who lost them; proof says how it was made
	// sure who they are, and stands in the journal.
	ResetSecondFactor(ctx context.Context, keep assets.Scope, by, personID int64, proof string) error
	GiveGrant(ctx context.Context, keep assets.Scope, by int64, g assets.Grant) error
	EndGrant(ctx context.Context, keep assets.Scope, by, personID, grantID int64) error
	// SignOut ends every session of a person.
	SignOut(ctx context.Context, keep assets.Scope, by, personID int64) error
	// EndAccount takes a person's account away; what they did stays.
	EndAccount(ctx context.Context, keep assets.Scope, by, personID int64) error
}

// keep is how far whoever asks keeps people.
func (r *Request) keep() assets.Scope { return people.KeepScope(r.Who.Grants) }

// peoplePage answers: who may what where, who gave it, who has not been in for long?
type peoplePage struct {
	Page
	People []personLine
	Empty  Empty
}

type personLine struct {
	Name, To, In, Last string
	Grants             []grantLine
}

// peopleRoutes are the administrator's.
func peopleRoutes() []Route {
	return []Route{
		{Method: get, Path: "/people", May: people.KeepPeople, Under: "people", Do: (*Site).people},
		{Method: get, Path: "/people/new", May: people.KeepPeople, Under: "people", Do: (*Site).invite},
		{Method: post, Path: "/people/new", May: people.KeepPeople, Under: "people", Do: (*Site).invite},
		{Method: get, Path: "/people/:person", May: people.KeepPeople, Under: "people", Do: (*Site).person},
		{Method: post, Path: "/people/:person/grants", May: people.KeepPeople, Under: "people", Do: (*Site).giveGrant},
		{Method: post, Path: "/people/:person/grants/end", May: people.KeepPeople, Under: "people", Do: (*Site).endGrant},
		{Method: post, Path: "/people/:person/address", May: people.KeepPeople, Under: "people", Do: (*Site).newAddress},
		{Method: post, Path: "/people/:person/sessions", May: people.KeepPeople, Under: "people", Do: (*Site).endSessions},
		{Method: post, Path: "/people/:person/second", May: people.KeepPeople, Under: "people", Do: (*Site).resetSecond},
		{Method: post, Path: "/people/:person/account", May: people.KeepPeople, Under: "people", Do: (*Site).endAccount},
	}
}

func (s *Site) people(r *Request) error {
	members, err := s.staff.Members(r.Context(), r.keep())
	if err != nil {
		return err
	}
	names, err := s.places(r)
	if err != nil {
		return err
	}
	p := &peoplePage{Empty: Empty{What: "Nobody has a grant yet", Why: "Invite the people of the plants, each with a role and a place."}}
	p.Sheet, p.Say = "People", peopleSay(members)
	p.Sub = "What a person may not see is not counted for them either."
	p.Do = []Action{{Word: "Invite somebody", To: "/people/new", Main: true}}
	for _, m := range members {
		p.People = append(p.People, personLine{Name: m.Person.Name, To: personAt(m.Person.ID), In: r.waysIn(m), Last: r.lastIn(m), Grants: r.grantLines(m.Grants, names)})
	}
	return r.Show("people", p)
}

func peopleSay(members []assets.Member) string {
	in, granted := 0, 0
	for _, m := range members {
		if m.Account != nil {
			in++
		}
		if len(m.Grants) > 0 {
			granted++
		}
	}
	return Capital(Count(granted, "person has a grant", "people have a grant")) + "; " + pick(in == 0, "nobody", Word(in)) + " can sign in"
}

func personAt(id int64) string { return fmt.Sprintf("/people/%d", id) }

// waysIn says whether and how a person can sign in.
func (r *Request) waysIn(m assets.Member) string {
	switch {
	case m.Elsewhere:
		return "kept by an administrator for all plants"
	case m.Account != nil && m.Sessions > 0:
		return "account, signed in at " + Count(m.Sessions, "browser", "browsers")
	case m.Account != nil:
		return "account"
	case !m.CodeEndsAt.IsZero():
		return "invited, until " + r.F.Stamp(m.CodeEndsAt)
	}
	return "no account"
}

func (r *Request) lastIn(m assets.Member) string {
	if m.Elsewhere {
		return "not told"
	}
	if m.LastIn.IsZero() {
		return pick(m.Account == nil, "not yet", "not in 90 days")
	}
	return r.F.Stamp(m.LastIn)
}

// invitedPage hands an address over that is good once. It is shown this one time.
type invitedPage struct {
	Page
	Address, Person, Until string
	Then                   string // page to go on to
}

func (s *Site) handOver(r *Request, p assets.Person, secret string, code assets.SignUpCode) error {
	page := &invitedPage{Address: s.desk.Base(r.C.Request) + signin.JoinPath + secret, Person: p.Name, Until: r.F.Stamp(code.EndsAt) + " UTC", Then: personAt(p.ID)}
	page.Sheet, page.Say = "People", "Give "+p.Name+" this address; it is shown only now"
	r.C.Header("Cache-Control", "no-store")
	return r.Show("invited", page)
}

// invite adds somebody with their first grant.
func (s *Site) invite(r *Request) error {
	names, err := s.places(r)
	if err != nil {
		return err
	}
	f := r.NewForm()
	p := &formPage{Form: f, Save: "Invite", Leave: "/people", Says: []string{
		"You get an address to hand over: it is good once, for three days. Whoever opens it chooses the name and the password they sign in by; you never know either.",
		"Somebody who stands in the records by this name already, and has no account, is taken to be that person."}}
	p.Sheet, p.Say = "People", "Invite somebody, with what they may see and change"
	p.section("Who", f.Text("name", "Name", "").Must().Hinted("As it should stand in the records").OverBoth())
	p.section("What they may, and where", grantFields(f, names)...)
	if !r.Posted() {
		return r.Show("form", p)
	}
	e := r.entry(f)
	name, grant := e.must("name", "the person's name"), e.grant(0, names)
	err = e.Err()
	var who assets.Person
	secret, code := signin.NewCode(assets.CodeInvitation, 0, r.Who.Person.ID, r.Now)
	if err == nil {
		who, err = s.staff.Invite(r.Context(), r.keep(), r.Who.Person.ID, name, grant, &code)
	}
	if f.Refused(err) {
		return r.Refill("form", p)
	}
	if err != nil {
		return err
	}
	s.desk.Forget(who.ID)
	return s.handOver(r, who, secret, code)
}

// personPage answers: what may this person where, by what do they come in, and how do I change it?
type personPage struct {
	Page
	To       string // of the page
	Facts    []fact
	Grants   []grantLine
	Form     *Form // a further grant
	Account  bool
	Address  string // word of the button that makes an address
	Sessions int
	Keeps    bool  // the account too
	Proof    *Form // of taking a lost second factor away; nil: theirs is not kept here
}

func (s *Site) person(r *Request) error {
	p, err := s.personPage(r)
	if err != nil {
		return err
	}
	return r.Show("person", p)
}

func (s *Site) personPage(r *Request) (*personPage, error) {
	m, err := s.member(r)
	if err != nil {
		return nil, err
	}
	names, err := s.places(r)
	if err != nil {
		return nil, err
	}
	p := &personPage{To: personAt(m.Person.ID), Form: r.NewForm(), Account: m.Account != nil, Sessions: m.Sessions, Keeps: !m.Elsewhere, Address: pick(m.Account == nil, "Make an address to sign up", "Make an address for a new password")}
	p.Sheet, p.Say = "People", personSay(m)
	p.Facts = []fact{{"Goes by", pick(m.Person.Role == "", "no role", string(m.Person.Role))}, {"Way in", r.waysIn(m)}, {"Last in", r.lastIn(m)}}
	if m.Account != nil {
		p.Facts = append(p.Facts, fact{"Signs in as", m.Account.SignInName})
	}
	if m.Account != nil && !m.CodeEndsAt.IsZero() {
		p.Facts = append(p.Facts, fact{"Address waiting", "good until " + r.F.Stamp(m.CodeEndsAt)})
	}
	p.Grants = r.grantLines(m.Grants, names)
	grantFields(p.Form, names)
	if p.Keeps && p.Account {
		p.Proof = r.formOf("lost-")
		p.Proof.Text("proof", "How you made sure who it is", "").Must().Hinted("Stands in the journal, e.g. came to the office, works badge seen")
	}
	return p, nil
}

func personSay(m assets.Member) string {
	if len(m.Grants) == 0 {
		return m.Person.Name + " has no grant and sees nothing"
	}
	return m.Person.Name + " has " + Count(len(m.Grants), "grant", "grants")
}

// member reads the person an address names.
func (s *Site) member(r *Request) (assets.Member, error) {
	id, err := r.ID("person")
	if err != nil {
		return assets.Member{}, err
	}
	return s.staff.Member(r.Context(), r.keep(), id)
}

// afterwards goes back to a person's page, or shows there what was refused.
func (s *Site) afterwards(r *Request, personID int64, err error, notice string) error {
	var bad assets.Invalid
	if asInvalid(err, &bad) {
		p, failed := s.personPage(r)
		if failed != nil {
			return failed
		}
		if p.Proof != nil && bad["proof"] != "" {
			p.Proof.Refused(bad)
		} else {
			p.Form.Refused(bad)
		}
		return r.Refill("person", p)
	}
	if err != nil {
		return err
	}
	s.desk.Forget(personID)
	if _, err := s.member(r); err != nil { // the last grant within reach is gone, and the page with it
		return r.Done("/people", notice)
	}
	return r.Done(personAt(personID), notice)
}

// newAddress makes an address for somebody who has none yet, or forgot their password.
func (s *Site) newAddress(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	purpose := assets.CodeInvitation
	if m.Account != nil {
		purpose = assets.CodeNewPassword
	}
	secret, code := signin.NewCode(purpose, m.Person.ID, r.Who.Person.ID, r.Now)
	if err := s.staff.NewAddress(r.Context(), r.keep(), &code); err != nil {
		return s.afterwards(r, m.Person.ID, err, "")
	}
	return s.handOver(r, m.Person, secret, code)
}

// endSessions signs a person out everywhere.
func (s *Site) endSessions(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	err = s.staff.SignOut(r.Context(), r.keep(), r.Who.Person.ID, m.Person.ID)
	return s.afterwards(r, m.Person.ID, err, m.Person.Name+" is signed out everywhere.")
}

// endAccount takes a person's account away.
func (s *Site) endAccount(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	err = s.staff.EndAccount(r.Context(), r.keep(), r.Who.Person.ID, m.Person.ID)
	return s.afterwards(r, m.Person.ID, err, m.Person.Name+" can no longer sign in. What was done under the name stays.")
}
