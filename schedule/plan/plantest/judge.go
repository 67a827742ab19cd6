// Package plantest judges plans for tests, without knowing how they were found: it checks every rule of a plan against its case, reckons
// the cost anew, enumerates the plans of the smallest cases, and draws small random cases.
//
//	for _, broken := range plantest.Judge(c, p) { t.Error(broken) }
//
// It is written from the rules alone and shares nothing with the planner but the types, so that a slip is not made twice alike.
package plantest

import (
	"fmt"
	"math"
	"slices"

	"carryside/schedule/plan"
)

// A judge collects what is broken.
type judge struct {
	c      *plan.Case
	at     map[int]plan.Placed
	broken []string
}

// Judge lists every rule the plan breaks, the stated cost and bound included; none for a plan that is right.
func Judge(c *plan.Case, p *plan.Plan) []string {
	j := &judge{c: c, at: map[int]plan.Placed{}}
	j.complete(p)
	for i := range c.Jobs {
		if x, there := j.at[i]; there {
			j.place(x)
			j.crew(x)
			j.tools(x)
			j.locks(x)
		} else if c.Jobs[i].Locked != nil {
			j.breaks("R15: job %s is locked and left out", c.Jobs[i].ID)
		}
	}
	j.lines()
	j.pairs()
	j.waits()
	j.stock()
	if len(j.broken) == 0 {
		j.stated(p)
	}
	return j.broken
}

// breaks notes a broken rule.
func (j *judge) breaks(format string, args ...any) {
	j.broken = append(j.broken, fmt.Sprintf(format, args...))
}

// complete: every job stands exactly once (R1).
func (j *judge) complete(p *plan.Plan) {
	seen := map[int]int{}
	for _, x := range p.Placed {
		seen[x.Job]++
		j.at[x.Job] = x
	}
	for _, x := range p.LeftOut {
		seen[x.Job]++
		if len(x.Reasons) == 0 {
			j.breaks("job %s is left out without a reason", j.c.Jobs[x.Job].ID)
		}
	}
	for i := range j.c.Jobs {
		if seen[i] != 1 {
			j.breaks("R1: job %s stands %d times", j.c.Jobs[i].ID, seen[i])
		}
	}
}

// end is when a placed job ends.
func (j *judge) end(x plan.Placed) int { return x.Start + j.c.Jobs[x.Job].Duration }

// place: an allowed window, and the start inside it (R2, R3, R4).
func (j *judge) place(x plan.Placed) {
	job, w := &j.c.Jobs[x.Job], &j.c.Windows[x.Window]
	if _, allowed := job.OptionIn(x.Window); !allowed {
		j.breaks("R2: job %s may not be done in window %s", job.ID, w.ID)
	}
	lo, hi := w.Start, w.End
	if job.Isolation {
		g := j.c.Groups[j.c.Conveyors[job.Conveyor].Group]
		lo, hi = lo+g.Isolate, hi-g.Restart
	}
	if x.Start < lo || j.end(x) > hi {
		j.breaks("R3: job %s runs %d to %d, window %s allows %d to %d", job.ID, x.Start, j.end(x), w.ID, lo, hi)
	}
	if x.Start < job.Release || job.Deadline >= 0 && j.end(x) > job.Deadline {
		j.breaks("R4: job %s runs %d to %d against release %d and deadline %d", job.ID, x.Start, j.end(x), job.Release, job.Deadline)
	}
}

// crew: the right numbers, nobody twice, qualified and there (R5, R6, R7).
func (j *judge) crew(x plan.Placed) {
	job, w := &j.c.Jobs[x.Job], &j.c.Windows[x.Window]
	count, who := map[int]int{}, map[int]bool{}
	for _, m := range x.Crew {
		t := &j.c.Technicians[m.Technician]
		if who[m.Technician] {
			j.breaks("R5: job %s has %s twice", job.ID, t.ID)
		}
		who[m.Technician] = true
		count[m.Qualification]++
		if !slices.ContainsFunc(t.Qualifications, func(q plan.Qualification) bool {
			return q.Name == m.Qualification && q.From <= x.Start && j.end(x) <= q.To
		}) {
			j.breaks("R6: job %s: %s is not qualified", job.ID, t.ID)
		}
		if !j.there(t.Available, t.Home, w.Site, x) {
			j.breaks("R7: job %s: %s is not available", job.ID, t.ID)
		}
	}
	for _, n := range job.Crew {
		if count[n.Qualification] != n.Number {
			j.breaks("R5: job %s has %d of %d", job.ID, count[n.Qualification], n.Number)
		}
		delete(count, n.Qualification)
	}
	if len(count) > 0 {
		j.breaks("R5: job %s has persons it does not need", job.ID)
	}
}

