package plan

import "slices"

// A pattern is a set of jobs of one site that can be done together in one window, with what that costs there: placement, change,
// set-ups and the cheapest crews when nothing outside the window disturbs.
type pattern struct {
	mask    uint32 // jobs, as bits of the site's list
	window  int
	cost    int
	crew    int // the part of cost that persons make: call-outs and changed persons
	jobs    []int
	options []int
	uses    []uint64 // resources that could serve it
}

// A siteTable holds everything about one site that a small case needs: patterns per window, and the cost to go.
//
// togo[i][mask] is the least cost of the jobs in mask when only the windows from the i-th on are left, every window by itself:
//
//	togo[m][mask] = sum of the costs of leaving out
//	togo[i][mask] = min over patterns S of window i within mask, or none, of cost(S) + togo[i+1][mask without S]
//
// It is a bound on what the site will cost, and the exact cost where no two windows disturb each other.
type siteTable struct {
	jobs     []int
	windows  []int // by start
	patterns [][]pattern
	togo     [][]int
	// blocks[i][job] are the jobs that must not be still to come when job is done in window i, since they end before it starts.
	blocks [][]uint32
}

// Limits of what is solved by tables: jobs of one site, patterns of all sites.
const (
	maxSiteJobs = 16
	maxPatterns = 60_000
)

// A tabler builds the tables of all sites.
type tabler struct {
	p     *problem
	left  int // patterns that may still be made
	halt  func() bool
	nodes *int // nodes that packings may still take in all
	like  *tables
}

// Tables are those of all sites of a problem.
type tables struct {
	p     *problem
	sites []*siteTable
}

// tabulate builds a problem's tables, taking over from those of one like it what is the same; nil when the case is too large for it or
// time ran out.
func tabulate(p *problem, like *tables, nodes *int, halt func() bool) *tables {
	b := &tabler{p: p, halt: halt, nodes: nodes, like: like}
	list, ok := b.tables()
	if !ok {
		return nil
	}
	return &tables{p, list}
}

// tables builds the table of every site; ok is false when the case is too large for it or time ran out.
func (b *tabler) tables() (list []*siteTable, ok bool) {
	for s := range b.p.c.Sites {
		if len(b.p.ofSite[s]) == 0 {
			continue
		}
		if len(b.p.ofSite[s]) > maxSiteJobs {
			return nil, false
		}
	}
	b.left = maxPatterns
	for s := range b.p.c.Sites {
		if len(b.p.ofSite[s]) == 0 {
			continue
		}
		t, ok := b.table(s)
		if !ok {
			return nil, false
		}
		list = append(list, t)
	}
	return list, true
}

// table builds the table of one site.
func (b *tabler) table(site int) (*siteTable, bool) {
	t := &siteTable{jobs: b.p.ofSite[site]}
	for w := range b.p.c.Windows {
		if b.p.c.Windows[w].Site == site && len(b.p.ofWindow[w]) > 0 {
			t.windows = append(t.windows, w)
		}
	}
	slices.SortStableFunc(t.windows, func(a, c int) int { return b.p.c.Windows[a].Start - b.p.c.Windows[c].Start })
	for _, w := range t.windows {
		list, ok := b.like.patterns(b.p, w)
		if !ok {
			list, ok = b.patterns(t, w)
		}
		if !ok {
			return nil, false
		}
		t.patterns = append(t.patterns, list)
	}
	t.blocks = b.blocks(t)
	t.costToGo(b.p)
	return t, true
}

// patterns lists the possible patterns of a window. A set is tried only when all its subsets one smaller are possible: taking a job
// away never breaks a rule inside a window (Agrawal and Srikant's way of growing sets, 1994).
func (b *tabler) patterns(t *siteTable, w int) ([]pattern, bool) {
	options := make([]int, len(t.jobs))
	for i, j := range t.jobs {
		options[i] = slices.IndexFunc(b.p.jobs[j].options, func(o option) bool { return o.window == w })
	}
	known := map[uint32]bool{0: true}
	list := []pattern{{window: w}}
	for at := 0; at < len(list); at++ {
		from := list[at]
		for i := highest(from.mask) + 1; i < len(t.jobs); i++ {
			mask := from.mask | 1<<i
			if options[i] < 0 || !subsetsKnown(known, mask) {
				continue
			}
			if b.left--; b.left < 0 || b.halt() {
				return nil, false
			}
			x, a := b.pattern(from, t.jobs[i], options[i], mask)
			if a == unknown {
				return nil, false
			}
			if a == possible {
				known[mask] = true
				list = append(list, x)
			}
		}
	}
	return list[1:], true
}

