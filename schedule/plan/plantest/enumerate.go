package plantest

import "carryside/schedule/plan"

// Cheapest tries every window, every start in whole minutes, every crew and every tool of every job, and gives the least cost of a plan that
// Judge accepts; false when there is none. It is for cases of very few jobs whose windows are a few minutes long.
func Cheapest(c *plan.Case) (cost int, possible bool) {
	e := &enumeration{c: c}
	e.job(0)
	return e.best, e.found
}

// An enumeration builds plans job by job.
type enumeration struct {
	c      *plan.Case
	placed []plan.Placed
	best   int
	found  bool
}

// job decides on job i: left out, or in every way that keeps the rules with the jobs before it.
func (e *enumeration) job(i int) {
	if i == len(e.c.Jobs) {
		e.finish()
		return
	}
	e.job(i + 1)
	job := &e.c.Jobs[i]
	for _, o := range job.Options {
		w := &e.c.Windows[o.Window]
		for s := w.Start; s+job.Duration <= w.End; s++ {
			e.crew(plan.Placed{Job: i, Window: o.Window, Start: s}, 0, 0)
		}
	}
}

// crew chooses the head-th person of need n.
func (e *enumeration) crew(x plan.Placed, n, head int) {
	job := &e.c.Jobs[x.Job]
	if n == len(job.Crew) {
		e.tools(x, 0)
		return
	}
	if head == job.Crew[n].Number {
		e.crew(x, n+1, 0)
		return
	}
	for t := range e.c.Technicians {
		m := plan.Member{Technician: t, Qualification: job.Crew[n].Qualification}
		if head > 0 && x.Crew[len(x.Crew)-1].Technician > t {
			continue
		}
		y := x
		y.Crew = append(append([]plan.Member(nil), x.Crew...), m)
		e.crew(y, n, head+1)
	}
}

// tools chooses the n-th tool.
func (e *enumeration) tools(x plan.Placed, n int) {
	job := &e.c.Jobs[x.Job]
	if n == len(job.Tools) {
		e.place(x)
		return
	}
	for k := range e.c.Tools {
		y := x
		y.Tools = append(append([]int(nil), x.Tools...), k)
		e.tools(y, n+1)
	}
}

// place goes on with the job placed when the rules that more jobs cannot mend hold: all but R1, R13 and R15.
func (e *enumeration) place(x plan.Placed) {
	j := &judge{c: e.c, at: map[int]plan.Placed{}}
	for _, y := range e.placed {
		j.at[y.Job] = y
	}
	j.at[x.Job] = x
	j.place(x)
	j.crew(x)
	j.tools(x)
	j.locks(x)
	if len(j.broken) == 0 {
		j.lines()
		j.pairs()
		j.stock()
	}
	if len(j.broken) > 0 {
		return
	}
	e.placed = append(e.placed, x)
	e.job(x.Job + 1)
	e.placed = e.placed[:len(e.placed)-1]
}

// finish takes the plan when it is whole and cheaper.
func (e *enumeration) finish() {
	cost := Cost(e.c, e.placed)
	if e.found && cost >= e.best {
		return
	}
	p := &plan.Plan{Placed: e.placed, Cost: cost, Bound: cost}
	in := map[int]bool{}
	for _, x := range e.placed {
		in[x.Job] = true
	}
	for i := range e.c.Jobs {
		if !in[i] {
			p.LeftOut = append(p.LeftOut, plan.LeftOut{Job: i, Reasons: []string{"enumerated"}})
		}
	}
	if len(Judge(e.c, p)) == 0 {
		e.best, e.found = cost, true
	}
}
