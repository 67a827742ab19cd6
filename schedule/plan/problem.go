package plan

import (
	"math"
	"slices"
)

// never is a time or cost above every other; it leaves room for adding to it.
const never = math.MaxInt / 4

// A problem is a case with everything worked out that does not change while a plan is sought.
//
// Persons and tools are both resources: person t is resource t, tool k is resource len(Technicians)+k.
type problem struct {
	c    *Case
	jobs []task
	// groupSites, callout and travel are looked up millions of times.
	callout   []int // person × window
	travel    [][]int
	resources int
	people    int
	windows   int
	items     []supply
	// near[w] lists the windows whose work can be in each other's way: the same person or tool could be wanted in both within a way.
	near     [][]int
	nearTo   []bool // window × window
	scarce   []int  // how many jobs could use each resource, for sparing what others need
	ofGroup  [][]int
	ofWindow [][]int // jobs that may be done in each window
	ofSite   [][]int
	order    []int      // jobs, every before ahead of its after
	holders  [][]holder // window × qualification: persons who can be there as that
	kit      [][]holder // window × class: tools that can be there, narrowest first
	scratch  []candidate
	block    []Span
	alike    map[alike][]candidate // lists of candidates already made, while jobs are compiled; nil makes each list anew
}

// Options alike in this have the same candidates when nobody is locked or was in the crew before. Most jobs of a large case are of a few
// kinds, and candidates are most of its memory.
type alike struct {
	window, lo, hi, duration int
	qualification            int // -1 for a tool
	tool                     ToolNeed
}

// A task is a job as the search sees it.
type task struct {
	id       int
	duration int
	conveyor int
	group    int // the isolation group to be isolated, -1 when none is
	site     int // where its conveyor stands
	setup    int
	heads    int
	out      int      // cost of leaving it out
	options  []option // cheapest first
	before   []link   // jobs that must end first
	after    []link
	apart    []int // jobs it may not run beside, other than those of its conveyor
	stock    []StockNeed
	must     bool // locked, or to be placed because a locked job waits for it
	locked   *Lock
	needs    []CrewNeed
	tools    []ToolNeed
}

// A link is one side of a precedence.
type link struct {
	job      int
	min, max int // max is never when there is none
	// ahead[k], on the side of the job waited for, is the most that placing the other one could save once this one stands in its option k.
	ahead []int
}

// An option is a window of a task with the starts that everything but other jobs allows.
type option struct {
	window int
	site   int
	cost   int // placement and, in another window than before, change
	lo, hi int // first and last start
	// change is the cost of each former person who is missing, when the window is the former one.
	change int
	former []int
	stock  []StockNeed   // of the problem's items
	people [][]candidate // per crew need
	tools  [][]candidate // per tool need, narrowest first
}

// A candidate is a resource that could serve an option, with the starts at which it could.
type candidate struct {
	resource int
	starts   []Span // inclusive at both ends, sorted
	former   int    // how often the person is named as a former one; each saves the option's change
	locked   bool   // must be taken
}

// A supply is an item's stock over time: at times[i] there has come levels[i] in all. Where some of an item expires, what lasts longer
// is a supply of its own, of which only work after the expiry takes: together they say that no expired quantity is used.
type supply struct {
	times, levels []int
	item          int // of the case
	from          int // only work that starts from here on takes of it
}

// newProblem compiles a case.
func newProblem(c *Case) *problem {
	return newProblemUnless(c, func() bool { return false })
}

// newProblemUnless compiles a case unless it is halted, which it asks for every job: a case of thousands of jobs takes a while. Then it gives nil.
func newProblemUnless(c *Case, halt func() bool) *problem {
	p := &problem{
		c: c, people: len(c.Technicians), windows: len(c.Windows), travel: c.Travel,
		resources: len(c.Technicians) + len(c.Tools),
	}
	p.callout = make([]int, p.people*p.windows)
	for t := range c.Technicians {
		for w := range c.Windows {
			p.callout[t*p.windows+w] = c.Technicians[t].CalloutIn(w, c.Windows[w].Site)
		}
	}
	p.present()
	p.supplies()
	if !p.tasks(halt) {
		return nil
	}
	p.rank()
	p.neighbours()
	return p
}

