package plan

import (
	"errors"
	"slices"
)

// ErrNoPlan says that no plan with every locked job was found in the time given, and that it is not proven that there is none.
var ErrNoPlan = errors.New("no plan that keeps every lock was found in this time; give it more time or take a lock away")

// finish turns what was found into a plan.
func (s *solver) finish() (*Plan, error) {
	if s.cost >= mustCost {
		return s.refuse()
	}
	out := &Plan{Status: Feasible, Cost: s.cost, Bound: min(s.bound, s.cost), Placed: s.p.placements(s.best), Steps: s.steps}
	if out.Bound == out.Cost {
		out.Status = Optimal
	}
	out.LeftOut = s.leftOut()
	return out, nil
}

// locksFirst starts from a plan of the locked jobs alone where the greedy one could not place them all; it says whether the search may go on.
func (s *solver) locksFirst() bool {
	x := newLockCheck(s.p, s.halt)
	at, a := x.hold(x.locked, waiver{})
	switch a {
	case none:
		s.proven = true
		return false
	case unknown:
		return true
	}
	g := newState(s.p)
	for j := range s.p.jobs {
		if pl, there := at[j]; there {
			g.put(j, &pl)
		}
	}
	fill(g)
	s.better(g.cost, g.snapshot())
	return true
}

// refuse names the locks that contradict each other, when that is proven.
func (s *solver) refuse() (*Plan, error) {
	x := newLockCheck(s.p, s.halt)
	set := x.smallest()
	if set == nil && s.proven {
		set = slices.Clone(x.locked)
	}
	if set == nil {
		return nil, ErrNoPlan
	}
	return &Plan{Status: Infeasible, Conflict: x.explain(set), Steps: s.steps}, nil
}
