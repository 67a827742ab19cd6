package clock

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestReadingsAndLine(t *testing.T) {
	type held struct {
		N      int
		Reason string
	}
	for _, c := range readCases[struct {
		meterCase
		Expected struct {
			Held       []held
			Duplicates []int
			H          []hoursExpected
		}
	}](t, "meters.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			line, verdicts := c.line(t)
			gotHeld, gotDuplicates := []held{}, []int{}
			for i, v := range verdicts {
				if v.Class.Held() {
					gotHeld = append(gotHeld, held{c.Readings[i].N, v.Class.Words()})
				} else if v.Class == Duplicate {
					gotDuplicates = append(gotDuplicates, c.Readings[i].N)
				}
			}
			if !slices.Equal(gotHeld, c.Expected.Held) || !slices.Equal(gotDuplicates, c.Expected.Duplicates) {
				t.Errorf("held %v, duplicates %v; want %v, %v", gotHeld, gotDuplicates, c.Expected.Held, c.Expected.Duplicates)
			}
			for _, want := range c.Expected.H {
				got, known := line.At(c.instant(t, want.At))
				if known != (want.Hours != nil) || known && math.Abs(got-*want.Hours) > 1e-6 {
					t.Errorf("H(%s) = %v (known %v), want %v", want.At, got, known, want.Hours)
				}
			}
		})
	}
}

func TestJudgeBesideItsNeighbours(t *testing.T) {
	accepted := []Point{{at(t, "2025-06-02T04:00Z"), 100}, {at(t, "2025-06-09T04:00Z"), 180}}
	for _, tt := range []struct {
		name    string
		at      string
		hours   float64
		want    Class
		against float64
	}{
		{"between", "2025-06-05T04:00Z", 140, Accepted, 0},
		{"a display step over the elapsed hours", "2025-06-05T04:00Z", 172.1, Accepted, 0},
		{"more than that", "2025-06-05T04:00Z", 172.2, MoreThanADay, 100},
		{"higher than the later one", "2025-06-08T04:00Z", 181, Backwards, 180},
		{"too little left for the later one", "2025-06-09T02:00Z", 177, MoreThanADay, 180},
		{"before the first", "2025-06-01T04:00Z", 90, Accepted, 0},
		{"before the first and higher", "2025-06-01T04:00Z", 101, Backwards, 100},
		{"before the first and too low", "2025-06-01T04:00Z", 70, MoreThanADay, 100},
		{"after the last", "2025-06-10T04:00Z", 204.1, Accepted, 0},
		{"after the last, by more than a step too high", "2025-06-10T04:00Z", 204.2, MoreThanADay, 180},
		{"after the last and lower", "2025-06-10T04:00Z", 179.9, Backwards, 180},
		{"stood still", "2025-06-10T04:00Z", 180, Accepted, 0},
		{"the same again", "2025-06-09T04:00Z", 180, Duplicate, 180},
		{"another value of that instant", "2025-06-09T04:00Z", 180.1, SameInstant, 180},
	} {
		class, against := Judge(accepted, Point{at(t, tt.at), tt.hours}, 0.1)
		if class != tt.want || against.Hours != tt.against {
			t.Errorf("%s: %q against %v, want %q against %v", tt.name, class, against.Hours, tt.want, tt.against)
		}
	}
	if class, _ := Judge(nil, Point{at(t, "2025-06-02T04:00Z"), 5}, 0.1); class != Accepted {
		t.Errorf("the first reading of all is %q", class)
	}
}

func TestReplacementsBindTheReadingsAroundThem(t *testing.T) {
	replaced := Event{At: at(t, "2025-02-12T13:00Z"), OldFinal: 8562.5, NewStart: 4}
	m := NewMeter(0.1, []Event{replaced})
	_, verdicts := m.Accept([]Reading{
		{at(t, "2025-02-10T05:00Z"), 8530.5},
		{at(t, "2025-02-12T15:00Z"), 14},   // ten hours on the new meter two hours after it was fitted
		{at(t, "2025-02-12T13:00Z"), 4},    // what it showed when fitted
		{at(t, "2025-02-12T13:00Z"), 4},    // and again
		{at(t, "2025-02-12T12:00Z"), 8563}, // more than the old one showed last
		{at(t, "2025-02-17T05:00Z"), 62},
	})
	var got []Class
	for _, v := range verdicts {
		got = append(got, v.Class)
	}
	if want := []Class{Accepted, MoreThanADay, Accepted, Duplicate, Backwards, Accepted}; !slices.Equal(got, want) {
		t.Errorf("verdicts %q, want %q", got, want)
	}
	if got := m.Shown(at(t, "2025-02-17T05:00Z"), 8620.5); got != 62 {
		t.Errorf("8620.5 running hours show as %v on the new meter", got)
	}
}

