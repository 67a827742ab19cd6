package plan_test

import (
	"math/rand/v2"
	"testing"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

func TestNoBoundIsAboveTheOptimum(t *testing.T) {
	sharper, tight := 0, 0
	for seed := range uint64(250) {
		c := plantest.Draw(rand.New(rand.NewPCG(31, seed)), tiny)
		best, possible := plantest.Cheapest(c)
		if !possible {
			continue
		}
		trivial, tables, lagrangian := plan.Bounds(c, 3_000)
		if trivial > best || tables > best || lagrangian > best {
			t.Errorf("plant %d: bounds %d, %d and %d, the optimum is %d", seed, trivial, tables, lagrangian, best)
		}
		if lagrangian > trivial {
			sharper++
		}
		if tables == best {
			tight++
		}
	}
	if sharper < 20 || tight < 100 {
		t.Errorf("the Lagrangian bound beat the simplest %d times, the tables met the optimum %d times", sharper, tight)
	}
}

// Two plants want the one roll of cover there is, in windows that know nothing of each other.
func TestTheBoundKnowsThatOneRollServesOnePlant(t *testing.T) {
	c := &plan.Case{
		ID: "one-roll", Horizon: 1_000, Sites: []string{"S1", "S2"}, Travel: [][]int{{0, 60}, {60, 0}},
		Groups:    []plan.Group{{ID: "G1", Site: 0}, {ID: "G2", Site: 1}},
		Conveyors: []plan.Conveyor{{ID: "C1", Group: 0}, {ID: "C2", Group: 1}},
		Windows:   []plan.Window{{ID: "W1", Site: 0, Start: 0, End: 400, Scope: []int{0}}, {ID: "W2", Site: 1, Start: 100, End: 500, Scope: []int{1}}},
		Stock:     []plan.Item{{ID: "M1", OnHand: 1, Arrivals: []plan.Arrival{{Time: 900, Quantity: 5}}}},
	}
	for i := range 2 {
		c.Jobs = append(c.Jobs, plan.Job{
			ID: c.Conveyors[i].ID + " cover", Conveyor: i, Duration: 100, Deadline: -1, Unplaced: 400, Stock: []plan.StockNeed{{Item: 0, Quantity: 1}},
			Options: []plan.Option{{Window: i, Cost: 10}},
		})
	}
	trivial, _, lagrangian := plan.Bounds(c, 3_000)
	if trivial != 20 || lagrangian < 400 || lagrangian > 410 {
		t.Errorf("bounds %d and %d; each plant by itself costs 10, one of the two is left out at 400", trivial, lagrangian)
	}
}
