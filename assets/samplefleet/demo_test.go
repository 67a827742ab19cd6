package samplefleet

import (
	"testing"
	"time"

	"carryside/assets"

	"github.com/google/go-cmp/cmp"
)

var theDay = time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)

func TestTheSameDayGivesTheSameFleet(t *testing.T) {
	if d := cmp.Diff(Demo(theDay), Demo(theDay)); d != "" {
		t.Fatalf("two fleets of one day differ:\n%s", d)
	}
}

func TestEveryConveyorOfTheDemoRunsOneBeltWithItsSplices(t *testing.T) {
	f := Demo(theDay)
	on := map[int64]int64{}
	for _, b := range f.Belts {
		if b.Removed == nil && b.ValidTo == nil {
			if was, twice := on[b.ConveyorID]; twice {
				t.Errorf("conveyor %d has belts %d and %d on it", b.ConveyorID, was, b.ID)
			}
			on[b.ConveyorID] = b.ID
		}
	}
	splices := map[int64]int{}
	for _, s := range f.Splices {
		switch {
		case s.Ended == nil && on[s.ConveyorID] != s.BeltID:
			t.Errorf("splice %d lives on belt %d, which is not on its conveyor", s.ID, s.BeltID)
		case s.Ended != nil && *s.Ended <= s.Made.At:
			t.Errorf("splice %d ended %v, before it was made %v", s.ID, *s.Ended, s.Made.At)
		case s.Ended == nil:
			splices[s.ConveyorID]++
		}
	}
	for _, c := range f.Conveyors {
		if on[c.ID] == 0 || splices[c.ID] == 0 {
			t.Errorf("conveyor %s has belt %d and %d live splices; want one belt and at least one splice", c.Tag, on[c.ID], splices[c.ID])
		}
	}
}

func TestRunningHoursOfTheDemoNeverFallAndNeverExceedTheClock(t *testing.T) {
	f := Demo(theDay)
	offset := func(conveyor int64, at assets.Instant) float64 {
		o := 0.0
		for _, m := range f.Meters {
			if m.ConveyorID == conveyor && m.FromAt <= at {
				o = m.OffsetH
			}
		}
		return o
	}
	lastAt, lastH := map[int64]assets.Instant{}, map[int64]float64{}
	for _, r := range f.Readings {
		h := r.ShownH + offset(r.ConveyorID, r.At)
		if was, ok := lastH[r.ConveyorID]; ok {
			elapsed := float64(r.At-lastAt[r.ConveyorID]) / 3.6e9
			if h < was-1e-6 || h-was > elapsed+0.1+1e-6 {
				t.Fatalf("conveyor %d: %.1f h after %.1f h, %.1f h later", r.ConveyorID, h, was, elapsed)
			}
		}
		lastAt[r.ConveyorID], lastH[r.ConveyorID] = r.At, h
	}
}

func TestTheDemoHasACohortOfEachSort(t *testing.T) {
	f := Demo(theDay)
	cohort := map[string]string{}
	for _, s := range []site{skarrow(), ferrant(), dunmarrow()} {
		for _, l := range s.lines {
			for _, c := range l.conveyors {
				cohort[s.plant+c.tag] = c.cohort
			}
		}
	}
	tag := map[int64]string{}
	for _, c := range f.Conveyors {
		tag[c.ID] = f.Plants[c.PlantID-1].Name + c.Tag
	}
	failed := map[string]int{}
	for _, s := range f.Splices {
		if s.RetiredWhy == assets.RetiredFailed {
			failed[cohort[tag[s.ConveyorID]]]++
		}
	}
	t.Logf("failures by cohort: %v", failed)
	if failed["hub finger"] < 30 {
		t.Errorf("rich cohort: %d failures, want 30 or more", failed["hub finger"])
	}
	if n := failed["heavy cold"]; n < 1 || n > 9 {
		t.Errorf("thin cohort: %d failures, want a handful", n)
	}
	if n := failed["bakery hinged"]; n < 1 || n > 4 {
		t.Errorf("cohort too thin for figures of its own: %d failures, want fewer than five", n)
	}
	if failed["bakery new"] != 0 {
		t.Errorf("cohort without failures: %d", failed["bakery new"])
	}
	if failed["bakery edge"] < 3 || Cohorts["bakery edge"].Shape >= 1 {
		t.Errorf("cohort of early failures: %d", failed["bakery edge"])
	}
}
