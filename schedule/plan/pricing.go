package plan

import "slices"

// A pricing is one window's side of the bound: which of the jobs that may be done in it earn more by their prices than their crews cost. Sets
// are packed exactly, one after another as they are met, and remembered.
type pricing struct {
	p       *problem
	window  int
	jobs    []int
	options []int
	crews   map[key]int // least crew cost of sets known; never when they cannot be packed
	order   []int       // places with a price, dearest first
	gains   []int
	tails   []int // tails[i] is the sum of gains from i on
	picked  []int // places of the best set
	best    int   // its gain, in 1/scale
	missed  int   // most that sets not looked into could gain
	now     []int
	nodes   int
	halt    func() bool
	packed  int // work that packings took in the last solve
}

// A key is a set of up to maxPlaces places.
type key [2]uint64

// maxPlaces is how many jobs of a window are told apart in a key; further ones earn their price for nothing.
const maxPlaces = 128

// with adds a place.
func (k key) with(i int) key {
	k[i/64] |= 1 << (i % 64)
	return k
}

// newPricing prepares a window.
func newPricing(p *problem, w int, halt func() bool) *pricing {
	x := &pricing{p: p, window: w, halt: halt, crews: map[key]int{}}
	for _, j := range p.ofWindow[w] {
		x.jobs = append(x.jobs, j)
		x.options = append(x.options, slices.IndexFunc(p.jobs[j].options, func(o option) bool { return o.window == w }))
	}
	return x
}

// pricingNodes bounds the enumeration of a window; what is not looked into counts with its bound.
const pricingNodes = 3_000

// solve gives the largest gain of a set, prices less crews, or something above it; picked is the set.
func (x *pricing) solve(prices [][]int) int {
	extra := x.price(prices)
	x.best, x.missed, x.nodes, x.packed = 0, 0, 0, 0
	x.picked, x.now = x.picked[:0], x.now[:0]
	x.extend(0, 0, key{}, 0)
	return max(x.best, x.missed) + extra
}

// price lists the places with a price; extra is what those without a place in a key earn.
func (x *pricing) price(prices [][]int) (extra int) {
	x.order = x.order[:0]
	for i, j := range x.jobs {
		switch price := prices[j][x.options[i]]; {
		case price == 0:
		case i >= maxPlaces:
			extra += price
		default:
			x.order = append(x.order, i)
		}
	}
	gain := func(i int) int { return prices[x.jobs[i]][x.options[i]] }
	slices.SortStableFunc(x.order, func(a, b int) int { return gain(b) - gain(a) })
	n := len(x.order)
	x.gains, x.tails = sized(x.gains, n), sized(x.tails, n+1)
	x.tails[n] = 0
	for h := n - 1; h >= 0; h-- {
		x.gains[h] = gain(x.order[h])
		x.tails[h] = x.tails[h+1] + x.gains[h]
	}
	return extra
}

// extend decides on the h-th place in order; gain and crew are those of the set so far.
func (x *pricing) extend(h, gain int, set key, crew int) {
	net := gain - crew*scale
	if net > x.best {
		x.best = net
		x.picked = append(x.picked[:0], x.now...)
	}
	if h == len(x.order) || net+x.tails[h] <= x.best {
		return
	}
	if x.nodes++; x.nodes > pricingNodes || x.nodes&7 == 0 && x.halt() {
		x.missed = max(x.missed, net+x.tails[h])
		return
	}
	i := x.order[h]
	if c := x.crew(set.with(i), i, crew); c < never {
		x.now = append(x.now, i)
		x.extend(h+1, gain+x.gains[h], set.with(i), c)
		x.now = x.now[:len(x.now)-1]
	}
	x.extend(h+1, gain, set, crew)
}

// hardNodes bounds the packing of one set; where it gives up, the crews of the set without its last job are the bound.
const hardNodes = 400

// crew is the least cost of the crews of the set, whose last place is i and whose other jobs' crews cost at least so much; never when the
// set cannot be packed. Another job never makes crews cheaper.
func (x *pricing) crew(set key, i, others int) int {
	if c, there := x.crews[set]; there {
		return max(c, others)
	}
	jobs, options := make([]int, 0, len(x.now)+1), make([]int, 0, len(x.now)+1)
	for _, k := range append(x.now, i) {
		jobs, options = append(jobs, x.jobs[k]), append(options, x.options[k])
	}
	k := newPacking(x.p, jobs, options)
	k.budget = hardNodes
	k.atLeast(x.window, others)
	k.rough, k.halt = true, x.halt
	c, a := k.solve(never)
	x.packed += 2 + k.nodes/2
	switch a {
	case unknown:
		c = others
	case none:
		c = never
	}
	x.crews[set] = c
	return c
}
