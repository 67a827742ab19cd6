package calendar

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// walkPlan adds up a plan as it is defined, without any table: every shift of every date placed by itself, what overlaps
// counted once. It returns the stretches in order of time.
func walkPlan(p *Production, from, to time.Time) (stretches []span) {
	for d, last := p.zone.Date(from).AddDays(-3), p.zone.Date(to).AddDays(3); !d.After(last); d = d.AddDays(1) {
		for _, s := range p.shiftsOn(d) {
			end := Local{d, s.End}
			if s.End <= s.Start {
				end.Date = d.AddDays(1)
			}
			one := span{max(from.Unix(), p.zone.Instant(Local{d, s.Start}).Unix()), min(to.Unix(), p.zone.Instant(end).Unix())}
			if one.start < one.end {
				stretches = append(stretches, one)
			}
		}
	}
	return merged(stretches)
}

// drawYears draws a calendar with exceptions over many years: single days, shut-downs of weeks, shifts of their own.
func drawYears(t *rapid.T, around Date) *Production {
	p := drawProduction(t, around)
	list := make([]Exception, 0, len(p.exceptions))
	for d, shifts := range p.exceptions {
		list = append(list, Exception{d, shifts})
	}
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "shut-downs"), 3))
	for range random.IntN(13) {
		first := around.AddDays(random.IntN(14000) - 2000)
		for i := range 1 + random.IntN(30) {
			d := first.AddDays(i)
			if !slices.ContainsFunc(list, func(e Exception) bool { return e.Date == d }) {
				list = append(list, Exception{Date: d})
			}
		}
	}
	var weekly []DayShifts
	for day, shifts := range p.weekly {
		weekly = append(weekly, DayShifts{time.Weekday(day), shifts})
	}
	p, err := NewProduction(p.zone, weekly, list)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The table of a calendar answers what walking the plan does, over clock changes, shut-downs and decades, in whatever order it
// is asked.
func TestTheTableAnswersAsTheWalkDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		around, _ := drawStart(t)
		p := drawYears(t, around)
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "questions"), 5)) // drawn evenly over the years, not near their ends
		for range 1 + random.IntN(6) {
			from := around.utc().Add(time.Duration(random.Int64N(38*365*24*3600)-8*365*24*3600) * time.Second)
			days := []int64{3, 60, 9000}[random.IntN(3)]
			to := from.Add(time.Duration(random.Int64N(days*24*3600)) * time.Second)
			walked := walkPlan(p, from, to)
			want := inHours(totalSeconds(walked))
			if got := p.Planned(from, to); math.Abs(got-want) > 1e-9 {
				t.Fatalf("%v h planned in %s from %s to %s, %v by walking", got, p.zone, from, to, want)
			}
			checkReach(t, p, from, want*random.Float64(), walked)
		}
	})
}

// checkReach compares where hours are reached with the walked stretches.
func checkReach(t *rapid.T, p *Production, from time.Time, hours float64, walked []span) {
	if hours < 1e-3 {
		return
	}
	at, ok := p.Reach(from, hours)
	left := hours
	for _, s := range walked {
		if h := inHours(s.end - s.start); h < left-roundingHours {
			left -= h
			continue
		}
		want := time.Unix(s.start, 0).Add(time.Duration(left * float64(time.Hour)))
		if off := at.Sub(want); !ok || off < -time.Millisecond || off > time.Millisecond {
			t.Fatalf("%v h from %s in %s are reached at %s, by walking at %s", hours, from, p.zone, at, want)
		}
		return
	}
	t.Fatalf("walking does not reach %v h from %s, the table does at %s", hours, from, at)
}

// Fractions of a second count: whoever reads a meter does so at any instant.
func TestPlannedHoursOfPartsOfASecond(t *testing.T) {
	p := mustProduction(t, "Europe/Berlin", everyDay(Shift{At(6, 0), At(14, 0)}))
	opens := mustTime(t, "2025-06-02T04:00:00Z")
	for _, tt := range []struct {
		from, to time.Duration
		want     time.Duration
	}{
		{-time.Second / 4, time.Second / 2, time.Second / 2},
		{time.Second / 4, time.Second / 2, time.Second / 4},
		{8*time.Hour - time.Second/4, 9 * time.Hour, time.Second / 4},
		{time.Second / 4, 24*time.Hour + time.Second/2, 8*time.Hour + time.Second/4},
	} {
		if got := p.Planned(opens.Add(tt.from), opens.Add(tt.to)); math.Abs(got-tt.want.Hours()) > 1e-12 {
			t.Errorf("from %s to %s after opening: %v h, want %v", tt.from, tt.to, got, tt.want.Hours())
		}
		if at, ok := p.Reach(opens.Add(tt.from), tt.want.Hours()/2); !ok || math.Abs(p.Planned(opens.Add(tt.from), at)-tt.want.Hours()/2) > 1e-9 {
			t.Errorf("from %s: half of it is reached at %s", tt.from, at)
		}
	}
}

// A calendar is asked by several at once while it grows.
func TestACalendarIsShared(t *testing.T) {
	p := twoShiftWeek(t, "Europe/Berlin")
	alone := twoShiftWeek(t, "Europe/Berlin")
	start := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	want := make([]float64, 40)
	for i := range want {
		want[i] = alone.Planned(start, start.AddDate(0, 7*(i+1), 0))
	}
	var all sync.WaitGroup
	for worker := range 4 {
		all.Go(func() {
			for i := range want {
				i = (i*(2*worker+3) + worker) % len(want)
				if got := p.Planned(start, start.AddDate(0, 7*(i+1), 0)); got != want[i] {
					t.Errorf("%v h in %d months, %v when asked alone", got, 7*(i+1), want[i])
				}
			}
		})
	}
	all.Wait()
}

// Where dates end there is no plan, and nothing hangs.
func TestPlansAtTheEndOfDates(t *testing.T) {
	p := mustProduction(t, "Europe/Berlin", everyDay(Shift{At(6, 0), At(14, 0)}))
	last := time.Date(9999, 12, 31, 12, 0, 0, 0, time.UTC)
	if got := p.Planned(last.AddDate(-1, 0, 0), last); got != 0 {
		t.Errorf("%v h up to the last date", got)
	}
	if at, ok := p.Reach(last.AddDate(-100, 0, 0), 8); ok {
		t.Logf("eight hours are reached at %s", at)
	}
	if _, ok := p.Reach(last, 8); ok {
		t.Error("hours are reached after the last date")
	}
	if got := p.Planned(last.AddDate(-2, 0, 0), last.AddDate(-1, 0, 0)); math.Abs(got-365*8) > 1e-9 {
		t.Errorf("%v h in the year before", got)
	}
	if _, ok := p.Reach(mustTime(t, "2025-06-02T04:00:00Z"), math.Inf(1)); ok {
		t.Error("hours without end are reached")
	}
}
