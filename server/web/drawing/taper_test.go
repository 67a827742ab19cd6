package drawing

import (
	"strings"
	"testing"
	"time"
)

// The shape by the rule of the drawing: half heights 3, 7 and 11 px at 10, 50 and 90 %.
func TestTheTaperWidensWithTheChance(t *testing.T) {
	now := day(2026, 11, 25)
	tapers := Tapers{Sentence: "when", Now: now, From: now, Until: now.AddDate(0, 0, 606), Zone: time.UTC, Rows: []TaperRow{
		{Name: "S2", Taper: Taper{At10: now.AddDate(0, 0, 101), At50: now.AddDate(0, 0, 202), At90: now.AddDate(0, 0, 303), Advised: now.AddDate(0, 0, 150)}, Says: "19 %"},
		{Name: "S3", Says: "no date: its date is not known"},
		{Name: "S4", Taper: Taper{At10: now.AddDate(0, 0, 101)}},
		{Name: "S5", Taper: Taper{At10: now, At50: now, At90: now}},
	}}
	got := string(OfTapers(tapers))
	wellFormed(t, got)
	// 606 px of axis from 150: a pixel a day; the first row's middle is at 66
	for _, want := range []string{`class="w-lead" d="M150 66H251"`, `class="w-lo" d="M251 63L352 59V73L251 69Z"`, `class="w-hi" d="M352 59L453 55V77L352 73Z"`, `class="w-end" d="M453 54V78"`, "19 %", "no date: its date is not known"} {
		if !strings.Contains(got, want) {
			t.Errorf("%s is missing", want)
		}
	}
	if n := strings.Count(got, "w-end"); n != 2 {
		t.Errorf("%d bars at 90 %%, want those of S2 and S5: S4 runs off the sheet", n)
	}
	if cell := string(TaperCell(tapers.Rows[0].Taper, now, now.AddDate(2, 0, 0), "due")); !strings.Contains(cell, "w-hi") {
		t.Error("the small one has no second colour")
	}
}
