package clock

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestPasses(t *testing.T) {
	type level struct {
		From  string
		Value float64
	}
	for _, c := range readCases[struct {
		meterCase
		Speed []level `json:"speed_m_s"`
		Loop  []level `json:"loop_length_m"`
		Bends []struct {
			From           string
			Plain, Reverse int
		}
		From, To string
		Expected struct {
			Hours   float64 `json:"running_hours"`
			Passes  float64
			Flexes  float64
			Reverse float64 `json:"reverse_flexes"`
		}
	}](t, "passes.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			line, _ := c.line(t)
			var d Duty
			for _, l := range c.Speed {
				d.SpeedMPS = append(d.SpeedMPS, Level{c.instant(t, l.From), l.Value})
			}
			for _, l := range c.Loop {
				d.LoopM = append(d.LoopM, Level{c.instant(t, l.From), l.Value})
			}
			for _, b := range c.Bends {
				d.Bends = append(d.Bends, Bends{c.instant(t, b.From), b.Plain, b.Reverse})
			}
			u, err := d.Usage(line.At, c.instant(t, c.From), c.instant(t, c.To))
			if err != nil {
				t.Fatal(err)
			}
			for name, pair := range map[string][2]float64{
				"running hours": {u.RunningHours, c.Expected.Hours}, "passes": {u.Passes, c.Expected.Passes},
				"flexes": {u.Flexes, c.Expected.Flexes}, "reverse flexes": {u.ReverseFlexes, c.Expected.Reverse},
			} {
				// The expected values are written with six decimals.
				if math.Abs(pair[0]-pair[1]) > 1e-6+1e-9*pair[1] {
					t.Errorf("%s: %v, want %v", name, pair[0], pair[1])
				}
			}
		})
	}
}

// steadyDuty is a line at 0.5 m/s round 20 m: 90 passes an hour.
func steadyDuty(from time.Time) Duty {
	return Duty{SpeedMPS: []Level{{from, 0.5}}, LoopM: []Level{{from, 20}}, Bends: []Bends{{from, 2, 1}}}
}

func TestPassesThatAreNotKnown(t *testing.T) {
	start, end := at(t, "2025-06-02T04:00Z"), at(t, "2025-06-30T04:00Z")
	running := NewLine([]Point{{start, 0}, {end, 300}})
	stood := NewLine([]Point{{start, 5}, {end, 5}})
	later := end.Add(-time.Hour)
	for _, tt := range []struct {
		name     string
		duty     Duty
		line     Line
		from, to time.Time
		want     string
	}{
		{"before the first reading", steadyDuty(start), running, start.Add(-time.Hour), end, HoursUnknown},
		{"after the last reading", steadyDuty(start), running, start, end.Add(time.Hour), HoursUnknown},
		{"no speed yet", steadyDuty(later), running, start, end, SpeedUnknown},
		{"no loop length", Duty{SpeedMPS: []Level{{start, 1}}}, running, start, end, LoopUnknown},
		{"loop of no length", Duty{SpeedMPS: []Level{{start, 1}}, LoopM: []Level{{start, 0}}}, running, start, end, LoopUnknown},
		{"end before start", steadyDuty(start), running, end, start, BadInterval},
		{"belt stood, nothing else known", Duty{}, stood, start, end, ""},
	} {
		_, err := tt.duty.Usage(tt.line.At, tt.from, tt.to)
		var refused *Refused
		if got := errors.As(err, &refused); got != (tt.want != "") || got && refused.Kind != tt.want {
			t.Errorf("%s: %v, want class %q", tt.name, err, tt.want)
		}
	}
	noPulleys := steadyDuty(start)
	noPulleys.Bends = nil
	if u, err := noPulleys.Usage(running.At, start, end); err != nil || u.FlexesKnown || u.Passes != 27000 {
		t.Errorf("without pulleys: %+v (%v); passes are known, flexes are not", u, err)
	}
}

// Usage adds up over any instant between, and When is its inverse, over changes of speed and loop length in past and future.
func TestPassesAddUpAndAreReached(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line, _ := NewMeter(0.1, nil).Accept(drawReadings(t))
		first, some := line.First()
		if !some || len(line.Points()) < 2 {
			return
		}
		p := Project(line, nil, 90*24*time.Hour, time.Time{})
		if _, rate := p.Basis(); rate < 0.01 {
			return
		}
		d := steadyDuty(first.At)
		for range rapid.IntRange(0, 4).Draw(t, "changes") {
			from := d.SpeedMPS[len(d.SpeedMPS)-1].From.Add(time.Duration(rapid.IntRange(1, 3000).Draw(t, "hours to the change")) * time.Hour)
			d.SpeedMPS = append(d.SpeedMPS, Level{from, rapid.Float64Range(0.1, 3).Draw(t, "speed")})
			d.LoopM = append(d.LoopM, Level{from.Add(time.Hour), rapid.Float64Range(5, 500).Draw(t, "loop")})
		}
		mid := first.At.Add(time.Duration(rapid.IntRange(0, 5000).Draw(t, "hours to the middle")) * time.Hour)
		end := mid.Add(time.Duration(rapid.IntRange(0, 5000).Draw(t, "hours to the end")) * time.Hour)
		whole, err1 := d.Usage(p.HoursAt, first.At, end)
		before, err2 := d.Usage(p.HoursAt, first.At, mid)
		after, err3 := d.Usage(p.HoursAt, mid, end)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		if sum := before.Passes + after.Passes; math.Abs(whole.Passes-sum) > 1e-6*(1+sum) {
			t.Fatalf("%v passes in all, %v and %v in parts", whole.Passes, before.Passes, after.Passes)
		}
		reached, ok, err := d.When(p, first.At, whole.Passes)
		if err != nil || !ok || reached.After(end.Add(time.Second)) {
			t.Fatalf("%v passes are reached at %s (%v, %v), by %s they are", whole.Passes, reached, ok, err, end)
		}
		if whole.Passes == 0 {
			return
		}
		back, err := d.Usage(p.HoursAt, first.At, reached)
		if err != nil || math.Abs(back.Passes-whole.Passes) > 1e-6*whole.Passes+1e-2 {
			t.Fatalf("%v passes are said to be reached at %s, where %v are (%v)", whole.Passes, reached, back.Passes, err)
		}
	})
}
