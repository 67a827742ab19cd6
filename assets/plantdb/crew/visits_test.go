package crew_test

import (
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/workorder"
)

// placed raises an order at the plant and places it in a stop of a day with people.
func placed(t *testing.T, s *plantdbtest.Site, start time.Time, people ...int64) assets.StopWindow {
	t.Helper()
	now := plantdbtest.Noon
	w := assets.StopWindow{PlantID: s.Plant.ID, LineID: s.Line.ID, Start: assets.InstantOf(start), End: assets.InstantOf(start.Add(8 * time.Hour))}
	by := workorder.Actor{PersonID: 7, Roles: []assets.Role{assets.RolePlanner}}
	s.Change(t, now, func(c *plantdb.Change) error {
		if err := stops.Save(c, &w); err != nil {
			return err
		}
		o := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindResplice, ConveyorID: s.Conveyor.ID, BeltID: s.Belt.ID, SpliceID: s.Splice.ID, Title: "remake splice 1"}
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		after, event, err := workorder.Accept(o, by, now, now)
		if err != nil {
			return err
		}
		if err := orders.Step(c, &after, event); err != nil {
			return err
		}
		after, event, err = workorder.Place(after, by, now, now, workorder.Placement{WindowID: w.ID, WindowDay: assets.DayOf(start), People: people})
		if err != nil {
			return err
		}
		return orders.Step(c, &after, event)
	})
	return w
}

func TestWorkElsewhereIsToldAsTimeOnly(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	day := plantdbtest.Noon.AddDate(0, 0, 10)
	here, there := placed(t, s, day, 4, 5), placed(t, other, day.Add(2*time.Hour), 5)
	busy, err := crew.BusyBetween(bg, s.DB, []int64{5}, assets.InstantOf(day), assets.InstantOf(day.Add(time.Hour)))
	if err != nil || len(busy) != 1 || busy[0].PlantID != s.Plant.ID || busy[0].WindowID != here.ID {
		t.Errorf("person 5 is busy in the first hour: %+v, %v", busy, err)
	}
	busy, err = crew.BusyBetween(bg, s.DB, []int64{5}, assets.InstantOf(day), assets.InstantOf(day.AddDate(0, 0, 1)))
	if err != nil || len(busy) != 2 || busy[1].PlantID != other.Plant.ID || busy[1].Start != there.Start {
		t.Errorf("person 5 is busy that day: %+v, %v", busy, err)
	}
	for scope, want := range map[*assets.Scope]int{&s.Scope: 1, &other.Scope: 1} {
		work, err := crew.PlacedBetween(bg, s.DB, *scope, assets.InstantOf(day), assets.InstantOf(day.AddDate(0, 0, 1)))
		if err != nil || len(work) != want || work[0].Conveyor.Tag != "Q1" || work[0].Belt.WidthM != 1 || work[0].Splice.ID == 0 {
			t.Errorf("a reader of one plant sees %+v, %v", work, err)
		}
	}
	if work, err := crew.PlacedBetween(bg, s.DB, assets.JobScope(), assets.InstantOf(day.AddDate(0, 0, 1)), 0); err != nil || len(work) != 0 {
		t.Errorf("the day after: %+v, %v", work, err)
	}
}

func TestWhatCallsSomebodyToAPlant(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	day := plantdbtest.Noon.AddDate(0, 0, 10)
	here := placed(t, s, day, 4, 5)
	other.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		due := workorder.Order{PlantID: other.Plant.ID, Kind: workorder.KindOther, Title: "look", LatestDay: assets.DayOf(day)}
		late := workorder.Order{PlantID: other.Plant.ID, Kind: workorder.KindOther, Title: "later", LatestDay: assets.DayOf(day.AddDate(1, 0, 0))}
		return errors.Join(orders.RaiseByHand(c, &due), orders.RaiseByHand(c, &late))
	})
	until := day.AddDate(0, 0, 30)
	needs := func(scope assets.Scope) []crew.Need {
		list, err := crew.NeedsBy(bg, s.DB, scope, assets.DayOf(until), assets.InstantOf(plantdbtest.Noon), assets.InstantOf(until))
		if err != nil {
			t.Fatal(err)
		}
		return list
	}
	mine, theirs := needs(s.Scope), needs(other.Scope)
	if len(mine) != 1 || mine[0].Start != here.Start || mine[0].Tag != "Q1" || len(mine[0].People) != 2 || mine[0].State != workorder.Placed {
		t.Errorf("placed work: %+v", mine)
	}
	if len(theirs) != 1 || theirs[0].Title != "look" || theirs[0].Start != 0 || theirs[0].People != nil {
		t.Errorf("work by its latest date: %+v", theirs)
	}
	if all := needs(assets.JobScope()); len(all) != 2 {
		t.Errorf("all plants: %+v", all)
	}
}
