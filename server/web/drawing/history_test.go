package drawing

import (
	"strings"
	"testing"
	"time"
)

func day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 12, 0, 0, 0, time.UTC) }

func TestHistoryShowsEachLifeWithItsEnd(t *testing.T) {
	h := History{Sentence: "Belts and splices of Q3 since 2018", From: day(2018, 5, 4), Now: day(2026, 11, 25), Zone: time.UTC,
		Rows: []HistoryRow{
			{Name: "Belt", Bars: true, Stretches: []Stretch{{From: day(2018, 5, 4), To: day(2023, 9, 13), End: BeltRemoved, Words: "EP 800/4 6+3, 253.1 m"}, {From: day(2023, 9, 14), Words: "EP 1000/4"}}},
			{Name: "Splice 1", Stretches: []Stretch{
				{From: day(2018, 5, 4), To: day(2021, 3, 20), End: Failed, Words: "failed, edge torn"},
				{From: day(2021, 3, 20), To: day(2023, 9, 13), End: BeltRemoved}, {From: day(2023, 9, 14), To: day(2026, 10, 17), End: Replaced}, {From: day(2026, 10, 17), Vague: true}}},
			{Name: "Splice 2", Stretches: []Stretch{{From: day(2018, 5, 4), To: day(2020, 1, 1), End: EndedUnknown}}},
		},
		Marks: []HistoryMark{{At: day(2022, 2, 12), Words: "hour meter replaced 12 Feb 2022"}}}
	svg := string(OfHistory(h))
	wellFormed(t, svg)
	for what, n := range map[string]int{`class="st-fault"`: 1, `class="pul"`: 1, `class="k-unknown"`: 1, `class="wash2f"`: 2, "failed, edge torn": 1, ">2018<": 1, ">2027<": 1, "hour meter": 1} {
		if got := strings.Count(svg, what); got != n {
			t.Errorf("%s stands %d times, want %d", what, got, n)
		}
	}
	h.From = day(1952, 1, 1)
	if n := strings.Count(string(OfHistory(h)), `class="hairl"`); n > 19 {
		t.Errorf("%d years are written over each other", n)
	}
}

func TestTakeUpBarEndsAtItsEnd(t *testing.T) {
	for _, used := range []float64{0, 0.6, 1.4} {
		svg := string(OfTakeUp(TakeUp{Sentence: "Take-up", Used: used, UsedSays: "used 2.02 m", End: "3.40 m, end of travel",
			Parts: []TakeUpPart{{Share: 0.2, Says: "412: 0.68", Order: true}, {Share: 0.2, Says: "one more"}, {Share: 0.9, Says: "x"}}}))
		wellFormed(t, svg)
		if !strings.Contains(svg, "end of travel") {
			t.Error("the end of travel is not named")
		}
	}
}

func TestYearStripHasAStrokeForEachDay(t *testing.T) {
	y := YearStrip{Sentence: "What the rule raised", From: day(2025, 11, 25), To: day(2027, 11, 25), Now: day(2026, 11, 25), Zone: time.UTC,
		Rows: []StripRow{{Name: "Q3 splice 2", InFrom: day(2026, 1, 1), Stands: []time.Time{day(2026, 2, 1), day(2026, 2, 1), day(2026, 8, 1), day(2030, 1, 1)},
			Edits: []time.Time{day(2027, 1, 1)}}}}
	svg := string(OfYear(y))
	wellFormed(t, svg)
	if got := strings.Count(svg, "v9"); got != 3 {
		t.Errorf("%d strokes, want 2 in ink and 1 in blue", got)
	}
	for _, e := range []End{Running, Failed, Replaced, BeltRemoved, Scrapped, EndedUnknown} {
		wellFormed(t, string(EndKey(e, "word")))
	}
}
