package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/problem"
	"carryside/server/signin"
)

// Config is what the screens are built from.
type Config struct {
	Sources Sources
	Desk    *signin.Desk
	Now     func() time.Time
	Log     *slog.Logger
	Staff   Staff   // who may what where, for the administrator
	Tokens  Tokens  // tokens of the machine interface; nil: there is none
	Scanner Scanner // asked about each file before it is taken in; nil: there is none
	Dev     string  // folder holding templates/ and static/, read anew at each page; "": the embedded ones
}

// Site is the screens, ready to be mounted.
type Site struct {
	Sources
	desk    *signin.Desk
	now     func() time.Time
	log     *slog.Logger
	staff   Staff
	dev     string
	routes  []Route
	views   *views
	statics *statics
	trials  trials // lists on their way in
	replans replans
	tokens  Tokens
	scanner Scanner
}

// Scanner looks for malware. assets.Invalid, under "file", when it finds some in a file; any other error when it cannot be
// asked.
type Scanner interface {
	Clean(ctx context.Context, content []byte) error
}

// clean asks the scanner about a file that was sent; without one every file is taken to be clean.
func (r *Request) clean(content []byte) error {
	if r.site.scanner == nil {
		return nil
	}
	err := r.site.scanner.Clean(r.Context(), content)
	var bad assets.Invalid
	switch {
	case err == nil:
		return nil
	case errors.As(err, &bad):
		r.site.log.Warn("malware scanner refused a file", "person", r.Who.Person.ID, "plant", r.PlantID())
		return bad
	}
	r.site.log.Error("malware scanner cannot be asked", "error", err)
	return problem.Status{Code: http.StatusServiceUnavailable, Title: "The file could not be looked at for malware",
		Detail: "The scanner does not answer, and files it has not seen are not taken. Nothing was kept; tell whoever runs the program."}
}

// New reads templates and static files and checks that every source is there.
func New(c Config) (*Site, error) {
	if err := c.Sources.check(); err != nil {
		return nil, err
	}
	s := &Site{Sources: c.Sources, desk: c.Desk, now: c.Now, log: c.Log, staff: c.Staff, dev: c.Dev, tokens: c.Tokens, scanner: c.Scanner,
		routes: routes(), views: &views{}, statics: &statics{}}
	return s, s.load()
}

// load takes the embedded templates and static files, or reads those of dev mode's folder anew.
func (s *Site) load() error {
	files, v, err := embedded()
	if s.dev != "" {
		files, v, err = parse(os.DirFS(s.dev+"/templates"), os.DirFS(s.dev+"/static"))
	}
	if err != nil {
		return err
	}
	s.statics.replace(files)
	s.views.replace(v)
	return nil
}

// embedded reads the files built into the program, once.
var embedded = onceEach(func() (*statics, *views, error) {
	templates, err := fs.Sub(templateFiles, "templates")
	if err != nil {
		return nil, nil, err
	}
	static, err := fs.Sub(staticFiles, "static")
	if err != nil {
		return nil, nil, err
	}
	return parse(templates, static)
})

// onceEach calls read at the first call and gives its results at every one.
func onceEach(read func() (*statics, *views, error)) func() (*statics, *views, error) {
	var once sync.Once
	var files *statics
	var v *views
	var err error
	return func() (*statics, *views, error) {
		once.Do(func() { files, v, err = read() })
		return files, v, err
	}
}

// parse reads static files and the templates that name them.
func parse(templates, static fs.FS) (*statics, *views, error) {
	files, err := loadStatics(static)
	if err != nil {
		return nil, nil, err
	}
	v, err := loadViews(templates, screens, files.url)
	return files, v, err
}

// check names the sources that are missing.
func (s Sources) check() error {
	v := reflect.ValueOf(s)
	for i := range v.NumField() {
		if v.Field(i).IsNil() {
			return fmt.Errorf("the screens have no source for %s", v.Type().Field(i).Name)
		}
	}
	return nil
}

// Mount puts every address of the screens on an engine.
func (s *Site) Mount(e *gin.Engine) {
	e.GET("/static/*file", s.static)
	e.HEAD("/static/*file", s.static)
	e.GET("/round-worker.js", s.roundWorker)
	e.HEAD("/round-worker.js", s.roundWorker)
	e.POST("/theme", s.theme)
	s.mountDoor(e)
	e.GET("/", s.home)
	for _, rt := range s.routes {
		e.Handle(rt.Method, rt.Path, s.handler(rt))
		if rt.Method == http.MethodGet {
			e.HEAD(rt.Path, s.handler(rt))
		}
	}
	e.NoRoute(func(c *gin.Context) { s.fail(c, nil, assets.ErrNotFound) })
	e.NoMethod(func(c *gin.Context) {
		s.fail(c, nil, problem.Status{Code: http.StatusMethodNotAllowed, Title: "This address does not take that",
			Detail: "Open the page it belongs to and use its own buttons."})
	})
}

