package calendar

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestIntervals(t *testing.T) {
	type expected struct {
		Planned     string `json:"planned_local"`
		At          string `json:"at_utc"`
		Done        string `json:"done_utc"`
		DoneDate    string `json:"done_local_date"`
		NextPlanned string `json:"next_planned_local"`
		NextAt      string `json:"next_at_utc"`
	}
	for _, c := range readCases[struct {
		ID, Name, Zone, Unit string
		CountedFrom          string `json:"counted_from"`
		Anchor               string `json:"anchor_local"`
		TimeOfDay            string `json:"time_of_day"`
		Every                int
		Expected             []expected
	}](t, "intervals.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			zone := mustZone(t, c.Zone)
			interval, err := NewInterval(c.Every, c.Unit)
			if err != nil {
				t.Fatal(err)
			}
			for k, want := range c.Expected {
				var o Occurrence
				var got expected
				if c.CountedFrom == "plan" {
					o, _ = interval.Planned(zone, mustLocal(t, c.Anchor), k+1)
					got = expected{Planned: o.Planned.String(), At: o.At.Format(time.RFC3339)}
				} else {
					at, err := ParseTimeOfDay(c.TimeOfDay)
					if err != nil {
						t.Fatal(err)
					}
					done := mustTime(t, want.Done)
					o, _ = interval.AfterCompletion(zone, done, at)
					got = expected{Done: want.Done, DoneDate: zone.Date(done).String(), NextPlanned: o.Planned.String(), NextAt: o.At.Format(time.RFC3339)}
				}
				if got != want {
					t.Errorf("number %d: got %+v, want %+v", k+1, got, want)
				}
			}
		})
	}
}

func TestIntervalsThatAreNone(t *testing.T) {
	for every, unit := range map[int]string{0: "days", -1: "weeks", 5: "hours", 100000: "months", 3: "", 1 << 40: "days"} {
		if i, err := NewInterval(every, unit); err == nil {
			t.Errorf("every %d %q is accepted as %v", every, unit, i)
		}
	}
	if i, err := NewInterval(2, "Week"); err != nil || i != (Interval{2, Weeks}) {
		t.Errorf("every 2 Week reads as %v (%v)", i, err)
	}
}

// Between finds the occurrences that counting one by one from the anchor finds.
func TestIntervalsBetweenMissNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, err := LoadZone(rapid.SampledFrom(difficultZones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		i := Interval{rapid.IntRange(1, 40).Draw(t, "every"), rapid.SampledFrom([]Unit{Days, Weeks, Months, Years}).Draw(t, "unit")}
		anchor := Local{NewDate(2005, 1, 1).AddDays(rapid.IntRange(0, 3000).Draw(t, "anchor")), At(rapid.IntRange(0, 23).Draw(t, "hour"), 30)}
		after := z.Instant(anchor).Add(time.Duration(rapid.IntRange(-1000, 90000).Draw(t, "hours after")) * time.Hour)
		until := after.Add(time.Duration(rapid.IntRange(0, 20000).Draw(t, "hours long")) * time.Hour)
		var want []Occurrence
		for k := range 6000 {
			o, ok := i.Planned(z, anchor, k)
			if !ok || o.At.After(until.AddDate(0, 0, 3)) {
				break
			}
			if o.At.After(after) && !o.At.After(until) {
				want = append(want, o)
			}
		}
		if got := i.Between(z, anchor, after, until); !slices.Equal(got, want) {
			t.Fatalf("got %v\nwant %v", got, want)
		}
	})
}
