package plan_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

// tiny is a case small enough to be enumerated to the last minute.
var tiny = plantest.Size{Sites: 2, Windows: 3, Persons: 3, Tools: 1, Jobs: 3, Minute: 1}

func TestTinyPlantsMatchEnumeration(t *testing.T) {
	infeasible, optimal := 0, 0
	for seed := range uint64(400) {
		c := plantest.Draw(rand.New(rand.NewPCG(7, seed)), tiny)
		want, possible := plantest.Cheapest(c)
		got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1, Plain: true})
		if err != nil {
			t.Fatalf("plant %d: %v", seed, err)
		}
		if !possible {
			infeasible++
			if got.Status != plan.Infeasible || len(got.Conflict) == 0 {
				t.Errorf("plant %d: no plan keeps its locks, got %s with conflict %q", seed, got.Status, got.Conflict)
			}
			continue
		}
		optimal++
		for _, broken := range plantest.Judge(c, got) {
			t.Errorf("plant %d: %s", seed, broken)
		}
		if got.Status != plan.Optimal || got.Cost != want {
			t.Errorf("plant %d: %s plan of cost %d, enumeration found %d", seed, got.Status, got.Cost, want)
		}
	}
	if infeasible < 5 || optimal < 200 {
		t.Errorf("%d infeasible and %d feasible plants drawn: the draw is one-sided", infeasible, optimal)
	}
}

func TestPlansOfMiddlingPlantsAreLegalAndBounded(t *testing.T) {
	plants := uint64(12)
	if testing.Short() {
		plants = 3
	}
	for seed := range plants {
		c := crowded(seed)
		low, high := 0, 0
		for _, steps := range []int{400, 6_000} {
			got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 3, Steps: steps, Plain: true})
			if err != nil {
				t.Fatal(err)
			}
			for _, broken := range plantest.Judge(c, got) {
				t.Errorf("plant %d, %d steps: %s", seed, steps, broken)
			}
			if high > 0 && got.Cost > high {
				t.Errorf("plant %d: cost rose from %d to %d with more steps", seed, high, got.Cost)
			}
			low, high = max(low, got.Bound), got.Cost
		}
		if low > high {
			t.Errorf("plant %d: a bound of %d is above a plan of %d", seed, low, high)
		}
		if low == 0 {
			t.Errorf("plant %d: no bound was found", seed)
		}
	}
}

func TestSameStepsSamePlanWhateverTheWorkers(t *testing.T) {
	c := plantest.Draw(rand.New(rand.NewPCG(5, 5)), plantest.Size{Sites: 4, Windows: 16, Persons: 8, Tools: 4, Jobs: 120, Minute: 30})
	for i := range c.Jobs {
		c.Jobs[i].Locked = nil
	}
	steps, runs := 2_000, []int{1, 2, 2, 1}
	if testing.Short() {
		steps, runs = 800, []int{1, 2}
	}
	var first *plan.Plan
	for _, workers := range runs {
		got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 9, Steps: steps, Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = got
		}
		if diff := cmp.Diff(first, got); diff != "" {
			t.Fatalf("%d workers gave another plan:\n%s", workers, diff)
		}
	}
	if other, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 10, Steps: steps}); err != nil || cmp.Equal(first.Placed, other.Placed) {
		t.Errorf("another seed took the same course: error %v", err)
	}
}

func TestACancelledSearchGivesItsBestPlan(t *testing.T) {
	c := plantest.Draw(rand.New(rand.NewPCG(5, 6)), plantest.Size{Sites: 4, Windows: 16, Persons: 8, Tools: 4, Jobs: 120, Minute: 30})
	for i := range c.Jobs {
		c.Jobs[i].Locked = nil
	}
	ctx, cancel := context.WithCancel(t.Context())
	heard := 0
	last := plan.Progress{}
	got, err := plan.Solve(ctx, c, plan.Settings{Seed: 1, Tell: func(p plan.Progress) {
		if heard > 0 && (p.Cost > last.Cost || p.Bound < last.Bound) {
			t.Errorf("progress went back: %+v after %+v", p, last)
		}
		last = p
		if heard++; heard == 4 {
			cancel()
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	for _, broken := range plantest.Judge(c, got) {
		t.Error(broken)
	}
	if heard < 4 || got.Cost > last.Cost {
		t.Errorf("heard %d times, the last of cost %d; the plan costs %d", heard, last.Cost, got.Cost)
	}
}

func TestEveryHintIsTrue(t *testing.T) {
	hints := map[plan.ChangeKind]int{}
	for seed := range uint64(150) {
		c := plantest.Draw(rand.New(rand.NewPCG(21, seed)), plantest.Size{Sites: 2, Windows: 4, Persons: 3, Tools: 1, Jobs: 6, Minute: 30})
		got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range got.LeftOut {
			if len(l.Help) != len(l.Changes) {
				t.Fatalf("plant %d: %d sentences of help for %d changes", seed, len(l.Help), len(l.Changes))
			}
			for i, changes := range l.Changes {
				for _, x := range changes {
					hints[x.Kind]++
				}
				if why := hintHolds(t, c, l.Job, changes); why != "" {
					t.Errorf("plant %d, job %s, %q: %s", seed, c.Jobs[l.Job].ID, l.Help[i], why)
				}
			}
		}
	}
	for _, kind := range []plan.ChangeKind{plan.LongerStop, plan.AnotherPerson, plan.AnotherTool, plan.StockArrives} {
		if hints[kind] == 0 {
			t.Errorf("no hint of kind %d was given: %v", kind, hints)
		}
	}
}

// crowded is a plant with more work than its stops hold.
func crowded(seed uint64) *plan.Case {
	c := plantest.Draw(rand.New(rand.NewPCG(11, seed)), plantest.Size{Sites: 3, Windows: 12, Persons: 6, Tools: 3, Jobs: 80, Minute: 30})
	for i := range c.Jobs {
		c.Jobs[i].Locked = nil
	}
	return c
}

// hintHolds plans the changed case again and says why the hint is not true.
func hintHolds(t *testing.T, c *plan.Case, job int, changes []plan.Change) string {
	t.Helper()
	after, err := plan.Solve(t.Context(), c.With(changes), plan.Settings{Seed: 2, Plain: true})
	if err != nil || after.Status != plan.Optimal {
		return fmt.Sprintf("the changed case was not solved: %v", err)
	}
	for _, l := range after.LeftOut {
		if l.Job == job {
			return "the job is still left out"
		}
	}
	return ""
}