// handler wraps a route: who asks, of which plant, whether the role may, then the screen itself; errors go
// to their page.
func (s *Site) handler(rt Route) gin.HandlerFunc {
	return func(c *gin.Context) {
		if s.dev != "" {
			if err := s.load(); err != nil {
				s.fail(c, nil, err)
				return
			}
		}
		who, ok, err := s.desk.Asking(c.Request)
		if err != nil {
			s.fail(c, nil, err)
			return
		}
		if !ok {
			s.askToSignIn(c)
			return
		}
		r := &Request{C: c, Who: who, Scope: who.Scope(), Now: s.now(), route: rt, site: s}
		r.F = Format{Zone: time.UTC, Units: assets.UnitsSI, Now: r.Now}
		if err := s.answer(r); err != nil {
			s.fail(c, r, err)
		}
	}
}

func (s *Site) answer(r *Request) error {
	if err := s.findPlant(r); err != nil {
		return err
	}
	if r.Plant != nil && !r.May(people.Read) {
		return assets.ErrNotFound
	}
	if !r.May(r.route.May) {
		return fmt.Errorf("%s: %w", r.route.May, assets.ErrForbidden)
	}
	if r.Posted() && !r.route.Raw {
		limit := r.route.Body
		if limit == 0 {
			limit = formLimit
		}
		if err := r.readForm(limit); err != nil {
			return err
		}
	}
	return r.route.Do(s, r)
}

// findPlant reads the plant an address names. One outside the grants is not there.
func (s *Site) findPlant(r *Request) error {
	text := r.C.Param("plant")
	if text == "" {
		return nil
	}
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return assets.ErrNotFound
	}
	p, err := s.Plants.PlantFrame(r.Context(), r.Scope, id)
	if err != nil {
		return err
	}
	r.Plant = &p
	r.F.Zone, r.F.Units = p.Plant.Location(), p.Plant.UnitSystem
	s.desk.LookAt(r.C.Request, id)
	return nil
}

// fill sets the frame of a page.
func (s *Site) fill(r *Request, p *Page) {
	p.Frame = Frame{F: r.F, Theme: themeOf(r.C), Path: r.C.Request.URL.RequestURI(), Plant: r.Plant,
		Notice: s.desk.Told(r.C.Request), Name: r.Who.Person.Name, Who: r.Who.Person.Name}
	if r.Who.Person.Role != "" {
		p.Who += ", " + string(r.Who.Person.Role)
	}
	p.Find = r.Query("q")
	p.Nav, p.Back = s.links(r)
	p.NavEnd = r.ends()
	p.Bare = s.desk.Bare
	p.Findable = r.Plant != nil && s.routed("find")
}

// ends returns the names at the end of the head that are open to whoever asks.
func (r *Request) ends() (ends []Link) {
	if r.Who.MayAnywhere(people.KeepPeople) {
		ends = append(ends, Link{Word: "People", To: "/people", Current: r.route.Under == "people"})
	}
	if r.Who.MayAnywhere(people.Read) {
		ends = append(ends, Link{Word: "All plants", To: "/plants", Current: r.route.Under == "plants"})
	}
	return ends
}

// links returns the names of the head and of the return side that are built and open to whoever asks.
func (s *Site) links(r *Request) (nav, back []Link) {
	if r.Plant == nil {
		return nil, nil
	}
	for _, h := range heads {
		if open(r, h.path) {
			nav = append(nav, Link{Word: h.word, To: strings.TrimSuffix(r.At(h.path), "/"), Current: h.screen == r.route.Under, Gap: h.screen == "belts"})
		}
	}
	for _, b := range returns[r.route.Under] {
		if open(r, b.path) {
			back = append(back, Link{Word: b.word, To: r.At(b.path), Current: b.path == r.route.Back})
		}
	}
	return nav, back
}

// routed tells whether a page below the plant's address is built.
func (s *Site) routed(path string) bool {
	return slices.ContainsFunc(s.routes, func(rt Route) bool { return rt.Method == get && rt.Path == belowPlant(path) })
}

// open tells whether a page below the plant's address is built and open to whoever asks.
func open(r *Request, path string) bool {
	return slices.ContainsFunc(r.site.routes, func(rt Route) bool {
		return rt.Method == get && rt.Path == belowPlant(path) && r.May(rt.May)
	})
}

func belowPlant(path string) string { return strings.TrimSuffix("/plants/:plant/"+path, "/") }

