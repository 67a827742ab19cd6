package stops_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/calendar"
	"carryside/schedule/window"
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
	first := plantdbtest.Plant(t)
	occurrenceGetsItsRow(t, first)
	occurrenceGetsItsRow(t, plantdbtest.PlantIn(t, first.DB, "Tarn Mill")) // of a customer whose numbers are a block of their own
}

func occurrenceGetsItsRow(t *testing.T, s *plantdbtest.Site) {
	t.Helper()
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

// A program enters recurring stops without end: the one whose occurrences could not be numbered any more is refused, and nothing of it is kept.
func TestMoreRecurringStopsThanCanBeNumberedAreRefused(t *testing.T) {
	first := plantdbtest.Plant(t)
	for _, s := range []*plantdbtest.Site{first, plantdbtest.PlantIn(t, first.DB, "Tarn Mill")} {
		r := weekly(s)
		s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, &r) })
		s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { // as if all but one of them had been entered
			ch, err := c.PlantChain(s.Plant.ID)
			if err == nil {
				_, err = c.NewIDs(ch, "stop_recurrences", window.MostRecurring-2)
			}
			return err
		})
		last, over := weekly(s), weekly(s)
		s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, &last) })
		err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, &over) })
		if bad := (assets.Invalid{}); !errors.As(err, &bad) || !strings.Contains(bad[""], "32767 recurring stops") {
			t.Errorf("one more than can be numbered: %v", err)
		}
		if held, err := stops.Recurrences(bg, s.DB, s.Scope, s.Plant.ID); err != nil || len(held) != 2 || !window.Numbers(held[1].ID) {
			t.Errorf("kept are %+v, %v", held, err)
		}
		if list := listed(t, s, "2026-11-28T00:00:00Z", "2026-12-07T00:00:00Z"); len(list) != 4 {
			t.Errorf("%d occurrences of two recurring stops on two Sundays", len(list))
		}
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

func TestACalendarFileIsTakenInOnceAndItsHistoryIsKept(t *testing.T) {
	s := plantdbtest.Plant(t)
	zone := calendar.ZoneOf(s.Plant.Location())
	as := assets.StopWindow{PlantID: s.Plant.ID, LineID: s.Line.ID, Answer: assets.StopAnswer{Word: assets.AnswerAgreed}}
	take := func(text string) (wrote int) {
		t.Helper()
		events, err := calendar.ReadEvents([]byte(text), zone)
		if err != nil {
			t.Fatal(err)
		}
		held, err := stops.Held(bg, s.DB, s.Scope, s.Plant.ID)
		if err != nil {
			t.Fatal(err)
		}
		changes := window.ReadIn(events, held, as, zone, plantdbtest.Noon, true)
		for _, c := range changes {
			if c.Do != window.Unchanged && c.Do != window.LeaveOut {
				wrote++
			}
		}
		s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return stops.TakeIn(c, changes) })
		return wrote
	}
	const one = "BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:1@plant\nSUMMARY:Winter stop\nDTSTART:20261212T060000\nDTEND:20261212T200000\nEND:VEVENT\n"
	const often = "BEGIN:VEVENT\nUID:2@plant\nSUMMARY:Night\nDTSTART:20261205T200000\nDTEND:20261206T060000\nRRULE:FREQ=WEEKLY\nEND:VEVENT\n" +
		"BEGIN:VEVENT\nUID:2@plant\nRECURRENCE-ID:20261219T200000\nDTSTART:20261220T200000\nDTEND:20261221T060000\nEND:VEVENT\nEND:VCALENDAR\n"
	if n := take(one + often); n != 3 {
		t.Errorf("%d changes, want 3", n)
	}
	if n := take(one + often); n != 0 {
		t.Errorf("the same file again changes %d", n)
	}
	var starts []string
	for _, w := range listed(t, s, "2026-12-01T00:00:00Z", "2026-12-22T00:00:00Z") {
		starts = append(starts, w.StartLocal)
	}
	if got := strings.Join(starts, " "); got != "2026-12-05T20:00 2026-12-12T06:00 2026-12-12T20:00 2026-12-20T20:00" {
		t.Errorf("stops begin at %s", got)
	}
	if n := take(strings.Replace(one, "T060000", "T070000", 1) + often); n != 1 {
		t.Errorf("a stop moved by an hour: %d changes", n)
	}
	past, err := stops.History(bg, s.DB, s.Scope, s.Plant.ID, 0, 0, 10)
	if err != nil || len(past) != 1 || past[0].Before == nil || past[0].Before.StartLocal != "2026-12-12T06:00" || past[0].After.StartLocal != "2026-12-12T07:00" || past[0].PersonID != 7 {
		t.Errorf("history %+v, %v", past, err)
	}
	if past, err = stops.History(bg, s.DB, assets.PlantScope(s.Plant.ID+1), s.Plant.ID, 0, 0, 10); err != nil || len(past) != 0 {
		t.Errorf("another plant's reader sees the history: %v, %v", past, err)
	}
}