// supplies sums the arrivals of every item.
func (p *problem) supplies() {
	for i := range p.c.Stock {
		p.items = append(p.items, supplyOf(&p.c.Stock[i], i, math.MinInt))
	}
	for i := range p.c.Stock {
		for _, e := range p.c.Stock[i].Expire {
			p.items = append(p.items, supplyOf(&p.c.Stock[i], i, e.Time))
		}
	}
}

// supplyOf is an item's stock over time as far as it is good after from.
func supplyOf(x *Item, i, from int) supply {
	s := supply{[]int{math.MinInt}, []int{x.lasting(from)}, i, from}
	arrivals := slices.Clone(x.Arrivals)
	slices.SortStableFunc(arrivals, func(a, b Arrival) int { return a.Time - b.Time })
	for _, a := range arrivals {
		s.times = append(s.times, a.Time)
		s.levels = append(s.levels, s.levels[len(s.levels)-1]+a.Quantity)
	}
	return s
}

// takesOf is what work in the option takes of the supplies. An option in which something the job takes would expire between two starts
// is cut off there.
func (p *problem) takesOf(j *Job, x *option) []StockNeed {
	if len(p.items) == len(p.c.Stock) {
		return j.Stock
	}
	out := slices.Clone(j.Stock)
	for k := len(p.c.Stock); k < len(p.items); k++ {
		s := &p.items[k]
		for _, n := range j.Stock {
			switch {
			case n.Item != s.item || x.hi < s.from:
			case x.lo < s.from:
				x.hi = s.from - 1
			default:
				out = append(out, StockNeed{Item: k, Quantity: n.Quantity})
			}
		}
	}
	return out
}

// tasks compiles the jobs; false when it was halted.
func (p *problem) tasks(halt func() bool) bool {
	c := p.c
	p.jobs = make([]task, len(c.Jobs))
	p.ofGroup, p.ofWindow, p.ofSite = make([][]int, len(c.Groups)), make([][]int, len(c.Windows)), make([][]int, len(c.Sites))
	p.alike = map[alike][]candidate{}
	for i := range c.Jobs {
		if halt() {
			return false
		}
		p.compile(i)
	}
	p.alike = nil
	for _, x := range c.Precedences {
		most := x.MaxLag
		if most < 0 {
			most = never
		}
		p.jobs[x.After].before = append(p.jobs[x.After].before, link{job: x.Before, min: x.MinLag, max: most})
		p.jobs[x.Before].after = append(p.jobs[x.Before].after, link{job: x.After, min: x.MinLag, max: most})
	}
	for _, x := range c.Exclusions {
		p.jobs[x[0]].apart = append(p.jobs[x[0]].apart, x[1])
		p.jobs[x[1]].apart = append(p.jobs[x[1]].apart, x[0])
	}
	return true
}

// compile makes the task of one job.
func (p *problem) compile(i int) {
	j := &p.c.Jobs[i]
	g := p.c.Conveyors[j.Conveyor].Group
	t := &p.jobs[i]
	*t = task{
		id: i, duration: j.Duration, conveyor: j.Conveyor, group: -1, site: p.c.Groups[g].Site, out: j.Unplaced,
		stock: j.Stock, must: j.Locked != nil, locked: j.Locked, needs: j.Crew, tools: j.Tools,
	}
	if j.Isolation {
		t.group, t.setup = g, p.c.Groups[g].Setup
		p.ofGroup[g] = append(p.ofGroup[g], i)
	}
	if j.Previous != nil {
		t.out += j.Previous.ChangeWindow
	}
	for _, n := range j.Crew {
		t.heads += n.Number
	}
	p.ofSite[t.site] = append(p.ofSite[t.site], i)
	for _, o := range j.Options {
		if j.Locked != nil && j.Locked.Window != o.Window {
			continue
		}
		if x, fits := p.option(j, t, o); fits {
			t.options = append(t.options, x)
			p.ofWindow[o.Window] = append(p.ofWindow[o.Window], i)
		}
	}
	slices.SortStableFunc(t.options, func(a, b option) int { return a.cost - b.cost })
}

