package calendar

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// everyDay are shifts on all days of the week.
func everyDay(shifts ...Shift) []DayShifts {
	var weekly []DayShifts
	for day := range 7 {
		weekly = append(weekly, DayShifts{time.Weekday(day), shifts})
	}
	return weekly
}

// mustProduction makes a calendar that the test names.
func mustProduction(t testing.TB, zone string, weekly []DayShifts, exceptions ...Exception) *Production {
	t.Helper()
	p, err := NewProduction(mustZone(t, zone), weekly, exceptions)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPlannedHours(t *testing.T) {
	night := Shift{At(22, 0), At(6, 0)}
	day := Shift{At(6, 0), At(14, 0)}
	closed := func(date string) Exception {
		d, _ := ParseDate(date)
		return Exception{Date: d}
	}
	for _, tt := range []struct {
		name     string
		plan     *Production
		from, to string // wall times
		want     float64
	}{
		{"night shift over the October change is nine hours", mustProduction(t, "Europe/Berlin", everyDay(night)), "2025-10-25T12:00", "2025-10-26T12:00", 9},
		{"and seven in March", mustProduction(t, "Europe/Berlin", everyDay(night)), "2026-03-28T12:00", "2026-03-29T12:00", 7},
		{"half an hour on Lord Howe", mustProduction(t, "Australia/Lord_Howe", everyDay(night)), "2025-10-04T12:00", "2025-10-05T12:00", 7.5},
		{"round the clock, a day of 25 hours", mustProduction(t, "Europe/Berlin", everyDay(Shift{0, 0})), "2025-10-26T00:00", "2025-10-27T00:00", 25},
		{"round the clock written to 24:00", mustProduction(t, "Europe/Berlin", everyDay(Shift{0, At(24, 0)})), "2025-06-01T00:00", "2025-06-02T00:00", 24},
		{"half a shift", mustProduction(t, "Europe/Berlin", everyDay(day)), "2025-06-02T10:00", "2025-06-02T23:00", 4},
		{"overlapping shifts count once", mustProduction(t, "Europe/Berlin", everyDay(day, Shift{At(12, 0), At(20, 0)})), "2025-06-02T00:00", "2025-06-03T00:00", 14},
		{"a night shift reaching into the morning's counts once", mustProduction(t, "Europe/Berlin", everyDay(Shift{At(20, 0), At(8, 0)}, day)), "2025-06-02T00:00", "2025-06-03T00:00", 18},
		{"a closed date takes away what starts on it", mustProduction(t, "Europe/Berlin", everyDay(night), closed("2025-06-03")), "2025-06-02T12:00", "2025-06-05T12:00", 16},
		{"a date that the date line took has no shifts of its own", mustProduction(t, "Pacific/Apia", everyDay(day)), "2011-12-29T00:00", "2012-01-01T00:00", 16},
		{"to before from", mustProduction(t, "Europe/Berlin", everyDay(day)), "2025-06-03T00:00", "2025-06-02T00:00", 0},
		{"no shifts at all", mustProduction(t, "Europe/Berlin", nil), "2025-01-01T00:00", "2026-01-01T00:00", 0},
	} {
		z := tt.plan.Zone()
		got := tt.plan.Planned(z.Instant(mustLocal(t, tt.from)), z.Instant(mustLocal(t, tt.to)))
		if math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: %v h, want %v", tt.name, got, tt.want)
		}
	}
}

// drawProduction draws a calendar with shifts on some days, and exceptions about the given date.
func drawProduction(t *rapid.T, around Date) *Production {
	z, err := LoadZone(rapid.SampledFrom(difficultZones).Draw(t, "zone"))
	if err != nil {
		t.Fatal(err)
	}
	drawShift := rapid.Custom(func(t *rapid.T) Shift {
		return Shift{At(rapid.IntRange(0, 23).Draw(t, "start"), rapid.IntRange(0, 59).Draw(t, "start minute")), At(rapid.IntRange(0, 23).Draw(t, "end"), rapid.IntRange(0, 59).Draw(t, "end minute"))}
	})
	var weekly []DayShifts
	for day := range 7 {
		weekly = append(weekly, DayShifts{time.Weekday(day), rapid.SliceOfN(drawShift, 0, 3).Draw(t, "shifts")})
	}
	exceptions := map[Date]Exception{}
	for range rapid.IntRange(0, 6).Draw(t, "exceptions") {
		d := around.AddDays(rapid.IntRange(-5, 40).Draw(t, "exception day"))
		exceptions[d] = Exception{d, rapid.SliceOfN(drawShift, 0, 2).Draw(t, "exception shifts")}
	}
	var list []Exception
	for _, e := range exceptions {
		list = append(list, e)
	}
	p, err := NewProduction(z, weekly, list)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// changeDates lie near clock changes of difficultZones and in quiet weeks.
var changeDates = []string{"2025-03-25", "2025-10-20", "2025-09-01", "2025-04-01", "2025-07-01", "2011-12-20", "2026-03-01", "2025-02-25", "2024-02-20"}

// drawStart draws an instant near a clock change.
func drawStart(t *rapid.T) (Date, time.Time) {
	d, err := ParseDate(rapid.SampledFrom(changeDates).Draw(t, "about"))
	if err != nil {
		t.Fatal(err)
	}
	return d, d.utc().Add(time.Duration(rapid.IntRange(-2000, 8000).Draw(t, "minutes off")) * time.Minute)
}

// Planned hours are what counting minute by minute finds: a minute counts when it lies in any shift, each placed by itself.
func TestPlannedHoursMinuteByMinute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		around, from := drawStart(t)
		p := drawProduction(t, around)
		minutes := rapid.IntRange(0, 40*24*60).Draw(t, "minutes")
		planned := make([]bool, minutes)
		last := p.zone.Date(from.Add(time.Duration(minutes) * time.Minute)).AddDays(3)
		for d := p.zone.Date(from).AddDays(-3); !d.After(last); d = d.AddDays(1) {
			shifts, special := p.exceptions[d]
			if !special {
				shifts = p.weekly[d.Weekday()]
			}
			for _, s := range shifts {
				end := Local{d, s.End}
				if s.End <= s.Start {
					end.Date = d.AddDays(1)
				}
				first := int(p.zone.Instant(Local{d, s.Start}).Sub(from) / time.Minute)
				for m := max(0, first); m < min(minutes, int(p.zone.Instant(end).Sub(from)/time.Minute)); m++ {
					planned[m] = true
				}
			}
		}
		want := 0
		for _, counts := range planned {
			if counts {
				want++
			}
		}
		got := p.Planned(from, from.Add(time.Duration(minutes)*time.Minute))
		if math.Abs(got*60-float64(want)) > 1e-6 {
			t.Fatalf("%v minutes planned from %s for %d minutes in %s, counted %d", got*60, from, minutes, p.zone, want)
		}
	})
}

