package registry_test

import (
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

func TestSpeedChangedInSpringAndNameCorrected(t *testing.T) {
	s := plantdbtest.Plant(t)
	spring := s.On("2026-04-01").At
	conveyor := s.Conveyor
	conveyor.SpeedMPS = 2.5
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.AlterConveyor(c, &conveyor, spring) })
	conveyor.Name = "Jaw discharge belt"
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.AlterConveyor(c, &conveyor, 0) })
	for _, tt := range []struct {
		when  string
		asOf  plantdb.AsOf
		speed float64
	}{{"now", plantdb.AsOf{}, 2.5}, {"in spring", plantdb.AsOf{Valid: spring}, 2.5}, {"before", plantdb.AsOf{Valid: spring - 1}, 2}} {
		c, err := registry.Conveyor(bg, s.DB, s.Scope, conveyor.ID, tt.asOf)
		if err != nil || c.SpeedMPS != tt.speed || c.Name != "Jaw discharge belt" {
			t.Errorf("%s: %v m/s, %q, %v; want %v m/s and the corrected name", tt.when, c.SpeedMPS, c.Name, err, tt.speed)
		}
	}
	past, belts, err := registry.Stretches(bg, s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{})
	if err != nil || len(past[conveyor.ID]) != 1 || past[conveyor.ID][0].SpeedMPS != 2 || len(belts) != 0 {
		t.Errorf("stretches %+v, %+v, %v; want the one before spring", past, belts, err)
	}
	stale := s.Conveyor // as it was read before either change
	stale.Name = "mine"
	err = s.Try(noon, func(c *plantdb.Change) error { return registry.AlterConveyor(c, &stale, 0) })
	if !errors.Is(err, assets.ErrConflict) {
		t.Errorf("a form read before the changes: %v, want a conflict", err)
	}
}

func TestConveyorsThatCannotBe(t *testing.T) {
	s := plantdbtest.Plant(t)
	tests := map[string]struct {
		field  string
		change func(*assets.Conveyor)
	}{
		"no tag":                {"tag", func(c *assets.Conveyor) { c.Tag = " - " }},
		"tag of another":        {"tag", func(c *assets.Conveyor) { c.Tag = "q 01" }},
		"running backwards":     {"speed_mps", func(c *assets.Conveyor) { c.SpeedMPS = -1 }},
		"top speed below speed": {"speed_max_mps", func(c *assets.Conveyor) { c.SpeedMPS, c.SpeedMaxMPS = 2, 1 }},
		"line of another plant": {"line_id", func(c *assets.Conveyor) { c.LineID = 99 }},
		"steeper than upright":  {"incline_deg", func(c *assets.Conveyor) { c.InclineDeg = 91 }},
		"pulley of no diameter": {"pulleys", func(c *assets.Conveyor) { c.Pulleys = []assets.Pulley{{Role: assets.PulleyHead}} }},
		"a stop that earns":     {"stop_cost_per_hour", func(c *assets.Conveyor) { c.StopCostPerHour = -5 }},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := assets.Conveyor{PlantID: s.Plant.ID, Tag: "Q9"}
			tt.change(&c)
			refused(t, s, tt.field, func(ch *plantdb.Change) error { return registry.AddConveyor(ch, &c) })
		})
	}
}

func TestRetiredConveyorTakesBeltAndSplicesWithIt(t *testing.T) {
	s := plantdbtest.Plant(t)
	retire := func(c *plantdb.Change) error {
		return registry.RetireConveyor(c, s.Conveyor.ID, s.Conveyor.RowID, s.On("2026-09-01"))
	}
	s.Change(t, noon, retire)
	r := register(t, s, plantdb.AsOf{})
	if len(r.Conveyors)+len(r.Belts)+len(r.Splices) != 0 {
		t.Errorf("still in use: %+v %+v %+v", r.Conveyors, r.Belts, r.Splices)
	}
	whole, err := registry.PlantHistoryAsOf(bg, s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{}, 0)
	if err != nil || len(whole.Splices) != 1 || whole.Splices[0].RetiredWhy != assets.RetiredConveyorScrapped || whole.Conveyors[0].Status != assets.ConveyorRetired {
		t.Errorf("history %+v, %v", whole, err)
	}
	if r := register(t, s, plantdb.AsOf{Valid: s.On("2026-08-01").At}); len(r.Conveyors) != 1 || len(r.Splices) != 1 {
		t.Errorf("in August: %d conveyors, %d splices; want both still running", len(r.Conveyors), len(r.Splices))
	}
	belt := assets.Belt{ConveyorID: s.Conveyor.ID, Fitted: s.On("2026-10-01")}
	refused(t, s, "", func(c *plantdb.Change) error { return registry.FitBelt(c, &belt, "") })
}

func TestFindingSentTwiceIsOneFinding(t *testing.T) {
	s := plantdbtest.Plant(t)
	grade, bad := 3, 5
	finding := assets.Finding{PlantID: s.Plant.ID, SpliceID: s.Splice.ID, FoundAt: assets.InstantOf(noon), Category: "edge", Grade: &grade, ClientID: "phone-1"}
	for i := range 2 {
		f := finding
		s.Change(t, noon, func(c *plantdb.Change) error {
			again, err := registry.AddFinding(c, &f)
			if again != (i == 1) || f.ConveyorID != s.Conveyor.ID || f.BeltID != s.Belt.ID {
				t.Errorf("sending %d: again %v, finding %+v", i+1, again, f)
			}
			return err
		})
	}
	open, err := registry.OpenGrades(bg, s.DB, s.Scope, s.Plant.ID, 3)
	if err != nil || len(open) != 1 {
		t.Fatalf("findings that want an order: %+v, %v", open, err)
	}
	open0 := open[0]
	refused(t, s, "refused_why", func(c *plantdb.Change) error { return registry.RefuseFollowUp(c, open[0].ID, 0, "") })
	s.Change(t, noon, func(c *plantdb.Change) error {
		return registry.RefuseFollowUp(c, open[0].ID, open[0].RowID, "belt is changed on Friday")
	})
	if open, err = registry.OpenGrades(bg, s.DB, s.Scope, s.Plant.ID, 3); err != nil || len(open) != 0 {
		t.Errorf("after the refusal: %+v, %v", open, err)
	}
	last, err := registry.LastFindings(bg, s.DB, s.Scope, s.Plant.ID, []int64{s.Splice.ID}, plantdb.AsOf{})
	if err != nil || last[s.Splice.ID].Category != open0.Category || *last[s.Splice.ID].Grade != *open0.Grade {
		t.Errorf("last findings %+v, %v", last, err)
	}
	for field, f := range map[string]assets.Finding{
		"grade":       {SpliceID: s.Splice.ID, FoundAt: 1, Category: "edge", Grade: &bad},
		"category":    {SpliceID: s.Splice.ID, FoundAt: 1, Grade: &grade},
		"text":        {SpliceID: s.Splice.ID, FoundAt: 1, Category: "edge"},
		"found_at":    {SpliceID: s.Splice.ID, FoundAt: assets.InstantOf(noon) + 1, Category: "edge", Grade: &grade},
		"conveyor_id": {PlantID: s.Plant.ID, FoundAt: 1, Category: "edge", Grade: &grade},
		"target":      {PlantID: s.Plant.ID, ConveyorID: 55, SpliceID: s.Splice.ID, FoundAt: 1, Category: "edge", Grade: &grade},
	} {
		refused(t, s, field, func(c *plantdb.Change) error { _, err := registry.AddFinding(c, &f); return err })
	}
}
