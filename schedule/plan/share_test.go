package plan_test

import (
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

// 500 cm of cloth are enough for J1 and J4, or for two of the other three, whatever stops they are done in.
func TestClothForSomeSplicesIsDealtOutInEveryLargestWay(t *testing.T) {
	c := &plan.Case{
		Horizon: 2880, Sites: []string{"A"}, Travel: [][]int{{0}}, Groups: []plan.Group{{ID: "G"}},
		Conveyors: []plan.Conveyor{{ID: "C"}}, Windows: []plan.Window{{ID: "W1", Start: 0, End: 2880, Scope: []int{0}}},
		Stock: []plan.Item{{ID: "cloth", OnHand: 300, Arrivals: []plan.Arrival{{Time: 1000, Quantity: 200}}}},
	}
	for _, cm := range []int{300, 250, 250, 200} {
		c.Jobs = append(c.Jobs, plan.Job{
			Duration: 60, Deadline: -1, Options: []plan.Option{{Window: 0}}, Unplaced: 100, Stock: []plan.StockNeed{{Item: 0, Quantity: cm}},
		})
	}
	want := [][]int{{1, 2}, {0, 3}, {0, 2}, {0, 1}}
	if diff := cmp.Diff(want, plan.Shares(c)); diff != "" {
		t.Errorf("jobs that go without (-want +got):\n%s", diff)
	}
}

// Help is looked for in plants that differ in a stop or a delivery; what is known of the other stops must say the same as reckoning anew.
func TestAStopOrDeliveryChangedIsReckonedAsAnewWithWhatIsKnownOfTheRest(t *testing.T) {
	dearer := 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(31, seed))
		c := plantest.Draw(rng, plantest.Size{Sites: 2, Windows: 5, Persons: 4, Tools: 2, Jobs: 7, Minute: 10})
		w := rng.IntN(len(c.Windows))
		changes := []plan.Change{{Kind: plan.LongerStop, Of: w, Start: max(0, c.Windows[w].Start-15), End: -1}}
		if seed%3 == 0 {
			changes = append(changes, plan.Change{Kind: plan.StockArrives, Quantity: 2, Time: c.Windows[w].Start})
		}
		alone, like := plan.OptimumLike(c, changes)
		if alone != like {
			t.Errorf("plant %d: %d anew, %d with what is known", seed, alone, like)
		}
		if alone > 0 {
			dearer++
		}
	}
	if dearer < 30 {
		t.Errorf("only %d plants have a plan that costs something: the draw is one-sided", dearer)
	}
}