// option compiles one window of a job; fits is false when no start in it can keep the rules that concern the job alone.
func (p *problem) option(j *Job, t *task, o Option) (x option, fits bool) {
	w := &p.c.Windows[o.Window]
	x = option{window: o.Window, site: w.Site, cost: o.Cost}
	x.lo, x.hi = startsIn(p.c, j, o.Window)
	if l := j.Locked; l != nil && l.Start >= 0 {
		x.lo, x.hi = max(x.lo, l.Start), min(x.hi, l.Start)
	}
	x.stock = p.takesOf(j, &x)
	if v := j.Previous; v != nil {
		if v.Window == o.Window {
			x.change, x.former = v.ChangeTech, v.Technicians
		} else {
			x.cost += v.ChangeWindow
		}
	}
	if x.lo > x.hi || !p.fitCrew(j, &x, t.duration) || !p.fitTools(j, &x, t.duration) {
		return x, false
	}
	return x, true
}

// startsIn gives the first and last start of a job in a window by the window, its isolation, release and deadline (R3, R4).
func startsIn(c *Case, j *Job, window int) (lo, hi int) {
	w := &c.Windows[window]
	lo, hi = w.Start, w.End-j.Duration
	if j.Isolation {
		g := &c.Groups[c.Conveyors[j.Conveyor].Group]
		lo, hi = lo+g.Isolate, hi-g.Restart
	}
	lo = max(lo, j.Release)
	if j.Deadline >= 0 {
		hi = min(hi, j.Deadline-j.Duration)
	}
	return lo, hi
}

// fitCrew lists for every crew need who could serve the option; false when there are too few for a need or a locked person is not among them.
func (p *problem) fitCrew(j *Job, x *option, duration int) bool {
	var held []int
	if j.Locked != nil {
		held = j.Locked.Technicians
	}
	seen := 0
	for n, need := range j.Crew {
		kind := alike{window: x.window, lo: x.lo, hi: x.hi, duration: duration, qualification: need.Qualification}
		if list := p.alike[kind]; len(held)+len(x.former) == 0 && len(list) > 0 {
			if len(list) < need.Number {
				return false
			}
			x.people = append(x.people, list)
			continue
		}
		p.scratch = p.scratch[:0]
		for _, h := range p.holders[x.window*len(p.c.Qualifications)+need.Qualification] {
			starts := p.startsOf(h.stays, max(x.lo, h.from), min(x.hi, h.to-duration), duration)
			if len(starts) == 0 {
				continue
			}
			k := candidate{resource: h.resource, starts: starts, locked: slices.Contains(held, h.resource)}
			for _, f := range x.former {
				if f == h.resource {
					k.former++
				}
			}
			p.scratch = joinedCandidate(p.scratch, k)
		}
		if len(p.scratch) < need.Number {
			return false
		}
		for i := range p.scratch {
			if p.scratch[i].locked && !among(x.people[:n], p.scratch[i].resource) {
				seen++
			}
		}
		x.people = append(x.people, p.kept(kind, len(held)+len(x.former) == 0))
	}
	return seen == len(held)
}

// kept is a list of its own with the candidates in scratch, kept for options alike when it may be.
func (p *problem) kept(kind alike, may bool) []candidate {
	list := slices.Clone(p.scratch)
	if may && p.alike != nil {
		p.alike[kind] = list
	}
	return list
}

// joinedCandidate adds a candidate, or its starts to the one before when a person holds a qualification twice.
func joinedCandidate(list []candidate, k candidate) []candidate {
	if n := len(list); n > 0 && list[n-1].resource == k.resource {
		list[n-1].starts = joined(slices.Concat(list[n-1].starts, k.starts))
		return list
	}
	return append(list, k)
}

// among says whether a resource is in one of the lists.
func among(lists [][]candidate, r int) bool {
	for _, list := range lists {
		for i := range list {
			if list[i].resource == r {
				return true
			}
		}
	}
	return false
}

// A holder is a person who is qualified for something and can be in a window at all, or a tool of a class that can.
type holder struct {
	resource int
	from, to int    // while qualified
	stays    []Span // stretches at the site, the ways taken off
	tool     *Tool  // nil: a person
}

