package stops_test

import (
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stops"
)

func TestAConveyorStandsOnceAtATimeAndItsEndIsEnteredLater(t *testing.T) {
	s := plantdbtest.Plant(t)
	save := func(st *assets.Standstill) (again bool, err error) {
		err = s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { again, err = stops.SaveStandstill(c, st); return err })
		return again, err
	}
	from := assets.InstantOf(plantdbtest.Noon) - 6*3600e6
	first := assets.Standstill{PlantID: s.Plant.ID, ConveyorID: s.Conveyor.ID, FromAt: from, Cause: assets.CauseDrive, ClientID: "typed-once"}
	for i, want := range []bool{false, true} {
		next := first
		again, err := save(&next)
		if err != nil || again != want || next.ID == 0 {
			t.Fatalf("sent %d times: %+v, again %v, %v", i+1, next, again, err)
		}
		if want {
			first = next
		}
	}
	over := assets.Standstill{PlantID: s.Plant.ID, ConveyorID: s.Conveyor.ID, FromAt: from + 3600e6, Cause: assets.CauseBelt}
	var bad assets.Invalid
	if _, err := save(&over); !errors.As(err, &bad) || bad["from_at"] == "" {
		t.Errorf("it stands twice at once: %v", err)
	}
	until := from + 2*3600e6
	ended := first
	ended.UntilAt = &until
	if _, err := save(&ended); err != nil {
		t.Fatal(err)
	}
	if _, err := save(&first); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("saved from a form read before its end: %v", err)
	}
	over.FromAt = until
	if _, err := save(&over); err != nil {
		t.Errorf("it stops again the moment it could run: %v", err)
	}
	for name, tt := range map[string]struct {
		now   assets.Instant
		ended bool
		n     int
	}{"now": {0, true, 2}, "while it stood": {from + 3600e6, false, 1}, "before": {from - 1, false, 0}} {
		all, err := stops.Standstills(bg, s.DB, s.Scope, s.Plant.ID, 0, plantdb.AsOf{Valid: tt.now})
		if err != nil || len(all) != tt.n || tt.n > 0 && (all[len(all)-1].UntilAt != nil) != tt.ended {
			t.Errorf("%s: %+v, %v", name, all, err)
		}
	}
	over.LeftOut = true
	if _, err := save(&over); err != nil {
		t.Fatal(err)
	}
	if all, err := stops.Standstills(bg, s.DB, s.Scope, s.Plant.ID, 0, plantdb.AsOf{}); err != nil || len(all) != 1 {
		t.Errorf("entered in error, it still counts: %+v, %v", all, err)
	}
	if all, err := stops.Standstills(bg, s.DB, assets.PlantScope(s.Plant.ID+1), s.Plant.ID, 0, plantdb.AsOf{}); err != nil || len(all) != 0 {
		t.Errorf("another plant sees %+v, %v", all, err)
	}
}

func TestStandstillsThatCannotBe(t *testing.T) {
	s := plantdbtest.Plant(t)
	now := assets.InstantOf(plantdbtest.Noon)
	early, late, hours := now-2*3600e6, now+1, -1.0
	for name, tt := range map[string]struct {
		field string
		st    assets.Standstill
	}{
		"conveyor of nowhere":   {"conveyor", assets.Standstill{ConveyorID: 999, FromAt: early, Cause: assets.CauseBelt}},
		"in the future":         {"from_at", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: late, Cause: assets.CauseBelt}},
		"ends before it began":  {"until_at", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: now - 1, UntilAt: &early, Cause: assets.CauseBelt}},
		"ends in the future":    {"until_at", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: early, UntilAt: &late, Cause: assets.CauseBelt}},
		"a cause of no list":    {"cause", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: early, Cause: "luck"}},
		"other without words":   {"text", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: early, Cause: assets.CauseOther}},
		"work below nothing":    {"worked_h", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: early, Cause: assets.CauseBelt, WorkedH: &hours}},
		"a splice of elsewhere": {"splice", assets.Standstill{ConveyorID: s.Conveyor.ID, FromAt: early, Cause: assets.CauseSplice, SpliceID: 999}},
	} {
		tt.st.PlantID = s.Plant.ID
		var bad assets.Invalid
		err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { _, err := stops.SaveStandstill(c, &tt.st); return err })
		if !errors.As(err, &bad) || bad[tt.field] == "" {
			t.Errorf("%s: %v, want %s refused", name, err, tt.field)
		}
	}
}
