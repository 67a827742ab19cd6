package clock

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"carryside/schedule/calendar"

	"pgregory.net/rapid"
)

// planCase is a production calendar as the check cases write it.
type planCase struct {
	Weekly []struct {
		Day        string
		Start, End string
	}
	Exceptions []struct {
		Date   calendar.Date
		Shifts []struct{ Start, End string }
	}
}

// plan makes the calendar of a case; nil when it has none.
func (c meterCase) plan(t testing.TB, raw json.RawMessage) Plan {
	t.Helper()
	var p *planCase
	if err := json.Unmarshal(raw, &p); err != nil {
		t.Fatal(err)
	}
	if p == nil {
		return nil
	}
	shift := func(from, to string) calendar.Shift {
		start, err1 := calendar.ParseTimeOfDay(from)
		end, err2 := calendar.ParseTimeOfDay(to)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		return calendar.Shift{Start: start, End: end}
	}
	days := map[string]time.Weekday{"Sun": 0, "Mon": 1, "Tue": 2, "Wed": 3, "Thu": 4, "Fri": 5, "Sat": 6}
	var weekly []calendar.DayShifts
	for _, s := range p.Weekly {
		weekly = append(weekly, calendar.DayShifts{Day: days[s.Day], Shifts: []calendar.Shift{shift(s.Start, s.End)}})
	}
	var exceptions []calendar.Exception
	for _, e := range p.Exceptions {
		exception := calendar.Exception{Date: e.Date}
		for _, s := range e.Shifts {
			exception.Shifts = append(exception.Shifts, shift(s.Start, s.End))
		}
		exceptions = append(exceptions, exception)
	}
	zone, err := calendar.LoadZone(c.Zone)
	if err != nil {
		t.Fatal(err)
	}
	production, err := calendar.NewProduction(zone, weekly, exceptions)
	if err != nil {
		t.Fatal(err)
	}
	return production
}

func TestProjection(t *testing.T) {
	for _, c := range readCases[struct {
		meterCase
		TrailingDays int `json:"trailing_days"`
		Calendar     json.RawMessage
		Since        string `json:"in_service_since"`
		Expected     struct {
			Projection []hoursExpected
			Basis      Basis
			Ratio      float64
			Rate       float64   `json:"rate_h_per_h"`
			Planned    []float64 `json:"planned_hours_after_last_reading"`
		}
	}](t, "projection.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			line, _ := c.line(t)
			var since time.Time
			if c.Since != "" {
				since = c.instant(t, c.Since)
			}
			plan := c.plan(t, c.Calendar)
			p := Project(line, plan, time.Duration(c.TrailingDays)*24*time.Hour, since)
			basis, rate := p.Basis()
			if want := c.Expected.Ratio + c.Expected.Rate; basis != c.Expected.Basis || math.Abs(rate-want) > 1e-9 {
				t.Errorf("basis %q with %v, want %q with %v", basis, rate, c.Expected.Basis, want)
			}
			for i, want := range c.Expected.Projection {
				when := c.instant(t, want.At)
				e := p.At(when)
				if !e.Known || !e.Projected || math.Abs(e.Hours-*want.Hours) > 1e-6 {
					t.Errorf("H(%s) = %+v, want %v", want.At, e, *want.Hours)
				}
				if start, _ := p.Start(); len(c.Expected.Planned) > i && math.Abs(plan.Planned(start.At, when)-c.Expected.Planned[i]) > 1e-9 {
					t.Errorf("planned to %s: %v h, want %v", want.At, plan.Planned(start.At, when), c.Expected.Planned[i])
				}
				// Asked back, the hours are reached at that instant, or before it when it lies in a stretch without plan.
				back, ok := p.When(e.Hours)
				if got := p.At(back).Hours; !ok || back.After(when.Add(time.Second)) || math.Abs(got-e.Hours) > 1e-6 {
					t.Errorf("%v h are reached at %s (%v), asked for %s", e.Hours, back, ok, when)
				}
			}
		})
	}
}

func TestProjectionWithoutBasis(t *testing.T) {
	moment := at(t, "2025-06-02T04:00Z")
	one := NewLine([]Point{{moment, 700}})
	for name, p := range map[string]Projection{
		"nothing at all":                  Project(Line{}, nil, 90*24*time.Hour, time.Time{}),
		"in service, no plan, no reading": Project(Line{}, nil, 90*24*time.Hour, moment),
		"one reading, no plan":            Project(one, nil, 90*24*time.Hour, time.Time{}),
		"the zero projection":             {},
	} {
		if e := p.At(moment.Add(time.Hour)); e.Known {
			t.Errorf("%s: projected to %+v", name, e)
		}
		if at, ok := p.When(800); ok {
			t.Errorf("%s: 800 h are reached at %s", name, at)
		}
		if _, _, ok := p.Band(800, 1.28); ok {
			t.Errorf("%s: 800 h have a band", name)
		}
	}
	if e := Project(one, nil, 90*24*time.Hour, time.Time{}).At(moment); !e.Known || e.Hours != 700 || e.Projected {
		t.Errorf("the reading itself reads as %+v", e)
	}
}

