package window

import (
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"

	"pgregory.net/rapid"
)

func berlin(t testing.TB) calendar.Zone {
	t.Helper()
	z, err := calendar.LoadZone("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func at(text string) time.Time {
	v, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err) // a test's own time
	}
	return v
}

// nights is a weekly stop over the night in which the clocks change in Germany (last Sundays of March and October,
// Directive 2000/84/EC).
func nights(keeps assets.Kept) assets.StopRecurrence {
	return assets.StopRecurrence{Version: assets.Version{ID: 7}, PlantID: 3, Rule: "FREQ=WEEKLY;BYDAY=SA", StartLocal: "2027-03-20T22:00", EndLocal: "2027-03-21T06:00", Keeps: keeps}
}

func TestAStopOverAClockChangeKeepsWhatItWasToldToKeep(t *testing.T) {
	z := berlin(t)
	for _, tt := range []struct {
		name           string
		keeps          assets.Kept
		from           string
		hours          float64
		start, endWall string
	}{
		{"an ordinary night", assets.KeepsClock, "2027-03-20T00:00:00Z", 8, "2027-03-20T21:00:00Z", "2027-03-21T06:00"},
		{"clocks forward, both clock times kept", assets.KeepsClock, "2027-03-27T00:00:00Z", 7, "2027-03-27T21:00:00Z", "2027-03-28T06:00"},
		{"clocks forward, length kept", assets.KeepsLength, "2027-03-27T00:00:00Z", 8, "2027-03-27T21:00:00Z", "2027-03-28T07:00"},
		{"clocks back, both clock times kept", assets.KeepsClock, "2027-10-30T00:00:00Z", 9, "2027-10-30T20:00:00Z", "2027-10-31T06:00"},
		{"clocks back, length kept", assets.KeepsLength, "2027-10-30T00:00:00Z", 8, "2027-10-30T20:00:00Z", "2027-10-31T05:00"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			some, err := Occurrences(nights(tt.keeps), z, at(tt.from), at(tt.from).AddDate(0, 0, 2))
			if err != nil || len(some) != 1 {
				t.Fatalf("%d stops, %v", len(some), err)
			}
			w := some[0]
			if got := w.End.Time().Sub(w.Start.Time()).Hours(); got != tt.hours || !w.Start.Time().Equal(at(tt.start)) || w.EndLocal != tt.endWall {
				t.Errorf("from %s for %g h to %s, want from %s for %g h to %s", w.Start, got, w.EndLocal, tt.start, tt.hours, tt.endWall)
			}
		})
	}
}

// TestAStopThatTheClockSkipsIsNamed: 02:30 of 28 March 2027 is skipped in Germany, 02:30 of 31 October comes twice and the first counts. RFC
// 5545, 3.3.10: a start at a local time that does not exist is ignored and not counted.
func TestAStopThatTheClockSkipsIsNamed(t *testing.T) {
	r := assets.StopRecurrence{Version: assets.Version{ID: 7}, PlantID: 3, Rule: "FREQ=WEEKLY;BYDAY=SU", StartLocal: "2027-03-21T02:30", EndLocal: "2027-03-21T10:00", Keeps: assets.KeepsClock}
	from, until := at("2027-03-20T00:00:00Z"), at("2027-11-02T00:00:00Z")
	some, err := Occurrences(r, berlin(t), from, until)
	if err != nil || len(some) != 32 || some[1].StartLocal != "2027-04-04T02:30" {
		t.Fatalf("%d stops, %v", len(some), err)
	}
	if last := some[len(some)-1]; !last.Start.Time().Equal(at("2027-10-31T00:30:00Z")) || last.End.Time().Sub(last.Start.Time()) != 8*time.Hour+30*time.Minute {
		t.Errorf("over the autumn change from %s to %s", last.Start, last.End)
	}
	skipped, err := Skipped(r, berlin(t), from, until)
	if err != nil || len(skipped) != 1 || skipped[0].String() != "2027-03-28T02:30" {
		t.Errorf("skipped %v, %v", skipped, err)
	}
	r.UntilDay = "2027-03-27"
	if skipped, err = Skipped(r, berlin(t), from, until); err != nil || len(skipped) != 0 {
		t.Errorf("after its last day it skips %v, %v", skipped, err)
	}
}

func TestExceptionsAndTheLastDayEndARecurringStop(t *testing.T) {
	r := nights(assets.KeepsClock)
	r.Exceptions, r.UntilDay = []assets.Day{"2027-04-03"}, "2027-04-17"
	some, err := Occurrences(r, berlin(t), at("2027-03-01T00:00:00Z"), at("2028-01-01T00:00:00Z"))
	if err != nil {
		t.Fatal(err)
	}
	var starts []string
	for _, w := range some {
		starts = append(starts, w.StartLocal[:10])
	}
	want := []string{"2027-03-20", "2027-03-27", "2027-04-10", "2027-04-17"}
	if len(starts) != len(want) {
		t.Fatalf("stops begin on %v, want %v", starts, want)
	}
	for i := range want {
		if starts[i] != want[i] {
			t.Errorf("stop %d begins on %s, want %s", i, starts[i], want[i])
		}
	}
}

