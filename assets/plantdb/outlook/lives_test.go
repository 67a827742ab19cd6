package outlook_test

import (
	"context"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/samplefleet"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
)

// The demo's splices are drawn from stated laws. What the register holds of them, with planned replacements, worn belts,
// hours read off meters and dates told as seasons, has those laws inside the 95 % limits of its fits; and the demo shows one
// cohort of each sort: rich, thin, without failures, and one that fails early (shape below 1).
func TestTheDemosLawsAreFoundAgainInItsHistory(t *testing.T) {
	ctx := context.Background()
	today := time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC)
	fleet := samplefleet.Demo(today)
	db := plantdbtest.Open(t)
	if err := fleetdb.Write(ctx, db, fleet); err != nil {
		t.Fatal(err)
	}
	drawn := map[string]string{
		"bolted plate fasteners, on RB-EP, abrasive":           "heavy clips",
		"hot vulcanised, stepped, on RB-EP, abrasive, outdoor": "heavy hot",
		"hot vulcanised, stepped, on RB-EP, abrasive":          "heavy hot",
		"cold bonded, stepped, on RB-EP, abrasive":             "heavy cold",
		"hot pressed, finger, on LT-PVC, plain":                "hub finger",
		"hot pressed, finger, on LT-PVC, outdoor":              "hub guided",
		"hot pressed, finger, on LT-TPE, wash-down":            "bakery edge",
		"hot pressed, finger, on LT-PU, wash-down":             "bakery finger",
		"hot pressed, finger-over-finger, on LT-PU, wash-down": "bakery new",
		"hinged fasteners, on LT-PU, wash-down":                "bakery hinged",
	}
	found := map[string]life.Fitted{}
	lives := 0
	for _, p := range fleet.Plants {
		all, err := outlook.Lives(ctx, db, assets.JobScope(), p.ID, plantdb.AsOf{}, assets.InstantOf(today))
		if err != nil {
			t.Fatal(err)
		}
		lives += len(all)
		for _, c := range cohort.Sort(all) {
			name, stated := drawn[c.Key.Words()]
			if !stated {
				t.Errorf("a cohort nobody drew: %s", c.Key.Words())
				continue
			}
			r, err := life.Fit([]life.Cohort{{Name: name, Lives: c.On(cohort.Passes)}}, life.Settings{Confidence: cohort.Confidence})
			if err != nil {
				t.Fatal(err)
			}
			f, law := r.Cohorts[0], samplefleet.Cohorts[name]
			found[c.Key.Words()] = f
			if f.Method == life.MaximumLikelihood && (!holds(f.Limits.Shape, law.Shape) || !holds(f.Limits.Scale, law.ScalePasses)) {
				t.Errorf("%s: shape %v outside %v or scale %v outside %v", name, law.Shape, f.Limits.Shape, law.ScalePasses, f.Limits.Scale)
			}
		}
	}
	if lives != len(fleet.Splices) {
		t.Errorf("%d lives of %d splices", lives, len(fleet.Splices))
	}
	if n := found["hot pressed, finger, on LT-PVC, plain"].RestsOn.Failures; n < 30 {
		t.Errorf("rich cohort: %d failures", n)
	}
	if n := found["cold bonded, stepped, on RB-EP, abrasive"].RestsOn.Failures; n < 1 || n > 9 {
		t.Errorf("thin cohort: %d failures", n)
	}
	if n := found["hot pressed, finger-over-finger, on LT-PU, wash-down"].RestsOn.Failures; n != 0 {
		t.Errorf("cohort without failures: %d", n)
	}
	if f := found["hot pressed, finger, on LT-TPE, wash-down"]; !(f.Shape < 1) {
		t.Errorf("cohort of early failures: shape %v", f.Shape)
	}
}

// holds reports whether limits hold a value; an open limit holds everything.
func holds(limits [2]life.Figure, v float64) bool {
	return !(float64(limits[0]) > v) && !(float64(limits[1]) < v)
}