func TestBeltThatStoodStillIsNotProjectedToAnyDate(t *testing.T) {
	line := NewLine([]Point{{at(t, "2025-06-02T04:00Z"), 700}, {at(t, "2025-07-02T04:00Z"), 700}})
	p := Project(line, nil, 90*24*time.Hour, time.Time{})
	if when, ok := p.When(701); ok {
		t.Errorf("701 h are reached at %s", when)
	}
	if when, ok := p.When(700); !ok || !when.Equal(at(t, "2025-06-02T04:00Z")) {
		t.Errorf("700 h were first reached at %s (%v)", when, ok)
	}
	if e := p.At(at(t, "2025-08-02T04:00Z")); e.Hours != 700 || e.SpreadH <= 0 {
		t.Errorf("a month later: %+v; it may have been started again", e)
	}
}

// twoShifts is a plan of Monday to Friday, 06:00 to 22:00.
func twoShifts(t testing.TB) Plan {
	t.Helper()
	zone, err := calendar.LoadZone("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	var weekly []calendar.DayShifts
	for day := time.Monday; day <= time.Friday; day++ {
		weekly = append(weekly, calendar.DayShifts{Day: day, Shifts: []calendar.Shift{{Start: calendar.At(6, 0), End: calendar.At(22, 0)}}})
	}
	p, err := calendar.NewProduction(zone, weekly, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// H never falls over all time, the spread is zero at the last reading and never shrinks, and the band lies around the date.
func TestProjectionNeverFallsAndItsSpreadNeverShrinks(t *testing.T) {
	plan := twoShifts(t)
	rapid.Check(t, func(t *rapid.T) {
		line, _ := NewMeter(0.1, nil).Accept(drawReadings(t))
		last, some := line.Last()
		if !some {
			return
		}
		with := plan
		if rapid.Bool().Draw(t, "no plan") {
			with = nil
		}
		p := Project(line, with, 90*24*time.Hour, time.Time{})
		if e := p.At(last.At); e.SpreadH != 0 || e.Hours != last.Hours {
			t.Fatalf("at the last reading %+v, read %v", e, last.Hours)
		}
		previous := p.At(last.At)
		when := last.At
		for range 30 {
			when = when.Add(time.Duration(rapid.IntRange(0, 500).Draw(t, "hours on")) * time.Hour)
			e := p.At(when)
			if e.Known && (e.Hours < previous.Hours-1e-9 || e.SpreadH < previous.SpreadH-1e-9 || math.IsNaN(e.SpreadH)) {
				t.Fatalf("at %s %+v after %+v", when, e, previous)
			}
			previous = e
		}
		target := last.Hours + rapid.Float64Range(0.1, 5000).Draw(t, "hours to come")
		reached, ok := p.When(target)
		if !ok {
			return
		}
		if h := p.At(reached).Hours; math.Abs(h-target) > 1e-4 {
			t.Fatalf("%v h are said to be reached at %s, where H is %v", target, reached, h)
		}
		early, late, ok := p.Band(target, 1.28)
		if !ok || early.After(reached) || !late.IsZero() && late.Before(reached) || early.Before(last.At) {
			t.Fatalf("%v h at %s, between %s and %s (%v)", target, reached, early, late, ok)
		}
		if e := p.At(early); e.Hours+1.28*e.SpreadH < target-1e-3 && early.Sub(last.At).Hours() < target-last.Hours-1e-3 {
			t.Fatalf("at the early end %s even the high estimate %+v is below %v", early, e, target)
		}
	})
}

// A steady belt has a narrower spread than an unsteady one with the same mean, and than one whose plan alone is known.
func TestSpreadFollowsThePlantsOwnVariation(t *testing.T) {
	plan := twoShifts(t)
	start := at(t, "2025-06-02T04:00Z")
	run := func(weeks ...float64) Projection {
		points := []Point{{start, 1000}}
		for _, h := range weeks {
			last := points[len(points)-1]
			points = append(points, Point{last.At.Add(week), last.Hours + h})
		}
		return Project(NewLine(points), plan, 90*24*time.Hour, time.Time{})
	}
	steady := run(60, 61, 59, 60, 60, 61, 59, 60, 60, 60)
	unsteady := run(30, 90, 20, 100, 60, 75, 45, 90, 30, 60)
	alone := Project(NewLine([]Point{{start, 1000}}), plan, 90*24*time.Hour, time.Time{})
	in := func(p Projection) float64 { s, _ := p.Start(); return p.At(s.At.Add(12 * week)).SpreadH }
	if !(in(steady) < in(unsteady)) || !(in(steady) < in(alone)) {
		t.Errorf("after twelve weeks: steady %v, unsteady %v, plan alone %v", in(steady), in(unsteady), in(alone))
	}
}

// The stated spread covers what happens: belts simulated with weeks that vary independently end within one standard
// deviation about as often as a normal value does (68 %; the normal distribution, any table).
func TestSpreadCoversSimulatedBelts(t *testing.T) {
	plan := twoShifts(t)
	random := newRandom(20251125)
	inside, belts := 0, 400
	for range belts {
		points := []Point{{at(t, "2025-01-06T05:00Z"), 0}}
		for range 13 + 26 {
			last := points[len(points)-1]
			points = append(points, Point{last.At.Add(week), last.Hours + 60 + 15*random()})
		}
		p := Project(NewLine(points[:14]), plan, 91*24*time.Hour, time.Time{})
		e := p.At(points[39].At)
		if math.Abs(e.Hours-points[39].Hours) <= e.SpreadH {
			inside++
		}
	}
	if share := float64(inside) / float64(belts); share < 0.58 || share > 0.80 {
		t.Errorf("%.2f of the simulated belts end within the spread", share)
	}
}
