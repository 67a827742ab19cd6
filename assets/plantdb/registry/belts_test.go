package registry_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

var (
	bg   = context.Background()
	noon = plantdbtest.Noon
)

// refused checks that a change is refused with a word about a field and leaves nothing behind.
func refused(t *testing.T, s *plantdbtest.Site, field string, fn func(*plantdb.Change) error) {
	t.Helper()
	before := position(t, s)
	err := s.Try(noon, fn)
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad[field] == "" {
		t.Errorf("got %v, want a refusal about %q", err, field)
	}
	if after := position(t, s); after != before {
		t.Errorf("a refused change moved the journal from %d to %d", before, after)
	}
}

func position(t *testing.T, s *plantdbtest.Site) int64 {
	t.Helper()
	p, err := s.DB.HeadPosition(bg, s.Plant.ID)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func register(t *testing.T, s *plantdbtest.Site, asOf plantdb.AsOf) *assets.Register {
	t.Helper()
	r, err := registry.PlantAsOf(bg, s.DB, s.Scope, s.Plant.ID, asOf)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestNewBeltEndsTheOldOneAndItsSplices(t *testing.T) {
	s := plantdbtest.Plant(t)
	known := position(t, s)
	next := assets.Belt{ConveyorID: s.Conveyor.ID, WidthM: 1, LoopLengthM: 119, Fitted: s.On("2026-06-10")}
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.FitBelt(c, &next, "cover worn through") })

	r := register(t, s, plantdb.AsOf{})
	if len(r.Belts) != 1 || r.Belts[0].ID != next.ID || len(r.Splices) != 0 {
		t.Errorf("now: belts %+v, splices %+v; want the new belt alone", r.Belts, r.Splices)
	}
	old, err := registry.Belt(bg, s.DB, s.Scope, s.Belt.ID, plantdb.AsOf{})
	if err != nil || old.Removed == nil || *old.Removed != next.Fitted.At || old.RemovedWhy != "cover worn through" {
		t.Errorf("the old belt: %+v, %v; want it off when the new one was fitted", old, err)
	}
	splice, err := registry.Splice(bg, s.DB, s.Scope, s.Splice.ID, plantdb.AsOf{})
	if err != nil || splice.Ended == nil || splice.RetiredWhy != assets.RetiredBeltRemoved {
		t.Errorf("its splice: %+v, %v; want it ended with the belt", splice, err)
	}
	may := assets.InstantOf(time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC))
	if r := register(t, s, plantdb.AsOf{Valid: may}); len(r.Belts) != 1 || r.Belts[0].ID != s.Belt.ID || len(r.Splices) != 1 {
		t.Errorf("in May: belts %+v, splices %+v; want the old belt with its splice", r.Belts, r.Splices)
	}
	if r := register(t, s, plantdb.AsOf{Known: known}); len(r.Belts) != 1 || r.Belts[0].ID != s.Belt.ID {
		t.Errorf("as known before: belts %+v; want the old belt", r.Belts)
	}
}

func TestBeltsThatCannotBe(t *testing.T) {
	s := plantdbtest.Plant(t)
	belt := func(fitted assets.Day, change func(*assets.Belt)) func(*plantdb.Change) error {
		b := assets.Belt{ConveyorID: s.Conveyor.ID, WidthM: 1, LoopLengthM: 119, Fitted: s.On(fitted)}
		if change != nil {
			change(&b)
		}
		return func(c *plantdb.Change) error { return registry.FitBelt(c, &b, "") }
	}
	removed := func(day assets.Day) func(*assets.Belt) {
		return func(b *assets.Belt) {
			at := s.On(day).At
			b.Removed, b.RemovedWhen = &at, s.On(day)
		}
	}
	refused(t, s, "fitted", belt("2023-01-01", nil)) // before the one that is on
	refused(t, s, "fitted", belt("2023-01-01", removed("2025-01-01")))
	refused(t, s, "removed", belt("2023-06-01", removed("2023-01-01")))
	refused(t, s, "width_m", belt("2025-01-01", func(b *assets.Belt) { b.WidthM = -1 }))
	refused(t, s, "fitted", belt("2025-01-01", func(b *assets.Belt) { b.Fitted = assets.When{} }))
	s.Change(t, noon, belt("2019-01-01", removed("2024-02-01"))) // a belt of the past fits in
	history, err := registry.BeltHistory(bg, s.DB, s.Scope, s.Conveyor.ID, plantdb.AsOf{})
	if err != nil || len(history) != 2 || history[0].ID != s.Belt.ID {
		t.Errorf("history %+v, %v; want the present belt, then the past one", history, err)
	}
}

