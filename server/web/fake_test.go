package web

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/signin"
)

// morning is the moment every page of these tests is drawn at: Wednesday 25 November 2026, 06:40 in Oslo.
var morning = time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)

// fakePlant is a plant in memory. Its figures are those of the design's pictures, for show.
type fakePlant struct {
	frames   []PlantFrame
	list     []PlantSummary
	noLives  bool
	failures int          // of the stepped splices; 0: twelve
	moves    bool         // changes of defaults and costs move a date
	asked    []LifeChange // what was asked to move
	staff    []assets.Person
	fleet    *Fleet
	past     map[int64]*Past
	orders   []workorder.Order
	events   []workorder.Event
	stops    []assets.StopWindow
	remind   []rules.Occurrence
	doubts   []rules.Doubt
	retired  []assets.Conveyor
	news     News
	held     int
	grades   []assets.Finding
	steps    []Act // steps taken
	owner    Owner
	kept     []string // what the forms of the owner's side kept
	grantAll bool     // grants are for all plants, not for plant 3
	made     []Resplice
	draft    assets.PlanDraft
	plans    []assets.PublishedPlan
	books    *fakeOffice
}

func skarrow() *fakePlant {
	p := assets.Plant{CustomerID: 1, Name: "Skarrow Grain Terminal", Zone: "Europe/Oslo", UnitSystem: assets.UnitsSI, Currency: "NOK"}
	p.ID = 3
	read := assets.InstantOf(time.Date(2026, 11, 24, 17, 0, 0, 0, time.UTC))
	f := &fakePlant{
		frames: []PlantFrame{{Plant: p, Conveyors: 15, Splices: 32, HoursReadTo: read, Records: 18204}},
		list:   []PlantSummary{{Plant: p, Customer: "Skarrow Harbour", Conveyors: 15, Splices: 32, Open: 10, Overdue: 1, ReadTo: read}},
		staff: []assets.Person{
			{ID: 1, Name: "I. Vanterel", Role: assets.RolePlanner}, {ID: 2, Name: "R. Asquenne", Role: assets.RoleTechnician},
			{ID: 3, Name: "S. Ilveth", Role: assets.RoleAuditor},
		},
		news: News{People: map[int64]string{1: "I. Vanterel", 2: "R. Asquenne"}},
		past: map[int64]*Past{},
	}
	f.fillFleet(p)
	f.fillOrders()
	f.fillOwner(p)
	return f
}

func (f *fakePlant) PlantFrame(_ context.Context, scope assets.Scope, id int64) (PlantFrame, error) {
	all, _, plants := scope.Reaches()
	for _, p := range f.frames {
		if p.Plant.ID == id && (all || len(plants) > 0 && plants[0] == id) {
			return p, nil
		}
	}
	return PlantFrame{}, assets.ErrNotFound
}

func (f *fakePlant) PlantList(context.Context, assets.Scope) ([]PlantSummary, error) {
	return f.list, nil
}

func (f *fakePlant) SignIns(context.Context) ([]assets.Person, error) { return f.staff, nil }

func (f *fakePlant) GrantsOf(_ context.Context, id int64) ([]assets.Grant, error) {
	for _, p := range f.staff {
		if p.ID == id && f.grantAll {
			return []assets.Grant{{PersonID: id, Role: p.Role}}, nil
		}
		if p.ID == id {
			return []assets.Grant{{PersonID: id, Role: p.Role, PlantID: 3}}, nil
		}
	}
	return nil, nil
}

// fakeDoor keeps the sessions of a fake plant in memory: one click is all its visitors sign in by.
type fakeDoor struct {
	signin.Store
	plant    *fakePlant
	sessions map[string]assets.Session
}

func (d *fakeDoor) SignIns(ctx context.Context) ([]assets.Person, error) { return d.plant.SignIns(ctx) }

func (d *fakeDoor) OpenSession(_ context.Context, s *assets.Session) error {
	s.ID = int64(len(d.sessions) + 1)
	d.sessions[s.TokenHash] = *s
	return nil
}

func (d *fakeDoor) AskingSession(ctx context.Context, tokenHash string, _ assets.Instant) (assets.Session, assets.Person, []assets.Grant, error) {
	s, ok := d.sessions[tokenHash]
	if !ok {
		return s, assets.Person{}, nil, assets.ErrNotFound
	}
	grants, err := d.plant.GrantsOf(ctx, s.PersonID)
	i := slices.IndexFunc(d.plant.staff, func(p assets.Person) bool { return p.ID == s.PersonID })
	return s, d.plant.staff[i], grants, err
}

func (d *fakeDoor) KeepSession(_ context.Context, s assets.Session) error {
	d.sessions[s.TokenHash] = s
	return nil
}

func (d *fakeDoor) EndSession(_ context.Context, personID, id int64, _ assets.Instant) error {
	maps.DeleteFunc(d.sessions, func(_ string, s assets.Session) bool { return s.ID == id && s.PersonID == personID })
	return nil
}

func (d *fakeDoor) AccountNamed(context.Context, string) (assets.Account, error) {
	return assets.Account{}, assets.ErrNotFound
}

