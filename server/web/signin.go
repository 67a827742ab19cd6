package web

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/server/problem"
	"carryside/server/signin"
	"carryside/server/web/drawing"
)

// signInPage asks who somebody is.
type signInPage struct {
	Page
	Demo      bool
	People    []assets.Person // of the demonstration, one button each
	Form      *Form           // name and password; nil in the demonstration
	To        string
	Elsewhere string // what the company's single sign-on is called; "" without one
	There     string // address that leads there
	Passkeys  bool
	Drawing   template.HTML
}

// demoRoles are the roles the demonstration offers, one button each.
var demoRoles = []assets.Role{assets.RolePlanner, assets.RoleTechnician, assets.RoleLead, assets.RoleAuditor}

func (s *Site) askToSignIn(c *gin.Context) {
	if _, half, err := s.desk.Halfway(c.Request); err == nil && half {
		c.Redirect(http.StatusSeeOther, "/signin/second")
		return
	}
	to := "/signin"
	if c.Request.Method == http.MethodGet && c.Request.URL.Path != "/" {
		to += "?to=" + url.QueryEscape(c.Request.URL.RequestURI())
	}
	c.Redirect(http.StatusSeeOther, to)
}

// mountDoor puts the addresses on an engine that are open to nobody signed in.
func (s *Site) mountDoor(e *gin.Engine) {
	for path, do := range map[string]func(*Site, *Request) error{"/signin": (*Site).showSignIn, "/join": (*Site).showJoin} {
		e.GET(path, s.atDoor(do))
		e.HEAD(path, s.atDoor(do))
	}
	e.GET("/signin/elsewhere", s.atDoor((*Site).setOut))
	e.GET(signin.CallbackPath, s.atDoor((*Site).comeBack))
	e.POST("/signin", s.atDoor((*Site).signIn))
	e.POST("/join", s.atDoor((*Site).join))
	e.POST("/signout", s.atDoor((*Site).signOut))
	e.POST("/signin/passkey/ask", s.inJSON((*Site).askPasskey))
	e.POST("/signin/passkey", s.inJSON((*Site).byPasskey))
	s.mountSecond(e)
}

// atDoor wraps an address that is open to nobody signed in.
func (s *Site) atDoor(do func(*Site, *Request) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		r := s.stranger(c)
		var err error
		if r.Posted() {
			err = r.readForm(formLimit)
		}
		if err == nil {
			c.Header("Cache-Control", "no-store")
			err = do(s, r)
		}
		if err != nil {
			s.fail(c, nil, inPlainWords(err))
		}
	}
}

// inPlainWords says on a page what kept somebody from coming in.
func inPlainWords(err error) error {
	var elsewhere *signin.ErrElsewhere
	var wait *signin.Wait
	switch {
	case errors.As(err, &elsewhere):
		return problem.Status{Code: http.StatusForbidden, Title: "Signing in there was not finished", Detail: elsewhere.Says}
	case errors.As(err, &wait):
		return problem.Status{Code: http.StatusTooManyRequests, Title: "Too many tries came from your address", Detail: "Wait ten minutes and try again."}
	}
	return err
}

func (s *Site) showSignIn(r *Request) error { return s.signInScreen(r, http.StatusOK, nil) }

// signIn takes a name and a password, or somebody of the demonstration.
func (s *Site) signIn(r *Request) error {
	err := s.enter(r)
	var bad assets.Invalid
	if status, says := r.refusedAtDoor(err); status != 0 {
		return s.signInScreen(r, status, assets.Invalid{"": says})
	}
	if errors.As(err, &bad) {
		return s.signInScreen(r, http.StatusUnprocessableEntity, bad)
	}
	return err
}

// refusedAtDoor says why a name and a password were not taken; status 0: for no such reason.
func (r *Request) refusedAtDoor(err error) (status int, says string) {
	var wrong *signin.WrongPair
	var wait *signin.Wait
	switch {
	case errors.As(err, &wrong):
		return http.StatusUnprocessableEntity, fmt.Sprintf("that name and password do not go together. After %s tries the name waits 10 minutes; this was try %d", Word(wrong.Of), wrong.Try)
	case errors.As(err, &wait):
		return http.StatusTooManyRequests, "too many wrong passwords; try again in " + Count(r.site.desk.Minutes(wait), "minute", "minutes")
	case errors.As(err, new(*signin.UsePasskey)):
		return http.StatusUnprocessableEntity, (&signin.UsePasskey{}).Error() + "."
	case errors.Is(err, signin.ErrBusy):
		return http.StatusServiceUnavailable, signin.ErrBusy.Error()
	}
	return 0, ""
}

