package drawing

import (
	"strings"
	"testing"
	"time"
)

// The clocks of Oslo went forward on 29 March 2026 at 02:00 and back on 25 October 2026 at 03:00 (European
// rule: last Sundays of March and October, 01:00 UTC).
func TestHoursOverClockChanges(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	night := func(y int, m time.Month, d int) HourCells {
		return HourCells{Sentence: "a night", Zone: oslo, Start: time.Date(y, m, d, 20, 0, 0, 0, oslo), End: time.Date(y, m, d+1, 6, 0, 0, 0, oslo)}
	}
	if got := OfHours(night(2026, 12, 5)); got != "" {
		t.Errorf("a plain night is drawn: %s", got)
	}
	spring := hoursOf(night(2026, 3, 28))
	if n := len(spring); n != 10 || !spring[6].skipped || spring[6].word != "02" {
		t.Errorf("spring: %d cells, %+v", n, spring)
	}
	autumn := hoursOf(night(2026, 10, 24))
	if n := len(autumn); n != 11 || autumn[6].word != "02 first" || autumn[7].word != "02 again" {
		t.Errorf("autumn: %d cells, %+v", n, autumn)
	}
	if got := string(OfHours(night(2026, 3, 28))); !strings.Contains(got, "02 skipped") {
		t.Errorf("spring drawn without its skipped hour: %s", got)
	}
	long := night(2026, 10, 20)
	long.End = long.Start.Add(200 * time.Hour)
	if got := strings.Count(string(OfHours(long)), `class="win"`); got != mostCells {
		t.Errorf("a long stop has %d cells", got)
	}
}

func TestStopsOfAYear(t *testing.T) {
	from := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	got := string(OfStops(StopYear{Sentence: "stops", From: from, To: from.AddDate(1, 0, 0), Zone: time.UTC, Rows: []StopRow{{Name: "Ship intake", Stops: []StopBox{
		{From: from.AddDate(0, 0, 17), To: from.AddDate(0, 0, 17).Add(14 * time.Hour), Words: "12 Dec 14 h"}, {From: from.AddDate(0, 7, 0), To: from.AddDate(0, 7, 10), Words: "25 Jun 10 d"}}}}}))
	if !strings.Contains(got, `width="5"`) {
		t.Error("a short stop is drawn too thin to be seen")
	}
	if strings.Count(got, `class="win"`) != 2 || !strings.Contains(got, "12 Dec 14 h") {
		t.Errorf("drawn %s", got)
	}
}
