package plan

import "slices"

// replanNodes bounds the packings of one proof when a small case is planned again.
const replanNodes = 60_000

// optimum proves the cheapest plan of a problem below cost with tables, for which those of a problem like it help; unknown when the problem
// is too large for it or time ran out.
func optimum(p *problem, like *tables, cost int, halt func() bool) (found int, at []placement, a answer) {
	return proof(p, like, cost, false, halt)
}

// below says whether a problem has a plan below cost.
func below(p *problem, like *tables, cost int, halt func() bool) answer {
	_, _, a := proof(p, like, cost, true, halt)
	return a
}

// proof searches for a plan below cost with tables: the cheapest, or the first that is found.
func proof(p *problem, like *tables, cost int, first bool, halt func() bool) (found int, at []placement, a answer) {
	nodes := replanNodes
	t := tabulate(p, like, &nodes, halt)
	if t == nil {
		return 0, nil, unknown
	}
	parts := t.parts(&nodes, halt)
	if parts == nil {
		return 0, nil, unknown
	}
	found, at, proven := search(parts, cost, first, &nodes, halt)
	switch {
	case !proven && !(first && at != nil):
		return 0, nil, unknown
	case at == nil:
		return 0, nil, none
	}
	return found, at, possible
}

// requiring is the problem with job j, and all it waits for, to be placed.
func (p *problem) requiring(j int) *problem {
	out := *p
	out.jobs = append([]task(nil), p.jobs...)
	out.require(j)
	return &out
}

// require marks a job and all it waits for.
func (p *problem) require(j int) {
	t := &p.jobs[j]
	if !t.must {
		t.must = true
		t.out += mustCost
	}
	for _, l := range t.before {
		p.require(l.job)
	}
}

// forbidding is the problem with jobs left out.
func (p *problem) forbidding(jobs ...int) *problem {
	out := *p
	out.jobs = append([]task(nil), p.jobs...)
	for _, j := range jobs {
		out.jobs[j].options = nil
	}
	out.ofWindow = make([][]int, len(p.ofWindow))
	for w, list := range p.ofWindow {
		for _, k := range list {
			if !slices.Contains(jobs, k) {
				out.ofWindow[w] = append(out.ofWindow[w], k)
			}
		}
	}
	return &out
}

// replanSteps is how many steps a chain makes when a large case is planned again around one job.
const replanSteps = 150

// chainsInAll is for how many jobs of a large case that is done.
const chainsInAll = 12

// cheapestWith is the cost of the cheapest plan that places job j: proven where the plan is, else the cheapest found.
func (x *explainer) cheapestWith(j int) (cost int, a answer) {
	chain := !x.s.late() && !x.s.set.Plain && x.chains < chainsInAll
	if !x.s.proven && !chain {
		return 0, unknown
	}
	p := x.p.requiring(j)
	if x.s.proven {
		if cost, _, a = optimum(p, x.s.tables, mustCost, x.s.late); a != unknown {
			return cost, a
		}
	}
	if !chain {
		return 0, unknown
	}
	x.chains++
	l := newLane(p, x.s.best, x.s.set.Seed, uint64(j))
	l.run(replanSteps, x.s.late)
	if l.bestCost >= mustCost {
		return 0, unknown
	}
	return l.bestCost, possible
}

// changedFor is the problem with the changes as far as job j may use them: the other jobs keep the options they have, so that a plan of
// theirs can be carried over as it stands. Second persons and tools are numbered after all others.
func (p *problem) changedFor(j int, changes []Change) *problem {
	out := *p
	out.c = p.c.With(changes)
	out.resources = p.people + len(out.c.Tools) + len(out.c.Technicians) - p.people
	out.callout = make([]int, out.resources*p.windows)
	copy(out.callout, p.callout)
	for t := p.people; t < len(out.c.Technicians); t++ {
		for w := range out.c.Windows {
			out.callout[out.person(t)*p.windows+w] = out.c.Technicians[t].CalloutIn(w, out.c.Windows[w].Site)
		}
	}
	out.scarce = make([]int, out.resources)
	out.items, out.scratch, out.block = nil, nil, nil
	out.supplies()
	out.present()
	out.jobs = append([]task(nil), p.jobs...)
	out.ofGroup, out.ofWindow, out.ofSite = make([][]int, len(p.ofGroup)), make([][]int, len(p.ofWindow)), make([][]int, len(p.ofSite))
	out.compile(j)
	t, was := &out.jobs[j], &p.jobs[j]
	t.before, t.after, t.apart = was.before, nil, was.apart
	return &out
}

// carried is a plan of another problem in this one's numbers; this one has the other's jobs and persons and at least its windows, tools
// and stock.
func (p *problem) carried(from *problem, plan []placement) []placement {
	out := make([]placement, len(plan))
	for j := range plan {
		out[j] = plan[j].clone()
		if out[j].option < 0 {
			continue
		}
		w := from.jobs[j].options[out[j].option].window
		out[j].option = slices.IndexFunc(p.jobs[j].options, func(o option) bool { return o.window == w })
		for i := range out[j].tools {
			out[j].tools[i] += p.people - from.people
		}
	}
	return out
}
