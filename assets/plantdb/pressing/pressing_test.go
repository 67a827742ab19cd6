package pressing_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/pressing"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// figures of an invented recipe for a large vulcaniser, inside the usual bands (common practice).
var figures = map[string]float64{"set_top_c": 145, "set_bottom_c": 145, "tolerance_k": 5, "heating_rate_least_k_min": 2, "heating_rate_most_k_min": 4,
	"time_to_temperature_most_min": 60, "dwell_least_min": 30, "dwell_most_min": 45, "overshoot_most_k": 5, "pressure_pa": 1e6, "pressure_tolerance_percent": 10,
	"spread_most_k": 6, "cooling_most_min": 60, "release_most_c": 60, "duration_most_min": 140}

func recipe() assets.Recipe {
	r := assets.Recipe{Name: "HV 145", Form: assets.FormStepped, Bond: assets.BondHotVulcanised}
	for _, q := range press.Quantities {
		if v, ok := figures[q.Name]; ok {
			r.Values = append(r.Values, assets.CatalogueValue{Quantity: q.Name, Value: v, Unit: q.Unit, Class: assets.ClassP})
		}
	}
	return r
}

// lead changes the company's own things.
func lead(t *testing.T, s *plantdbtest.Site, now time.Time, fn func(*plantdb.Change) error) error {
	return s.DB.Change(t.Context(), plantdb.Act{PersonID: 0, Origin: plantdb.Screen, Action: "test", Now: now, Company: true}, fn)
}

func TestChangedRecipeKeepsTheEditionThatSplicesWereMadeWith(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := recipe()
	must(t, lead(t, s, plantdbtest.Noon, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &r) }))
	next := r
	next.Values = append([]assets.CatalogueValue(nil), r.Values...)
	for i := range next.Values {
		if next.Values[i].Quantity == "dwell_least_min" {
			next.Values[i].Value = 35
		}
	}
	later := plantdbtest.Noon.Add(48 * time.Hour)
	err := lead(t, s, later, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &next) })
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad["changed"] == "" {
		t.Fatalf("an edition without a reason: %v, want it asked for", err)
	}
	next.Changed = "dwell 35 min, was 30: two test pieces tore at the tie gum"
	must(t, lead(t, s, later, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &next) }))
	all, err := pressing.Editions(t.Context(), s.DB, r.ID)
	must(t, err)
	if len(all) != 2 || all[0].Edition != 2 || all[1].Edition != 1 {
		t.Fatalf("editions %+v, want 2 and 1", all)
	}
	old, _ := assets.ValueOf(all[1].Values, "dwell_least_min")
	if old.Value != 30 || all[1].ValidTo == nil || *all[1].ValidTo != assets.InstantOf(later) {
		t.Errorf("edition 1 holds a dwell of %v until %v, want 30 until %v", old.Value, all[1].ValidTo, later)
	}
	stale := r
	stale.Changed = "somebody else's"
	if err := lead(t, s, later, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &stale) }); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("an edition on top of an older one: %v, want a conflict", err)
	}
}

func TestSpliceOpenedTooWarmNeedsAReasonAndIsLookedAtEarly(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := recipe()
	must(t, lead(t, s, plantdbtest.Noon, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &r) }))
	by, err := press.FromValues(r.Values)
	must(t, err)
	judged := press.JudgeFigures(by, map[string]float64{press.HeatingRateTop: 3, press.HeatingRateBottom: 3, press.TimeToTemperature: 46, press.DwellTime: 36, press.Overshoot: 3,
		press.PressureMin: 9.8, press.PressureMax: 10.2, press.SpreadInDwell: 2, press.ReleaseTemp: 66, press.Duration: 119, press.CoolingTime: 39})
	rec := assets.PressRecord{PlantID: s.Plant.ID, SpliceID: s.Splice.ID, RecipeID: r.ID, Edition: 1, Press: "press 1", PressedAt: assets.InstantOf(s.Splice.Made.At.Time()), Verdict: string(judged.Overall)}
	for _, c := range judged.Criteria {
		rec.Figures = append(rec.Figures, assets.PressFigure{Name: c.Name, Value: c.Value, Verdict: string(c.Verdict), Why: c.Why})
	}
	keep := func(r *assets.PressRecord) error {
		return s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "test", Now: plantdbtest.Noon, Plants: []int64{s.Plant.ID}}, func(c *plantdb.Change) error { return pressing.Keep(c, r, "2026-11-25") })
	}
	var bad assets.Invalid
	if err := keep(&rec); !errors.As(err, &bad) || bad["reason"] == "" {
		t.Fatalf("kept without a reason: %v", err)
	}
	rec.Reason = "stop brought forward by 40 min"
	must(t, keep(&rec))
	list, _, err := orders.List(t.Context(), s.DB, s.Scope, orders.Filter{SpliceID: s.Splice.ID, Kind: workorder.KindInspection})
	must(t, err)
	if len(list) != 1 || list[0].LatestDay != "2026-12-02" || list[0].ID != rec.FollowUpID {
		t.Errorf("raised %+v, want one inspection by 2 December", list)
	}
	again := rec
	again.ID, again.FollowUpID = 0, 0
	if err := keep(&again); !errors.As(err, &bad) || !strings.Contains(bad["pressed_at"], "kept already") {
		t.Errorf("sent a second time: %v", err)
	}
	if _, n, err := orders.List(t.Context(), s.DB, s.Scope, orders.Filter{SpliceID: s.Splice.ID, Kind: workorder.KindInspection}); err != nil || n != 1 {
		t.Errorf("sent a second time, %d inspections are raised (%v), want the one", n, err)
	}
	found, err := pressing.Records(t.Context(), s.DB, s.Scope, pressing.Filter{SpliceID: s.Splice.ID})
	must(t, err)
	if len(found) != 1 || found[0].Edition != 1 || found[0].Verdict != "outside" || len(found[0].Figures) != 11 {
		t.Errorf("kept %+v, want the record with its 11 figures", found)
	}
	if other, err := pressing.Records(t.Context(), s.DB, assets.PlantScope(s.Plant.ID+1), pressing.Filter{}); err != nil || len(other) != 0 {
		t.Errorf("another plant sees %d records (%v)", len(other), err)
	}
	yearsLater := again
	yearsLater.PressedAt = assets.InstantOf(plantdbtest.Noon)
	if err := keep(&yearsLater); !errors.As(err, &bad) || !strings.Contains(bad["pressed_at"], "more than 7 days later") {
		t.Errorf("a cycle of today for a splice of 2024: %v", err)
	}
	unknown := rec
	unknown.Edition = 7
	if err := keep(&unknown); !errors.As(err, &bad) || bad["recipe"] == "" {
		t.Errorf("an edition nobody wrote: %v", err)
	}
}

