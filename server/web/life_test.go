package web

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
)

// LifeBook gives stepped splices that failed at 100, 200 ... 1,200 days, a finger splice that never did, and one of which
// nobody knows why it ended.
func (f *fakePlant) LifeBook(_ context.Context, _ assets.Scope, _ int64, way string, _ time.Time) (*LifeBook, error) {
	b := &LifeBook{Fitted: morning, Kinds: []assets.SpliceKind{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Values: []assets.CatalogueValue{{Quantity: due.WorkH, Value: 8, Unit: "h"}}}}}
	if f.noLives {
		return b, nil
	}
	usage := func(_, _ int64, _, _ time.Time) (float64, float64) { return math.NaN(), math.NaN() }
	add := func(id int64, key cohort.Key, days int, why assets.RetiredWhy) {
		s := cohort.Splice{Tag: "Q1", Key: key, Zone: calendar.Zone{}, Record: &cohort.Record{PlantID: 3, Plant: "Skarrow Grain Terminal", Since: morning.AddDate(-20, 0, 0), Why: "the month of the first ending in the register"}}
		s.ID, s.PlantID, s.ConveyorID, s.Number = id, 3, 1, "1"
		s.Made = assets.Exactly(morning.AddDate(0, 0, -days-10), time.UTC)
		if why != "" {
			end := morning.AddDate(0, 0, -10)
			at := assets.InstantOf(end)
			s.Ended, s.Retired, s.RetiredWhy, s.FailureMode = &at, assets.Exactly(end, time.UTC), why, "opened"
		}
		b.Lives = append(b.Lives, cohort.Observe(s, usage, morning).For(way))
	}
	stepped := cohort.Key{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Family: "RB-EP", Duty: "plain"}
	finger := cohort.Key{Form: assets.FormFinger, Bond: assets.BondHotPressed, Family: "LT-PVC", Duty: "plain"}
	for i := range cmp.Or(f.failures, 12) {
		add(int64(i+1), stepped, 100*(i+1), assets.RetiredFailed)
	}
	add(20, stepped, 300, assets.RetiredUnknown)
	add(21, finger, 500, "")
	laws, err := cohort.Study(cohort.Sort(b.Lives))
	b.Laws = laws
	return b, err
}

// WhatMoves says that splice 2 of Q3 is recommended 62 days earlier.
func (f *fakePlant) WhatMoves(_ context.Context, _ assets.Scope, _ int64, _ time.Time, c LifeChange) (*Moves, error) {
	f.asked = append(f.asked, c)
	if !f.moves {
		return &Moves{Plants: 1}, nil
	}
	before, after := due.Advice{At: morning.AddDate(0, 0, 100), Day: "2027-03-05"}, due.Advice{At: morning.AddDate(0, 0, 38), Day: "2027-01-02", Reason: "best age 364 000 passes"}
	other := due.Advice{At: morning.AddDate(0, 0, 95), Day: "2027-02-28", Reason: "best age 364 000 passes"}
	return &Moves{Plants: 14, Left: []string{"Ostermoor Mill"}, Rows: []Move{
		{PlantID: 3, Plant: "Skarrow Grain Terminal", Name: "Q3 splice 2", SpliceID: f.fleet.Standings[4].SpliceID, Before: due.Forecast{Advice: before}, After: due.Forecast{Advice: after}},
		{PlantID: 4, Plant: "Ferrant Parcel Hub", Name: "D2 splice 1", SpliceID: 99, Before: due.Forecast{Advice: before}, After: due.Forecast{Advice: other}}}}, nil
}

func TestAPlannerLooksAtHowLongStepSplicesLast(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	doc := v.get("/plants/3/life")
	if h := doc.Find("h1").Text(); !strings.HasPrefix(h, "Hot vulcanised, stepped splices cost least when remade at ") {
		t.Errorf("the headline says %q", h)
	}
	if sub := doc.Find(".say p").Text(); !strings.Contains(sub, "12\u00a0failures among 13\u00a0lives") {
		t.Errorf("it rests on %q", sub)
	}
	if n := doc.Find("svg path.st-fault").Length(); n != 13 { // twelve lives and the key
		t.Errorf("%d crosses", n)
	}
	if n := doc.Find("table tr.now").Length(); n != 1 {
		t.Errorf("%d cohorts are the one shown", n)
	}
	v.page("/plants/3/life?cohort=none", http.StatusNotFound)
}

