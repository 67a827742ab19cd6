package horizon

import (
	"context"
	"slices"

	"carryside/schedule/plan"
)

// part is the case of one stop: the jobs in it, and of people, kit and stock what those placed elsewhere leave over. Since
// stops of one conveyor never overlap, orders in different stops meet only in people, kit and stock; so what is asked of a
// whole sheet can be asked of one stop, and answered while somebody waits.
type part struct {
	s      *Sheet
	w      int
	jobs   []int // of the sheet
	c      *plan.Case
	found  *plan.Plan
	anew   *part // the same with the others free in their stop; nil unless it was tried
	people []int // of the sheet, by technician of the part
	kit    []int
}

// partSteps bounds the search of a part; the parts of real stops, of a few jobs, are proven long before.
const partSteps = 40

// lockHow says what of a standing order a part may change.
type lockHow int

const (
	lockStanding lockHow = iota // what is missing may be filled in: start, crew and kit stand where they are given
	lockStop                    // start, crew and kit may change, the stop not
	lockExactly                 // nothing may change
)

// part makes the case of a window. free are jobs that may also be left out.
func (s *Sheet) part(w int, jobs []int, at Placements, how lockHow, free ...int) *part {
	q := &part{s: s, w: w, jobs: append(slices.Clone(jobs), free...)}
	win := s.Case.Windows[w]
	q.c = &plan.Case{ID: "part", Horizon: s.Case.Horizon, Sites: s.Case.Sites, Travel: s.Case.Travel, Groups: s.Case.Groups, Conveyors: s.Case.Conveyors,
		Windows: []plan.Window{win}, Qualifications: s.Case.Qualifications, Classes: s.Case.Classes, Moment: s.Case.Moment, Price: s.Case.Price, Amount: s.Case.Amount}
	q.addPeople(at)
	q.addKit(at)
	q.c.Stock = q.stock(at)
	for _, j := range q.jobs {
		q.addJob(j, at, how, slices.Contains(free, j))
	}
	if how == lockStop || len(free) > 0 { // what stands exactly is judged as it stands
		q.addWaits(at)
	}
	return q
}

// mine tells whether a job is in the part.
func (q *part) mine(j int) bool { return slices.Contains(q.jobs, j) }

// addPeople takes in who holds a ticket that is asked for, while nobody needs them elsewhere. Home is made the site of the
// window and the way there is taken off both ends of each stretch, so that a stretch cut by other work does not ask for the
// way home and back.
func (q *part) addPeople(at Placements) {
	site := q.c.Windows[0].Site
	busy := q.busy(at, func(p Placement) []int {
		var out []int
		for _, m := range p.Crew {
			if t, ok := q.s.people[m.PersonID]; ok {
				out = append(out, t)
			}
		}
		return out
	})
	called := q.called(at)
	for t := range q.s.Case.Technicians {
		p := q.s.Case.Technicians[t]
		if !q.asks(&p) {
			continue
		}
		d := q.s.Case.Travel
		p.CalloutWindows = map[int]int{0: p.CalloutIn(q.w, site)}
		if called[q.s.in.People[t].ID] {
			p.CalloutWindows[0] = 0
		}
		p.Available = q.left(p.Available, d[p.Home][site], d[site][p.Home], busy[t])
		p.Home = site
		q.people = append(q.people, t)
		q.c.Technicians = append(q.c.Technicians, p)
	}
}

// called are the people who are in the stop already for jobs that are not of the part.
func (q *part) called(at Placements) map[int64]bool {
	out := map[int64]bool{}
	for _, j := range q.s.jobsIn(q.w, at) {
		if q.mine(j) {
			continue
		}
		for _, m := range at[q.s.orders[j].ID].Crew {
			out[m.PersonID] = true
		}
	}
	return out
}

// asks tells whether a job of the part asks for a ticket the person holds.
func (q *part) asks(p *plan.Technician) bool {
	for _, j := range q.jobs {
		for _, n := range q.s.Case.Jobs[j].Crew {
			if slices.ContainsFunc(p.Qualifications, func(k plan.Qualification) bool { return k.Name == n.Qualification }) {
				return true
			}
		}
	}
	return false
}

// busy lists, by person or kit, the stretches taken by jobs that are not of the part, the ways between included.
func (q *part) busy(at Placements, of func(Placement) []int) map[int][]plan.Span {
	site := q.c.Windows[0].Site
	out := map[int][]plan.Span{}
	for j, o := range q.s.orders {
		p, ok := at[o.ID]
		w, known := q.s.windowOf[p.StopID]
		if !ok || !known || q.mine(j) || p.Start.IsZero() {
			continue
		}
		there, start := q.s.Case.Windows[w].Site, q.s.above(p.Start)
		span := plan.Span{From: start - q.s.Case.Travel[site][there], To: start + q.s.Case.Jobs[j].Duration + q.s.Case.Travel[there][site]}
		for _, k := range of(p) {
			out[k] = append(out[k], span)
		}
	}
	return out
}