func TestWhatWasSaidOfOneOccurrenceStandsInItsPlace(t *testing.T) {
	z, r := berlin(t), nights(assets.KeepsClock)
	moved := assets.StopWindow{Version: assets.Version{ID: 41}, PlantID: 3, Start: assets.InstantOf(at("2027-03-28T21:00:00Z")), End: assets.InstantOf(at("2027-03-29T03:00:00Z")),
		Source: assets.StopSource{RecurrenceID: 7, PlannedLocal: "2027-03-27T22:00"}}
	gone := assets.StopWindow{Version: assets.Version{ID: 42}, PlantID: 3, Withdrawn: true, Start: 1, End: 2, Source: assets.StopSource{RecurrenceID: 7, PlannedLocal: "2027-04-03T22:00"}}
	all, err := All([]assets.StopWindow{moved, gone}, []assets.StopRecurrence{r}, z, at("2027-03-19T00:00:00Z"), at("2027-04-11T12:00:00Z"))
	if err != nil {
		t.Fatal(err)
	}
	var ids []int64
	for _, w := range all {
		ids = append(ids, w.ID)
	}
	if len(all) != 3 || ids[0] >= 0 || ids[1] != 41 || ids[2] >= 0 || all[2].StartLocal != "2027-04-10T22:00" {
		t.Fatalf("stops %v, want an occurrence, the moved one in place of the second, none in place of the withdrawn one, and one more", ids)
	}
	r.StartLocal, r.EndLocal = "2027-03-20T20:00", "2027-03-21T04:00" // the hour of all is changed afterwards
	all, err = All([]assets.StopWindow{moved, gone}, []assets.StopRecurrence{r}, z, at("2027-03-19T00:00:00Z"), at("2027-04-11T12:00:00Z"))
	if err != nil || len(all) != 3 {
		t.Errorf("%d stops after the hour changed, %v; what was said of a day still holds", len(all), err)
	}
}

func TestARecurringStopThatCannotBeIsRefused(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*assets.StopRecurrence)
		field  string
	}{
		"a rule that is none":              {func(r *assets.StopRecurrence) { r.Rule = "every Sunday" }, "rule"},
		"a rule that never comes":          {func(r *assets.StopRecurrence) { r.Rule = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30" }, "rule"},
		"more than once a day":             {func(r *assets.StopRecurrence) { r.Rule, r.EndLocal = "FREQ=HOURLY;INTERVAL=12", "2027-03-20T23:00" }, "rule"},
		"longer than the time between two": {func(r *assets.StopRecurrence) { r.Rule, r.EndLocal = "FREQ=DAILY", "2027-03-22T23:00" }, "end"},
		"an end before its start":          {func(r *assets.StopRecurrence) { r.EndLocal = "2027-03-20T21:00" }, "end"},
		"a start that is no time":          {func(r *assets.StopRecurrence) { r.StartLocal = "tomorrow" }, "rule"},
		"nothing said of clock changes":    {func(r *assets.StopRecurrence) { r.Keeps = "" }, "keeps"},
		"an exception that is no day":      {func(r *assets.StopRecurrence) { r.Exceptions = []assets.Day{"2027-02-30"} }, "rule"},
	} {
		t.Run(name, func(t *testing.T) {
			r := nights(assets.KeepsClock)
			tt.change(&r)
			var bad assets.Invalid
			if bad, _ = Check(r).(assets.Invalid); bad[tt.field] == "" {
				t.Errorf("refused with %v, want a word at %s", bad, tt.field)
			}
		})
	}
	if err := Check(nights(assets.KeepsLength)); err != nil {
		t.Errorf("a sound one is refused: %v", err)
	}
}

// TestNumbersOfOccurrencesTellThemApart: a number gives back what it was made of, so no two occurrences share one, those of a
// customer that was added later and whose numbers begin in the thousands of millions of millions not either.
func TestNumbersOfOccurrencesTellThemApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.Int64Range(0, 4_000_000).Draw(t, "block")*1_000_000_000 + rapid.Int64Range(1, 1<<15-1).Draw(t, "recurrence")
		day := rapid.IntRange(0, 36500).Draw(t, "day")
		minute := rapid.IntRange(0, 24*60-1).Draw(t, "minute")
		planned := calendar.Local{Date: firstDay.AddDays(day), Time: calendar.At(minute/60, minute%60)}
		n := Number(id, planned)
		gotID, got, ok := Planned(n)
		if n >= 0 || !ok || gotID != id || got != planned {
			t.Fatalf("%d of recurrence %d at %s is read as recurrence %d at %s", n, id, planned, gotID, got)
		}
	})
	if _, _, ok := Planned(12); ok {
		t.Error("the number of a row is read as that of an occurrence")
	}
}

func TestAnOccurrenceIsFoundByItsNumber(t *testing.T) {
	z, r := berlin(t), nights(assets.KeepsClock)
	some, err := Occurrences(r, z, at("2027-05-01T00:00:00Z"), at("2027-05-03T00:00:00Z"))
	if err != nil || len(some) != 1 {
		t.Fatalf("%d stops, %v", len(some), err)
	}
	if w, err := One(r, z, some[0].ID); err != nil || w.Start != some[0].Start {
		t.Errorf("found %v, %v", w.StartLocal, err)
	}
	if w, err := One(r, z, some[0].ID-1); err == nil {
		t.Errorf("a number of no occurrence finds %s", w.StartLocal)
	}
}
