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
