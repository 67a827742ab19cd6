package plan

import "slices"

// Limits of dealing out stock before the search: sets of jobs tried and ways kept. Beyond them nothing is dealt out beforehand.
const (
	shareSets = 4_096
	shareWays = 48
)

// shares are the ways to deal out stock that is too little for all who could take it: for each largest set of jobs that what ever comes
// is enough for, the jobs that go without. Tables of single windows do not know that the same stock cannot serve two of them.
func (p *problem) shares() [][]int {
	d := &dealing{p: p, left: make([]int, len(p.c.Stock)), sets: shareSets}
	wanted := make([]int, len(p.c.Stock))
	for i := range d.left {
		d.left[i] = p.items[i].levels[len(p.items[i].levels)-1]
	}
	for j := range p.jobs {
		if len(p.jobs[j].options) > 0 {
			for _, n := range p.jobs[j].stock {
				wanted[n.Item] += n.Quantity
			}
		}
	}
	for j := range p.jobs {
		t := &p.jobs[j]
		if len(t.options) > 0 && slices.ContainsFunc(t.stock, func(n StockNeed) bool { return wanted[n.Item] > d.left[n.Item] }) {
			d.takers = append(d.takers, j)
		}
	}
	if d.deal(0); d.sets < 0 || len(d.ways) > shareWays {
		return [][]int{nil}
	}
	return d.ways
}

// A dealing deals stock out.
type dealing struct {
	p       *problem
	takers  []int
	left    []int
	without []int
	ways    [][]int
	sets    int
}

// deal decides on the i-th taker.
func (d *dealing) deal(i int) {
	if d.sets--; d.sets < 0 || len(d.ways) > shareWays {
		return
	}
	if i == len(d.takers) {
		// A set to which a job could be added is part of a larger one.
		if !slices.ContainsFunc(d.without, d.affords) {
			d.ways = append(d.ways, slices.Clone(d.without))
		}
		return
	}
	j := d.takers[i]
	if d.take(j, 1); d.whole() {
		d.deal(i + 1)
	}
	d.take(j, -1)
	if !d.p.jobs[j].must {
		d.without = append(d.without, j)
		d.deal(i + 1)
		d.without = d.without[:len(d.without)-1]
	}
}

// take takes what job j needs so many times.
func (d *dealing) take(j, times int) {
	for _, n := range d.p.jobs[j].stock {
		d.left[n.Item] -= times * n.Quantity
	}
}

// whole says whether nothing has been taken that is not there.
func (d *dealing) whole() bool {
	return !slices.ContainsFunc(d.left, func(n int) bool { return n < 0 })
}

// affords says whether job j could be served as well.
func (d *dealing) affords(j int) bool {
	d.take(j, 1)
	defer d.take(j, -1)
	return d.whole()
}

// parts are the tables of each way to deal out scarce stock, those with the least bound first; nil when time ran out.
func (t *tables) parts(nodes *int, halt func() bool) []*tables {
	out := []*tables{}
	for _, without := range t.p.shares() {
		part := t
		if len(without) > 0 {
			if part = tabulate(t.p.forbidding(without...), t, nodes, halt); part == nil {
				return nil
			}
		}
		out = append(out, part)
	}
	slices.SortStableFunc(out, func(a, b *tables) int { return rootBound(a.sites) - rootBound(b.sites) })
	return out
}

// leastOf is what parts prove by themselves; with none there is no way to deal out what must be had.
func leastOf(parts []*tables) int {
	if len(parts) == 0 {
		return never
	}
	return rootBound(parts[0].sites)
}

// search looks for a plan cheaper than cost in each part: the cheapest, or the first. proven says that there is none cheaper than that.
func search(parts []*tables, cost int, first bool, nodes *int, halt func() bool) (found int, best []placement, proven bool) {
	memo := map[string]*joint{}
	for _, part := range parts {
		if rootBound(part.sites) >= cost {
			break
		}
		e := newExactSearch(part.p, part.sites, cost, nodes, halt)
		e.memo, e.first = memo, first
		ok := e.run()
		if e.best != nil {
			cost, best = e.cost, e.best
		}
		if !ok {
			return cost, best, false
		}
	}
	return cost, best, true
}
