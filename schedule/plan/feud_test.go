package plan_test

import (
	"strings"
	"testing"

	"carryside/schedule/plan"
)

// Two splices on one belt want the only press, and the stop is too short for one after the other: either alone would be enough to part them.
func TestLocksThatFightOverThePressAndTheBeltSayBoth(t *testing.T) {
	c := &plan.Case{
		Horizon: 1440, Sites: []string{"A"}, Travel: [][]int{{0}}, Classes: []string{"press"},
		Groups: []plan.Group{{ID: "G"}}, Conveyors: []plan.Conveyor{{ID: "C1"}},
		Windows: []plan.Window{{ID: "W1", Start: 100, End: 400, Scope: []int{0}}},
		Tools:   []plan.Tool{{ID: "P1", WidthMM: 1000, Available: []plan.Span{{From: 0, To: 1440}}}},
	}
	for _, id := range []string{"J1", "J2"} {
		c.Jobs = append(c.Jobs, plan.Job{
			ID: id, Duration: 160, Deadline: -1, Options: []plan.Option{{Window: 0}}, Unplaced: 100,
			Tools: []plan.ToolNeed{{Class: 0, WidthMM: 800}}, Locked: &plan.Lock{Window: 0, Start: -1},
		})
	}
	got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(got.Conflict, " ")
	for _, want := range []string{"J1", "J2", "W1", "tool P1, and conveyor C1"} {
		if !strings.Contains(said, want) {
			t.Errorf("%s with the conflict %q, which does not name %s", got.Status, said, want)
		}
	}
}
