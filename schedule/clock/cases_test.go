package clock

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"carryside/schedule/calendar"
)

// The three files of check cases in testdata were computed with exact fractions from the formulas that stand in this
// package's comments; planned hours among them were counted a second time minute by minute.

// readCases reads a file of check cases.
func readCases[T any](t testing.TB, name string) []T {
	t.Helper()
	document, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	var cases []T
	if err := json.Unmarshal(document, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) == 0 {
		t.Fatalf("%s holds no case", name)
	}
	return cases
}

// meterCase is what all three files share.
type meterCase struct {
	ID, Name, Zone string
	Meter          struct {
		Resolution float64 `json:"resolution_h"`
		RollsOver  float64 `json:"rolls_over_at_h"`
	}
	Readings []struct {
		N     int
		At    string
		Shown float64 `json:"value_h"`
	}
	Events []struct {
		Kind      string
		At        string
		OldFinal  float64 `json:"old_final_h"`
		NewStart  float64 `json:"new_start_h"`
		AtReading int     `json:"at_reading"`
	}
}

// hoursExpected is H at an instant; nil when it is not known.
type hoursExpected struct {
	At    string
	Hours *float64
}

// instant places a wall time of the case.
func (c meterCase) instant(t testing.TB, wall string) time.Time {
	t.Helper()
	zone, err := calendar.LoadZone(c.Zone)
	if err != nil {
		t.Fatal(err)
	}
	l, err := calendar.ParseLocal(wall)
	if err != nil {
		t.Fatal(err)
	}
	return zone.Instant(l)
}

// line judges the readings of the case; the cases list them in the order of entry.
func (c meterCase) line(t testing.TB) (Line, []Verdict) {
	t.Helper()
	var readings []Reading
	for _, r := range c.Readings {
		readings = append(readings, Reading{c.instant(t, r.At), r.Shown})
	}
	var events []Event
	for _, e := range c.Events {
		if e.Kind == "rollover" {
			events = append(events, Event{At: readings[e.AtReading-1].At, Rollover: true, RangeH: c.Meter.RollsOver})
		} else {
			events = append(events, Event{At: c.instant(t, e.At), OldFinal: e.OldFinal, NewStart: e.NewStart})
		}
	}
	return NewMeter(c.Meter.Resolution, events).Accept(readings)
}

// at reads an instant that the test names.
func at(t testing.TB, s string) time.Time {
	t.Helper()
	instant, err := time.Parse("2006-01-02T15:04Z07:00", s)
	if err != nil {
		t.Fatal(err)
	}
	return instant
}
