package plan

import (
	"encoding/binary"
	"slices"
)

// An exactSearch proves the optimum of a small case: it goes through the windows of all sites by start and chooses a pattern for each.
// What is still to come is bounded by the sites' costs to go; windows that can disturb each other are packed together as soon as
// they are chosen.
type exactSearch struct {
	p      *problem
	tables []*siteTable
	steps  []step
	memo   map[string]*joint
	halt   func() bool
	nodes  int
	budget *int // nodes that packings may still take in all
	ended  bool // given up: time, or a packing that was too hard
	first  bool // the first plan cheaper than cost will do

	cost  int // of the cheapest plan known
	best  []placement
	trail []chosen
}

// A step is one window in the order of choice.
type step struct{ table, index int }

// A chosen pattern with its place in the trail.
type chosen struct {
	*pattern
	table int
}

// A joint is the packing of several windows together. When it is not exact, its cost is at least cost.
type joint struct {
	cost   int
	exact  bool
	placed []placement
	jobs   []int
}

// A cluster is windows of the trail that are packed together.
type cluster struct {
	members []int
	crew    int
	jobs    []int
	placed  []placement
}

// newExactSearch prepares a search for plans cheaper than cost.
func newExactSearch(p *problem, tables []*siteTable, cost int, nodes *int, halt func() bool) *exactSearch {
	e := &exactSearch{p: p, tables: tables, memo: map[string]*joint{}, halt: halt, cost: cost, budget: nodes}
	for s, t := range tables {
		for i := range t.windows {
			e.steps = append(e.steps, step{s, i})
		}
	}
	slices.SortStableFunc(e.steps, func(a, b step) int {
		return p.c.Windows[tables[a.table].windows[a.index]].Start - p.c.Windows[tables[b.table].windows[b.index]].Start
	})
	return e
}

// run searches for the cheapest plan, or the first; it says whether it is proven that there is none cheaper than that.
func (e *exactSearch) run() (proven bool) {
	rest := make([]uint32, len(e.tables))
	togo := 0
	for s, t := range e.tables {
		rest[s] = uint32(1)<<len(t.jobs) - 1
		togo += t.togo[0][rest[s]]
	}
	e.search(0, rest, 0, togo, nil)
	return !e.ended
}

// rootBound is what the tables alone prove.
func rootBound(tables []*siteTable) int {
	sum := 0
	for _, t := range tables {
		sum += t.togo[0][len(t.togo[0])-1]
	}
	return sum
}

// search chooses the pattern of the at-th window. rest are the jobs still to be decided per site, spent what is chosen, togo the
// bound on the rest.
func (e *exactSearch) search(at int, rest []uint32, spent, togo int, clusters []cluster) {
	if e.nodes++; e.nodes&63 == 0 && e.halt() {
		e.ended = true
	}
	if e.ended || spent+togo >= e.cost {
		return
	}
	if at == len(e.steps) {
		e.finish(spent+togo, clusters)
		return
	}
	x := e.steps[at]
	t := e.tables[x.table]
	mask := rest[x.table]
	next := t.togo[x.index+1]
	others := togo - t.togo[x.index][mask]
	for _, c := range e.choices(t, x.index, mask, e.cost-spent-others) {
		if spent+others+c.total >= e.cost {
			return
		}
		if c.pattern == nil {
			e.search(at+1, rest, spent, others+next[mask], clusters)
			continue
		}
		more, list, ok := e.join(c.pattern, x.table, clusters, e.cost-spent-others-c.total)
		if ok {
			rest[x.table] = mask &^ c.pattern.mask
			e.search(at+1, rest, spent+c.pattern.cost+more, others+next[rest[x.table]], list)
			rest[x.table] = mask
		}
		e.trail = e.trail[:len(e.trail)-1]
	}
}

// A choice is a pattern of a window, or none, with the bound it leads to.
type choice struct {
	pattern *pattern
	total   int
}