// A cohort with a shape that is not its own has a band as well: what its lives leave open of the scale.
func TestACohortThatBorrowsItsShapeHasABandToo(t *testing.T) {
	f := skarrow()
	f.failures = 2
	doc := as(t, f, assets.RolePlanner).get("/plants/3/life")
	if head := plainly(doc.Find("details.facts-t thead").First().Text()); !strings.Contains(head, "Age, days") {
		t.Errorf("ages without their unit: %s", head)
	}
	row := doc.Find("details.facts-t tbody").First().Find("tr").Eq(4)
	fitted, band := row.Find("td").Eq(2).Text(), plainly(row.Find("td").Eq(3).Text())
	var low, mid, up int
	if _, err := fmt.Sscanf(plainly(fitted)+" "+band, "%d %% %d %% to %d %%", &mid, &low, &up); err != nil || !(low < mid && mid < up && up-low > 20) {
		t.Errorf("%s has the band %s (%v)", fitted, band, err)
	}
	if rests := plainly(doc.Text()); !strings.Contains(rests, "shape 2.0 by rule of thumb") {
		t.Error("nothing says where the shape comes from")
	}
}

func TestACohortWithoutFailureSetsNoDate(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	doc := v.get("/plants/3/life?cohort=hot+pressed%2C+finger%2C+on+LT-PVC%2C+plain")
	if h := doc.Find("h1").Text(); h != "Its only splice has not failed yet: no date is set from its life" {
		t.Errorf("the headline says %q", h)
	}
	if doc.Find("svg path.fit").Length() != 2 { // the key and an empty curve
		t.Error("a curve is drawn without a failure")
	}
}

func TestEveryLifeSaysWhyItCountsSo(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	doc := v.get("/plants/3/life/lives?cohort=hot+vulcanised%2C+stepped%2C+on+RB-EP%2C+plain")
	rows := doc.Find("tbody tr")
	if rows.Length() != 13 {
		t.Fatalf("%d rows", rows.Length())
	}
	if first := rows.First().Text(); !strings.Contains(first, "Did it fail, or was it replaced while sound?") {
		t.Errorf("the one with a question does not stand first: %s", first)
	}
	if last := rows.Last().Text(); !strings.Contains(last, "Failed (opened)") {
		t.Errorf("%s", last)
	}
}

// Asked about one way of failing, the page counts the others as sound and tells no best age; a way that the cohort does not know
// is passed over.
func TestOneWayOfFailingAlone(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	doc := v.get("/plants/3/life?way=opened")
	if h := doc.Find("h1").Text(); !strings.HasPrefix(h, "If opened were the only way to fail, half of hot vulcanised, stepped splices would fail by ") {
		t.Errorf("the headline says %q", h)
	}
	if sub := plainly(doc.Find(".say p").Text()); !strings.Contains(sub, "Only failures by opened count here") || doc.Find("#wc").Length() != 0 {
		t.Errorf("%q, and costs are shown: %v", sub, doc.Find("#wc").Length() != 0)
	}
	if got := plainly(doc.Find("#wy option[selected]").Text()); got != "opened, 12" {
		t.Errorf("chosen is %q", got)
	}
	if to := doc.Find("#ec ~ .more a").AttrOr("href", ""); !strings.HasSuffix(to, "&way=opened") {
		t.Errorf("the lives stand at %q", to)
	}
	if h := v.get("/plants/3/life?way=tramp+iron").Find("h1").Text(); !strings.Contains(h, "cost least when remade at ") {
		t.Errorf("a way nobody saw gives %q", h)
	}
}

