package drawing

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// sheetFrom is a sheet of 26 weeks from 26 November 2026.
func sheetFrom() (Horizon, func(month time.Month, day int) time.Time) {
	now := time.Date(2026, 11, 26, 6, 0, 0, 0, time.UTC)
	at := func(month time.Month, day int) time.Time {
		year := 2027
		if month > time.October {
			year = 2026
		}
		return time.Date(year, month, day, 6, 0, 0, 0, time.UTC)
	}
	return Horizon{Now: now, Until: now.AddDate(0, 0, 182), Zone: time.UTC}, at
}

// Stops asked for every fourth week have long labels: none is written over the next one or over a line that leads down from one above it, and the
// few of a line are all labelled.
func TestLabelsOfStopsThatAreCloseStandClearOfEachOther(t *testing.T) {
	h, at := sheetFrom()
	g := HorizonGroup{Name: "Reclaim tunnel"}
	for _, day := range []time.Time{at(12, 10), at(12, 26), at(1, 14), at(1, 23), at(2, 20), at(3, 20), at(4, 17)} {
		g.Stops = append(g.Stops, HorizonStop{From: day, To: day.Add(10 * time.Hour), Day: day.Format("2 Jan"), Filled: "10 h", Asked: true})
	}
	for _, slim := range []bool{false, true} {
		h.Slim = slim
		z := hzSheet{h: &h, width: 1392, a: axis{from: h.Now, until: h.Until, left: 312, right: 1236}}
		if slim {
			z.width, z.a.left, z.a.right = 1004, 286, 884
		}
		labels := z.labels(&g)
		for i, l := range labels {
			if l.level < 0 {
				t.Errorf("slim %v: the stop of %s has no label", slim, g.Stops[i].Day)
			}
			end := z.a.x(g.Stops[i].From) + wide(l.day+" "+g.Stops[i].Filled, 13)
			for k := i + 1; k < len(labels); k++ {
				if x := z.a.x(g.Stops[k].From); labels[k].level >= l.level && end > x {
					t.Errorf("slim %v: the label of %s on level %d ends at %.0f, over the stop of %s at %.0f on level %d", slim, g.Stops[i].Day, l.level, end, g.Stops[k].Day, x, labels[k].level)
				}
			}
		}
		if last := labels[len(labels)-1]; !strings.HasPrefix(last.day, "asked for ") {
			t.Errorf("slim %v: with room the label says %q, not that it is asked for", slim, last.day)
		}
	}
}

// Two stops in three days: what crews and presses do in the second is not left out because the first stands close.
func TestCrewsInStopsCloseTogetherAreAllDrawn(t *testing.T) {
	h, at := sheetFrom()
	h.Rows = []HorizonMarks{{Name: "Crew", Says: "four people can be sent"}, {Name: "Presses", Says: "1 and 2 for belts to 1\u00a0400\u00a0mm; 3 and 4 for belts to 800\u00a0mm"}}
	for _, day := range []int{7, 10, 11, 12} {
		h.Rows[0].Marks = append(h.Rows[0].Marks, HorizonMark{At: at(12, day), People: 2})
	}
	h.Rows[1].Marks = []HorizonMark{{At: at(12, 7), Kit: "1"}, {At: at(12, 10), Kit: "2", Dashed: true}}
	drawn := string(OfHorizon(h))
	strokes := regexp.MustCompile(`<rect class="inkf" x="([0-9.]+)"[^>]*/>`).FindAllStringSubmatch(drawn, -1)
	if len(strokes) < 6 {
		t.Errorf("%d strokes for four stops", len(strokes))
	}
	last := 0.0
	for _, s := range strokes {
		x, err := strconv.ParseFloat(s[1], 64)
		if err != nil || x < last {
			t.Errorf("a mark at %s stands over the one before at %.1f", s[1], last)
		}
		last = x
	}
	if n := strings.Count(drawn, `stroke-dasharray="3 3"`); n != 1 || !strings.Contains(drawn, ">2</text>") {
		t.Errorf("%d presses are drawn as not published, want the second", n)
	}
	if strings.Contains(drawn, "1\u00a040…") {
		t.Error("a number is cut")
	}
	if got := cutWords(h.Rows[1].Says, 186); !strings.HasSuffix(got, " …") || strings.HasSuffix(got, "\u00a0 …") {
		t.Errorf("cut to %q", got) // at a word
	}
}

// A move changes a chance of over 99 % to one under 1 %: beside what changes the sheet has less room for it, and breaks it rather than cut it.
func TestAChangedChanceIsNotCutAtTheEdgeOfTheSheet(t *testing.T) {
	h, _ := sheetFrom()
	h.Slim = true
	h.Groups = []HorizonGroup{{Name: "Dryer", Belts: []HorizonBelt{{Tag: "D1", Moved: true, Says: "over 99\u00a0% to under 1\u00a0%"}, {Tag: "D2", Moved: true, Says: "66\u00a0% to 20\u00a0%"}}}}
	drawn := string(OfHorizon(h))
	for _, want := range []string{">over 99\u00a0% to</text>", ">under 1\u00a0%</text>", ">66\u00a0% to 20\u00a0%</text>"} {
		if !strings.Contains(drawn, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

// Twenty-two sections of one sorter are told apart by the number at the end of their names, which stays when they are cut.
func TestLongNamesThatDifferInTheirNumberStayApart(t *testing.T) {
	for name, want := range map[string]string{"Main line section 07": "Main line se… 07", "Shiploader boom with telescopic spout": "Shiploader boom…", "Dock feed 01": "Dock feed 01", "A 12345678901234567890": "A 1234567890123…"} {
		if got := cutName(name, 112); got != want || len([]rune(got)) > 16 {
			t.Errorf("%q is cut to %q, want %q", name, got, want)
		}
	}
}