// P is additive, never falls, and never exceeds elapsed hours; Reach is its inverse.
func TestPlannedHoursAddUpAndAreReached(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		around, from := drawStart(t)
		p := drawProduction(t, around)
		mid := from.Add(time.Duration(rapid.IntRange(0, 400*24*60).Draw(t, "minutes to the middle")) * time.Minute)
		to := mid.Add(time.Duration(rapid.IntRange(0, 4000*24*60).Draw(t, "minutes to the end")) * time.Minute)
		whole, first, second := p.Planned(from, to), p.Planned(from, mid), p.Planned(mid, to)
		if math.Abs(whole-first-second) > 1e-6 || first < 0 || second > to.Sub(mid).Hours()+1e-9 {
			t.Fatalf("P(u,w) = %v, P(u,v) + P(v,w) = %v + %v", whole, first, second)
		}
		hours := whole * rapid.Float64Range(0, 1).Draw(t, "share")
		at, ok := p.Reach(from, hours)
		if !ok {
			t.Fatalf("%v of %v planned hours are not reached", hours, whole)
		}
		if back := p.Planned(from, at); math.Abs(back-hours) > 1e-6 || at.Before(from) {
			t.Fatalf("%v h are said to be reached at %s, where %v are", hours, at, back)
		}
		if hours > 1e-3 && p.Planned(from, at.Add(-time.Second)) >= hours {
			t.Fatalf("%v h are reached before %s", hours, at)
		}
	})
}

func TestReachOnWeekEndsAndNever(t *testing.T) {
	p := mustProduction(t, "Europe/Berlin", []DayShifts{{time.Monday, []Shift{{At(6, 0), At(14, 0)}}}})
	from := mustTime(t, "2025-06-02T04:00:00Z") // Monday 06:00
	for hours, want := range map[float64]string{
		0: "2025-06-02T04:00:00Z", 4: "2025-06-02T08:00:00Z", 8: "2025-06-02T12:00:00Z", 80: "2025-08-04T12:00:00Z", 81: "2025-08-11T05:00:00Z", 800: "2027-04-26T12:00:00Z",
	} {
		if at, ok := p.Reach(from, hours); !ok || at.Format(time.RFC3339) != want {
			t.Errorf("%v h are reached at %s (%v), want %s", hours, at, ok, want)
		}
	}
	// Two hundred years pass the leap years after the last change in the zone data.
	if at, ok := mustProduction(t, "Europe/Berlin", nil).Reach(from, 1); ok {
		t.Errorf("a plan without shifts reaches an hour at %s", at)
	}
}

func TestCalendarsThatAreNone(t *testing.T) {
	date := NewDate(2025, time.May, 1)
	for name, try := range map[string]func() (*Production, error){
		"start at 24:00":    func() (*Production, error) { return NewProduction(Zone{}, everyDay(Shift{At(24, 0), At(6, 0)}), nil) },
		"negative start":    func() (*Production, error) { return NewProduction(Zone{}, everyDay(Shift{-1, At(6, 0)}), nil) },
		"no such weekday":   func() (*Production, error) { return NewProduction(Zone{}, []DayShifts{{7, nil}}, nil) },
		"exception undated": func() (*Production, error) { return NewProduction(Zone{}, nil, []Exception{{}}) },
		"exception twice": func() (*Production, error) {
			return NewProduction(Zone{}, nil, []Exception{{Date: date}, {Date: date}})
		},
	} {
		if p, err := try(); err == nil {
			t.Errorf("%s makes a calendar %v", name, p)
		}
	}
}

func BenchmarkPlannedTenYears(b *testing.B) {
	p := mustProduction(b, "Europe/Berlin", everyDay(Shift{At(6, 0), At(14, 0)}, Shift{At(22, 0), At(6, 0)}))
	from := mustTime(b, "2025-06-02T04:00:00Z")
	for b.Loop() {
		if p.Planned(from, from.AddDate(10, 0, 0)) < 50000 {
			b.Fatal("too few")
		}
	}
}

func BenchmarkReachTenYears(b *testing.B) {
	p := mustProduction(b, "Europe/Berlin", everyDay(Shift{At(6, 0), At(14, 0)}, Shift{At(22, 0), At(6, 0)}))
	from := mustTime(b, "2025-06-02T04:00:00Z")
	for b.Loop() {
		if _, ok := p.Reach(from, 58000); !ok {
			b.Fatal("not reached")
		}
	}
}