func TestATechnicianSeesNoCosts(t *testing.T) {
	if doc := as(t, skarrow(), assets.RoleTechnician).get("/plants/3/life"); strings.Contains(doc.Text(), "What each replacement age costs") {
		t.Error("costs are shown")
	}
}

func TestAPlantThatHasTaughtNothingYet(t *testing.T) {
	f := skarrow()
	f.noLives = true
	v := as(t, f, assets.RolePlanner)
	if doc := v.get("/plants/3/life"); doc.Find(".empty").Length() != 1 {
		t.Error("nothing says what is missing")
	}
}

// A default that moves dates comes back once with what it moves; nothing typed is lost and nothing is kept before.
func TestAChangedDefaultShowsWhatItMovesBeforeItIsKept(t *testing.T) {
	f := withLead(skarrow())
	f.moves = true
	v := as(t, f, assets.RoleLead)
	const path = "/plants/3/catalogues/kinds/8"
	form := url.Values{"version": {markOf(assets.Version{ID: 8, RowID: 508})}, "form": {"stepped"}, "bond": {"hot-vulcanised"}, "rows": {"2"}, "from": {"now"}, "reason": {"stops are dearer"},
		"v1_quantity": {"life_days"}, "v1_value": {"1 460"}, "v1_class": {"D"}, "v1_source": {"common practice"},
		"v2_quantity": {due.LabourCost}, "v2_value": {"40 000"}, "v2_class": {"P"}, "v2_source": {"last year's invoices"}}
	d := v.post(path, form, http.StatusOK)
	if len(f.office().kept) != 0 {
		t.Fatalf("kept before it was shown: %+v", f.office().kept)
	}
	row := plainly(d.Find("#mv").Parent().Text())
	for _, want := range []string{"moves the forecast of 2 splices at 2 plants", "Q3 splice 2", "5 Mar 2027", "2 Jan 2027", "62 days earlier", "best age 364 000 passes",
		"Ferrant Parcel Hub", "D2 splice 1: 5 days earlier", "Reckoned for the 13 plants you may see", "Not reckoned, for want of time: Ostermoor Mill"} {
		if !strings.Contains(row, want) {
			t.Errorf("%q is not in %q", want, row)
		}
	}
	if got := d.Find("#f-v2_value").AttrOr("value", ""); got != "40 000" {
		t.Errorf("40 000 was typed and came back as %q", got)
	}
	form.Set(movesSeen, d.Find(`[name="`+movesSeen+`"]`).AttrOr("value", ""))
	v.taken(path, form)
	if k := one[assets.SpliceKind](t, f.office()); len(k.Values) != 2 || k.Values[1].Value != 40_000 || k.Values[1].Unit != "NOK" {
		t.Errorf("kept %+v", k)
	}
	if len(f.asked) != 2 || f.asked[0].Kind == nil || f.asked[0].Kind.ID != 8 {
		t.Errorf("asked %+v", f.asked)
	}
}

func TestAChangeThatMovesNothingIsKeptAtOnce(t *testing.T) {
	f := withLead(skarrow())
	v := as(t, f, assets.RoleLead)
	v.taken("/plants/3/catalogues/kinds/8", url.Values{"version": {markOf(assets.Version{ID: 8, RowID: 508})}, "form": {"stepped"}, "bond": {"hot-vulcanised"}, "rows": {"1"}, "from": {"now"},
		"v1_quantity": {"life_days"}, "v1_value": {"1 500"}, "v1_class": {"D"}, "v1_source": {"common practice"}})
}

func TestMovesInWords(t *testing.T) {
	at := func(days int) due.Forecast { return due.Forecast{Advice: due.Advice{At: morning.AddDate(0, 0, days)}} }
	for want, m := range map[string]Move{"62 days earlier": {Before: at(100), After: at(38)}, "1 day later": {Before: at(10), After: at(11)}, "gets a date": {After: at(5)},
		"loses its date": {Before: at(5)}, "best age or chance only": {Before: at(5), After: at(5)}} {
		if got := plainly(m.byWords()); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