// judgedHot is a record of a splice opened too warm, with its reason.
func judgedHot(t *testing.T, s *plantdbtest.Site, r assets.Recipe, at time.Time) assets.PressRecord {
	t.Helper()
	by, err := press.FromValues(r.Values)
	must(t, err)
	judged := press.JudgeFigures(by, map[string]float64{press.ReleaseTemp: 66, press.DwellTime: 36})
	rec := assets.PressRecord{PlantID: s.Plant.ID, SpliceID: s.Splice.ID, RecipeID: r.ID, Edition: 1, Press: "press 1", PressedAt: assets.InstantOf(at), Verdict: string(judged.Overall), Reason: "stop brought forward"}
	for _, c := range judged.Criteria {
		rec.Figures = append(rec.Figures, assets.PressFigure{Name: c.Name, Value: c.Value, Verdict: string(c.Verdict), Why: c.Why})
	}
	return rec
}

// A splice tore while its press record still lay in the office. The cycle that made it is kept late, and raises no look at a splice that is
// gone; a cycle from after its end, or from before it was made, is another splice's.
func TestAPressCycleRecordedAfterItsSpliceHadEnded(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := recipe()
	must(t, lead(t, s, plantdbtest.Noon, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &r) }))
	made := s.Splice.Made.At.Time()
	torn, office := made.AddDate(0, 0, 2), plantdbtest.Noon
	act := plantdb.Act{Origin: plantdb.Screen, Action: "test", Now: office, Plants: []int64{s.Plant.ID}}
	must(t, s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		return registry.RetireSplice(c, s.Splice.ID, s.Splice.RowID, registry.Retirement{When: assets.Exactly(torn, s.Plant.Location()), Why: assets.RetiredFailed, FailureMode: "edge torn"})
	}))
	keep := func(rec assets.PressRecord) (assets.PressRecord, error) {
		err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return pressing.Keep(c, &rec, "2026-11-27") })
		return rec, err
	}
	var bad assets.Invalid
	for when, at := range map[string]time.Time{"had ended": torn.Add(time.Hour), "or later": made.AddDate(0, 0, -3)} {
		if _, err := keep(judgedHot(t, s, r, at)); !errors.As(err, &bad) || !strings.Contains(bad["pressed_at"], when) {
			t.Errorf("pressed at %v: %v, want %q", at, err, when)
		}
	}
	rec, err := keep(judgedHot(t, s, r, made))
	must(t, err)
	if rec.Verdict != string(press.Outside) || rec.FollowUpID != 0 {
		t.Errorf("kept as %s with follow-up %d, want outside and nothing to look at", rec.Verdict, rec.FollowUpID)
	}
	if _, n, err := orders.List(t.Context(), s.DB, s.Scope, orders.Filter{SpliceID: s.Splice.ID, Kind: workorder.KindInspection}); err != nil || n != 0 {
		t.Errorf("%d inspections of a splice that is gone (%v)", n, err)
	}
}

// The crew signed the re-splice yesterday and brings the trace today: it is kept with the time the press was opened, and the look at the
// splice is due from today on.
func TestAPressCycleRecordedADayLateIsLookedAtFromTodayOn(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := recipe()
	must(t, lead(t, s, plantdbtest.Noon, func(c *plantdb.Change) error { return pressing.SaveRecipe(c, &r) }))
	late := plantdbtest.Noon.Add(24 * time.Hour)
	opened := s.Splice.Made.At.Time().Add(3 * time.Hour)
	rec := judgedHot(t, s, r, opened)
	must(t, s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "test", Now: late, Plants: []int64{s.Plant.ID}}, func(c *plantdb.Change) error { return pressing.Keep(c, &rec, "2026-11-26") }))
	if rec.PressedAt != assets.InstantOf(opened) || rec.RecordedAt != assets.InstantOf(late) {
		t.Errorf("pressed %v, recorded %v", rec.PressedAt.Time(), rec.RecordedAt.Time())
	}
	list, _, err := orders.List(t.Context(), s.DB, s.Scope, orders.Filter{SpliceID: s.Splice.ID, Kind: workorder.KindInspection})
	must(t, err)
	if len(list) != 1 || list[0].LatestDay != "2026-12-03" {
		t.Errorf("raised %+v, want one inspection by 3 December", list)
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