// drawReadings draws readings of a belt that runs part of the time, with some typing errors, entered in any order.
func drawReadings(t *rapid.T) []Reading {
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	var readings []Reading
	tenths := func(h float64) float64 { return math.Round(10*h) / 10 } // as a meter shows them
	shown := tenths(rapid.Float64Range(0, 5000).Draw(t, "first"))
	for range rapid.IntRange(0, 25).Draw(t, "readings") {
		elapsed := float64(rapid.IntRange(1, 400).Draw(t, "hours"))
		start = start.Add(time.Duration(elapsed) * time.Hour)
		shown = tenths(shown + elapsed*rapid.Float64Range(0, 1).Draw(t, "share"))
		r := Reading{start, shown}
		if rapid.IntRange(0, 9).Draw(t, "typing error") == 0 {
			r.Shown = tenths(r.Shown + rapid.Float64Range(-3000, 3000).Draw(t, "off by"))
		}
		readings = append(readings, r)
	}
	return rapid.Permutation(readings).Draw(t, "entered as")
}

// Whatever is entered in whatever order, the line never falls and never rises faster than a display step over time, it goes
// through every accepted reading, and entering it all again changes nothing.
func TestLineIsMonotoneWhateverIsEntered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := drawReadings(t)
		line, verdicts := NewMeter(0.1, nil).Accept(readings)
		points := line.Points()
		for i := 1; i < len(points); i++ {
			grown, elapsed := points[i].Hours-points[i-1].Hours, points[i].At.Sub(points[i-1].At).Hours()
			if grown < -1e-6 || elapsed <= 0 || grown > elapsed+0.1+1e-5 {
				t.Fatalf("from %v to %v", points[i-1], points[i])
			}
		}
		for i, v := range verdicts {
			h, known := line.At(readings[i].At)
			if v.Class == Accepted && (!known || h != readings[i].Shown) {
				t.Fatalf("the accepted reading %v reads as %v (%v)", readings[i], h, known)
			}
		}
		again, _ := NewMeter(0.1, nil).Accept(append(slices.Clone(readings), readings...))
		if !slices.Equal(again.Points(), points) {
			t.Fatal("entering the readings again changes the line")
		}
	})
}

// Replacing the meter, or letting it roll over, changes what is read and not the hours run.
func TestReplacementAndRolloverLeaveTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain, _ := NewMeter(0.1, nil).Accept(drawReadings(t))
		points := plain.Points()
		if len(points) < 4 {
			return
		}
		n := rapid.IntRange(1, len(points)-2).Draw(t, "replaced after")
		when := points[n].At.Add(points[n+1].At.Sub(points[n].At) / 2)
		final, _ := plain.At(when)
		newStart := rapid.Float64Range(0, 9000).Draw(t, "new meter shows")
		m := NewMeter(0.1, []Event{
			{At: when, OldFinal: final, NewStart: newStart},
			{At: points[len(points)-1].At, Rollover: true, RangeH: 10000},
		})
		var shown []Reading
		for _, p := range points {
			shown = append(shown, Reading{p.At, m.Shown(p.At, p.Hours)})
		}
		line, _ := m.Accept(shown)
		for _, p := range points {
			if h, known := line.At(p.At); !known || math.Abs(h-p.Hours) > 1e-6 {
				t.Fatalf("H(%s) = %v (%v), without replacement %v", p.At, h, known, p.Hours)
			}
		}
	})
}

func TestLineIsReadBothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line, _ := NewMeter(0.1, nil).Accept(drawReadings(t))
		first, some := line.First()
		last, _ := line.Last()
		if !some {
			if _, known := line.At(time.Now()); known {
				t.Fatal("a line without points knows something")
			}
			return
		}
		hours := min(last.Hours, first.Hours+(last.Hours-first.Hours)*rapid.Float64Range(0, 1).Draw(t, "share"))
		reached, ok := line.When(hours)
		if !ok {
			t.Fatalf("%v of %v to %v hours is not reached", hours, first.Hours, last.Hours)
		}
		if h, known := line.At(reached); !known || math.Abs(h-hours) > 1e-6 {
			t.Fatalf("%v is said to be reached at %s, where H is %v (%v)", hours, reached, h, known)
		}
		if _, known := line.At(first.At.Add(-time.Second)); known {
			t.Fatal("H is known before the first reading")
		}
		if _, known := line.At(last.At.Add(time.Second)); known {
			t.Fatal("H is known after the last reading")
		}
	})
}
