//go:build !race

package planfile

import (
	"testing"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

// A large case is searched without the race detector, under which it takes a minute and shows nothing that the small ones do
// not: they are searched by the same workers.
func TestALargeCaseIsCheaperThanKnownAndBounded(t *testing.T) {
	k := readKnown(t)["l1"]
	c := readCase(t, "l1")
	got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1, Steps: 30_000})
	if err != nil {
		t.Fatal(err)
	}
	for _, broken := range plantest.Judge(c, got) {
		t.Error(broken)
	}
	if got.Cost > k.BestKnown {
		t.Errorf("cost %d, the best known is %d", got.Cost, k.BestKnown)
	}
	if got.Bound*100 < k.Bound*95 || got.Bound > got.Cost {
		t.Errorf("bound %d with cost %d; at least 95 %% of %d is asked", got.Bound, got.Cost, k.Bound)
	}
}