// present works out for every window who could be there as what; most persons and tools can be in few windows.
func (p *problem) present() {
	c := p.c
	p.holders = make([][]holder, p.windows*len(c.Qualifications))
	p.kit = make([][]holder, p.windows*len(c.Classes))
	for w := range c.Windows {
		site := c.Windows[w].Site
		for t := range c.Technicians {
			who := &c.Technicians[t]
			stays := p.stays(who.Available, who.Home, w)
			for _, q := range who.Qualifications {
				if at := w*len(c.Qualifications) + q.Name; len(stays) > 0 {
					p.holders[at] = append(p.holders[at], holder{resource: p.person(t), from: q.From, to: q.To, stays: stays})
				}
			}
		}
		for k := range c.Tools {
			tool := &c.Tools[k]
			if !tool.Mobile && tool.Site != site {
				continue
			}
			if stays := p.stays(tool.Available, tool.Site, w); len(stays) > 0 {
				at := w*len(c.Classes) + tool.Class
				p.kit[at] = append(p.kit[at], holder{resource: p.people + k, stays: stays, tool: tool})
			}
		}
	}
	for i := range p.holders {
		slices.SortStableFunc(p.holders[i], func(a, b holder) int { return a.resource - b.resource })
	}
	for i := range p.kit {
		slices.SortStableFunc(p.kit[i], func(a, b holder) int { return a.tool.WidthMM - b.tool.WidthMM })
	}
}

// person is a person's number among the resources: persons first, then tools, then persons who were added to a case.
func (p *problem) person(t int) int {
	if t < p.people {
		return t
	}
	return len(p.c.Tools) + t
}

// stays are the stretches for which somebody of a home can be in a window.
func (p *problem) stays(available []Span, home, w int) []Span {
	x := &p.c.Windows[w]
	there, back := p.travel[home][x.Site], p.travel[x.Site][home]
	first, _ := slices.BinarySearchFunc(available, x.Start, func(s Span, at int) int {
		if s.To <= at {
			return -1
		}
		return 1
	})
	var out []Span
	for _, s := range available[first:] {
		if s.From >= x.End {
			break
		}
		if a, b := max(x.Start, s.From+there), min(x.End, s.To-back); a < b {
			out = append(out, Span{a, b})
		}
	}
	return out
}

// startsOf are the starts from lo to hi that leave the whole duration in one stay. They are kept in large blocks of which the last has
// room, since there are very many of them.
func (p *problem) startsOf(stays []Span, lo, hi, duration int) []Span {
	if cap(p.block)-len(p.block) < len(stays) {
		p.block = make([]Span, 0, max(len(stays), spanBlock))
	}
	n := len(p.block)
	for _, s := range stays {
		if a, b := max(lo, s.From), min(hi, s.To-duration); a <= b {
			p.block = append(p.block, Span{a, b})
		}
	}
	return p.block[n:len(p.block):len(p.block)]
}

// spanBlock is how many starts one block of them holds.
const spanBlock = 4096

// personStarts are the starts at which a person may work as q in the option's window (R6, R7).
func personStarts(c *Case, t, q int, x *option, duration int) []Span {
	who := &c.Technicians[t]
	there, back := c.Travel[who.Home][x.site], c.Travel[x.site][who.Home]
	var out []Span
	for _, k := range who.Qualifications {
		if k.Name != q {
			continue
		}
		lo, hi := max(x.lo, k.From), min(x.hi, k.To-duration)
		out = append(out, within(who.Available, there, back, lo, hi, duration)...)
	}
	return joined(out)
}

// toolStarts are the starts at which a tool can be in the option's window (R9, R10).
func toolStarts(c *Case, k int, x *option, duration int) []Span {
	tool := &c.Tools[k]
	if !tool.Mobile && tool.Site != x.site {
		return nil
	}
	return joined(within(tool.Available, c.Travel[tool.Site][x.site], c.Travel[x.site][tool.Site], x.lo, x.hi, duration))
}

// within are the starts from lo to hi that leave room for the way there and back in one stretch of availability.
func within(available []Span, there, back, lo, hi, duration int) []Span {
	first, _ := slices.BinarySearchFunc(available, lo, func(s Span, lo int) int {
		if s.To <= lo {
			return -1
		}
		return 1
	})
	var out []Span
	for _, s := range available[first:] {
		if s.From > hi {
			break
		}
		if a, b := max(lo, s.From+there), min(hi, s.To-back-duration); a <= b {
			out = append(out, Span{a, b})
		}
	}
	return out
}

// joined sorts inclusive spans and joins those that overlap or touch.
func joined(list []Span) []Span {
	if len(list) < 2 {
		return list
	}
	slices.SortFunc(list, func(a, b Span) int { return a.From - b.From })
	out := list[:1]
	for _, s := range list[1:] {
		if last := &out[len(out)-1]; s.From <= last.To+1 {
			last.To = max(last.To, s.To)
		} else {
			out = append(out, s)
		}
	}
	return out
}

