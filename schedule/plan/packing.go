package plan

import "slices"

// A packing answers exactly whether given jobs can all be done in given windows, and with what crews at the least cost of call-outs
// and changed persons.
//
// It branches on who and what serves each head and tool need, and on the order of two jobs only where they get into each other's way. With
// all orders fixed every rule on starts is a difference constraint or concerns one start alone, and the earliest starts that satisfy
// them, found by raising lower bounds until nothing moves, satisfy all of them (the bounds of such systems are closed under the minimum).
// So a node whose earliest starts overlap nowhere is a plan, and one whose bounds cross is none.
type packing struct {
	p     *problem
	items []packed
	arcs  []arc
	pairs []pair
	units []unit
	// windows lists the windows met, spent what crews have cost in each so far, floors what they are known to cost at least.
	windows []int
	spent   []int
	floors  []int
	extra   []int       // scratch of least
	called  map[int]int // persons' jobs per window, by person × window
	limit   int         // only packings cheaper than this are of interest
	done    bool        // one was found that none can be cheaper than
	nodes   int
	budget  int // nodes at most
	best    []placement
	stock   bool // some item is shared and scarce
	waived  waiver
	pools   []pool
	rough   bool  // the minutes of pools are not counted
	byEnd   []int // scratch of roomy: items by their latest end
	jumps   int   // how often a bound went over a hole of a domain
	marks   []*mark
	depth   int
	any     bool // the first packing will do, whatever it costs
	halt    func() bool
	ended   bool
}

// A packed job is one of a packing, with its present bounds on the start and who serves it.
type packed struct {
	t       *task
	o       *option
	option  int
	window  int // place in the packing's windows
	lo, hi  int
	domains [][]Span // starts allowed by those who serve it
	serves  []int    // resource per unit of the job, -1 while open, in the order of heads, then tools
	first   int      // its first unit
}

// An arc asks that b starts at least gap after a starts.
type arc struct{ a, b, gap int }

// A pair is two jobs that may not overlap, with the ways between them; order is 0 while open, 1 for a first, 2 for b first.
type pair struct{ a, b, ab, ba, order int }

// A unit is one head of a crew or one tool still to be chosen.
type unit struct {
	item int
	slot int // place in serves
	list []candidate
	need int // crew need or, for tools, -1
	done bool
}

// A waiver names rules between jobs that a packing does not hold, to find out which of them jobs fight over.
type waiver struct {
	resources map[int]bool // who may be in two places at once
	conveyors bool
	apart     bool
	before    bool
	stock     bool
}

// newPacking sets the jobs up, each in the window of its option.
func newPacking(p *problem, jobs, options []int) *packing {
	return newPackingWaiving(p, jobs, options, waiver{})
}

// newPackingWaiving sets the jobs up without some of the rules between them.
func newPackingWaiving(p *problem, jobs, options []int, w waiver) *packing {
	k := &packing{p: p, called: map[int]int{}, limit: never, budget: packingNodes, halt: func() bool { return false }, waived: w}
	place := make(map[int]int, len(jobs))
	for i, j := range jobs {
		t := &p.jobs[j]
		o := &t.options[options[i]]
		k.items = append(k.items, packed{t: t, o: o, option: options[i], window: k.windowPlace(o.window), lo: o.lo, hi: o.hi})
		place[j] = i
		k.unitsOf(i)
	}
	for i := range k.items {
		k.relate(i, place)
	}
	k.stock = !w.stock && k.scarceStock()
	return k
}

// windowPlace is a window's place in the packing, made when it is new.
func (k *packing) windowPlace(w int) int {
	i := slices.Index(k.windows, w)
	if i < 0 {
		i = len(k.windows)
		k.windows, k.spent, k.floors = append(k.windows, w), append(k.spent, 0), append(k.floors, 0)
	}
	return i
}

// atLeast tells the packing what the crews of a window are known to cost at least.
func (k *packing) atLeast(w, cost int) {
	if i := slices.Index(k.windows, w); i >= 0 {
		k.floors[i] = max(k.floors[i], cost)
	}
}

// packingNodes is how many nodes one packing may take before it is given up as unknown.
const packingNodes = 2_000_000

// unitsOf lists what has to be chosen for item i.
func (k *packing) unitsOf(i int) {
	x := &k.items[i]
	x.first = len(k.units)
	for n := range x.o.people {
		for range x.t.needs[n].Number {
			k.units = append(k.units, unit{item: i, slot: len(x.serves), list: x.o.people[n], need: n})
			x.serves = append(x.serves, -1)
		}
	}
	for n := range x.o.tools {
		k.units = append(k.units, unit{item: i, slot: len(x.serves), list: x.o.tools[n], need: -1})
		x.serves = append(x.serves, -1)
	}
	if x.t.heads == 0 {
		// Nobody will be chosen, so that nobody's choice settles what the announced persons cost.
		k.spent[x.window] += missing(x.o, nil)
	}
}

