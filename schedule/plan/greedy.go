package plan

import (
	"math/rand/v2"
	"slices"
)

// mustCost is added to the cost of leaving out a job that has to be placed, so that the search does whatever it can to place it. It is
// above every sum of costs that a plan could save by leaving one out.
const mustCost = 1 << 46

// greedy makes a first plan: locked jobs first, then the dearest to miss, each in its cheapest place with the set-up shared.
func greedy(p *problem) *state {
	s := newState(p)
	fill(s)
	return s
}

// fill places what it can of the jobs that are not placed yet.
func fill(s *state) {
	r := newRepairer(s, rand.New(rand.NewPCG(1, 1)))
	r.pickBy = byTurn
	for _, batch := range batches(s.p) {
		r.repair(slices.DeleteFunc(batch, s.placed), true)
	}
}

// batchSize is how many jobs the greedy plan looks at together; small enough that 3,000 jobs take well below a second.
const batchSize = 8

// batches cuts the jobs into small lots in the order of urgency; what is waited for is always in the same lot or an earlier one.
func batches(p *problem) [][]int {
	rank := make([]int, len(p.jobs))
	for i := len(p.order) - 1; i >= 0; i-- {
		j := p.order[i]
		rank[j] = urgency(&p.jobs[j])
		for _, l := range p.jobs[j].after {
			rank[j] = max(rank[j], rank[l.job]+1)
		}
	}
	list := slices.Clone(p.order)
	slices.SortStableFunc(list, func(a, b int) int { return rank[b] - rank[a] })
	return slices.Collect(slices.Chunk(list, batchSize))
}

// urgency ranks a job by what missing it costs and by how little choice it leaves.
func urgency(t *task) int {
	u := t.out * 4 / (3 + len(t.options))
	if t.must {
		u += mustCost
		if t.locked != nil && t.locked.Start >= 0 {
			u += mustCost
		}
	}
	return u
}
