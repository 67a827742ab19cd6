package samplefleet

import (
	"testing"

	"carryside/assets"
)

func TestTheBenchmarkFleetHasTheSizesToHold(t *testing.T) {
	count := func(sizes Sizes) map[string]int {
		n := map[string]int{}
		err := Benchmark(theDay, sizes, func(*Fleet) error { return nil }, func(f *Fleet) error {
			n["plants"] += len(f.Plants)
			n["conveyors"] += len(f.Conveyors)
			n["readings"] += len(f.Readings)
			n["findings"] += len(f.Findings)
			n["orders"] += len(f.Orders)
			for _, s := range f.Splices {
				if s.Ended == nil {
					n["live"]++
				} else if n["ended"]++; *s.Ended > assets.InstantOf(theDay) {
					t.Fatalf("splice %d ends after today", s.ID)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	// A tenth of the whole: ten plants of the pattern hold 1,000 conveyors, forty patterns the 40,000 of the sizes to hold.
	n := count(Sizes{Plants: 10, Conveyors: WholeFleet.Conveyors})
	for what, want := range map[string]int{"plants": 10, "conveyors": 1000, "live": 1500, "ended": 6000, "readings": 250_000, "findings": 25_000, "orders": 10_000} {
		if n[what] != want {
			t.Errorf("%s: %d, want %d", what, n[what], want)
		}
	}
	if WholeFleet.Plants != 10*40 {
		t.Errorf("%d plants, want forty patterns of ten", WholeFleet.Plants)
	}
}