// choices lists what window i can do with the jobs of mask at less than limit, cheapest first.
func (e *exactSearch) choices(t *siteTable, i int, mask uint32, limit int) []choice {
	next := t.togo[i+1]
	var list []choice
	if next[mask] < limit {
		list = append(list, choice{nil, next[mask]})
	}
	for a := range t.patterns[i] {
		x := &t.patterns[i][a]
		if x.mask&^mask != 0 || t.blocked(i, x)&mask != 0 {
			continue
		}
		if total := x.cost + next[mask&^x.mask]; total < limit {
			list = append(list, choice{x, total})
		}
	}
	slices.SortStableFunc(list, func(a, b choice) int { return a.total - b.total })
	return list
}

// join adds a pattern to the trail and packs it together with the chosen windows it touches. more is what their crews cost beyond
// what each window counted by itself; ok is false when it is limit or more.
func (e *exactSearch) join(x *pattern, table int, clusters []cluster, limit int) (more int, list []cluster, ok bool) {
	n := len(e.trail)
	e.trail = append(e.trail, chosen{x, table})
	merged := cluster{members: []int{n}, crew: x.crew}
	list = make([]cluster, 0, len(clusters)+1)
	for _, c := range clusters {
		if e.touches(c, n) {
			merged.members = append(merged.members, c.members...)
			merged.crew += c.crew
		} else {
			list = append(list, c)
		}
	}
	if len(merged.members) > 1 {
		slices.Sort(merged.members)
		if len(merged.members) > 2 && !e.pairsFit(merged, n, limit) {
			return 0, nil, false
		}
		j := e.pack(merged, merged.crew+limit)
		if !j.exact || j.cost >= merged.crew+limit {
			return 0, nil, false
		}
		more = j.cost - merged.crew
		merged.crew, merged.jobs, merged.placed = j.cost, j.jobs, j.placed
	}
	return more, append(list, merged), true
}

// pairsFit packs the n-th pattern with each other one of a cluster by itself: two that cannot be together are found out before the
// cluster as a whole is tried. What a pair costs beyond its patterns, the cluster costs at least.
func (e *exactSearch) pairsFit(c cluster, n, limit int) bool {
	for _, m := range c.members {
		if m == n || !e.linked(&e.trail[m], &e.trail[n]) {
			continue
		}
		pair := cluster{members: []int{min(m, n), max(m, n)}, crew: e.trail[m].crew + e.trail[n].crew}
		if j := e.pack(pair, pair.crew+limit); !j.exact || j.cost >= pair.crew+limit {
			return false
		}
	}
	return true
}

// touches says whether the n-th pattern of the trail can disturb a cluster.
func (e *exactSearch) touches(c cluster, n int) bool {
	for _, m := range c.members {
		if e.linked(&e.trail[m], &e.trail[n]) {
			return true
		}
	}
	return false
}

// linked says whether two chosen patterns can disturb each other: by persons and tools, exclusions, precedences or stock.
func (e *exactSearch) linked(a, b *chosen) bool {
	if e.p.nearTo[a.window*e.p.windows+b.window] {
		for i := range a.uses {
			if a.uses[i]&b.uses[i] != 0 {
				return true
			}
		}
	}
	for i, j := range a.jobs {
		for h, k := range b.jobs {
			if e.related(j, a.options[i], k, b.options[h]) {
				return true
			}
		}
	}
	return e.shareScarce(a, b)
}

// related says whether a precedence or exclusion ties two jobs in these options to each other's starts.
func (e *exactSearch) related(j, jo, k, ko int) bool {
	a, b := &e.p.jobs[j], &e.p.jobs[k]
	x, y := &a.options[jo], &b.options[ko]
	if contains(a.apart, k) || a.conveyor == b.conveyor {
		if x.lo < y.hi+b.duration && y.lo < x.hi+a.duration {
			return true
		}
	}
	return tied(a, x, b, y) || tied(b, y, a, x)
}

// tied says whether b waits for a in a way that their options alone do not settle.
func tied(a *task, x *option, b *task, y *option) bool {
	for _, l := range b.before {
		if l.job == a.id && (x.hi+a.duration+l.min > y.lo || y.hi-x.lo-a.duration > l.max) {
			return true
		}
	}
	return false
}

