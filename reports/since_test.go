package reports_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
)

// twoTimes is the small plant as so many plants; as known then its splice 2 is not there yet, as known now its splice 3 is
// not there any more and splice 1 was made by another crew.
type twoTimes struct {
	*smallPlant
	then, now int // how many plants
	isNow     bool
}

func (s twoTimes) Plants(context.Context) ([]reports.PlantName, error) {
	n := s.then
	if s.isNow {
		n = s.now
	}
	out := make([]reports.PlantName, n)
	for i := range out {
		out[i] = s.name
		out[i].ID, out[i].Name = int64(i+1), fmt.Sprintf("Terminal %03d", i+1)
	}
	return out, nil
}

func (s twoTimes) PlantAt(ctx context.Context, id int64, at time.Time) (reports.Plant, error) {
	p, err := s.smallPlant.PlantAt(ctx, id, at)
	reg := *p.Register
	gone := "2"
	if s.isNow {
		gone = "3"
	}
	reg.Splices = slices.DeleteFunc(slices.Clone(reg.Splices), func(sp assets.Splice) bool { return sp.Number == gone })
	for i := range reg.Splices {
		if reg.Splices[i].Number == "1" && s.isNow {
			reg.Splices[i].MadeBy = "O. Brenwick"
		}
	}
	reg.Arrange()
	p.Register = &reg
	p.Standings = slices.Clone(p.Standings)
	for i := len(p.Standings) - 1; i >= 0; i-- {
		if _, there := reg.Splice(p.Standings[i].SpliceID); !there {
			p.Standings = slices.Delete(p.Standings, i, i+1)
		}
	}
	return p, err
}

func (s twoTimes) Since() reports.Source { s.isNow = true; return s }

func (s twoTimes) EntriesSince(context.Context, int64) ([]reports.EntrySince, error) {
	return []reports.EntrySince{{At: built, Who: "I. Vanterel", Deed: "correct a splice", Reason: "press record", Things: []reports.Touched{{Conveyor: "Q3", Splice: "1"}}}}, nil
}

// learned builds the splice ages as known then and returns what stands apart, without the plant.
func learned(t *testing.T, then, now int, told reports.Corrections) [][]string {
	t.Helper()
	known := must(reports.NewKnownAt("2026-11-01", berlin))
	in := reports.Inputs{Source: twoTimes{newSmallPlant(), then, now, false}, Built: built, Known: known, Corrections: told}
	r := must(must(reports.Find("splice-age")).Build(t.Context(), in, "2025-06-30"))
	must(r.WriteJSON(t.Context(), io.Discard))
	var out [][]string
	for _, row := range r.Learned.Rows {
		var cells []string
		for _, c := range row[2:] {
			cells = append(cells, c.Plain())
		}
		out = append(out, cells)
	}
	return out
}

// TestWhatWasLearnedSince tells a value that is another, a row that was not known and one that is gone, each once.
func TestWhatWasLearnedSince(t *testing.T) {
	got, _ := json.Marshal(learned(t, 1, 1, reports.Told))
	var says []string
	for _, row := range learned(t, 1, 1, reports.Told) {
		says = append(says, row[1]+" "+row[2]+" "+row[3])
	}
	for _, want := range []string{"S1 another value Made by", "S2 not known then ", "S3 not there as known now "} {
		if n := len(slices.DeleteFunc(slices.Clone(says), func(s string) bool { return s != want })); n != 1 {
			t.Errorf("%q stands %d times in %s", want, n, got)
		}
	}
	for _, row := range learned(t, 1, 1, reports.Explained) {
		explained := row[6] == "2026-11-25 11:00:00" && row[7] == "I. Vanterel" && row[8] == "correct a splice" && row[9] == "press record"
		if explained != (row[1] == "S1") {
			t.Errorf("who and why: %v", row)
		}
	}
}
