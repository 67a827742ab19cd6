package web

import (
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/web/drawing"
)

// codePage asks for the code of the second factor, after a password that was right.
type codePage struct {
	Page
	Form *Form
	To   string
}

// secondPage answers: how do I get the codes that are asked of me here?
type secondPage struct {
	Page
	Form    *Form         // nil: not begun
	To      string        // of the form
	Scan    template.HTML // for the app
	Seed    string        // the same to type
	Refused string        // why it cannot be begun
}

// recoveryPage hands recovery codes over. It is shown this one time.
type recoveryPage struct {
	Page
	Codes []string
	Then  string // page to go on to
}

// secondLine is the second factor as its owner's account page shows it.
type secondLine struct {
	Made, Left string
	Asked      bool // of them; it cannot be removed
	Few        bool // recovery codes
}

// secondRoutes are of one's own second factor, signed in.
func secondRoutes() []Route {
	return []Route{
		{Method: post, Path: "/account/second", May: people.KeepOwnAccount, Under: "account", Do: (*Site).setUpSecond},
		{Method: post, Path: "/account/second/code", May: people.KeepOwnAccount, Under: "account", Do: (*Site).takeSecond},
		{Method: post, Path: "/account/second/recovery", May: people.KeepOwnAccount, Under: "account", Do: (*Site).newRecovery},
		{Method: post, Path: "/account/second/remove", May: people.KeepOwnAccount, Under: "account", Do: (*Site).removeSecond},
	}
}

// mountSecond puts on an engine what is open to somebody whose password was right and who has yet to prove more.
func (s *Site) mountSecond(e *gin.Engine) {
	for path, do := range map[string]func(*Site, *Request) error{"/signin/code": (*Site).showCode, "/signin/second": (*Site).halfway} {
		e.GET(path, s.atDoor(do))
		e.HEAD(path, s.atDoor(do))
	}
	e.POST("/signin/code", s.atDoor((*Site).byCode))
	e.POST("/signin/second", s.atDoor(s.ofHalfway((*Site).setUpSecond)))
	e.POST("/signin/second/code", s.atDoor(s.ofHalfway((*Site).takeSecond)))
}

// more leads somebody on whose password was right and who must prove more.
func (r *Request) more(to string) {
	r.C.Redirect(http.StatusSeeOther, "/signin/code?to="+url.QueryEscape(to))
}

func (s *Site) showCode(r *Request) error {
	return r.show(http.StatusOK, "code", codeForm(r, ownPath(r.Query("to"))))
}

func codeForm(r *Request, to string) *codePage {
	p := &codePage{Form: r.NewForm(), To: to}
	p.Sheet, p.Say = "Sign in", "Now the code that your app shows"
	p.Form.Text("code", "Code", "").Must().Hinted("Six digits, new every half minute. Lost your telephone? Type one of your recovery codes.").Autocomplete = "one-time-code"
	p.Form.Get("code").Value = ""
	return p
}

// byCode takes the code of the second factor.
func (s *Site) byCode(r *Request) error {
	to := ownPath(r.C.Request.PostForm.Get("to"))
	err := s.desk.ByCode(r.C.Writer, r.C.Request, r.C.Request.PostForm.Get("code"))
	if errors.Is(err, assets.ErrNotFound) { // the password was given too long ago, or in another browser
		r.C.Redirect(http.StatusSeeOther, "/signin?to="+url.QueryEscape(to))
		return nil
	}
	p := codeForm(r, to)
	if p.Form.Refused(err) {
		return r.show(http.StatusUnprocessableEntity, "code", p)
	}
	if err == nil {
		r.C.Redirect(http.StatusSeeOther, to)
	}
	return err
}

// ofHalfway is an address for somebody halfway in only.
func (s *Site) ofHalfway(do func(*Site, *Request) error) func(*Site, *Request) error {
	return func(s *Site, r *Request) error {
		who, half, err := s.desk.Halfway(r.C.Request)
		if err != nil {
			return err
		}
		if !half {
			r.C.Redirect(http.StatusSeeOther, "/signin")
			return nil
		}
		r.Who.Person = who.Person // for the page's own words; no grant with it
		return do(s, r)
	}
}

// halfway says what is asked of somebody who has yet to set it up.
func (s *Site) halfway(r *Request) error {
	return s.ofHalfway(func(s *Site, r *Request) error { return r.show(http.StatusOK, "second", s.secondPage(r)) })(s, r)
}

// secondPage is the page of setting up, not begun yet.
func (s *Site) secondPage(r *Request) *secondPage {
	p := &secondPage{To: "/signin/second"}
	p.Sheet, p.Say = "Second factor", "Here a password alone is not enough"
	if r.route.Path != "" {
		p.To = "/account/second"
	}
	return p
}

