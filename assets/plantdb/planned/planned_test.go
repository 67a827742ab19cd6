package planned_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/planned"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

var bg = context.Background()

func at(text string) assets.Instant {
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err) // a test's own time
	}
	return assets.InstantOf(v)
}

// accepted is a plant with an accepted order and two agreed stops.
func accepted(t *testing.T) (s *plantdbtest.Site, o workorder.Order, days [2]assets.StopWindow) {
	t.Helper()
	s = plantdbtest.Plant(t)
	o = workorder.Order{PlantID: s.Plant.ID, ConveyorID: s.Conveyor.ID, Kind: workorder.KindRetension, Title: "re-tension", Reason: "slack", WorkHours: 2, Crew: 1}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		for i := range days {
			start := at("2026-12-06T05:00:00Z") + assets.Instant(time.Duration(7*24*i)*time.Hour/time.Microsecond)
			days[i] = assets.StopWindow{PlantID: s.Plant.ID, LineID: s.Line.ID, Start: start, End: start + assets.Instant(8*time.Hour/time.Microsecond), StartLocal: "2026-12-06T06:00", EndLocal: "2026-12-06T14:00"}
			if err := stops.Save(c, &days[i]); err != nil {
				return err
			}
		}
		return orders.RaiseByHand(c, &o)
	})
	step(t, s, o.ID, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Accept(o, planner, plantdbtest.Noon, plantdbtest.Noon)
	})
	return s, read(t, s, o.ID), days
}

var planner = workorder.Actor{PersonID: 7, Roles: []assets.Role{assets.RolePlanner}}

func step(t *testing.T, s *plantdbtest.Site, id int64, do func(workorder.Order) (workorder.Order, workorder.Event, error)) {
	t.Helper()
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		o, err := orders.Order(bg, c.DB, s.Scope, id)
		if err != nil {
			return err
		}
		after, e, err := do(o)
		if err != nil {
			return err
		}
		return orders.Step(c, &after, e)
	})
}

func read(t *testing.T, s *plantdbtest.Site, id int64) workorder.Order {
	t.Helper()
	o, err := orders.Order(bg, s.DB, s.Scope, id)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// place is the step a plan takes, the one a hand takes.
func place(start assets.Instant) func(workorder.Order, int64) (workorder.Order, workorder.Event, error) {
	return func(o workorder.Order, stop int64) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, planner, plantdbtest.Noon, plantdbtest.Noon, workorder.Placement{WindowID: stop, WindowDay: "2026-12-06", People: []int64{7}, Start: start, Crew: []assets.CrewPlace{{PersonID: 7}}})
	}
}

func TestAPlanIsPublishedAsPlacingsByHandAreAndReadAgain(t *testing.T) {
	s, o, days := accepted(t)
	p := assets.PublishedPlan{PlantID: s.Plant.ID, Base: 4, Cost: 10, Bound: 9, Seed: 7, Steps: 100, CaseDigest: "ab", Changes: []assets.PlanChange{{OrderID: o.ID, ToStop: days[0].ID}}}
	start := days[0].Start + assets.Instant(time.Hour/time.Microsecond)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		return planned.Publish(c, &p, []planned.Step{{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: days[0].ID, Do: place(start)}})
	})
	got := read(t, s, o.ID)
	if got.State != workorder.Placed || got.WindowID != days[0].ID || got.PlacedStart == nil || *got.PlacedStart != start || len(got.PlacedCrew) != 1 {
		t.Errorf("placed as %+v", got)
	}
	events, err := orders.Events(bg, s.DB, s.Scope, o.ID)
	if err != nil || events[len(events)-1].What != "placed" {
		t.Errorf("events %+v %v", events, err)
	}
	plans, err := planned.Plans(bg, s.DB, s.Scope, s.Plant.ID, 5)
	if err != nil || len(plans) != 1 || plans[0].Cost != 10 || len(plans[0].Changes) != 1 || plans[0].WithID != plans[0].ID {
		t.Errorf("plans %+v %v", plans, err)
	}
	if other, err := planned.Plans(bg, s.DB, assets.PlantScope(s.Plant.ID+1), s.Plant.ID, 5); err != nil || len(other) != 0 {
		t.Errorf("another plant's scope sees %d plans, %v", len(other), err)
	}
}

func TestOfTwoWhoPublishAtOnceTheSecondWritesNothing(t *testing.T) {
	s, o, days := accepted(t)
	publish := func(stop int64) error {
		return s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
			p := assets.PublishedPlan{PlantID: s.Plant.ID}
			return planned.Publish(c, &p, []planned.Step{{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: stop, Do: place(0)}})
		})
	}
	if err := publish(days[0].ID); err != nil {
		t.Fatal(err)
	}
	if err := publish(days[1].ID); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("the second to publish: %v, want a conflict", err)
	}
	if got := read(t, s, o.ID); got.WindowID != days[0].ID {
		t.Errorf("the order stands in stop %d, want the first one's %d", got.WindowID, days[0].ID)
	}
	if plans, _ := planned.Plans(bg, s.DB, s.Scope, s.Plant.ID, 5); len(plans) != 1 {
		t.Errorf("%d plans are kept, want 1", len(plans))
	}
}