// left is what stretches leave after the ways at both ends and after busy ones, cut to what can touch the window or its
// lengthening.
func (q *part) left(list []plan.Span, there, back int, busy []plan.Span) []plan.Span {
	w := q.c.Windows[0]
	lo, hi := w.Start-partMargin, w.End+partMargin
	var out []plan.Span
	for _, v := range list {
		v = plan.Span{From: max(v.From+there, lo, 0), To: min(v.To-back, hi)}
		if v.From < v.To {
			out = append(out, v)
		}
	}
	for _, b := range busy {
		out = without(out, b)
	}
	return out
}

// partMargin is how far around its window, in minutes, a part knows who is free: a hint lengthens a stop by no more.
const partMargin = 2 * 24 * 60

// without takes one stretch out of others.
func without(list []plan.Span, b plan.Span) []plan.Span {
	var out []plan.Span
	for _, v := range list {
		if b.To <= v.From || b.From >= v.To {
			out = append(out, v)
			continue
		}
		if v.From < b.From {
			out = append(out, plan.Span{From: v.From, To: b.From})
		}
		if b.To < v.To {
			out = append(out, plan.Span{From: b.To, To: v.To})
		}
	}
	return out
}

func (q *part) addKit(at Placements) {
	site := q.c.Windows[0].Site
	busy := q.busy(at, func(p Placement) []int {
		var out []int
		for _, id := range p.Kit {
			if k, ok := q.s.kit[id]; ok {
				out = append(out, k)
			}
		}
		return out
	})
	for k := range q.s.Case.Tools {
		t := q.s.Case.Tools[k]
		asked := slices.ContainsFunc(q.jobs, func(j int) bool {
			return slices.ContainsFunc(q.s.Case.Jobs[j].Tools, func(n plan.ToolNeed) bool { return n.Class == t.Class })
		})
		if !asked || !t.Mobile && t.Site != site {
			continue
		}
		d := q.s.Case.Travel
		t.Available = q.left(t.Available, d[t.Site][site], d[site][t.Site], busy[k])
		t.Site = site
		q.kit = append(q.kit, k)
		q.c.Tools = append(q.c.Tools, t)
	}
}

// stock is what jobs elsewhere leave of each item: at a moment the least that is left then or ever after. Where some of it is out of date
// before the window, what lasts longer and is left by work after that day counts as well; what expires in the window is as good as gone.
func (q *part) stock(at Placements) []plan.Item {
	out := make([]plan.Item, len(q.s.Case.Stock))
	for i, item := range q.s.Case.Stock {
		if out[i] = item; !q.takes(i) {
			continue
		}
		out[i] = leftOver(item.ID, item.OnHand, slices.Concat(item.Arrivals, q.taken(i, at, 0)))
		lasting := item.OnHand
		for _, e := range item.Expire {
			if lasting -= e.Quantity; e.Time < q.c.Windows[0].End {
				out[i] = lesser(out[i], leftOver(item.ID, lasting, slices.Concat(item.Arrivals, q.taken(i, at, e.Time))))
			}
		}
	}
	return out
}

// taken is what jobs elsewhere take of an item from a minute on.
func (q *part) taken(item int, at Placements, from int) []plan.Arrival {
	var out []plan.Arrival
	for j, o := range q.s.orders {
		p, ok := at[o.ID]
		if !ok || q.mine(j) || p.Start.IsZero() {
			continue
		}
		start := max(0, q.s.above(p.Start))
		for _, n := range q.s.Case.Jobs[j].Stock {
			if n.Item == item && start >= from {
				out = append(out, plan.Arrival{Time: start, Quantity: -n.Quantity})
			}
		}
	}
	return out
}

// lesser is what two items both have at any time.
func lesser(a, b plan.Item) plan.Item {
	level := func(x *plan.Item, t int) int {
		n := x.OnHand
		for _, v := range x.Arrivals {
			if v.Time <= t {
				n += v.Quantity
			}
		}
		return n
	}
	out := plan.Item{ID: a.ID, OnHand: min(a.OnHand, b.OnHand)}
	moves := slices.Concat(a.Arrivals, b.Arrivals)
	slices.SortFunc(moves, func(x, y plan.Arrival) int { return x.Time - y.Time })
	have := out.OnHand
	for _, v := range moves {
		if now := min(level(&a, v.Time), level(&b, v.Time)); now > have {
			out.Arrivals, have = append(out.Arrivals, plan.Arrival{Time: v.Time, Quantity: now - have}), now
		}
	}
	return out
}

// takes tells whether a job of the part takes an item.
func (q *part) takes(item int) bool {
	return slices.ContainsFunc(q.jobs, func(j int) bool {
		return slices.ContainsFunc(q.s.Case.Jobs[j].Stock, func(n plan.StockNeed) bool { return n.Item == item })
	})
}