// fitTools lists for every tool need which tools could serve the option, narrowest first so that wide ones are kept for wide belts.
func (p *problem) fitTools(j *Job, x *option, duration int) bool {
	var held []int
	if j.Locked != nil {
		held = j.Locked.Tools
	}
	seen := 0
	for n, need := range j.Tools {
		kind := alike{window: x.window, lo: x.lo, hi: x.hi, duration: duration, qualification: -1, tool: need}
		if list := p.alike[kind]; len(held) == 0 && len(list) > 0 {
			x.tools = append(x.tools, list)
			continue
		}
		p.scratch = p.scratch[:0]
		for _, h := range p.kit[x.window*len(p.c.Classes)+need.Class] {
			if !h.tool.Suits(need) {
				continue
			}
			if starts := p.startsOf(h.stays, x.lo, x.hi, duration); len(starts) > 0 {
				p.scratch = append(p.scratch, candidate{resource: h.resource, starts: starts, locked: slices.Contains(held, h.resource-p.people)})
			}
		}
		if len(p.scratch) == 0 {
			return false
		}
		for i := range p.scratch {
			if p.scratch[i].locked && !among(x.tools[:n], p.scratch[i].resource) {
				seen++
			}
		}
		x.tools = append(x.tools, p.kept(kind, len(held) == 0))
	}
	return seen == len(held)
}

// rank orders the jobs so that whoever is waited for comes first, marks what locks force to be placed, and counts who is wanted.
func (p *problem) rank() {
	waits := make([]int, len(p.jobs))
	for i := range p.jobs {
		waits[i] = len(p.jobs[i].before)
	}
	for i, n := range waits {
		if n == 0 {
			p.order = append(p.order, i)
		}
	}
	for at := 0; at < len(p.order); at++ {
		for _, l := range p.jobs[p.order[at]].after {
			if waits[l.job]--; waits[l.job] == 0 {
				p.order = append(p.order, l.job)
			}
		}
	}
	for at := len(p.order) - 1; at >= 0; at-- {
		if j := &p.jobs[p.order[at]]; j.must {
			j.out += mustCost
			for _, l := range j.before {
				p.jobs[l.job].must = true
			}
		}
	}
	for at := len(p.order) - 1; at >= 0; at-- {
		p.lookAhead(&p.jobs[p.order[at]])
	}
	p.scarce = make([]int, p.resources)
	for i := range p.jobs {
		for k := range p.jobs[i].options {
			o := &p.jobs[i].options[k]
			for _, lists := range [][][]candidate{o.people, o.tools} {
				for _, list := range lists {
					for c := range list {
						p.scarce[list[c].resource]++
					}
				}
			}
		}
	}
}

// lookAhead fills in what a job's options leave open to the jobs that wait for it.
func (p *problem) lookAhead(t *task) {
	for i := range t.after {
		l := &t.after[i]
		l.ahead = make([]int, len(t.options))
		other := &p.jobs[l.job]
		for k := range t.options {
			first, last := t.options[k].lo+t.duration+l.min, min(never, t.options[k].hi+t.duration+l.max)
			for h := range other.options {
				o := &other.options[h]
				if o.hi >= first && o.lo <= last {
					l.ahead[k] = min(l.ahead[k], o.cost-other.out+other.opens(h))
				}
			}
		}
	}
}

// opens is the most that the jobs waiting for t could save once it stands in its option k.
func (t *task) opens(k int) int {
	sum := 0
	for i := range t.after {
		sum += t.after[i].ahead[k]
	}
	return sum
}

// neighbours works out which windows can disturb each other: less than the way between them apart.
func (p *problem) neighbours() {
	p.near, p.nearTo = make([][]int, p.windows), make([]bool, p.windows*p.windows)
	for a := range p.c.Windows {
		for b := range p.c.Windows {
			x, y := &p.c.Windows[a], &p.c.Windows[b]
			way := max(p.travel[x.Site][y.Site], p.travel[y.Site][x.Site])
			if x.Start < y.End+way && y.Start < x.End+way {
				p.near[a] = append(p.near[a], b)
				p.nearTo[a*p.windows+b] = true
			}
		}
	}
}
