package stock

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// Roll is belt or cloth that pieces can be cut from.
type Roll struct {
	LotID    int64
	LengthMM int64
	WidthMM  int64
	Offcut   bool // cut into already: taking from it begins no new roll
}

// Piece is a length that an order needs in one piece.
type Piece struct {
	OrderID  int64
	LengthMM int64
	WidthMM  int64
	Weight   int64 // how much it matters that it is cut; at least 1
}

// CuttingRules are the figures a plant cuts by.
type CuttingRules struct {
	KeepMM int64 // an offcut shorter than this is waste
	TrimMM int64 // lost at each cut
}

// Cost is what a way of cutting costs, in the order in which it matters: pieces not cut (by weight), belt wasted, rolls
// begun, and how much the long ends that stay are cut up.
type Cost struct {
	Uncut  int64
	Waste  int64 // mm²: offcuts too short to keep, trims, and strips slit off wider rolls
	Begun  int64
	Spread int64 // sum over rolls of length before² - length after², mm²: least where long ends stay whole
}

// Less compares costs, the first figure that differs deciding.
func (c Cost) Less(d Cost) bool {
	return cmp.Or(cmp.Compare(c.Uncut, d.Uncut), cmp.Compare(c.Waste, d.Waste), cmp.Compare(c.Begun, d.Begun), cmp.Compare(c.Spread, d.Spread)) < 0
}

func (c Cost) plus(d Cost) Cost {
	return Cost{c.Uncut + d.Uncut, c.Waste + d.Waste, c.Begun + d.Begun, c.Spread + d.Spread}
}

// Cut is what comes off one roll.
type Cut struct {
	Roll   int   // index into the rolls
	Pieces []int // indices into the pieces, longest first
	RestMM int64 // stays on the roll
	Kept   bool  // the rest is long enough to keep
}

// Cutting is a way of cutting, and whether it is proven to be the best there is.
type Cutting struct {
	Cuts   []Cut
	Uncut  []int // pieces no roll gives
	Cost   Cost
	Proven bool
}

// cuttingError is a refusal that is a constant.
type cuttingError string

func (e cuttingError) Error() string { return string(e) }

// ErrRollFigures is refused input: lengths and widths are from 1 mm to 10 km, trims from 0.
const ErrRollFigures = cuttingError("rolls and pieces have a length and width from 1 mm to 10 km, and trims are 0 or more")

// mostMM bounds lengths: 10 km, so that sums of squares of a hundred rolls stay whole numbers of 64 bits.
const mostMM = 10_000_000

// BestCutting finds the way of cutting pieces from rolls with the least Cost.
//
// Method: dynamic programming over how many of each kind of piece (equal length, width and weight) are cut, roll by roll:
//
//	best[r][cut] = min over patterns of roll r of best[r-1][cut - pattern] + cost(r, pattern)
//
// A pattern is a set of pieces that fits on a roll beside each other in length, trims included. Every way of cutting is a
// pattern for each roll, so the minimum at the end is the optimum. The work is the number of states times that of the
// patterns of a roll; it is proven best wherever that ends before ctx does, which holds for what a plant cuts of one belt at
// a time (a dozen different pieces on ten rolls takes a fraction of a second). When ctx ends first, the best of three
// greedy ways comes back with Proven false.
//
// A piece comes from a roll of at least its width; a wider one is slit and the strip is waste.
func BestCutting(ctx context.Context, rolls []Roll, pieces []Piece, rules CuttingRules) (Cutting, error) {
	if err := checkCutting(rolls, pieces, rules); err != nil {
		return Cutting{}, err
	}
	p := newCutProblem(rolls, pieces, rules)
	if found, ok := p.solve(ctx); ok {
		return found, nil
	}
	return p.greedy(), nil
}

