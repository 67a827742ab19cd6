package horizon

import (
	"slices"

	"carryside/schedule/plan"
)

// Cost is what placements cost, by part, in the units of the sheet. It is the planner's own sum of five parts.
type Cost struct{ Date, Setup, Callout, LeftOut, Change int }

// Total is the sum of the parts.
func (c Cost) Total() int { return c.Date + c.Setup + c.Callout + c.LeftOut + c.Change }

// Minus is what one costs more than the other.
func (c Cost) Minus(o Cost) Cost {
	return Cost{c.Date - o.Date, c.Setup - o.Setup, c.Callout - o.Callout, c.LeftOut - o.LeftOut, c.Change - o.Change}
}

// Cost reckons what placements cost.
func (s *Sheet) Cost(at Placements) Cost {
	var c Cost
	setups, calls := map[[2]int]bool{}, map[[2]int]bool{}
	for j, o := range s.orders {
		job := &s.Case.Jobs[j]
		p, stands := at[o.ID]
		w, known := s.windowOf[p.StopID]
		if !stands || !known {
			c.LeftOut += job.Unplaced
			c.Change += changed(job, plan.Gone, nil)
			continue
		}
		if opt, ok := job.OptionIn(w); ok {
			c.Date += opt.Cost
		}
		if g := s.Case.Conveyors[job.Conveyor].Group; job.Isolation && !setups[[2]int{g, w}] {
			setups[[2]int{g, w}] = true
			c.Setup += s.Case.Groups[g].Setup
		}
		var crew []int
		for _, m := range p.Crew {
			t, ok := s.people[m.PersonID]
			if !ok {
				continue
			}
			crew = append(crew, t)
			if !calls[[2]int{t, w}] {
				calls[[2]int{t, w}] = true
				c.Callout += s.Case.Technicians[t].CalloutIn(w, s.Case.Windows[w].Site)
			}
		}
		c.Change += changed(job, w, crew)
	}
	return c
}

// changed is what differing from the published plan costs; Gone stands for left out.
func changed(job *plan.Job, w int, crew []int) int {
	prev := job.Previous
	if prev == nil {
		return 0
	}
	if w == plan.Gone || w != prev.Window {
		return prev.ChangeWindow
	}
	n := 0
	for _, t := range prev.Technicians {
		if t != plan.Gone && !slices.Contains(crew, t) || t == plan.Gone {
			n += prev.ChangeTech
		}
	}
	return n
}
