package drawing

import (
	"strings"
	"testing"
	"time"
)

func TestLifeOnOneAxis(t *testing.T) {
	l := Life{Sentence: "The life of Q3 splice 2", From: day(2023, 9, 14), Now: day(2026, 11, 25), Due: day(2026, 12, 13), DueSays: "due 13 Dec 2026", Zone: time.UTC,
		Series: []Series{{Name: "Gap", Unit: "mm", Points: []Point{{day(2026, 9, 1), 0.8}, {day(2026, 10, 28), 2.6}, {day(2026, 11, 24), 3.4}}}, {Name: "Hardness", Unit: "Shore A", Points: []Point{{day(2025, 1, 1), 64}}}},
		Grades: []GradeAt{{day(2026, 10, 28), 2}, {day(2026, 11, 24), 3}}, Orders: []OrderAt{{From: day(2026, 10, 28), Says: "412 remake"}, {From: day(2023, 9, 1), To: day(2023, 9, 14), Says: "131 belt"}}}
	svg := string(OfLife(l))
	wellFormed(t, svg)
	for what, n := range map[string]int{"<circle": 4, ">3.4<": 1, "due 13 Dec 2026": 1, "412 remake": 1, ">2026<": 1, ">Gap<": 1} {
		if got := strings.Count(svg, what); got != n {
			t.Errorf("%s stands %d times, want %d", what, got, n)
		}
	}
	l = Life{From: day(2026, 11, 25), Now: day(2026, 11, 25), Zone: time.UTC}
	wellFormed(t, string(OfLife(l)))
	if svg := string(OfLife(Life{From: day(2018, 1, 1), To: day(2021, 1, 1), Now: day(2026, 11, 25), Zone: time.UTC})); strings.Count(svg, "In service") != 1 || strings.Count(svg, "<rect") != 1 {
		t.Error("a life of which nothing was recorded is an empty sheet")
	}
	l = Life{From: day(2018, 1, 1), To: day(2021, 1, 1), Now: day(2026, 11, 25), Zone: time.UTC, Series: []Series{{Name: "Gap", Points: []Point{{day(2019, 1, 1), 0}}}}}
	wellFormed(t, string(OfLife(l)))
}

// The whole of what the splice faces stands on its axis: the best age and the limit as dashed lines, the trend's line, and the
// band of coming due behind now, with an arrow where it goes on beyond what the sheet shows.
func TestTheBandOfComingDueStandsOnTheLifesAxis(t *testing.T) {
	best, limit := 364.0, 4.0
	l := Life{From: day(2023, 9, 14), Now: day(2026, 11, 25), Zone: time.UTC, Band: Taper{At10: day(2026, 12, 28), At50: day(2027, 6, 1), At90: day(2028, 1, 7)}, BandSays: "10 % by 28 Dec",
		Series: []Series{{Name: "Passes", Unit: "thousand", Age: true, Limit: &best, LimitSays: "best age 364 000", Points: []Point{{day(2023, 9, 14), 0}, {day(2026, 11, 25), 386}}},
			{Name: "Gap", Unit: "mm", Limit: &limit, LimitSays: "limit 4.0 mm", Fit: [2]Point{{day(2026, 9, 1), 0.8}, {day(2026, 12, 13), 4}},
				Meets: Taper{At10: day(2026, 11, 28), At50: day(2026, 12, 13), At90: day(2027, 1, 7)}, MeetsSays: "meets it about 13 Dec", Points: []Point{{day(2026, 9, 1), 0.8}, {day(2026, 11, 24), 3.4}}}}}
	svg := string(OfLife(l))
	wellFormed(t, svg)
	for what, n := range map[string]int{`class="w-lo"`: 2, `class="w-hi"`: 2, `class="w-end"`: 2, "meets it about 13 Dec": 1, "Coming due": 1, "10 % by 28 Dec": 1, `class="dash"`: 2, `class="fit"`: 1, `class="l-a"`: 1, "<circle": 2, "best age 364 000": 1, "limit 4.0 mm": 1} {
		if got := strings.Count(svg, what); got != n {
			t.Errorf("%s stands %d times, want %d", what, got, n)
		}
	}
	l.Band.At90, l.Series[1].Meets, l.Series[1].Fit[1].At = day(2041, 1, 1), Taper{}, day(2060, 1, 1)
	svg = string(OfLife(l))
	if wellFormed(t, svg); strings.Contains(svg, `class="w-end"`) || strings.Contains(svg, ">2038<") || !strings.Contains(svg, `class="w-hi"`) {
		t.Errorf("a band that ends in 2041 stretches the sheet, or loses its beginning")
	}
}

func TestStepsOfAScaleAreRound(t *testing.T) {
	for x, want := range map[float64]float64{0.9: 1, 1.1: 2, 3: 5, 7: 10, 0.03: 0.05, 0: 1} {
		if got := niceStep(x); got < want*0.999 || got > want*1.001 {
			t.Errorf("step for %g is %g, want %g", x, got, want)
		}
	}
}