// relate adds the precedences, shared conveyors and exclusions of item i with items before it.
func (k *packing) relate(i int, place map[int]int) {
	x := &k.items[i]
	for _, l := range x.t.before {
		b, here := place[l.job]
		if !here || k.waived.before {
			continue
		}
		k.arcs = append(k.arcs, arc{b, i, k.items[b].t.duration + l.min})
		if l.max < never {
			k.arcs = append(k.arcs, arc{i, b, -l.max - k.items[b].t.duration})
		}
	}
	for h := range i {
		y := &k.items[h]
		if x.t.conveyor == y.t.conveyor && !k.waived.conveyors || !k.waived.apart && contains(x.t.apart, y.t.id) {
			k.pairs = append(k.pairs, pair{a: h, b: i})
		}
	}
}

// scarceStock says whether the items taken could run short.
func (k *packing) scarceStock() bool {
	takes := map[int]int{}
	for i := range k.items {
		for _, n := range k.items[i].o.stock {
			takes[n.Item] += n.Quantity
			if takes[n.Item] > k.p.items[n.Item].levels[0] {
				return true
			}
		}
	}
	return false
}

// An answer is what a packing found out.
type answer int

const (
	unknown  answer = iota // given up
	possible               // best holds the cheapest packing below the limit
	none                   // there is no packing below the limit
)

// solve searches for the cheapest packing below the limit and returns its crews' cost.
func (k *packing) solve(limit int) (cost int, a answer) {
	k.limit = limit
	k.search()
	switch {
	case k.ended:
		return 0, unknown
	case k.best == nil:
		return 0, none
	}
	return k.limit, possible
}

// solveWithin solves with at most *nodes nodes and takes what it used off them.
func (k *packing) solveWithin(limit int, nodes *int) (cost int, a answer) {
	k.budget = min(k.budget, *nodes)
	cost, a = k.solve(limit)
	*nodes -= k.nodes
	return cost, a
}

// A mark is what a branch has to put back.
type mark struct {
	bounds []int
	pairs  []int
	arcs   int
}

// mark remembers bounds, arcs and orders; every mark is given back before the one ahead of it.
func (k *packing) mark() *mark {
	if k.depth == len(k.marks) {
		k.marks = append(k.marks, &mark{})
	}
	m := k.marks[k.depth]
	k.depth++
	m.bounds, m.pairs, m.arcs = m.bounds[:0], m.pairs[:0], len(k.arcs)
	for i := range k.items {
		m.bounds = append(m.bounds, k.items[i].lo, k.items[i].hi)
	}
	for i := range k.pairs {
		m.pairs = append(m.pairs, k.pairs[i].order)
	}
	return m
}

// back puts bounds, arcs and orders back.
func (k *packing) back(m *mark) {
	k.depth--
	for i := range k.items {
		k.items[i].lo, k.items[i].hi = m.bounds[2*i], m.bounds[2*i+1]
	}
	k.arcs, k.pairs = k.arcs[:m.arcs], k.pairs[:len(m.pairs)]
	for i := range k.pairs {
		k.pairs[i].order = m.pairs[i]
	}
}

// search explores a node.
func (k *packing) search() {
	if k.nodes++; k.nodes > k.budget || k.nodes&255 == 0 && k.halt() {
		k.ended = true
	}
	if k.ended || k.done || !k.settle() || !k.roomy() {
		return
	}
	bound := k.least()
	if bound >= k.limit {
		return
	}
	if i := k.clash(); i >= 0 {
		k.order(i)
		return
	}
	if k.stock {
		if late, until := k.shortage(); late != nil {
			k.delay(late, until)
			return
		}
	}
	if u := k.nextUnit(); u >= 0 {
		k.choose(u)
		return
	}
	k.limit = bound
	k.done = k.any || bound <= k.known()
	k.best = k.result()
}

// known is what no packing can be cheaper than.
func (k *packing) known() int {
	sum := 0
	for _, f := range k.floors {
		sum += f
	}
	return sum
}

// result is the packing as placements, at the earliest starts.
func (k *packing) result() []placement {
	out := make([]placement, len(k.items))
	for i := range k.items {
		x := &k.items[i]
		out[i] = placement{option: x.option, start: x.lo}
		out[i].crew = append(out[i].crew, x.serves[:x.t.heads]...)
		out[i].tools = append(out[i].tools, x.serves[x.t.heads:]...)
	}
	return out
}

// settle raises and lowers bounds and fixes orders that have no other way, until nothing moves; false when a bound crosses another.
func (k *packing) settle() bool {
	for {
		if !k.propagate() {
			return false
		}
		moved := false
		for i := range k.pairs {
			x := &k.pairs[i]
			if x.order != 0 {
				continue
			}
			ab, ba := k.canPrecede(x.a, x.b, x.ab), k.canPrecede(x.b, x.a, x.ba)
			switch {
			case !ab && !ba:
				return false
			case !ba:
				k.fix(i, 1)
				moved = true
			case !ab:
				k.fix(i, 2)
				moved = true
			}
		}
		if !moved {
			return true
		}
	}
}

