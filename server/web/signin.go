package web

import (
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/problem"
	"carryside/server/signin"
	"carryside/server/web/drawing"
)

// signInPage asks who somebody is. Passwords are not built yet, so the page answers this machine only.
type signInPage struct {
	Page
	Demo    bool
	People  []assets.Person
	Form    *Form // a new name with a role; nil in the demonstration
	To      string
	Drawing template.HTML
}

// demoRoles are the roles the demonstration offers, one button each.
var demoRoles = []assets.Role{assets.RolePlanner, assets.RoleTechnician, assets.RoleAuditor}

func (s *Site) askToSignIn(c *gin.Context) {
	to := "/signin"
	if c.Request.Method == http.MethodGet && c.Request.URL.Path != "/" {
		to += "?to=" + url.QueryEscape(c.Request.URL.RequestURI())
	}
	c.Redirect(http.StatusSeeOther, to)
}

func (s *Site) showSignIn(c *gin.Context) {
	if err := s.signInScreen(c, http.StatusOK, nil); err != nil {
		s.fail(c, nil, err)
	}
}

// signIn takes a chosen person, or a new name with a role.
func (s *Site) signIn(c *gin.Context) {
	r := s.stranger(c)
	if err := r.readForm(formLimit); err != nil {
		s.fail(c, nil, err)
		return
	}
	if err := s.enter(c, r); err != nil {
		var bad assets.Invalid
		if asInvalid(err, &bad) {
			err = s.signInScreen(c, http.StatusUnprocessableEntity, bad)
		}
		if err != nil {
			s.fail(c, nil, err)
		}
	}
}

func (s *Site) enter(c *gin.Context, r *Request) error {
	if !signin.FromLoopback(c.Request) {
		return fromElsewhere
	}
	id, err := strconv.ParseInt(c.Request.PostForm.Get("person"), 10, 64)
	if err != nil {
		if s.demo {
			return assets.Invalid{"": "choose one of the three roles"}
		}
		p, err := s.desk.Register(r.Context(), c.Request.PostForm.Get("name"), assets.Role(c.Request.PostForm.Get("role")))
		if err != nil {
			return err
		}
		id = p.ID
	}
	if err := s.desk.SignIn(r.Context(), c.Writer, id); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, ownPath(c.Request.PostForm.Get("to")))
	return nil
}

var fromElsewhere = problem.Status{Code: http.StatusForbidden, Title: "Signing in works on this machine only",
	Detail: "Accounts with passwords are not built yet; open the address the program printed at its start."}

func (s *Site) signInScreen(c *gin.Context, status int, bad assets.Invalid) error {
	r := s.stranger(c)
	if !signin.FromLoopback(c.Request) {
		return fromElsewhere
	}
	all, err := s.desk.SignIns(r.Context())
	if err != nil {
		return err
	}
	p := &signInPage{Demo: s.demo, People: all, To: ownPath(r.Query("to")), Drawing: drawing.Legend(false)}
	if r.Posted() {
		p.To = ownPath(c.Request.PostForm.Get("to"))
	}
	p.Sheet, p.Say = "Sign in", "Say who you are to see your plants"
	if s.demo {
		p.People = oneOfEach(all, demoRoles)
	} else {
		p.Form = newPersonForm(r)
		p.Form.Refused(bad)
	}
	return r.show(status, "signin", p)
}

func newPersonForm(r *Request) *Form {
	f := r.NewForm()
	f.Text("name", "Name", "").Must().Hinted("As it should stand in the records, e.g. I. Vanterel")
	var options []Option
	for _, role := range people.Roles {
		options = append(options, Option{Value: string(role), Label: string(role)})
	}
	f.Select("role", "Role", string(assets.RolePlanner), options).Hinted("What you may do follows from it")
	return f
}

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

func (s *Site) signOut(c *gin.Context) {
	s.desk.SignOut(c.Writer, c.Request)
	c.Redirect(http.StatusSeeOther, "/signin")
}