func checkCutting(rolls []Roll, pieces []Piece, rules CuttingRules) error {
	fine := func(mm int64) bool { return mm >= 1 && mm <= mostMM }
	for _, r := range rolls {
		if !fine(r.LengthMM) || !fine(r.WidthMM) {
			return ErrRollFigures
		}
	}
	for _, p := range pieces {
		if !fine(p.LengthMM) || !fine(p.WidthMM) || p.Weight < 1 || p.Weight > 1000 {
			return ErrRollFigures
		}
	}
	if rules.KeepMM < 0 || rules.TrimMM < 0 || rules.KeepMM > mostMM || rules.TrimMM > mostMM || len(rolls) > 200 || len(pieces) > 2000 {
		return ErrRollFigures
	}
	return nil
}

// cutProblem is the pieces by kind.
type cutProblem struct {
	rolls  []Roll
	pieces []Piece
	rules  CuttingRules
	kinds  []Piece // one for each kind, longest first
	of     [][]int // pieces of each kind
	stride []int   // place of a kind's count in the number of a state
	states int
}

func newCutProblem(rolls []Roll, pieces []Piece, rules CuttingRules) *cutProblem {
	p := &cutProblem{rolls: rolls, pieces: pieces, rules: rules}
	order := make([]int, len(pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := pieces[a], pieces[b]
		return cmp.Or(cmp.Compare(y.LengthMM, x.LengthMM), cmp.Compare(y.WidthMM, x.WidthMM), cmp.Compare(y.Weight, x.Weight))
	})
	for _, i := range order {
		last := len(p.kinds) - 1
		if x := pieces[i]; last < 0 || p.kinds[last].LengthMM != x.LengthMM || p.kinds[last].WidthMM != x.WidthMM || p.kinds[last].Weight != x.Weight {
			p.kinds, p.of = append(p.kinds, x), append(p.of, nil)
			last++
		}
		p.of[last] = append(p.of[last], i)
	}
	p.states = 1
	for k := range p.kinds {
		p.stride = append(p.stride, p.states)
		if p.states *= len(p.of[k]) + 1; p.states > mostStates {
			p.states = mostStates + 1
			break
		}
	}
	return p
}

// mostStates bounds the memory of the dynamic programming: a million states are some 50 MB.
const mostStates = 1 << 20

// pattern is how many of each kind come off a roll, with what that costs.
type pattern struct {
	counts []int
	state  int // number of the counts
	cost   Cost
}

// patterns lists every set of pieces that fits on a roll, the empty one first; nil when ctx ended.
func (p *cutProblem) patterns(ctx context.Context, r Roll) []pattern {
	var all []pattern
	counts := make([]int, len(p.kinds))
	var add func(kind int, left, waste int64, state int) bool
	add = func(kind int, left, waste int64, state int) bool {
		if kind == len(p.kinds) {
			if len(all)%4096 == 4095 && ctx.Err() != nil {
				return false
			}
			all = append(all, pattern{slices.Clone(counts), state, p.cost(r, left, waste, state != 0)})
			return len(all) <= mostStates
		}
		x := p.kinds[kind]
		for n := 0; n <= len(p.of[kind]); n++ {
			need := int64(n) * (x.LengthMM + p.rules.TrimMM)
			if n > 0 && (need > left || x.WidthMM > r.WidthMM) {
				break
			}
			slit := int64(n) * (x.LengthMM*(r.WidthMM-x.WidthMM) + p.rules.TrimMM*r.WidthMM)
			counts[kind] = n
			if !add(kind+1, left-need, waste+slit, state+n*p.stride[kind]) {
				return false
			}
		}
		counts[kind] = 0
		return true
	}
	if !add(0, r.LengthMM, 0, 0) {
		return nil
	}
	return all
}

// cost is what cutting a roll down to what is left costs.
func (p *cutProblem) cost(r Roll, left, waste int64, cut bool) Cost {
	if !cut {
		return Cost{}
	}
	c := Cost{Waste: waste, Spread: r.LengthMM*r.LengthMM - left*left}
	if left < p.rules.KeepMM {
		c.Waste += left * r.WidthMM
	}
	if !r.Offcut {
		c.Begun = 1
	}
	return c
}