// there says whether one stretch holds the work and both ways.
func (j *judge) there(available []plan.Span, home, site int, x plan.Placed) bool {
	return slices.ContainsFunc(available, func(s plan.Span) bool {
		return s.From+j.c.Travel[home][site] <= x.Start && j.end(x)+j.c.Travel[site][home] <= s.To
	})
}

// tools: one for each need, suiting and there (R9, R10).
func (j *judge) tools(x plan.Placed) {
	job, w := &j.c.Jobs[x.Job], &j.c.Windows[x.Window]
	if len(x.Tools) != len(job.Tools) {
		j.breaks("R9: job %s has %d of %d tools", job.ID, len(x.Tools), len(job.Tools))
		return
	}
	for i, k := range x.Tools {
		t, n := &j.c.Tools[k], job.Tools[i]
		if !t.Suits(n) || !t.Mobile && t.Site != w.Site || slices.Contains(x.Tools[:i], k) {
			j.breaks("R9: job %s: tool %s does not suit", job.ID, t.ID)
		}
		if !j.there(t.Available, t.Site, w.Site, x) {
			j.breaks("R10: job %s: tool %s is not available", job.ID, t.ID)
		}
	}
}

// locks are kept (R15).
func (j *judge) locks(x plan.Placed) {
	l := j.c.Jobs[x.Job].Locked
	if l == nil {
		return
	}
	kept := l.Window == x.Window && (l.Start < 0 || l.Start == x.Start)
	for _, t := range l.Technicians {
		kept = kept && slices.ContainsFunc(x.Crew, func(m plan.Member) bool { return m.Technician == t })
	}
	for _, k := range l.Tools {
		kept = kept && slices.Contains(x.Tools, k)
	}
	if !kept {
		j.breaks("R15: the lock of job %s is not kept", j.c.Jobs[x.Job].ID)
	}
}

// lines: persons and tools do one job at a time and travel between sites (R8, R11).
func (j *judge) lines() {
	of := map[string][]plan.Placed{}
	for i := range j.c.Jobs {
		x, there := j.at[i]
		if !there {
			continue
		}
		for _, m := range x.Crew {
			of["technician "+j.c.Technicians[m.Technician].ID] = append(of["technician "+j.c.Technicians[m.Technician].ID], x)
		}
		for _, k := range x.Tools {
			of["tool "+j.c.Tools[k].ID] = append(of["tool "+j.c.Tools[k].ID], x)
		}
	}
	for name, list := range of {
		slices.SortFunc(list, func(a, b plan.Placed) int { return a.Start - b.Start })
		for i := 1; i < len(list); i++ {
			a, b := list[i-1], list[i]
			if j.end(a)+j.c.Travel[j.c.Windows[a.Window].Site][j.c.Windows[b.Window].Site] > b.Start {
				j.breaks("R8, R11: %s cannot get from job %s to job %s", name, j.c.Jobs[a.Job].ID, j.c.Jobs[b.Job].ID)
			}
		}
	}
}

// pairs: no overlap on a conveyor or between excluded jobs (R12).
func (j *judge) pairs() {
	apart := func(a, b int) {
		x, one := j.at[a]
		y, two := j.at[b]
		if one && two && x.Start < j.end(y) && y.Start < j.end(x) {
			j.breaks("R12: jobs %s and %s overlap", j.c.Jobs[a].ID, j.c.Jobs[b].ID)
		}
	}
	for a := range j.c.Jobs {
		for b := range a {
			if j.c.Jobs[a].Conveyor == j.c.Jobs[b].Conveyor {
				apart(a, b)
			}
		}
	}
	for _, e := range j.c.Exclusions {
		apart(e[0], e[1])
	}
}

// waits: precedences hold (R13).
func (j *judge) waits() {
	for _, p := range j.c.Precedences {
		b, placed := j.at[p.After]
		if !placed {
			continue
		}
		a, placed := j.at[p.Before]
		if !placed || b.Start < j.end(a)+p.MinLag || p.MaxLag >= 0 && b.Start > j.end(a)+p.MaxLag {
			j.breaks("R13: job %s after job %s", j.c.Jobs[p.After].ID, j.c.Jobs[p.Before].ID)
		}
	}
}

