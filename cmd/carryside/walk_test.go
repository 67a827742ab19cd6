package main

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/jobs"
	"carryside/cmd/carryside/machine"
	"carryside/server"

	"github.com/PuerkitoBio/goquery"
)

// plantDay is the moment the plants of these tests stand at: 25 November 2026, 06:40 in Oslo.
var plantDay = time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)

// house is the whole program behind its handler, on a database of its own that holds the demonstration's plants.
type house struct {
	t    *testing.T
	db   *plantdb.DB
	base string
}

func openHouse(t *testing.T) *house {
	t.Helper()
	db := plantdbtest.Open(t)
	d := demoCommand{}
	if err := d.fill(t.Context(), db, plantDay); err != nil {
		t.Fatal(err)
	}
	return serveHouse(t, db)
}

func serveHouse(t *testing.T, db *plantdb.DB) *house {
	t.Helper()
	return serveHouseAt(t, db, plantDay.Add(time.Hour))
}

func serveHouseAt(t *testing.T, db *plantdb.DB, at time.Time) *house {
	t.Helper()
	h, err := server.Handler(houseConfigAt(db, slog.New(slog.DiscardHandler), at))
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return &house{t: t, db: db, base: s.URL}
}

// houseConfig is what the handler of a house is made of.
func houseConfig(db *plantdb.DB, log *slog.Logger) server.Config {
	return houseConfigAt(db, log, plantDay.Add(time.Hour))
}

func houseConfigAt(db *plantdb.DB, log *slog.Logger, at time.Time) server.Config {
	now := func() time.Time { return at }
	front := desk.New(db, now, jobs.Evaluator(db, log), "test")
	return server.Config{Sources: front.Sources(), People: front, Now: now, Log: log, Door: demoDoor.Options, LoopbackOnly: true, Tokens: machine.NewKeys(db, log)}
}

// visitor is somebody signed in.
type visitor struct {
	*house
	client *http.Client
}

// as signs a person in by name.
func (h *house) as(name string) *visitor {
	h.t.Helper()
	people, err := registry.People(h.t.Context(), h.db, assets.JobScope(), true)
	if err != nil {
		h.t.Fatal(err)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		h.t.Fatal(err)
	}
	v := &visitor{h, &http.Client{Jar: jar}}
	for _, p := range people {
		if p.Name == name {
			v.post("/signin", url.Values{"person": {fmt.Sprint(p.ID)}}, http.StatusOK)
			return v
		}
	}
	h.t.Fatalf("nobody is called %s", name)
	return nil
}

func (v *visitor) read(r *http.Response, err error) (*goquery.Document, int) {
	v.t.Helper()
	if err != nil {
		v.t.Fatal(err)
	}
	defer r.Body.Close()
	d, err := goquery.NewDocumentFromReader(r.Body)
	if err != nil {
		v.t.Fatal(err)
	}
	return d, r.StatusCode
}

func (v *visitor) get(path string) *goquery.Document {
	v.t.Helper()
	d, status := v.read(v.client.Get(v.base + path))
	if status != http.StatusOK {
		v.t.Fatalf("%s: status %d: %s", path, status, d.Find("h1").Text())
	}
	return d
}

func (v *visitor) post(path string, values url.Values, want int) *goquery.Document {
	v.t.Helper()
	d, status := v.read(v.client.PostForm(v.base+path, values))
	if status != want {
		v.t.Fatalf("post to %s: status %d, want %d: %s %s", path, status, want, d.Find("h1").Text(), d.Find(".note.bad, .errors, [data-bad]").Text())
	}
	return d
}

// submit fills the form that has the button in and sends it, as a browser does.
func (v *visitor) submit(path, button string, typed map[string]string, want int) *goquery.Document {
	v.t.Helper()
	page := v.get(path)
	form := page.Find("form").FilterFunction(func(_ int, f *goquery.Selection) bool {
		return f.Find("button").FilterFunction(func(_ int, b *goquery.Selection) bool { return strings.TrimSpace(b.Text()) == button }).Length() > 0
	}).First()
	if form.Length() == 0 {
		v.t.Fatalf("%s has no form with the button %q", path, button)
	}
	values := filled(form)
	form.Find("button[name]").Each(func(_ int, b *goquery.Selection) {
		if strings.TrimSpace(b.Text()) == button {
			values.Set(b.AttrOr("name", ""), b.AttrOr("value", ""))
		}
	})
	for name, value := range typed {
		if _, has := values[name]; !has && form.Find(fmt.Sprintf("[name=%q]", name)).Length() == 0 {
			v.t.Fatalf("the form %q of %s has no field %s; it has %v", button, path, name, values)
		}
		values.Set(name, value)
	}
	return v.post(form.AttrOr("action", path), values, want)
}