// setUpSecond shows what an app needs to work out codes. Signed in it asks for the password first: whoever sits down at
// somebody's open browser must not take the account over.
func (s *Site) setUpSecond(r *Request) error {
	if r.route.Path != "" {
		if err := s.desk.Confirm(r.C.Request, r.typedSecret("password")); err != nil {
			return s.refused(r, err, func(p *accountPage) *Form { return p.SecondForm })
		}
	}
	p := s.secondPage(r)
	setup, err := s.desk.OfferSecond(r.C.Writer, r.C.Request)
	var bad assets.Invalid
	if errors.As(err, &bad) {
		p.Refused = bad[""]
		return r.show(http.StatusUnprocessableEntity, "second", p)
	}
	if err != nil {
		return err
	}
	return r.show(http.StatusOK, "second", p.with(r, setup.Seed, setup.Squares))
}

// with adds what an app takes in, and the field for its first code.
func (p *secondPage) with(r *Request, seed string, squares [][]bool) *secondPage {
	p.Say, p.Seed, p.Scan = "Add this to the app on your telephone", seed, drawing.Scan(squares, "Code to scan with the app; the same stands below to type")
	p.Form, p.To = r.NewForm(), p.To+"/code"
	p.Form.Text("code", "Code that the app shows now", "").Must().Hinted("Six digits").Autocomplete = "one-time-code"
	p.Form.Get("code").Value = ""
	return p
}

// takeSecond keeps the second factor once its app shows the right code.
func (s *Site) takeSecond(r *Request) error {
	codes, again, err := s.desk.TakeSecond(r.C.Writer, r.C.Request, r.C.Request.PostForm.Get("code"))
	if errors.Is(err, assets.ErrNotFound) {
		err = assets.Invalid{"": "this took too long, or was begun in another browser; begin again"}
	}
	var bad assets.Invalid
	if errors.As(err, &bad) {
		p := s.secondPage(r)
		if again.Seed != "" {
			p.with(r, again.Seed, again.Squares).Form.Refused(bad)
		} else {
			p.Refused = bad[""]
		}
		return r.show(http.StatusUnprocessableEntity, "second", p)
	}
	if err != nil {
		return err
	}
	return s.handOverCodes(r, codes)
}

// handOverCodes shows recovery codes, this one time.
func (s *Site) handOverCodes(r *Request, codes []string) error {
	p := &recoveryPage{Codes: codes, Then: pick(r.route.Path == "", "/", "/account")}
	p.Sheet, p.Say = "Second factor", "Keep these recovery codes; they are shown only now"
	r.C.Header("Cache-Control", "no-store")
	return r.Show("recovery", p)
}

func (s *Site) newRecovery(r *Request) error {
	err := s.desk.Confirm(r.C.Request, r.typedSecret("password"))
	var codes []string
	if err == nil {
		codes, err = s.desk.NewRecoveryCodes(r.C.Request)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.SecondForm })
	}
	return s.handOverCodes(r, codes)
}

func (s *Site) removeSecond(r *Request) error {
	err := s.desk.Confirm(r.C.Request, r.typedSecret("password"))
	if err == nil {
		err = s.desk.RemoveSecond(r.C.Request)
	}
	if err != nil {
		return s.refused(r, err, func(p *accountPage) *Form { return p.SecondForm })
	}
	return r.Done("/account", "No code is asked of you any more. Remove it from the app too.")
}

// addSecond adds the second factor to somebody's own page. Accounts without a password have none.
func (s *Site) addSecond(r *Request, p *accountPage) error {
	if !p.Confirms {
		return nil
	}
	p.SecondForm = r.formOf("second-")
	p.SecondForm.secret("password", "Your password", "current-password")
	f, left, err := s.desk.SecondFactor(r.Context(), r.Who.Person.ID)
	if errors.Is(err, assets.ErrNotFound) {
		return nil
	}
	if err == nil {
		p.Second = &secondLine{Made: r.F.Stamp(f.MadeAt), Left: Capital(Count(int(left), "recovery code is left", "recovery codes are left")), Asked: s.desk.SecondIsAsked(r.Who.Grants), Few: left < 3}
	}
	return err
}

// resetSecond takes the second factor and the passkeys of somebody who lost them, once it is sure who they are.
func (s *Site) resetSecond(r *Request) error {
	m, err := s.member(r)
	if err != nil {
		return err
	}
	proof := strings.Join(strings.Fields(r.C.Request.PostForm.Get("proof")), " ")
	err = s.staff.ResetSecondFactor(r.Context(), r.keep(), r.Who.Person.ID, m.Person.ID, proof)
	return s.afterwards(r, m.Person.ID, err, m.Person.Name+" signs in by password alone until a new second factor is set up.")
}