func (s *Site) enter(r *Request) error {
	form := r.C.Request.PostForm
	if s.desk.Demo {
		return s.enterDemo(r)
	}
	bad := assets.Invalid{}
	if assets.NameKey(form.Get("name")) == "" {
		bad.Add("name", "give the name you sign in by")
	}
	if form.Get("password") == "" {
		bad.Add("password", "give your password")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	err := s.desk.SignIn(r.C.Writer, r.C.Request, form.Get("name"), form.Get("password"))
	if errors.As(err, new(*signin.MoreProof)) {
		r.more(ownPath(form.Get("to")))
		return nil
	}
	if err != nil {
		return err
	}
	r.C.Redirect(http.StatusSeeOther, ownPath(form.Get("to")))
	return nil
}

// enterDemo signs in somebody of the demonstration with one click.
func (s *Site) enterDemo(r *Request) error {
	if !signin.FromLoopback(r.C.Request) {
		return fromElsewhere
	}
	id, err := strconv.ParseInt(r.C.Request.PostForm.Get("person"), 10, 64)
	if err != nil {
		return assets.Invalid{"": "choose one of the roles"}
	}
	if err := s.desk.OneClick(r.C.Writer, r.C.Request, id); err != nil {
		return err
	}
	r.C.Redirect(http.StatusSeeOther, ownPath(r.C.Request.PostForm.Get("to")))
	return nil
}

var fromElsewhere = problem.Status{Code: http.StatusForbidden, Title: "The demonstration works on this machine only",
	Detail: "Open the address the program printed at its start."}

func (s *Site) signInScreen(r *Request, status int, bad assets.Invalid) error {
	p := &signInPage{Demo: s.desk.Demo, To: ownPath(r.Query("to")), Drawing: drawing.Legend(false)}
	if r.Posted() {
		p.To = ownPath(r.C.Request.PostForm.Get("to"))
	}
	p.Sheet, p.Say = "Sign in", "Sign in to see your plants"
	if s.desk.Demo {
		if !signin.FromLoopback(r.C.Request) {
			return fromElsewhere
		}
		all, err := s.desk.SignIns(r.Context())
		if err != nil {
			return err
		}
		p.People = oneOfEach(all, demoRoles)
		return r.show(status, "signin", p)
	}
	p.Form = r.NewForm()
	p.Form.Text("name", "Name", "").Must().Autocomplete = "username"
	p.Form.secret("password", "Password", "current-password").Hinted("Forgotten? Your administrator gives you a one-time address.")
	p.Form.Refused(bad)
	p.Elsewhere, p.Passkeys = s.desk.ProviderName(), s.desk.Passkeys()
	p.There = "/signin/elsewhere?to=" + url.QueryEscape(p.To)
	return r.show(status, "signin", p)
}

// secret adds a field for a password. What was typed is not sent back, and is read as it was typed (typedSecret).
func (f *Form) secret(name, label, autocomplete string) *Field {
	fd := f.add("password", name, label, "")
	fd.Value, fd.Autocomplete, fd.Required = "", autocomplete, true
	return fd
}

// typedSecret is a password as it was typed, blanks and all.
func (r *Request) typedSecret(name string) string { return r.C.Request.PostForm.Get(name) }

// oneOfEach returns the first person of each role.
func oneOfEach(all []assets.Person, roles []assets.Role) []assets.Person {
	var some []assets.Person
	for _, role := range roles {
		if i := slices.IndexFunc(all, func(p assets.Person) bool { return p.Role == role }); i >= 0 {
			some = append(some, all[i])
		}
	}
	return some
}

func (s *Site) signOut(r *Request) error {
	err := s.desk.SignOut(r.C.Writer, r.C.Request)
	if err == nil {
		// What the browser kept of the pages goes with the session; the script takes the rounds' pages from their shelf. Not
		// "storage": findings that a phone could not send yet, of whoever uses it, would go unseen with it.
		r.C.Header("Clear-Site-Data", `"cache"`)
		r.C.Redirect(http.StatusSeeOther, "/signin")
	}
	return err
}

// setOut leads to the company's single sign-on. A page of another site does not get anybody signed in by leading here:
// it takes a click of one's own on ours.
func (s *Site) setOut(r *Request) error {
	if r.C.GetHeader("Sec-Fetch-Site") == "cross-site" {
		r.C.Redirect(http.StatusSeeOther, "/signin")
		return nil
	}
	to, err := s.desk.SetOut(r.C.Writer, r.C.Request, r.Query("code"), ownPath(r.Query("to")))
	if errors.Is(err, assets.ErrNotFound) && r.Query("code") != "" {
		return noLongerGood
	}
	if err == nil {
		r.C.Redirect(http.StatusSeeOther, to)
	}
	return err
}

// comeBack takes what the provider says.
func (s *Site) comeBack(r *Request) error {
	to, err := s.desk.ComeBack(r.C.Writer, r.C.Request)
	if err == nil {
		r.C.Redirect(http.StatusSeeOther, ownPath(to))
	}
	return err
}