func TestBeltEnteredLateWithALaterSpliceOnTheOldOne(t *testing.T) {
	s := plantdbtest.Plant(t)
	late := assets.Splice{BeltID: s.Belt.ID, Made: s.On("2026-07-01")}
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.MakeSplice(c, &late) })
	next := assets.Belt{ConveyorID: s.Conveyor.ID, Fitted: s.On("2026-06-10")}
	refused(t, s, "fitted", func(c *plantdb.Change) error { return registry.FitBelt(c, &next, "") })
	refused(t, s, "removed", func(c *plantdb.Change) error {
		return registry.RemoveBelt(c, s.Belt.ID, 0, registry.Removal{When: s.On("2026-06-10")})
	})
	refused(t, s, "retired", func(c *plantdb.Change) error { return registry.RetireConveyor(c, s.Conveyor.ID, 0, s.On("2026-06-10")) })
	s.Change(t, noon, func(c *plantdb.Change) error {
		return registry.RemoveBelt(c, s.Belt.ID, 0, registry.Removal{When: s.On("2026-07-01"), Why: "torn"})
	})
	ended, err := registry.Splice(bg, s.DB, s.Scope, late.ID, plantdb.AsOf{})
	if err != nil || ended.Ended == nil || ended.RetiredWhy != assets.RetiredBeltRemoved {
		t.Errorf("the splice made on the last day: %+v, %v", ended, err)
	}
}

func TestSpliceMarksOnABelt(t *testing.T) {
	s := plantdbtest.Plant(t)
	if s.Splice.Number != "1" {
		t.Fatalf("the first splice got mark %q, want 1", s.Splice.Number)
	}
	second := assets.Splice{BeltID: s.Belt.ID, Made: s.On("2025-05-05")}
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.MakeSplice(c, &second) })
	if second.Number != "2" {
		t.Errorf("the second splice got mark %q, want 2", second.Number)
	}
	twice := assets.Splice{BeltID: s.Belt.ID, Number: "1", Made: s.On("2025-06-05")}
	refused(t, s, "number", func(c *plantdb.Change) error { return registry.MakeSplice(c, &twice) })
	s.Change(t, noon, func(c *plantdb.Change) error {
		return registry.RetireSplice(c, s.Splice.ID, s.Splice.RowID, registry.Retirement{When: s.On("2025-06-05"), Why: assets.RetiredFailed, FailureMode: "tear at the edge"})
	})
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.MakeSplice(c, &twice) })
	early := assets.Splice{BeltID: s.Belt.ID, Made: s.On("2020-06-05")}
	refused(t, s, "made", func(c *plantdb.Change) error { return registry.MakeSplice(c, &early) })
	off := 130.0
	outside := assets.Splice{BeltID: s.Belt.ID, Made: s.On("2025-06-05"), PositionM: &off}
	refused(t, s, "position_m", func(c *plantdb.Change) error { return registry.MakeSplice(c, &outside) })
}

func TestSpliceOfAnotherPlantIsNotFound(t *testing.T) {
	mine := plantdbtest.Plant(t)
	theirs := plantdbtest.PlantIn(t, mine.DB, "Odden Mill")
	retire := func(c *plantdb.Change) error {
		return registry.RetireSplice(c, theirs.Splice.ID, 0, registry.Retirement{When: mine.On("2026-01-01"), Why: assets.RetiredPlanned})
	}
	if err := mine.Try(noon, retire); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("retiring another plant's splice: %v, want not found", err)
	}
	if _, err := registry.Splice(bg, mine.DB, mine.Scope, theirs.Splice.ID, plantdb.AsOf{}); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("reading another plant's splice: %v, want not found", err)
	}
	if _, err := registry.PlantAsOf(bg, mine.DB, mine.Scope, theirs.Plant.ID, plantdb.AsOf{}); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("reading another plant: %v, want not found", err)
	}
}

// Steps of 9 m in place of 250 mm: a length typed in the wrong unit is asked for again, whichever form it came from.
func TestASpliceWithStepsOfNineMetresIsAskedForAgain(t *testing.T) {
	s := plantdbtest.Plant(t)
	for field, sp := range map[string]assets.Splice{"step_length_m": {StepLengthM: 9}, "finger_length_m": {FingerLengthM: 80}, "finger_pitch_m": {FingerPitchM: 15}} {
		sp.BeltID, sp.Made = s.Belt.ID, s.On("2025-03-01")
		refused(t, s, field, func(c *plantdb.Change) error { return registry.MakeSplice(c, &sp) })
	}
}
