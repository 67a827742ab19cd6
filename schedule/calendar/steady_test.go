package calendar

import (
	"math/rand/v2"
	"testing"
	"time"
)

// twoShiftWeek is a plan of two shifts on weekdays, one of them over midnight, with days of its own.
func twoShiftWeek(t testing.TB, zone string) *Production {
	t.Helper()
	z, err := LoadZone(zone)
	if err != nil {
		t.Fatal(err)
	}
	var week []DayShifts
	for d := time.Monday; d <= time.Friday; d++ {
		week = append(week, DayShifts{d, []Shift{{At(6, 0), At(14, 0)}, {At(22, 0), At(5, 0)}}})
	}
	p, err := NewProduction(z, week, []Exception{{Date: NewDate(2026, 12, 24)}, {Date: NewDate(2026, 12, 27), Shifts: []Shift{{At(0, 0), At(24, 0)}}}, {Date: NewDate(2027, 3, 28)}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A calendar remembers where the clock did not change. Whatever it was asked before, it answers as one made anew does.
// Apia leaves out 30 December 2011, Casablanca changes its clock four times in some years, Reykjavik never.
func TestACalendarAnswersTheSameWhateverItWasAskedBefore(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 11))
	for _, zone := range []string{"Europe/Berlin", "America/New_York", "Pacific/Apia", "Africa/Casablanca", "Atlantic/Reykjavik", "Australia/Lord_Howe"} {
		asked := twoShiftWeek(t, zone)
		for range 150 {
			from := time.Date(2008, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(random.IntN(40*365*24*60)) * time.Minute)
			to := from.Add(time.Duration(random.IntN(500*24*60)) * time.Minute)
			anew := twoShiftWeek(t, zone)
			hours := anew.Planned(from, to)
			if got := asked.Planned(from, to); got != hours {
				t.Fatalf("%s, %s to %s: %v h planned, %v h by a calendar made anew", zone, from, to, got, hours)
			}
			want, _ := twoShiftWeek(t, zone).Reach(from, hours)
			if got, _ := asked.Reach(from, hours); !got.Equal(want) {
				t.Fatalf("%s: %v h from %s reached at %s, %s by a calendar made anew", zone, hours, from, got, want)
			}
		}
	}
}