// desk lets people into the fake plant.
func (f *fakePlant) desk(t testing.TB, demo bool) *signin.Desk {
	t.Helper()
	d, err := signin.NewDesk(&fakeDoor{plant: f, sessions: map[string]assets.Session{}}, func() time.Time { return morning },
		slog.New(slog.DiscardHandler), signin.Options{Demo: demo})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func (f *fakePlant) sources() Sources {
	return Sources{Plants: f, Fleets: f, Orders: f, Days: f, Finds: f, Owners: f, Registers: f.office(), Meters: f.office(), RuleBook: f.office(), StopBook: f.office(), CrewBook: f.office(), WeekBook: f.office(), StoreBook: f.office(), Reporting: f.office(), Auditing: f.office(), Catalogues: f.office(), Calendars: f.office(), Importing: f.office(), Lives: f, Horizons: f, Attachments: f.office(), Pressing: f.office(), Worksheets: f.office(), RoundBook: f.office(), Standing: f.office()}
}

// visit is a browser at a site.
type visit struct {
	site   *Site
	t      testing.TB
	h      http.Handler
	cookie []*http.Cookie
	log    *bytes.Buffer
}

// atDoor mounts the screens over a fake plant; nobody is signed in.
func atDoor(t testing.TB, f *fakePlant, demo bool) *visit {
	t.Helper()
	gin.SetMode(gin.TestMode)
	log := &bytes.Buffer{}
	now := func() time.Time { return morning }
	site, err := New(Config{Sources: f.sources(), Desk: f.desk(t, demo), Now: now, Log: slog.New(slog.NewTextHandler(log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	e := gin.New()
	e.HandleMethodNotAllowed = true
	e.Use(gin.CustomRecoveryWithWriter(io.Discard, site.Recover))
	site.Mount(e)
	return &visit{t: t, h: e, log: log, site: site}
}

// as opens the site as the first person of a role.
func as(t testing.TB, f *fakePlant, role assets.Role) *visit {
	t.Helper()
	v := atDoor(t, f, true)
	for _, p := range f.staff {
		if p.Role == role {
			v.post("/signin", url.Values{"person": {Int(p.ID)}}, http.StatusSeeOther)
			return v
		}
	}
	t.Fatalf("nobody is %s", role)
	return nil
}

func (v *visit) do(r *http.Request, status int) *httptest.ResponseRecorder {
	v.t.Helper()
	r.RemoteAddr, r.Host = "127.0.0.1:4000", "localhost:8080"
	for _, c := range v.cookie {
		r.AddCookie(c)
	}
	rec := httptest.NewRecorder()
	v.h.ServeHTTP(rec, r)
	if rec.Code != status {
		v.t.Fatalf("%s %s: status %d, want %d\n%s\n%.600s", r.Method, r.URL, rec.Code, status, v.log, rec.Body)
	}
	if got := rec.Result().Cookies(); len(got) > 0 {
		v.cookie = got
	}
	return rec
}

// get reads a page.
func (v *visit) get(path string) *goquery.Document { return v.page(path, http.StatusOK) }

// page reads a page that comes with a status.
func (v *visit) page(path string, status int) *goquery.Document {
	v.t.Helper()
	return v.read(v.do(httptest.NewRequest("GET", path, nil), status))
}

// post sends a form and reads what comes back.
func (v *visit) post(path string, form url.Values, status int) *goquery.Document {
	v.t.Helper()
	return v.read(v.send(path, form, status))
}

func (v *visit) send(path string, form url.Values, status int) *httptest.ResponseRecorder {
	v.t.Helper()
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return v.do(r, status)
}

func (v *visit) read(rec *httptest.ResponseRecorder) *goquery.Document {
	v.t.Helper()
	d, err := goquery.NewDocumentFromReader(rec.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	sound(v.t, d)
	return d
}

// sound holds for every page: one headline, every reference on the page answered, nothing the policy drops.
func sound(t testing.TB, d *goquery.Document) {
	t.Helper()
	if d.Find("main").Length() == 0 {
		return
	}
	if n := d.Find("h1").Length(); n != 1 {
		t.Errorf("%d headlines", n)
	}
	d.Find("[style], [onclick], style, script:not([src])").Each(func(_ int, s *goquery.Selection) {
		t.Errorf("the page's policy drops %s", goquery.NodeName(s))
	})
	ids := map[string]int{}
	d.Find("[id]").Each(func(_ int, s *goquery.Selection) { ids[s.AttrOr("id", "")]++ })
	for id, n := range ids {
		if n > 1 {
			t.Errorf("id %q stands %d times", id, n)
		}
	}
	for _, ref := range []string{"for", "aria-labelledby", "aria-describedby"} {
		d.Find("[" + ref + "]").Each(func(_ int, s *goquery.Selection) {
			if id := s.AttrOr(ref, ""); ids[id] == 0 {
				t.Errorf("%s=%q points nowhere", ref, id)
			}
		})
	}
	d.Find(`a[href=""], a[href="#"], form[action=""]`).Each(func(_ int, s *goquery.Selection) {
		t.Errorf("dead link %q", s.Text())
	})
}

// text is the text of the first match, blanks made plain.
func text(d *goquery.Document, selector string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(d.Find(selector).First().Text(), nb, " ")), " ")
}
