package plan_test

import (
	"testing"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

// A belt left to run in needs nobody, and yet the person announced for it is told of a change; that is in the proven cost.
func TestARunInWithoutCrewStillPaysForThePersonAnnounced(t *testing.T) {
	c := &plan.Case{
		Horizon: 1440, Sites: []string{"A"}, Travel: [][]int{{0}},
		Groups: []plan.Group{{ID: "G"}}, Conveyors: []plan.Conveyor{{ID: "C1"}},
		Windows:     []plan.Window{{ID: "W1", Start: 100, End: 300, Scope: []int{0}}},
		Technicians: []plan.Technician{{ID: "T1", Available: []plan.Span{{From: 0, To: 1440}}}},
		Jobs: []plan.Job{{
			ID: "J1", Duration: 60, Deadline: -1, Options: []plan.Option{{Window: 0, Cost: 5}}, Unplaced: 500,
			Previous: &plan.Previous{Window: 0, Technicians: []int{0}, ChangeWindow: 100, ChangeTech: 40},
		}},
	}
	got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if broken := plantest.Judge(c, got); len(broken) > 0 || got.Cost != 45 || got.Status != plan.Optimal {
		t.Errorf("%s plan of cost %d, want an optimal one of 45: %v", got.Status, got.Cost, broken)
	}
}
