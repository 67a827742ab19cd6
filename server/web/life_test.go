package web

import (
	"context"
	"math"
	"net/http"
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
func (f *fakePlant) LifeBook(context.Context, assets.Scope, int64, time.Time) (*LifeBook, error) {
	b := &LifeBook{Fitted: morning, Kinds: []assets.SpliceKind{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Values: []assets.CatalogueValue{{Quantity: due.WorkH, Value: 8, Unit: "h"}}}}}
	if f.noLives {
		return b, nil
	}
	usage := func(_, _ int64, _, _ time.Time) (float64, float64) { return math.NaN(), math.NaN() }
	add := func(id int64, key cohort.Key, days int, why assets.RetiredWhy) {
		s := cohort.Splice{Tag: "Q1", Key: key, Zone: calendar.Zone{}, Watched: morning.AddDate(-20, 0, 0)}
		s.ID, s.PlantID, s.ConveyorID, s.Number = id, 3, 1, "1"
		s.Made = assets.Exactly(morning.AddDate(0, 0, -days-10), time.UTC)
		if why != "" {
			end := morning.AddDate(0, 0, -10)
			at := assets.InstantOf(end)
			s.Ended, s.Retired, s.RetiredWhy, s.FailureMode = &at, assets.Exactly(end, time.UTC), why, "opened"
		}
		b.Lives = append(b.Lives, cohort.Observe(s, usage, morning, ""))
	}
	stepped := cohort.Key{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Family: "RB-EP", Duty: "plain"}
	finger := cohort.Key{Form: assets.FormFinger, Bond: assets.BondHotPressed, Family: "LT-PVC", Duty: "plain"}
	for i := range 12 {
		add(int64(i+1), stepped, 100*(i+1), assets.RetiredFailed)
	}
	add(20, stepped, 300, assets.RetiredUnknown)
	add(21, finger, 500, "")
	laws, err := cohort.Study(cohort.Sort(b.Lives))
	b.Laws = laws
	return b, err
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

func TestACohortWithoutFailureSetsNoDate(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	doc := v.get("/plants/3/life?cohort=hot+pressed%2C+finger%2C+on+LT-PVC%2C+plain")
	if h := doc.Find("h1").Text(); h != "None of 1\u00a0splice has failed yet: no date is set from their life" {
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
