package plan

import "errors"

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
	for j := range s.best {
		if s.best[j].option < 0 {
			out.LeftOut = append(out.LeftOut, LeftOut{Job: j, Reasons: []string{"it is cheaper to leave out"}})
		}
	}
	return out, nil
}

// refuse proves that the locks contradict each other, or says that no plan was found.
func (s *solver) refuse() (*Plan, error) {
	if !s.proven {
		return nil, ErrNoPlan
	}
	return &Plan{Status: Infeasible, Conflict: []string{"locked"}, Steps: s.steps}, nil
}