// stock: never more taken than has come (R14).
func (j *judge) stock() {
	for i := range j.c.Stock {
		for _, moment := range j.at {
			taken, come := 0, j.c.Stock[i].OnHand
			for _, x := range j.at {
				for _, n := range j.c.Jobs[x.Job].Stock {
					if n.Item == i && x.Start <= moment.Start {
						taken += n.Quantity
					}
				}
			}
			for _, a := range j.c.Stock[i].Arrivals {
				if a.Time <= moment.Start {
					come += a.Quantity
				}
			}
			if taken > come {
				j.breaks("R14: %d of stock %s taken by %d, %d have come", taken, j.c.Stock[i].ID, moment.Start, come)
				break
			}
		}
		j.inDate(i)
	}
}

// inDate: nothing is taken of stock that is out of date then. Taken first is what expires first, which leaves most for later.
func (j *judge) inDate(i int) {
	type lot struct{ from, until, left int }
	item := &j.c.Stock[i]
	var lots []lot
	last := item.OnHand
	for _, e := range item.Expire {
		lots = append(lots, lot{math.MinInt, e.Time, e.Quantity})
		last -= e.Quantity
	}
	slices.SortFunc(lots, func(a, b lot) int { return a.until - b.until })
	lots = append(lots, lot{math.MinInt, math.MaxInt, last})
	for _, a := range item.Arrivals {
		lots = append(lots, lot{a.Time, math.MaxInt, a.Quantity})
	}
	var takers []plan.Placed
	for _, x := range j.at {
		takers = append(takers, x)
	}
	slices.SortFunc(takers, func(a, b plan.Placed) int { return a.Start - b.Start })
	for _, x := range takers {
		for _, n := range j.c.Jobs[x.Job].Stock {
			need := n.Quantity
			for k := range lots {
				if l := &lots[k]; n.Item == i && x.Start >= l.from && x.Start < l.until {
					take := min(need, l.left)
					need, l.left = need-take, l.left-take
				}
			}
			if n.Item == i && need > 0 {
				j.breaks("job %s takes %d of stock %s at %d that is not there or out of date", j.c.Jobs[x.Job].ID, need, item.ID, x.Start)
			}
		}
	}
}

// stated: cost, bound and status are what they should be (R16).
func (j *judge) stated(p *plan.Plan) {
	if cost := Cost(j.c, p.Placed); cost != p.Cost {
		j.breaks("R16: the plan states cost %d, reckoned %d", p.Cost, cost)
	}
	if p.Bound > p.Cost || p.Status == plan.Optimal && p.Bound != p.Cost {
		j.breaks("R16: bound %d with cost %d and status %s", p.Bound, p.Cost, p.Status)
	}
}

// Cost reckons the cost of a plan: placement, set-ups, call-outs, left out, change.
func Cost(c *plan.Case, placed []plan.Placed) int {
	cost := 0
	at := map[int]plan.Placed{}
	setups, visits := map[[2]int]bool{}, map[[2]int]bool{}
	for _, x := range placed {
		at[x.Job] = x
		job := &c.Jobs[x.Job]
		o, _ := job.OptionIn(x.Window)
		cost += o.Cost
		if g := c.Conveyors[job.Conveyor].Group; job.Isolation && !setups[[2]int{g, x.Window}] {
			setups[[2]int{g, x.Window}] = true
			cost += c.Groups[g].Setup
		}
		for _, m := range x.Crew {
			if !visits[[2]int{m.Technician, x.Window}] {
				visits[[2]int{m.Technician, x.Window}] = true
				cost += c.Technicians[m.Technician].CalloutIn(x.Window, c.Windows[x.Window].Site)
			}
		}
	}
	for i := range c.Jobs {
		x, there := at[i]
		if !there {
			cost += c.Jobs[i].Unplaced
		}
		v := c.Jobs[i].Previous
		switch {
		case v == nil:
		case !there || x.Window != v.Window:
			cost += v.ChangeWindow
		default:
			for _, t := range v.Technicians {
				if !slices.ContainsFunc(x.Crew, func(m plan.Member) bool { return m.Technician == t }) {
					cost += v.ChangeTech
				}
			}
		}
	}
	return cost
}