func TestAStopThatIsNotAgreedTakesNoPlan(t *testing.T) {
	s, o, days := accepted(t)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		return stops.Reply(c, days[0].ID, days[0].RowID, assets.StopAnswer{Word: assets.AnswerRefused, ByID: 7, Why: "ship at the quay"})
	})
	err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
		return planned.Publish(c, &assets.PublishedPlan{PlantID: s.Plant.ID}, []planned.Step{{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: days[0].ID, Do: place(0)}})
	})
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		t.Errorf("%v, want a refusal", err)
	}
}

func TestDraftsBelongToAPersonAndAPlant(t *testing.T) {
	s, o, days := accepted(t)
	d := assets.PlanDraft{PersonID: 7, PlantID: s.Plant.ID, At: 5, Moves: []assets.DraftMove{{OrderID: o.ID, EditVersion: 2, ToStop: days[1].ID, Crew: []assets.CrewPlace{{PersonID: 7}}}}}
	for range 2 { // kept again, it is the same one
		if err := planned.SaveDraft(bg, s.DB, &d); err != nil {
			t.Fatal(err)
		}
	}
	got, err := planned.Draft(bg, s.DB, 7, s.Plant.ID)
	if err != nil || len(got.Moves) != 1 || got.Moves[0].ToStop != days[1].ID || !got.Moves[0].Fits() {
		t.Errorf("%+v %v", got, err)
	}
	if other, err := planned.Draft(bg, s.DB, 8, s.Plant.ID); err != nil || len(other.Moves) != 0 {
		t.Errorf("somebody else has %+v %v", other, err)
	}
	d.Moves = nil
	if err := planned.SaveDraft(bg, s.DB, &d); err != nil {
		t.Fatal(err)
	}
	if got, _ := planned.Draft(bg, s.DB, 7, s.Plant.ID); len(got.Moves) != 0 {
		t.Error("a draft without moves is still there")
	}
}

func TestFactsOfAPlantBecomeASheet(t *testing.T) {
	s, o, days := accepted(t)
	reg, err := registry.PlantAsOf(bg, s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	f, err := planned.Facts(bg, s.DB, s.Scope, []*assets.Register{reg}, plantdbtest.Noon, plantdbtest.Noon.AddDate(0, 0, 182))
	if err != nil {
		t.Fatal(err)
	}
	f.Hands, f.Names = []int64{7}, map[int64]string{7: "I. Vanterel"}
	sheet := horizon.Lay(f.Inputs())
	a := sheet.Ask(t.Context(), horizon.Placements{}, horizon.Move{OrderID: o.ID, StopID: days[1].ID})
	if !a.Fits || a.After[o.ID].Start.Before(days[1].Start.Time()) {
		t.Errorf("%+v", a)
	}
	if _, err := planned.Facts(bg, s.DB, assets.PlantScope(s.Plant.ID+1), []*assets.Register{reg}, plantdbtest.Noon, plantdbtest.Noon.AddDate(0, 0, 182)); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("outside the scope: %v", err)
	}
}

func TestASharedPressIsNotPublishedTwiceForTheSameTime(t *testing.T) {
	s, o, days := accepted(t)
	start := days[0].Start
	with := func(o workorder.Order, stop int64) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, planner, plantdbtest.Noon, plantdbtest.Noon, workorder.Placement{WindowID: stop, WindowDay: "2026-12-06", People: []int64{7}, Start: start, Tools: []int64{31}})
	}
	// The other plant's order and stop are written as they would stand there.
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(s.Plant.ID)
		if err != nil {
			return err
		}
		w := assets.StopWindow{PlantID: s.Plant.ID + 1, Start: start, End: start + assets.Instant(4*time.Hour/time.Microsecond)}
		if err := plantdb.Create(c, ch, &w); err != nil {
			return err
		}
		other := workorder.Order{PlantID: s.Plant.ID + 1, Number: 900, State: workorder.Placed, WindowID: w.ID, WorkHours: 2, PlacedStart: &start, PlacedTools: []int64{31}}
		return plantdb.Create(c, ch, &other)
	})
	takes := time.Duration(0)
	publish := func() error {
		return s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
			return planned.Publish(c, &assets.PublishedPlan{PlantID: s.Plant.ID}, []planned.Step{{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: days[0].ID, Takes: takes, Do: with}})
		})
	}
	var bad assets.Invalid
	// What takes five hours by its template, and says nothing itself, holds the press into the work of the other plant.
	hours := func(n int) assets.Instant { return assets.Instant(time.Duration(n) * time.Hour / time.Microsecond) }
	start, takes = start-hours(4), 5*time.Hour
	if err := publish(); !errors.As(err, &bad) || !strings.Contains(bad[""], "kit is not free then") {
		t.Errorf("work of five hours begun four hours before the other plant's: %v", err)
	}
	start, takes = start+hours(4), 0
	if err := publish(); !errors.As(err, &bad) || !strings.Contains(bad[""], "kit is not free then") || strings.Contains(bad[""], "900") {
		t.Errorf("the press is placed twice, or the refusal tells of the other plant: %v", err)
	}
	start += assets.Instant(3 * time.Hour / time.Microsecond)
	if err := publish(); err != nil {
		t.Errorf("an hour after the other plant's work: %v", err)
	}
}