// problemPage tells what went wrong.
type problemPage struct {
	Page
	Problem problem.Problem
	Return  string
}

// fail tells about an error: a problem document below /api, else a page. r is nil before it is known who
// asks.
func (s *Site) fail(c *gin.Context, r *Request, err error) {
	p := problem.Of(s.log, c.Request, err)
	if strings.HasPrefix(c.Request.URL.Path, "/api/") {
		problem.WriteJSON(c.Writer, p)
		return
	}
	if r == nil {
		r = s.stranger(c)
	}
	page := &problemPage{Problem: p}
	page.Sheet, page.Say, page.Sub = "Not done", p.Title, p.Detail
	page.Return = "/"
	if r.Plant != nil {
		page.Return = r.At()
	}
	if showErr := r.show(p.Status, "problem", page); showErr != nil {
		s.log.Error("problem page failed", "error", errors.Join(err, showErr))
		c.Data(p.Status, "text/plain; charset=utf-8", []byte(p.Title+". "+p.Detail+" "+p.Reference+"\n"))
	}
}

// stranger is a request of which it is not known, or does not matter, who asks.
func (s *Site) stranger(c *gin.Context) *Request {
	now := s.now()
	r := &Request{C: c, Now: now, site: s, F: Format{Zone: time.UTC, Now: now}}
	if who, ok, err := s.desk.Asking(c.Request); err == nil && ok {
		r.Who, r.Scope = who, who.Scope()
	}
	return r
}

// Recover answers a request whose handler panicked, which is always our own mistake.
func (s *Site) Recover(c *gin.Context, recovered any) {
	s.fail(c, nil, fmt.Errorf("panic: %v", recovered))
	c.Abort()
}

func (s *Site) static(c *gin.Context) {
	if err := s.statics.serve(c.Writer, c.Request, c.Param("file")); err != nil {
		s.fail(c, nil, err)
	}
}

// home leads to the plant looked at last, to the only one, or to all plants.
func (s *Site) home(c *gin.Context) {
	who, ok, err := s.desk.Asking(c.Request)
	if err != nil {
		s.fail(c, nil, err)
		return
	}
	if !ok {
		s.askToSignIn(c)
		return
	}
	if !who.MayAnywhere(people.Read) { // an administrator alone sees no plant, and whose grants ended sees nothing
		c.Redirect(http.StatusSeeOther, pick(who.MayAnywhere(people.KeepPeople), "/people", "/account"))
		return
	}
	if id := s.desk.LookedAt(c.Request); id != 0 {
		c.Redirect(http.StatusSeeOther, at(id))
		return
	}
	all, err := s.Plants.PlantList(c.Request.Context(), who.Scope())
	if err != nil {
		s.fail(c, nil, err)
		return
	}
	to := "/plants"
	if len(all) == 1 {
		to = at(all[0].Plant.ID)
	}
	c.Redirect(http.StatusSeeOther, to)
}

// theme keeps the theme a person chose in a cookie; there is nothing secret in it.
func (s *Site) theme(c *gin.Context) {
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, 1<<10)
	theme := c.PostForm("theme")
	if theme != "light" && theme != "dark" {
		s.fail(c, nil, assets.Invalid{"theme": "choose light or dark"})
		return
	}
	name := themeCookie
	if s.desk.Secure {
		name = "__Host-" + name
	}
	http.SetCookie(c.Writer, &http.Cookie{Name: name, Value: theme, Path: "/", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, Secure: s.desk.Secure, SameSite: http.SameSiteLaxMode})
	if c.PostForm("stay") != "" {
		c.Status(http.StatusNoContent)
		return
	}
	c.Redirect(http.StatusSeeOther, ownPath(c.PostForm("to")))
}

// themeCookie keeps the theme; by https it belongs to the host alone, as the session's does.
const themeCookie = "carryside_theme"

func themeOf(c *gin.Context) string {
	theme, err := c.Cookie("__Host-" + themeCookie)
	if err != nil {
		theme, err = c.Cookie(themeCookie)
	}
	if err != nil || theme != "light" && theme != "dark" {
		return ""
	}
	return theme
}

// ownPath lets a form lead back to a page of this site and nowhere else. Browsers leave out tabs and line ends of an
// address before they read it, so that "/", a tab and "/elsewhere.example" would lead elsewhere.
func ownPath(to string) string {
	strange := strings.ContainsFunc(to, func(r rune) bool { return r <= ' ' || r == 0x7F || r == '\\' })
	u, err := url.Parse(to)
	if err != nil || strange || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || u.Host != "" || u.Scheme != "" {
		return "/"
	}
	return to
}
