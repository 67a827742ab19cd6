package cohort

import (
	"math"
	"sync"

	"carryside/schedule/life"
)

// bestAges keeps the best ages of a law that were worked out. They depend on the ratio of the two costs alone, which the
// conveyors of a cohort mostly share.
type bestAges struct {
	mu sync.Mutex // guards of
	of map[float64]life.Replacement
}

// BestAge is life.Replace for the law as it is best known, worked out once for each ratio of the costs.
func (l Law) BestAge(costs life.Costs) (life.Replacement, error) {
	ratio := costs.Unplanned / costs.Planned
	if l.best == nil || !(costs.Planned > 0) || math.IsInf(ratio, 0) || math.IsNaN(ratio) {
		return life.Replace(l.Predictive.Best, costs)
	}
	l.best.mu.Lock()
	defer l.best.mu.Unlock()
	r, known := l.best.of[ratio]
	if !known {
		var err error
		if r, err = life.Replace(l.Predictive.Best, life.Costs{Planned: 1, Unplanned: ratio}); err != nil {
			return r, err
		}
		l.best.of[ratio] = r
	}
	r.CostRate *= life.Figure(costs.Planned)
	return r, nil
}
