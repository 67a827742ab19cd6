package stock

import (
	"cmp"
)

// greedy tries the pieces longest first, each on the roll chosen in one of three ways, and returns the best of them.
func (p *cutProblem) greedy() Cutting {
	ways := []func(left []int64, a, b int) int{
		func(left []int64, a, b int) int { return cmp.Compare(left[a], left[b]) }, // tightest
		func(left []int64, a, b int) int { // offcuts and begun rolls first
			return cmp.Or(cmp.Compare(p.fresh(left, a), p.fresh(left, b)), cmp.Compare(left[a], left[b]))
		},
		func(left []int64, a, b int) int { // narrowest first
			return cmp.Or(cmp.Compare(p.rolls[a].WidthMM, p.rolls[b].WidthMM), cmp.Compare(left[a], left[b]))
		},
	}
	var best Cutting
	for i, way := range ways {
		if c := p.oneWay(way); i == 0 || c.Cost.Less(best.Cost) {
			best = c
		}
	}
	return best
}

func (p *cutProblem) fresh(left []int64, r int) int {
	if !p.rolls[r].Offcut && left[r] == p.rolls[r].LengthMM {
		return 1
	}
	return 0
}

// oneWay puts each piece on the first roll, in the order of a way, that has room for it.
func (p *cutProblem) oneWay(way func(left []int64, a, b int) int) Cutting {
	left := make([]int64, len(p.rolls))
	for r := range left {
		left[r] = p.rolls[r].LengthMM
	}
	cuts := make([]Cut, len(p.rolls))
	var out Cutting
	for k, kind := range p.kinds {
		for _, piece := range p.of[k] {
			if r := p.roomFor(kind, left, way); r >= 0 {
				left[r] -= kind.LengthMM + p.rules.TrimMM
				cuts[r].Pieces = append(cuts[r].Pieces, piece)
			} else {
				out.Uncut = append(out.Uncut, piece)
				out.Cost.Uncut += kind.Weight
			}
		}
	}
	for r, c := range cuts {
		if len(c.Pieces) > 0 {
			c.Roll, c.RestMM, c.Kept = r, left[r], left[r] >= p.rules.KeepMM && left[r] > 0
			out.Cuts = append(out.Cuts, c)
			out.Cost = out.Cost.plus(p.costOf(c))
		}
	}
	return out
}

func (p *cutProblem) roomFor(x Piece, left []int64, way func(left []int64, a, b int) int) int {
	found := -1
	for r, roll := range p.rolls {
		if x.WidthMM <= roll.WidthMM && x.LengthMM+p.rules.TrimMM <= left[r] && (found < 0 || way(left, r, found) < 0) {
			found = r
		}
	}
	return found
}

// costOf adds up what one cut costs.
func (p *cutProblem) costOf(c Cut) Cost {
	r := p.rolls[c.Roll]
	var waste int64
	for _, i := range c.Pieces {
		x := p.pieces[i]
		waste += x.LengthMM*(r.WidthMM-x.WidthMM) + p.rules.TrimMM*r.WidthMM
	}
	return p.cost(r, c.RestMM, waste, true)
}
