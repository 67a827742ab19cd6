package due_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Whatever a register holds, no standing is made of nonsense: figures are finite and not negative, a date comes
// with its instant and a reason always stands there.
func TestOddRegistersGiveNoNonsense(t *testing.T) {
	odd := []float64{0, -1, 1e-300, 0.5, 50, 1e300, math.Inf(1), math.NaN()}
	rapid.Check(t, func(t *rapid.T) {
		draw := func(what string) float64 { return rapid.SampledFrom(odd).Draw(t, what) }
		reg, _ := grainPlant()
		reg.Plant.Zone = rapid.SampledFrom([]string{"", "Europe/Berlin", "Nowhere/At_All", "America/St_Johns"}).Draw(t, "zone")
		reg.Conveyors[0].SpeedMPS, reg.Belts[0].LoopLengthM = draw("speed"), draw("loop")
		reg.Splices[0].Made = rapid.SampledFrom([]assets.When{
			{}, {At: 1}, {At: 1, Earliest: "2019-13-45", Latest: "x"}, {At: -1 << 60, Latest: "0001-01-01"}, onDay("2023-09-14"), {At: 1, Earliest: "9999-12-31", Latest: "9999-12-31"},
		}).Draw(t, "made")
		var points []clock.Point
		for range rapid.IntRange(0, 3).Draw(t, "readings") {
			points = append(points, clock.Point{At: local("2023-09-15T00:00").Add(time.Duration(rapid.IntRange(0, 40000).Draw(t, "hours on")) * time.Hour), Hours: float64(rapid.IntRange(0, 20000).Draw(t, "shown"))})
		}
		clocks := due.NewClocks(due.History{Register: reg, Points: map[int64][]clock.Point{10: points}})
		var rs []rules.Rule
		for id, trigger := range []rules.Trigger{
			{Kind: rules.TriggerPasses, Passes: draw("passes")}, {Kind: rules.TriggerHours, Hours: draw("hours")}, {Kind: "weld"},
			{Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: rapid.SampledFrom([]int{-5, 0, 1, 100, 1 << 40}).Draw(t, "every"), Unit: rapid.SampledFrom([]string{"", "day", "month", "years", "shift"}).Draw(t, "unit"), TimeOfDay: "99:99"},
		} {
			if rapid.Bool().Draw(t, "in force") {
				r := limit(int64(id+1), "Z", trigger)
				r.Template.Kind = workorder.KindResplice
				rs = append(rs, r)
			}
		}
		for _, st := range due.Plant(local("2026-11-25T12:00"), reg, rs, clocks) {
			for _, f := range []due.Figure{st.Age.RunHours, st.Age.Passes, st.Age.Flexes, st.Age.ReverseFlexes, st.Used} {
				if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) || f.Value < 0 || !f.Known && f != (due.Figure{}) {
					t.Fatalf("figure %+v in %+v", f, st)
				}
			}
			if st.Age.Days < 0 || st.Reason == "" || strings.Contains(st.Reason, "NaN") || strings.Contains(st.Reason, "-9") {
				t.Fatalf("%+v", st)
			}
			if (st.DueDay == "") != st.DueAt.IsZero() {
				t.Fatalf("due %q at %s", st.DueDay, st.DueAt)
			}
		}
	})
}