// filled is what a form sends untouched.
func filled(form *goquery.Selection) url.Values {
	values := url.Values{}
	form.Find("input[name], textarea[name]").Each(func(_ int, i *goquery.Selection) {
		kind := i.AttrOr("type", "text")
		_, checked := i.Attr("checked")
		if (kind == "checkbox" || kind == "radio") && !checked {
			return
		}
		value := i.AttrOr("value", "")
		if goquery.NodeName(i) == "textarea" {
			value = i.Text()
		}
		values.Add(i.AttrOr("name", ""), value)
	})
	form.Find("select[name]").Each(func(_ int, s *goquery.Selection) {
		chosen := s.Find("option[selected]")
		if chosen.Length() == 0 {
			chosen = s.Find("option").First()
		}
		values.Add(s.AttrOr("name", ""), chosen.AttrOr("value", chosen.Text()))
	})
	return values
}

// openResplice returns the number of an open re-splice of the grain terminal and its splice.
func (h *house) openResplice(p *visitor) (path string, splice assets.Splice) {
	h.t.Helper()
	var rows []struct {
		Number, SpliceID int64
		State            string
	}
	err := h.db.SQL(h.t.Context()).Raw("SELECT number, splice_id, state FROM orders WHERE plant_id = 1 AND kind = 're-splice' AND state IN ('raised','accepted','placed') AND known_to IS NULL AND valid_to IS NULL ORDER BY number").Scan(&rows).Error
	if err != nil {
		h.t.Fatal(err)
	}
	for _, row := range rows {
		path = fmt.Sprintf("/plants/1/orders/%d", row.Number)
		if row.State == "raised" {
			p.submit(path, "Accept it", nil, http.StatusOK)
		}
		if row.State != "placed" && p.get(path).Find("button").FilterFunction(func(_ int, b *goquery.Selection) bool { return strings.TrimSpace(b.Text()) == "Place it" }).Length() == 0 {
			continue // no stop ahead of it is long enough
		}
		if splice, err = registry.Splice(h.t.Context(), h.db, assets.JobScope(), row.SpliceID, plantdb.AsOf{}); err != nil {
			h.t.Fatal(err)
		}
		return path, splice
	}
	h.t.Fatalf("none of %d open re-splices of the demonstration can be placed", len(rows))
	return "", splice
}

func TestARespliceIsTakenFromRaisedToSignedAndTheRegisterFollows(t *testing.T) {
	h := openHouse(t)
	planner, fitter := h.as("I. Vanterel"), h.as("M. Okkerdal")
	order, old := h.openResplice(planner)
	state := func() string {
		var s string
		h.db.SQL(t.Context()).Raw("SELECT state FROM orders WHERE plant_id = 1 AND number = ? AND known_to IS NULL AND valid_to IS NULL", strings.TrimPrefix(order, "/plants/1/orders/")).Scan(&s)
		return s
	}
	if state() == "raised" {
		planner.submit(order, "Accept it", nil, http.StatusOK)
	}
	if state() == "accepted" {
		planner.submit(order, "Place it", map[string]string{}, http.StatusOK)
	}
	if s := state(); s != "placed" {
		t.Fatalf("the order is %s, want placed", s)
	}
	before := loopOf(t, h, old.BeltID)
	fitter.submit(order, "Work has started", map[string]string{"at": "2026-11-25T06:45"}, http.StatusOK)
	fitter.submit(order, doneButton(t, fitter, order), map[string]string{"at": "2026-11-25T07:30", "hours": "8.5", "shortening_m": "1550"}, http.StatusOK)
	ended, err := registry.Splice(t.Context(), h.db, assets.JobScope(), old.ID, plantdb.AsOf{})
	if err != nil || ended.Ended == nil {
		t.Fatalf("the old splice still runs (%v)", err)
	}
	if got := before - loopOf(t, h, old.BeltID); got < 1.549 || got > 1.551 {
		t.Errorf("the loop is %.3f m shorter, want 1.55", got)
	}
	conveyor := fitter.get(fmt.Sprintf("/plants/1/conveyors/%d", old.ConveyorID)).Text()
	if !regexp.MustCompile(`25 Nov 2026`).MatchString(conveyor) {
		t.Error("the conveyor page does not show the splice made today")
	}
	fitter.submit(order, signButton(t, fitter, order), nil, http.StatusOK)
	if s := state(); s != "signed" {
		t.Errorf("the order is %s, want signed", s)
	}
}

