package web

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/gin-gonic/gin"

	"carryside/assets"
)

func TestNobodySignedInIsAskedFirst(t *testing.T) {
	v := atDoor(t, skarrow(), true)
	rec := v.do(httptest.NewRequest("GET", "/plants?line=2", nil), http.StatusSeeOther)
	if to := rec.Header().Get("Location"); to != "/signin?to="+url.QueryEscape("/plants?line=2") {
		t.Errorf("leads to %s", to)
	}
	d := v.get("/signin?to=%2Fplants%2F3")
	if got := d.Find("form.who button").Length(); got != 3 {
		t.Errorf("%d people to choose from, want 3", got)
	}
	if to := d.Find("form.who input[name=to]").AttrOr("value", ""); to != "/plants/3" {
		t.Errorf("after signing in it leads to %q", to)
	}
}

func TestSignInLeadsBackToThisSiteOnly(t *testing.T) {
	for _, to := range []string{"https://elsewhere.example/", "//elsewhere.example", `/\elsewhere.example`, "plants"} {
		v := atDoor(t, skarrow(), true)
		rec := v.send("/signin", url.Values{"person": {"1"}, "to": {to}}, http.StatusSeeOther)
		if got := rec.Header().Get("Location"); got != "/" {
			t.Errorf("%q leads to %q", to, got)
		}
	}
}

func TestDemonstrationOffersEachRoleOfThePlantsWithOneClick(t *testing.T) {
	f := skarrow()
	f.staff = append(f.staff, assets.Person{ID: 76, Name: "A. Kesterlane", Role: assets.RoleLead})
	v := atDoor(t, f, true)
	d := v.get("/signin")
	for i, role := range []string{"planner", "technician", "lead", "auditor"} {
		if got := d.Find("form.who button").Eq(i).Text(); !strings.Contains(got, "Sign in as "+role) {
			t.Errorf("button %d: %q", i, got)
		}
	}
	v.post("/signin", url.Values{"name": {"Somebody"}, "role": {"planner"}}, http.StatusUnprocessableEntity)
	v.send("/signin", url.Values{"person": {"3"}}, http.StatusSeeOther)
	if who := text(v.get("/plants"), ".beltbar"); !strings.Contains(who, "S. Ilveth, auditor") {
		t.Errorf("head says %q", who)
	}
}

func TestAnInstallationHasNoOneClick(t *testing.T) {
	v := atDoor(t, skarrow(), false)
	d := v.get("/signin")
	if d.Find("form.who").Length() != 0 || d.Find("input[type=password][autocomplete=current-password]").Length() != 1 {
		t.Error("the page asks for a name and a password, and offers nobody")
	}
	d = v.post("/signin", url.Values{"person": {"1"}}, http.StatusUnprocessableEntity)
	if d.Find("#f-name[aria-invalid=true]").Length() != 1 || d.Find("#f-password[aria-invalid=true]").Length() != 1 {
		t.Error("both fields are marked when nothing was typed")
	}
	d = v.post("/signin", url.Values{"name": {"i.vanterel"}, "password": {"a wrong one"}}, http.StatusUnprocessableEntity)
	if says := text(d, ".note.bad"); !strings.Contains(says, "do not go together") || !strings.Contains(says, "this was try 1") {
		t.Errorf("the page says %q", says)
	}
	if d.Find("#f-name").AttrOr("value", "") != "i.vanterel" || d.Find("#f-password").AttrOr("value", "") != "" {
		t.Error("the name comes back, the password does not")
	}
	if len(v.cookie) != 0 {
		t.Error("a refused sign-in sets a cookie")
	}
}