// shareScarce says whether both take a supply that the whole trail, at its earliest, could exhaust.
func (e *exactSearch) shareScarce(a, b *chosen) bool {
	mine := map[int]bool{}
	for h := range a.jobs {
		for _, n := range e.takes(a, h) {
			mine[n.Item] = true
		}
	}
	for h := range b.jobs {
		for _, m := range e.takes(b, h) {
			if mine[m.Item] && e.runsShort(m.Item) {
				return true
			}
		}
	}
	return false
}

// takes is what the pattern's job h takes in its option.
func (e *exactSearch) takes(x *chosen, h int) []StockNeed {
	return e.p.jobs[x.jobs[h]].options[x.options[h]].stock
}

// runsShort says whether the supply would run short if every job of the trail started at its earliest. Later starts only help.
func (e *exactSearch) runsShort(item int) bool {
	var takes []take
	for i := range e.trail {
		x := &e.trail[i]
		for h, j := range x.jobs {
			for _, n := range e.takes(x, h) {
				if n.Item == item {
					takes = append(takes, take{e.p.jobs[j].options[x.options[h]].lo, n.Quantity, j})
				}
			}
		}
	}
	return short(&e.p.items[item], takes)
}

// short says whether takes ever exceed what has come.
func short(x *supply, takes []take) bool {
	slices.SortFunc(takes, func(a, b take) int { return a.time - b.time })
	sum := 0
	for i := range takes {
		sum += takes[i].quantity
		if i+1 < len(takes) && takes[i+1].time == takes[i].time {
			continue
		}
		if level, _ := x.at(takes[i].time); sum > level {
			return true
		}
	}
	return false
}

// pack packs a cluster's windows together, remembering the answer.
func (e *exactSearch) pack(c cluster, limit int) *joint {
	key := e.key(c)
	if j, there := e.memo[key]; there && (j.exact || j.cost >= limit) {
		return j
	}
	var jobs, options []int
	for _, m := range c.members {
		jobs, options = append(jobs, e.trail[m].jobs...), append(options, e.trail[m].options...)
	}
	k := newPacking(e.p, jobs, options)
	k.halt = e.halt
	for _, m := range c.members {
		k.atLeast(e.trail[m].window, e.trail[m].crew)
	}
	cost, a := k.solveWithin(limit, e.budget)
	j := &joint{cost: cost, exact: a == possible, placed: k.best, jobs: jobs}
	switch a {
	case unknown:
		e.ended = true
		return j
	case none:
		j.cost = limit
	}
	e.memo[key] = j
	return j
}

// key names a cluster: its windows and masks.
func (e *exactSearch) key(c cluster) string {
	var b []byte
	for _, m := range c.members {
		b = binary.AppendUvarint(b, uint64(e.trail[m].window))
		b = binary.AppendUvarint(b, uint64(e.trail[m].mask))
	}
	return string(b)
}

// finish takes a complete choice as the cheapest plan, unless a job waited for is missing.
func (e *exactSearch) finish(cost int, clusters []cluster) {
	if e.waitsInVain() {
		return
	}
	at := make([]placement, len(e.p.jobs))
	for j := range at {
		at[j].option = -1
	}
	for _, c := range clusters {
		if c.placed == nil {
			x := &e.trail[c.members[0]]
			k := newPacking(e.p, x.jobs, x.options)
			// The pattern is known to cost this much, so that the first packing that does ends the search.
			k.atLeast(x.window, x.crew)
			k.solve(x.crew + 1)
			c.placed, c.jobs = k.best, x.jobs
		}
		for i, j := range c.jobs {
			at[j] = c.placed[i]
		}
	}
	e.cost, e.best = cost, at
	e.ended = e.ended || e.first
}

// waitsInVain says whether a job of the trail waits for one that is not in it.
func (e *exactSearch) waitsInVain() bool {
	in := make([]bool, len(e.p.jobs))
	for i := range e.trail {
		for _, j := range e.trail[i].jobs {
			in[j] = true
		}
	}
	for j := range e.p.jobs {
		for _, l := range e.p.jobs[j].before {
			if in[j] && !in[l.job] {
				return true
			}
		}
	}
	return false
}