func loopOf(t *testing.T, h *house, belt int64) float64 {
	t.Helper()
	b, err := registry.Belt(t.Context(), h.db, assets.JobScope(), belt, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	return b.LoopLengthM
}

func TestAReadingEnteredOnAScreenMovesTheHoursOfThePage(t *testing.T) {
	h := openHouse(t)
	fitter := h.as("M. Okkerdal")
	var q3 struct{ ID int64 }
	h.db.SQL(t.Context()).Raw("SELECT id FROM conveyors WHERE plant_id = 1 AND tag = 'Q3' AND known_to IS NULL AND valid_to IS NULL").Scan(&q3)
	page := fmt.Sprintf("/plants/1/conveyors/%d", q3.ID)
	before := clockRow(fitter.get(page))
	last, err := clocks.LastReadings(t.Context(), h.db, assets.JobScope(), q3.ID, 1)
	if err != nil {
		t.Fatal(err)
	}
	// Eight hours run in the fourteen since the last reading: more than the projection had expected.
	fitter.submit("/plants/1/readings", "Keep the readings", map[string]string{fmt.Sprintf("h%d", q3.ID): fmt.Sprintf("%.1f", last[0].ShownH+8)}, http.StatusOK)
	after := clockRow(fitter.get(page))
	if before == after {
		t.Errorf("the clocks of the page stand still after a reading: %s", after)
	}
}

// clockRow is the first row of the table of clocks.
func clockRow(d *goquery.Document) string {
	return strings.Join(strings.Fields(d.Find("table").FilterFunction(func(_ int, s *goquery.Selection) bool { return strings.Contains(s.Find("th").Text(), "Running hours") }).Find("tbody tr").First().Text()), " ")
}

func TestAPersonWithoutTheRoleIsRefusedAndNothingIsWritten(t *testing.T) {
	h := openHouse(t)
	auditor := h.as("T. Brannoch")
	order, _ := h.openResplice(h.as("I. Vanterel"))
	head, err := h.db.HeadPosition(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	auditor.post(order, url.Values{"action": {"accept"}, "edit": {"1"}}, http.StatusForbidden)
	auditor.post("/plants/1/rules/1", url.Values{"name": {"mine"}, "do": {"save"}}, http.StatusForbidden)
	if now, _ := h.db.HeadPosition(t.Context(), 1); now != head {
		t.Errorf("the journal moved from %d to %d", head, now)
	}
}

// doneButton and signButton read what the page calls the step.
func doneButton(t *testing.T, v *visitor, order string) string {
	return stepButton(t, v, order, "done")
}
func signButton(t *testing.T, v *visitor, order string) string {
	return stepButton(t, v, order, "sign")
}

func stepButton(t *testing.T, v *visitor, order, action string) string {
	t.Helper()
	form := v.get(order).Find(fmt.Sprintf("form:has(input[name=action][value=%q])", action)).First()
	if form.Length() == 0 {
		t.Fatalf("%s offers no step %q", order, action)
	}
	return strings.TrimSpace(form.Find("button").Last().Text())
}

func TestARetiredConveyorKeepsItsPageAndItsHistory(t *testing.T) {
	h := openHouse(t)
	planner := h.as("I. Vanterel")
	var g1 struct{ ID int64 }
	h.db.SQL(t.Context()).Raw("SELECT id FROM conveyors WHERE plant_id = 1 AND tag = 'G1' AND known_to IS NULL AND valid_to IS NULL").Scan(&g1)
	page := fmt.Sprintf("/plants/1/conveyors/%d", g1.ID)
	planner.submit(page+"/retire", retireButton(planner, page+"/retire"), map[string]string{"retired": "2026-11-24", "reason": "the store it fed is closed"}, http.StatusOK)
	d := planner.get(page)
	if !strings.Contains(d.Find("h1").Text(), "retired") || d.Find("main").Text() == "" {
		t.Errorf("the page of a retired conveyor says %q", d.Find("h1").Text())
	}
	if planner.get("/plants/1/belts").Find(fmt.Sprintf("a[href=%q]", page)).Length() == 0 {
		t.Error("the list of belts does not name the conveyor out of use")
	}
	if h.as("T. Brannoch").get(page).Find("form[method=post]").Length() > 2 { // theme and sign-out
		t.Error("an auditor is offered a form on it")
	}
}

func retireButton(v *visitor, path string) string {
	return strings.TrimSpace(v.get(path).Find("main form button").Last().Text())
}
