package web

import (
	"errors"
	"html/template"
	"net/http"
	"net/url"

	"carryside/assets"
	"carryside/server/problem"
	"carryside/server/signin"
	"carryside/server/web/drawing"
)

// joinPage answers behind an address that is good once: what does it open, and by what shall I be known?
type joinPage struct {
	Page
	Form      *Form
	Code      string
	First     bool
	Until     string
	Save      string
	Elsewhere string // what the company's single sign-on is called; "" where it is no way to take this up
	There     string
	Drawing   template.HTML
}

var noLongerGood = problem.Status{Code: http.StatusNotFound, Title: "This address is no longer good",
	Detail: "It was used, has run out or was replaced by a newer one. Your administrator gives you another; while there is no administrator yet, the program prints one at its next start."}

// offered returns what a code opens, and a page for a code that opens nothing.
func (s *Site) offered(r *Request, code string) (signin.Offer, error) {
	o, err := s.desk.Offered(r.Context(), code)
	if errors.Is(err, assets.ErrNotFound) {
		return o, noLongerGood
	}
	return o, err
}

func (s *Site) showJoin(r *Request) error {
	code := r.Query("code")
	o, err := s.offered(r, code)
	if err != nil {
		return err
	}
	return r.show(http.StatusOK, "join", s.joinForm(r, o, code))
}

// joinForm is the page of an offer.
func (s *Site) joinForm(r *Request, o signin.Offer, code string) *joinPage {
	f := r.NewForm()
	p := &joinPage{Form: f, Code: code, First: o.First(), Until: r.F.Stamp(o.Code.EndsAt) + " UTC", Save: "Begin", Drawing: drawing.Legend(false)}
	p.Sheet = "Sign up"
	switch {
	case o.First():
		p.Say = "Begin this installation: you are its first administrator"
		f.Text("name", "Your name", "").Must().Hinted("As it should stand in the records, e.g. I. Vanterel").Autocomplete = "name"
	case o.SignInName != "":
		p.Sheet, p.Say, p.Save = "New password", o.Person.Name+", choose a new password", "Change it and sign in"
	default:
		p.Say = "Welcome, " + o.Person.Name + ": choose how you sign in"
		if name := s.desk.ProviderName(); name != "" && o.Code.Purpose == assets.CodeInvitation {
			p.Elsewhere, p.There = name, "/signin/elsewhere?code="+url.QueryEscape(code)
		}
	}
	name := f.Text("sign_in_name", "Name to sign in by", o.SignInName).Must()
	name.Autocomplete = "username"
	if o.SignInName != "" {
		name.Value = o.SignInName
		name.Hinted("Stays as it is")
	} else {
		name.Hinted("Short and yours, e.g. i.vanterel")
	}
	f.secret("password", "Password", "new-password").Hinted("At least 8 characters; a few words that do not belong together are better than one with signs in it")
	f.secret("again", "The same again", "new-password")
	return p
}

// join takes an offer up.
func (s *Site) join(r *Request) error {
	form := r.C.Request.PostForm
	o, err := s.offered(r, form.Get("code"))
	if err != nil {
		return err
	}
	err = s.desk.Join(r.C.Writer, r.C.Request, o, signin.Joining{Name: form.Get("name"), SignInName: form.Get("sign_in_name"),
		Password: r.typedSecret("password"), Again: r.typedSecret("again")})
	switch {
	case errors.Is(err, assets.ErrNotFound):
		return noLongerGood
	case errors.As(err, new(*signin.MoreProof)):
		r.more("/")
		return nil
	case errors.As(err, new(*signin.UsePasskey)): // the new password is kept; it takes the passkey to come in
		r.C.Redirect(http.StatusSeeOther, "/signin")
		return nil
	}
	p := s.joinForm(r, o, form.Get("code"))
	if p.Form.Refused(err) {
		return r.show(http.StatusUnprocessableEntity, "join", p)
	}
	if err == nil {
		r.C.Redirect(http.StatusSeeOther, "/")
	}
	return err
}