// highest is the highest bit set, -1 for none.
func highest(mask uint32) int {
	h := -1
	for ; mask > 0; mask >>= 1 {
		h++
	}
	return h
}

// subsetsKnown says whether every subset one smaller is possible.
func subsetsKnown(known map[uint32]bool, mask uint32) bool {
	for rest := mask; rest > 0; rest &= rest - 1 {
		if !known[mask&^(rest&-rest)] {
			return false
		}
	}
	return true
}

// pattern extends a pattern by a job and packs it.
func (b *tabler) pattern(from pattern, j, opt int, mask uint32) (pattern, answer) {
	x := pattern{
		mask: mask, window: from.window,
		jobs: append(slices.Clone(from.jobs), j), options: append(slices.Clone(from.options), opt),
	}
	k := newPacking(b.p, x.jobs, x.options)
	k.halt = b.halt
	k.atLeast(x.window, from.crew)
	cost, a := k.solveWithin(never, b.nodes)
	if a != possible {
		return x, a
	}
	x.crew, x.cost = cost, cost
	seen := map[int]bool{}
	x.uses = make([]uint64, (b.p.resources+63)/64)
	for i, j := range x.jobs {
		t := &b.p.jobs[j]
		o := &t.options[x.options[i]]
		x.cost += o.cost
		if t.group >= 0 && !seen[t.group] {
			seen[t.group] = true
			x.cost += t.setup
		}
		o.mark(x.uses)
	}
	return x, possible
}

// mark sets the bits of all who could serve the option.
func (o *option) mark(bits []uint64) {
	for _, lists := range [][][]candidate{o.people, o.tools} {
		for _, list := range lists {
			for i := range list {
				bits[list[i].resource/64] |= 1 << (list[i].resource % 64)
			}
		}
	}
}

// blocks works out which jobs must not be still to come.
func (b *tabler) blocks(t *siteTable) [][]uint32 {
	out := make([][]uint32, len(t.windows))
	for i, w := range t.windows {
		out[i] = make([]uint32, len(t.jobs))
		for a, j := range t.jobs {
			k := slices.IndexFunc(b.p.jobs[j].options, func(o option) bool { return o.window == w })
			if k < 0 {
				continue
			}
			for _, l := range b.p.jobs[j].before {
				if h := slices.Index(t.jobs, l.job); h >= 0 && !b.later(t, i, l, b.p.jobs[j].options[k].hi) {
					out[i][a] |= 1 << h
				}
			}
		}
	}
	return out
}

// later says whether the job waited for could be done in a window after the i-th and still end in time.
func (b *tabler) later(t *siteTable, i int, l link, hi int) bool {
	before := &b.p.jobs[l.job]
	for _, w := range t.windows[i+1:] {
		for k := range before.options {
			if o := &before.options[k]; o.window == w && o.lo+before.duration+l.min <= hi {
				return true
			}
		}
	}
	return false
}

// blocked are the jobs that must not be in the rest when the pattern is done in window i.
func (t *siteTable) blocked(i int, x *pattern) uint32 {
	out := uint32(0)
	for a := range t.jobs {
		if x.mask>>a&1 == 1 {
			out |= t.blocks[i][a]
		}
	}
	return out &^ x.mask
}

// costToGo fills togo from the last window back.
func (t *siteTable) costToGo(p *problem) {
	n := len(t.windows)
	size := 1 << len(t.jobs)
	t.togo = make([][]int, n+1)
	last := make([]int, size)
	for mask := 1; mask < size; mask++ {
		low := mask & -mask
		last[mask] = last[mask&^low] + p.jobs[t.jobs[highest(uint32(low))]].out
	}
	t.togo[n] = last
	for i := n - 1; i >= 0; i-- {
		next := t.togo[i+1]
		row := slices.Clone(next)
		for a := range t.patterns[i] {
			x := &t.patterns[i][a]
			blocked := t.blocked(i, x)
			// All rests without the pattern's jobs, largest first.
			others := uint32(size-1) &^ x.mask
			for rest := others; ; rest = (rest - 1) & others {
				if rest&blocked == 0 {
					if cost := x.cost + next[rest]; cost < row[rest|x.mask] {
						row[rest|x.mask] = cost
					}
				}
				if rest == 0 {
					break
				}
			}
		}
		t.togo[i] = row
	}
}
