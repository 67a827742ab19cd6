package plan_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"carryside/schedule/plan"
)

// The splice lacks 30 min in the only stop of its belt; the run-in check after it lacks nothing in its own stop but the splice.
func TestARunInCheckIsHelpedByTheLongerStopOfItsSplice(t *testing.T) {
	c := &plan.Case{
		Horizon: 2880, Sites: []string{"A"}, Travel: [][]int{{0}},
		Groups: []plan.Group{{ID: "G"}}, Conveyors: []plan.Conveyor{{ID: "C1", Group: 0}},
		Windows: []plan.Window{{ID: "W1", Start: 100, End: 250, Scope: []int{0}}, {ID: "W2", Start: 1500, End: 1700, Scope: []int{0}}},
		Jobs: []plan.Job{
			{ID: "J1", Duration: 40, Deadline: -1, Options: []plan.Option{{Window: 1}}, Unplaced: 400},
			{ID: "J2", Duration: 180, Deadline: -1, Options: []plan.Option{{Window: 0}}, Unplaced: 900},
		},
		Precedences: []plan.Precedence{{Before: 1, After: 0, MaxLag: -1}},
	}
	got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	longer := [][]plan.Change{{{Kind: plan.LongerStop, Of: 0, Start: -1, End: 280}}}
	for _, l := range got.LeftOut {
		if diff := cmp.Diff(longer, l.Changes); diff != "" {
			t.Errorf("%s: help (-want +got):\n%s", c.Jobs[l.Job].ID, diff)
		}
	}
	if len(got.LeftOut) != 2 {
		t.Errorf("%d jobs are left out, want both", len(got.LeftOut))
	}
}