func TestSignInIsForThisMachineOnly(t *testing.T) {
	v := atDoor(t, skarrow(), true)
	for _, host := range []string{"plant.example:8080", "192.0.2.4:8080"} {
		r := httptest.NewRequest("POST", "/signin", strings.NewReader("person=1"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.RemoteAddr, r.Host = "127.0.0.1:4000", host
		rec := httptest.NewRecorder()
		v.h.ServeHTTP(rec, r)
		if rec.Code != http.StatusForbidden || len(rec.Result().Cookies()) != 0 {
			t.Errorf("asked for as %s: %d", host, rec.Code)
		}
	}
}

func TestSignOut(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	v.get("/plants")
	v.send("/signout", nil, http.StatusSeeOther)
	v.do(httptest.NewRequest("GET", "/plants", nil), http.StatusSeeOther)
}

func TestWhatIsNotThereAndNotGrantedLooksTheSame(t *testing.T) {
	f := skarrow()
	other := f.frames[0]
	other.Plant.ID, other.Plant.Name = 4, "Hidden Works"
	f.frames = append(f.frames, other)
	v := as(t, f, assets.RolePlanner)
	var bodies []string
	for _, path := range []string{"/plants/4", "/plants/99", "/plants/x", "/no/such/page"} {
		d := v.page(path, http.StatusNotFound)
		bodies = append(bodies, text(d, "main"))
		if strings.Contains(d.Text(), "Hidden") {
			t.Errorf("%s tells of a plant outside the grant", path)
		}
	}
	for _, b := range bodies[1:] {
		if b != bodies[0] {
			t.Errorf("answers differ: %q and %q", bodies[0], b)
		}
	}
}

func TestProblemDocumentBelowAPI(t *testing.T) {
	v := atDoor(t, skarrow(), false)
	rec := v.do(httptest.NewRequest("GET", "/api/v1/nothing", nil), http.StatusNotFound)
	if ct := rec.Header().Get("Content-Type"); ct != "application/problem+json" {
		t.Errorf("content type %q", ct)
	}
}

func TestMethodThatIsNotTaken(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	rec := v.do(httptest.NewRequest("DELETE", "/plants", nil), http.StatusMethodNotAllowed)
	if !strings.Contains(rec.Header().Get("Allow"), "GET") {
		t.Errorf("Allow: %q", rec.Header().Get("Allow"))
	}
	if got := text(v.read(rec), "h1"); got == "" {
		t.Error("no page says so")
	}
}

func TestStaticFilesAreKeptForAYearUnderTheirHash(t *testing.T) {
	v := atDoor(t, skarrow(), false)
	d := v.get("/signin")
	for _, sel := range []string{"link[rel=stylesheet]", "link[rel=preload]", "link[rel=icon]", "script"} {
		href := d.Find(sel).First().AttrOr("href", d.Find(sel).First().AttrOr("src", ""))
		r := httptest.NewRequest("GET", href, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		rec := v.do(r, http.StatusOK)
		if cc := rec.Header().Get("Cache-Control"); !strings.Contains(cc, "immutable") {
			t.Errorf("%s: %q", href, cc)
		}
		if packed := rec.Header().Get("Content-Encoding") == "gzip"; packed == strings.HasSuffix(href, "woff2") {
			t.Errorf("%s: gzip %v", href, packed)
		}
	}
	v.do(httptest.NewRequest("GET", "/static/css/app.css", nil), http.StatusNotFound)
}

func TestStyleSheetNamesFontsByTheirHash(t *testing.T) {
	s, err := loadStatics(fstest.MapFS{
		"css/a.css":        {Data: []byte(`@font-face{src:url(../fonts/text.woff2)}`)},
		"fonts/text.woff2": {Data: []byte("font")},
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := string(s.files[s.hashed["css/a.css"]].plain); !strings.Contains(got, "url(../"+s.hashed["fonts/text.woff2"]+")") {
		t.Errorf("sheet says %s", got)
	}
}

func TestScreensAndFilesMustAgree(t *testing.T) {
	url := func(s string) (string, error) { return s, nil }
	base := func(extra string) fstest.MapFS {
		return fstest.MapFS{"layout.html": {Data: []byte(`{{template "main" .}}`)}, "parts/a.html": {Data: []byte("")},
			"screens/belts.html": {Data: []byte(`{{define "main"}}x{{end}}`)}, "screens/" + extra: {Data: []byte(`{{define "main"}}y{{end}}`)}}
	}
	if _, err := loadViews(base("stray.html"), []string{"belts"}, url); err == nil || !strings.Contains(err.Error(), "stray") {
		t.Errorf("a file without a screen: %v", err)
	}
	if _, err := loadViews(base("belts.html"), []string{"belts", "orders"}, url); err == nil || !strings.Contains(err.Error(), "orders") {
		t.Errorf("a screen without a file: %v", err)
	}
	if _, err := New(Config{}); err == nil || !strings.Contains(err.Error(), "no source for Plants") {
		t.Errorf("a source left out: %v", err)
	}
}

func TestThemeIsRemembered(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	session := v.cookie
	rec := v.send("/theme", url.Values{"theme": {"dark"}, "to": {"/plants"}}, http.StatusSeeOther)
	v.cookie = append(rec.Result().Cookies(), session...)
	if got := v.get("/plants").Find("html").AttrOr("data-theme", ""); got != "dark" {
		t.Errorf("theme %q", got)
	}
	v.send("/theme", url.Values{"theme": {"pink"}}, http.StatusUnprocessableEntity)
}

func TestEveryRouteSaysWhoMayUseIt(t *testing.T) {
	for _, rt := range routes() {
		if rt.May == "" || rt.Do == nil || rt.Under == "" && rt.Method == http.MethodGet {
			t.Errorf("%s %s lacks who may, screen or handler", rt.Method, rt.Path)
		}
	}
}

func TestPlantsSayTheWorst(t *testing.T) {
	plant := func(name string, late int) PlantSummary {
		return PlantSummary{Plant: assets.Plant{Name: name}, Overdue: late}
	}
	tests := []struct {
		all  []PlantSummary
		want string
	}{
		{nil, "No plant is open to you yet"},
		{[]PlantSummary{plant("Skarrow", 0)}, "Skarrow has no order past its latest date"},
		{[]PlantSummary{plant("Skarrow", 1)}, "Skarrow has one order past its latest date"},
		{[]PlantSummary{plant("Skarrow", 0), plant("Ostrel", 3)}, "Ostrel has three orders past their latest dates"},
		{[]PlantSummary{plant("Skarrow", 0), plant("Ostrel", 0)}, "None of 2 plants has an order past its latest date"},
		{[]PlantSummary{plant("Skarrow", 1), plant("Ostrel", 3)}, "Two plants, all there are, have orders past their latest date; Ostrel has the most, three"},
	}
	for _, tt := range tests {
		if got := strings.ReplaceAll(plantsSay(tt.all), nb, " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

func TestListOfPlants(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants")
	if got := text(d, "section[aria-labelledby=ap] tbody tr:nth-child(2)"); got != "Skarrow Grain Terminal153210124 Nov 2026, 18:000" {
		t.Errorf("row %q", got)
	}
	f := skarrow()
	f.list = nil
	if got := text(as(t, f, assets.RolePlanner).get("/plants"), ".empty h2"); got != "No plant yet" {
		t.Errorf("empty list says %q", got)
	}
}

func TestDevModeReadsTheFolderAnew(t *testing.T) {
	dir := t.TempDir()
	for _, part := range []string{"templates", "static"} {
		if err := os.CopyFS(dir+"/"+part, os.DirFS(part)); err != nil {
			t.Fatal(err)
		}
	}
	f := skarrow()
	now := func() time.Time { return morning }
	site, err := New(Config{Sources: f.sources(), Desk: f.desk(t, true), Now: now, Log: slog.New(slog.DiscardHandler), Dev: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(dir+"/templates/screens/find.html", []byte(`{{define "main"}}changed by hand{{end}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	e := gin.New()
	site.Mount(e)
	v := &visit{t: t, h: e, log: &bytes.Buffer{}}
	v.send("/signin", url.Values{"person": {"1"}}, http.StatusSeeOther)
	if got := v.get("/plants/3/find").Find("main").Text(); !strings.Contains(got, "changed by hand") {
		t.Errorf("the page is %q", got)
	}
}

func TestBodyOverItsLimitAndBodyThatIsNoForm(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	big := url.Values{"title": {strings.Repeat("x", formLimit)}}
	if got := text(v.post("/plants/3/orders/new", big, http.StatusRequestEntityTooLarge), "h1"); got != "What was sent is too large" {
		t.Errorf("headline %q", got)
	}
	r := httptest.NewRequest("POST", "/plants/3/orders/new", strings.NewReader("a=%zz"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if got := text(v.read(v.do(r, http.StatusBadRequest)), "h1"); got != "The form could not be read" {
		t.Errorf("headline %q", got)
	}
}

func TestTroubleOfOurOwnIsAPageWithAReference(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	f.fleet = nil // what a source must never return
	d := v.page("/plants/3/belts", http.StatusInternalServerError)
	reference := d.Find("main section b").First().Text()
	if len(reference) != 8 || !strings.Contains(v.log.String(), reference) {
		t.Errorf("reference %q, log %s", reference, v.log)
	}
	if strings.Contains(d.Text(), "nil pointer") {
		t.Error("the page tells the error's own text")
	}
}