// solve is the dynamic programming; false when it is too large or ctx ended.
func (p *cutProblem) solve(ctx context.Context) (Cutting, bool) {
	if p.states > mostStates {
		return Cutting{}, false
	}
	best := make([]Cost, p.states)
	known := make([]bool, p.states)
	known[0] = true
	chosen := make([][]int32, len(p.rolls)) // by roll and state: the pattern
	all := make([][]pattern, len(p.rolls))
	for r, roll := range p.rolls {
		if all[r] = p.patterns(ctx, roll); all[r] == nil {
			return Cutting{}, false
		}
		var ok bool
		if best, known, chosen[r], ok = p.step(ctx, best, known, all[r]); !ok {
			return Cutting{}, false
		}
	}
	end, cost := 0, Cost{Uncut: math.MaxInt64}
	for s := range best {
		if known[s] {
			if c := best[s].plus(Cost{Uncut: p.uncut(s)}); c.Less(cost) {
				end, cost = s, c
			}
		}
	}
	return p.trace(all, chosen, end, cost), true
}

// step adds a roll: each state that was reached, with each pattern that leaves no piece cut twice.
func (p *cutProblem) step(ctx context.Context, best []Cost, known []bool, patterns []pattern) ([]Cost, []bool, []int32, bool) {
	next, reached, by := make([]Cost, p.states), make([]bool, p.states), make([]int32, p.states)
	counts := make([]int, len(p.kinds))
	for s := range best {
		if !known[s] {
			continue
		}
		if ctx.Err() != nil {
			return nil, nil, nil, false
		}
		p.countsOf(s, counts)
		for i := range patterns {
			if !p.room(counts, patterns[i].counts) {
				continue
			}
			to := s + patterns[i].state
			if c := best[s].plus(patterns[i].cost); !reached[to] || c.Less(next[to]) {
				next[to], reached[to], by[to] = c, true, int32(i)
			}
		}
	}
	return next, reached, by, true
}

func (p *cutProblem) countsOf(state int, counts []int) {
	for k := range counts {
		counts[k] = state / p.stride[k] % (len(p.of[k]) + 1)
	}
}

func (p *cutProblem) room(have, more []int) bool {
	for k := range have {
		if have[k]+more[k] > len(p.of[k]) {
			return false
		}
	}
	return true
}

// uncut is the weight of the pieces a state leaves.
func (p *cutProblem) uncut(state int) (weight int64) {
	for k := range p.kinds {
		weight += int64(len(p.of[k])-state/p.stride[k]%(len(p.of[k])+1)) * p.kinds[k].Weight
	}
	return weight
}

// trace walks back from the last state to what each roll gives.
func (p *cutProblem) trace(all [][]pattern, chosen [][]int32, state int, cost Cost) Cutting {
	out := Cutting{Cost: cost, Proven: true}
	taken := make([]int, len(p.kinds))
	for r := len(p.rolls) - 1; r >= 0; r-- {
		pt := all[r][chosen[r][state]]
		state -= pt.state
		if pt.state == 0 {
			continue
		}
		out.Cuts = append(out.Cuts, p.cutOf(r, pt.counts, taken))
	}
	slices.Reverse(out.Cuts)
	for k := range p.kinds {
		out.Uncut = append(out.Uncut, p.of[k][taken[k]:]...)
	}
	return out
}

// cutOf hands out the next pieces of each kind to a roll.
func (p *cutProblem) cutOf(r int, counts, taken []int) Cut {
	c := Cut{Roll: r, RestMM: p.rolls[r].LengthMM}
	for k, n := range counts {
		for range n {
			c.Pieces = append(c.Pieces, p.of[k][taken[k]])
			taken[k]++
			c.RestMM -= p.kinds[k].LengthMM + p.rules.TrimMM
		}
	}
	c.Kept = c.RestMM >= p.rules.KeepMM && c.RestMM > 0
	return c
}
