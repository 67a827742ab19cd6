package clocks_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// told is one thing that was told of a plant, as a plain replay keeps it: when it was told, from when it is so, what.
type told struct {
	known, at assets.Instant
	hours     float64 // NaN: the reading was left out
	speed     float64 // a speed from at on; 0: this is a reading
}

// TestAsKnownThenAgainstAPlainReplay writes random histories of speeds and readings, entered late, corrected up to five
// times and withdrawn, and compares what is held on random days as known at random moments with a plain replay of
// all that had been told until then.
func TestAsKnownThenAgainstAPlainReplay(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	compared := 0
	for range 4 {
		s := plantdbtest.Plant(t)
		all, last := randomHistory(t, s, rng)
		for range 100 {
			known := assets.InstantOf(plantdbtest.Noon.Add(time.Duration(rng.Int64N(int64(last.Sub(plantdbtest.Noon))))))
			day := assets.InstantOf(plantdbtest.Noon.AddDate(0, 0, rng.IntN(70)-65))
			compareAt(t, s, all, day, known)
			compared++
		}
	}
	if compared != 400 {
		t.Errorf("%d pairs were compared, want 400", compared)
	}
}

// randomHistory tells sixty things, an hour or more apart, and returns them with the moment of the last.
func randomHistory(t *testing.T, s *plantdbtest.Site, rng *rand.Rand) ([]told, time.Time) {
	t.Helper()
	all := []told{{known: assets.InstantOf(plantdbtest.Noon), at: math.MinInt64, speed: s.Conveyor.SpeedMPS}}
	standing := map[assets.Instant]int{} // readings that hold, with how often each was corrected
	now := plantdbtest.Noon
	for range 60 {
		now = now.Add(time.Hour + time.Duration(rng.Int64N(int64(3*time.Hour))))
		n := told{known: assets.InstantOf(now), at: assets.InstantOf(plantdbtest.Noon.AddDate(0, 0, -1-rng.IntN(60)))}
		held, there := standing[n.at]
		fresh := 1000 + 10*n.at.Time().Sub(plantdbtest.Noon.AddDate(0, 0, -70)).Hours()/24 + rng.Float64()
		s.Change(t, now, func(c *plantdb.Change) error {
			switch {
			case rng.IntN(4) == 0:
				conveyor, err := registry.Conveyor(bg, c.DB, s.Scope, s.Conveyor.ID, plantdb.AsOf{})
				if err != nil {
					return err
				}
				n.speed = 0.5 + rng.Float64()
				conveyor.SpeedMPS = n.speed
				return registry.AlterConveyor(c, &conveyor, n.at)
			case !there:
				standing[n.at], n.hours = 0, fresh
				_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: s.Conveyor.ID, At: n.at, ShownH: fresh, Origin: "test"})
				return err
			case held >= 5 || rng.IntN(4) == 0:
				delete(standing, n.at)
				n.hours = math.NaN()
				return clocks.CorrectReading(c, s.Conveyor.ID, n.at, nil)
			}
			standing[n.at], n.hours = held+1, fresh
			return clocks.CorrectReading(c, s.Conveyor.ID, n.at, &fresh)
		})
		all = append(all, n)
	}
	return all, now
}

// compareAt compares the speed on a day and the readings up to it, as known at a moment.
func compareAt(t *testing.T, s *plantdbtest.Site, all []told, day, known assets.Instant) {
	t.Helper()
	speed, readings := replay(all, day, known)
	asOf, err := s.DB.KnownAt(bg, s.Plant.ID, day, known)
	if err != nil {
		t.Fatal(err)
	}
	conveyor, err := registry.Conveyor(bg, s.DB, s.Scope, s.Conveyor.ID, asOf)
	if err != nil || conveyor.SpeedMPS != speed {
		t.Fatalf("on %v as known at %v the speed is %v (%v), the replay says %v", day, known, conveyor.SpeedMPS, err, speed)
	}
	asOf.Valid = 0
	got, err := clocks.Readings(bg, s.DB, s.Scope, s.Conveyor.ID, clocks.Span{}, asOf)
	if err != nil {
		t.Fatal(err)
	}
	held := map[assets.Instant]float64{}
	for _, r := range got {
		if r.At <= day {
			held[r.At] = r.ShownH
		}
	}
	if len(held) != len(readings) {
		t.Fatalf("up to %v as known at %v there are %d readings, the replay has %d", day, known, len(held), len(readings))
	}
	for at, h := range readings {
		if held[at] != h {
			t.Fatalf("the reading of %v as known at %v is %v, the replay says %v", at, known, held[at], h)
		}
	}
}

// replay goes through all that was told until a moment, in the order of telling.
func replay(all []told, day, known assets.Instant) (speed float64, readings map[assets.Instant]float64) {
	readings = map[assets.Instant]float64{}
	var from []told // speeds by what they begin at
	for _, n := range all {
		switch {
		case n.known > known:
		case n.speed != 0:
			// From its time on the newest word holds, also over what had been told of later times.
			from = slices.DeleteFunc(from, func(o told) bool { return o.at >= n.at })
			from = append(from, n)
		case math.IsNaN(n.hours):
			delete(readings, n.at)
		case n.at <= day:
			readings[n.at] = n.hours
		}
	}
	for _, n := range from {
		if n.at <= day {
			speed = n.speed
		}
	}
	return speed, readings
}