// leftOver turns what comes and goes into what can be counted on from when on.
func leftOver(id string, onHand int, moves []plan.Arrival) plan.Item {
	slices.SortStableFunc(moves, func(a, b plan.Arrival) int { return a.Time - b.Time })
	levels := make([]int, len(moves)+1)
	levels[0] = onHand
	for i, m := range moves {
		levels[i+1] = levels[i] + m.Quantity
	}
	for i := len(levels) - 2; i >= 0; i-- {
		levels[i] = min(levels[i], levels[i+1])
	}
	item := plan.Item{ID: id, OnHand: max(0, levels[0])}
	for i, m := range moves {
		if more := max(0, levels[i+1]) - max(0, levels[i]); more > 0 {
			item.Arrivals = append(item.Arrivals, plan.Arrival{Time: m.Time, Quantity: more})
		}
	}
	return item
}

// mustStand is what leaving a job of a part out costs: more than anything else in it.
const mustStand = 1_000_000_000

func (q *part) addJob(j int, at Placements, how lockHow, free bool) {
	job := q.s.Case.Jobs[j]
	o, in := job.OptionIn(q.w)
	if !in {
		o.Cost = 0
	}
	job.Options = []plan.Option{{Window: 0, Cost: o.Cost}}
	job.Unplaced, job.Previous = mustStand, nil
	held := job.Locked
	job.Locked = nil
	p, stands := at[q.s.orders[j].ID]
	if stands && p.StopID == q.s.stops[q.w].ID && !free {
		job.Locked = q.lock(j, p, how, held != nil)
		job.Previous = q.before(j, p)
	}
	q.c.Jobs = append(q.c.Jobs, job)
}

// before lets a job of the part prefer those who did it where it stood.
func (q *part) before(j int, p Placement) *plan.Previous {
	return &plan.Previous{Window: 0, ChangeWindow: 0, ChangeTech: max(1, whole(q.s.orders[j].Date.Planned*changePersonShare)), Technicians: q.members(p)}
}

// remember lets a free job prefer those who did it where it stood.
func (q *part) remember(j int, was Placements) {
	if p, ok := was[q.s.orders[j].ID]; ok {
		q.c.Jobs[slices.Index(q.jobs, j)].Previous = q.before(j, p)
	}
}

// lock says what stands of an order in the part's window. What a plan must leave where it stands stays exactly there.
func (q *part) lock(j int, p Placement, how lockHow, held bool) *plan.Lock {
	l := &plan.Lock{Window: 0, Start: -1}
	if how == lockStop && !held {
		return l
	}
	if !p.Start.IsZero() {
		l.Start = q.s.above(p.Start)
	}
	heads := 0
	for _, n := range q.s.Case.Jobs[j].Crew {
		heads += n.Number
	}
	if l.Technicians = q.members(p); how == lockStanding && len(l.Technicians) > heads {
		l.Technicians = l.Technicians[:heads]
	}
	for _, id := range p.Kit {
		if k := slices.Index(q.kit, q.kitIndex(id)); k >= 0 {
			l.Tools = append(l.Tools, k)
		}
	}
	if n := len(q.s.Case.Jobs[j].Tools); how == lockStanding && len(l.Tools) > n {
		l.Tools = l.Tools[:n]
	}
	return l
}

func (q *part) kitIndex(id int64) int {
	if k, ok := q.s.kit[id]; ok {
		return k
	}
	return -1
}

// members are the persons of a placement, as the part numbers them.
func (q *part) members(p Placement) []int {
	var out []int
	for _, m := range p.Crew {
		t, ok := q.s.people[m.PersonID]
		if i := slices.Index(q.people, t); ok && i >= 0 {
			out = append(out, i)
		}
	}
	return out
}

// solve tells whether every job that has to stand does, and so does the free one. It gives up when ctx ends.
func (q *part) solve(ctx context.Context) bool {
	found, err := plan.Solve(ctx, q.c, plan.Settings{Seed: 1, Steps: partSteps, Workers: 1, Plain: true})
	if err != nil {
		q.found = &plan.Plan{Status: plan.Infeasible, Conflict: []string{"the orders in this stop do not go together"}}
		return false
	}
	q.found = found
	return found.Status != plan.Infeasible && len(found.LeftOut) == 0
}

// words are what is in the way.
func (q *part) words() []string {
	if q.found.Status == plan.Infeasible {
		return said(q.found.Conflict)
	}
	var out []string
	for _, l := range q.found.LeftOut {
		out = append(out, l.Reasons...)
	}
	if len(out) > 1 { // the last compares costs, which are the part's own
		out = out[:len(out)-1]
	}
	for _, l := range q.found.LeftOut {
		out = append(out, q.s.lateFor(q.jobs[l.Job], l.Reasons)...)
	}
	return said(out)
}

// take writes the found starts, crews and kit into placements.
func (q *part) take(at Placements) {
	for i := range q.found.Placed {
		p := q.found.Placed[i]
		full := plan.Placed{Job: q.jobs[p.Job], Window: q.w, Start: p.Start}
		for _, m := range p.Crew {
			full.Crew = append(full.Crew, plan.Member{Technician: q.people[m.Technician], Qualification: m.Qualification})
		}
		for _, k := range p.Tools {
			full.Tools = append(full.Tools, q.kit[k])
		}
		at[q.s.orders[full.Job].ID] = q.s.placement(&full)
	}
}