// canPrecede says whether the bounds leave room for a before b.
func (k *packing) canPrecede(a, b, way int) bool {
	return k.items[a].lo+k.items[a].t.duration+way <= k.items[b].hi
}

// fix decides a pair's order.
func (k *packing) fix(i, order int) {
	x := &k.pairs[i]
	x.order = order
	if order == 1 {
		k.arcs = append(k.arcs, arc{x.a, x.b, k.items[x.a].t.duration + x.ab})
	} else {
		k.arcs = append(k.arcs, arc{x.b, x.a, k.items[x.b].t.duration + x.ba})
	}
}

// propagate moves bounds along the arcs and into the domains until nothing moves.
//
// Between two jumps over a hole of a domain, bounds are longest paths: as many passes as there are jobs settle them, and what still
// moves after that goes round a cycle of arcs that ask for more time than there is (Bellman 1958), however slowly.
func (k *packing) propagate() bool {
	for i := range k.items {
		if !k.intoDomain(i) {
			return false
		}
	}
	passes, jumps := 0, k.jumps
	for moved := true; moved; passes++ {
		if k.jumps != jumps {
			passes, jumps = 0, k.jumps
		}
		if passes > len(k.items)+1 {
			return false
		}
		moved = false
		for _, x := range k.arcs {
			a, b := &k.items[x.a], &k.items[x.b]
			if a.lo+x.gap > b.lo {
				b.lo = a.lo + x.gap
				moved = true
				if !k.intoDomain(x.b) {
					return false
				}
			}
			if b.hi-x.gap < a.hi {
				a.hi = b.hi - x.gap
				moved = true
				if !k.intoDomain(x.a) {
					return false
				}
			}
		}
	}
	return true
}

// intoDomain moves an item's bounds to the nearest starts that all who serve it allow.
func (k *packing) intoDomain(i int) bool {
	x := &k.items[i]
	for again := true; again && x.lo <= x.hi; {
		again = false
		for _, spans := range x.domains {
			lo, hi := upTo(spans, x.lo), downTo(spans, x.hi)
			if lo != x.lo || hi != x.hi {
				x.lo, x.hi = lo, hi
				k.jumps++
				again = true
			}
		}
	}
	return x.lo <= x.hi
}

// upTo is the first allowed start from at on.
func upTo(spans []Span, at int) int {
	for _, s := range spans {
		if at <= s.To {
			return max(at, s.From)
		}
	}
	return never
}

// downTo is the last allowed start up to at.
func downTo(spans []Span, at int) int {
	for i := len(spans) - 1; i >= 0; i-- {
		if at >= spans[i].From {
			return min(at, spans[i].To)
		}
	}
	return -never
}

// clash is the open pair that overlaps at the earliest starts and has the least room; -1 when none does.
func (k *packing) clash() int {
	best, room := -1, never
	for i := range k.pairs {
		x := &k.pairs[i]
		if x.order != 0 {
			continue
		}
		a, b := &k.items[x.a], &k.items[x.b]
		if a.lo+a.t.duration+x.ab <= b.lo || b.lo+b.t.duration+x.ba <= a.lo {
			continue
		}
		if r := max(b.hi-a.lo-a.t.duration-x.ab, a.hi-b.lo-b.t.duration-x.ba); r < room {
			best, room = i, r
		}
	}
	return best
}

// order branches on a pair, the roomier order first.
func (k *packing) order(i int) {
	x := k.pairs[i]
	a, b := &k.items[x.a], &k.items[x.b]
	first := 1
	if a.hi-b.lo-b.t.duration-x.ba > b.hi-a.lo-a.t.duration-x.ab {
		first = 2
	}
	for _, o := range []int{first, 3 - first} {
		m := k.mark()
		k.fix(i, o)
		k.search()
		k.back(m)
	}
}

// shortage finds a time at which more has been taken than has come: those who took it, and when more comes.
func (k *packing) shortage() (takers []int, until int) {
	for i := range k.items {
		for _, n := range k.items[i].o.stock {
			at, sum := k.items[i].lo, 0
			takers = takers[:0]
			for h := range k.items {
				for _, m := range k.items[h].o.stock {
					if m.Item == n.Item && k.items[h].lo <= at {
						sum += m.Quantity
						takers = append(takers, h)
					}
				}
			}
			level, next := k.p.items[n.Item].at(at)
			if sum > level {
				return takers, next
			}
		}
	}
	return nil, 0
}

// at is what has come until t, and when more comes.
func (s *supply) at(t int) (level, next int) {
	for i := range s.times {
		if s.times[i] > t {
			return level, s.times[i]
		}
		level = s.levels[i]
	}
	return level, never
}

// delay branches on which taker waits for the next arrival.
func (k *packing) delay(takers []int, until int) {
	if until >= never {
		return
	}
	for _, i := range append([]int(nil), takers...) {
		m := k.mark()
		k.items[i].lo = max(k.items[i].lo, until)
		k.search()
		k.back(m)
	}
}
