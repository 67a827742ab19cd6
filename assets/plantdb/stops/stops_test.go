package stops_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stops"
)

var bg = context.Background()

func at(text string) assets.Instant {
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err) // a test's own time
	}
	return assets.InstantOf(v)
}

func sunday(s *plantdbtest.Site, word assets.Answer) assets.StopWindow {
	return assets.StopWindow{PlantID: s.Plant.ID, LineID: s.Line.ID, Start: at("2026-12-06T05:00:00Z"), End: at("2026-12-06T13:00:00Z"),
		StartLocal: "2026-12-06T06:00", EndLocal: "2026-12-06T14:00", Answer: assets.StopAnswer{Word: word}}
}

func weekly(s *plantdbtest.Site) assets.StopRecurrence {
	return assets.StopRecurrence{PlantID: s.Plant.ID, LineID: s.Line.ID, Rule: "FREQ=WEEKLY;BYDAY=SU", StartLocal: "2026-11-29T06:00", EndLocal: "2026-11-29T12:00",
		Keeps: assets.KeepsClock, Answer: assets.StopAnswer{Word: assets.AnswerAgreed}}
}

func listed(t *testing.T, s *plantdbtest.Site, from, to string) []assets.StopWindow {
	t.Helper()
	all, err := stops.Windows(bg, s.DB, s.Scope, s.Plant.ID, at(from), at(to))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestWorkIsPlacedOnlyWhereThePlantAgreed(t *testing.T) {
	s := plantdbtest.Plant(t)
	w := sunday(s, assets.AnswerAsked)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Save(c, &w) })
	place := func(c *plantdb.Change) error { _, err := stops.ForWork(c, s.Plant.ID, w.ID); return err }
	var bad assets.Invalid
	if err := s.Try(plantdbtest.Noon, place); !errors.As(err, &bad) || bad["window"] == "" {
		t.Errorf("work goes into a stop that is only asked: %v", err)
	}
	answer := assets.StopAnswer{Word: assets.AnswerAgreed, ByID: 7, Why: "mill is down anyway"}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Reply(c, w.ID, w.RowID, answer) })
	s.Change(t, plantdbtest.Noon, place)
	got, err := stops.Window(bg, s.DB, s.Scope, w.ID)
	if err != nil || got.Answer.Given() != assets.AnswerAgreed || got.Answer.ByID != 7 || got.Answer.At == 0 {
		t.Errorf("the answer kept is %+v, %v", got.Answer, err)
	}
	if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Reply(c, w.ID, w.RowID, answer) }); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("an answer to a stop as it was read before: %v", err)
	}
}

func TestAnOccurrenceGetsItsRowWhenWorkIsPlacedInIt(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := weekly(s)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, &r) })
	before := listed(t, s, "2026-11-28T00:00:00Z", "2026-12-14T00:00:00Z")
	if len(before) != 3 || before[1].ID >= 0 || before[1].Start != at("2026-12-06T05:00:00Z") {
		t.Fatalf("stops of three Sundays: %+v", before)
	}
	var id int64
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) (err error) { id, err = stops.ForWork(c, s.Plant.ID, before[1].ID); return err })
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		again, err := stops.ForWork(c, s.Plant.ID, before[1].ID)
		if again != id {
			t.Errorf("the same occurrence has the rows %d and %d", id, again)
		}
		return err
	})
	after := listed(t, s, "2026-11-28T00:00:00Z", "2026-12-14T00:00:00Z")
	if len(after) != 3 || after[1].ID != id || after[1].Start != before[1].Start {
		t.Errorf("after placing: %+v", after)
	}
	if w, err := stops.Window(bg, s.DB, s.Scope, before[1].ID); err != nil || w.ID != id {
		t.Errorf("the number it had before finds %d, %v", w.ID, err)
	}
}

func TestOneOccurrenceIsWithdrawnAndTheOthersStay(t *testing.T) {
	s := plantdbtest.Plant(t)
	r := weekly(s)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, &r) })
	first := listed(t, s, "2026-11-28T00:00:00Z", "2026-12-14T00:00:00Z")[0]
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Withdraw(c, first.ID, 0, "rush order") })
	left := listed(t, s, "2026-11-28T00:00:00Z", "2026-12-14T00:00:00Z")
	if len(left) != 2 || left[0].Start == first.Start {
		t.Errorf("left are %+v", left)
	}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.WithdrawRecurrence(c, r.ID, r.RowID, "") })
	if left = listed(t, s, "2026-11-28T00:00:00Z", "2026-12-14T00:00:00Z"); len(left) != 0 {
		t.Errorf("a withdrawn recurring stop still comes: %+v", left)
	}
}

func TestAPlantSeesOnlyItsOwnStops(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	w, r := sunday(s, ""), weekly(s)
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		return errors.Join(stops.Save(c, &w), stops.SaveRecurrence(c, &r))
	})
	if all, err := stops.Windows(bg, s.DB, other.Scope, s.Plant.ID, 0, 0); err != nil || len(all) != 0 {
		t.Errorf("another plant's reader sees %d stops, %v", len(all), err)
	}
	for _, id := range []int64{w.ID, listed(t, s, "2026-11-28T00:00:00Z", "2026-12-01T00:00:00Z")[0].ID} {
		if _, err := stops.Window(bg, s.DB, other.Scope, id); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("another plant's reader opens stop %d: %v", id, err)
		}
		if err := other.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Withdraw(c, id, 0, "") }); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("another plant withdraws stop %d: %v", id, err)
		}
	}
	foreign := sunday(s, "")
	foreign.LineID, foreign.ConveyorIDs = 0, []int64{other.Conveyor.ID}
	if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Save(c, &foreign) }); err == nil {
		t.Error("a stop of another plant's conveyor is kept")
	}
}

func TestAConveyorIsInOneIsolationGroup(t *testing.T) {
	s := plantdbtest.Plant(t)
	g := assets.IsolationGroup{PlantID: s.Plant.ID, Name: "Crusher feed", Point: "E-14", IsolateMin: 20, RestartMin: 15, ConveyorIDs: []int64{s.Conveyor.ID}}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveGroup(c, &g) })
	h := assets.IsolationGroup{PlantID: s.Plant.ID, Name: "Screen house", Point: "E-15", ConveyorIDs: []int64{s.Conveyor.ID}}
	var bad assets.Invalid
	if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveGroup(c, &h) }); !errors.As(err, &bad) || bad["conveyors"] == "" {
		t.Errorf("the conveyor is in two groups: %v", err)
	}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.EndGroup(c, g.ID, g.RowID) })
	s.Change(t, plantdbtest.Noon.Add(time.Minute), func(c *plantdb.Change) error { return stops.SaveGroup(c, &h) })
	if all, err := stops.Groups(bg, s.DB, s.Scope, s.Plant.ID); err != nil || len(all) != 1 || all[0].Name != "Screen house" {
		t.Errorf("groups %+v, %v", all, err)
	}
}
