package life

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// span is lives that failed somewhere in the cells from..to.
type span struct {
	from, to int
	n        float64
}

// hazardSteps is the likelihood in steps h of the cumulative hazard, one per cell:
// l = sum n ln(1 - exp(-sum of h over the span)) - sum risk h.
type hazardSteps struct {
	h     []float64
	risk  []float64 // lives known to have come through the cell
	spans []span

	unique, converged bool
}

// newHazardSteps counts, for each cell, who came through it and who failed in it.
func newHazardSteps(lives []Observation, cells []cell) *hazardSteps {
	m := len(cells)
	uppers := make([]float64, m)
	for i, c := range cells {
		uppers[i] = c.upper
	}
	// No cell lies across the end of an observation or an entry, so the cells up to an age are those that close by then.
	upTo := func(age float64) int { return sort.Search(m, func(i int) bool { return uppers[i] > age }) }
	change := make([]float64, m+1)
	merged := map[[2]int]float64{}
	for _, o := range lives {
		o = o.plain()
		n, from := float64(o.Count), 0
		if o.Entry > 0 {
			from = upTo(o.Entry)
		}
		through := from
		switch o.Event {
		case Censored:
			through = upTo(o.Life)
		case Failed:
			i := upTo(o.Life) - 1
			through = i
			merged[[2]int{i, i}] += n
		case Interval:
			through = upTo(o.Lower)
			merged[[2]int{through, upTo(o.Upper) - 1}] += n
		}
		change[from] += n
		change[through] -= n
	}
	p := &hazardSteps{h: make([]float64, m), risk: make([]float64, m)}
	sum := 0.0
	for j := range p.risk {
		sum += change[j]
		p.risk[j] = sum
	}
	for k, n := range merged {
		p.spans = append(p.spans, span{k[0], k[1], n})
	}
	slices.SortFunc(p.spans, func(a, b span) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	p.settleFree()
	return p
}

// settleFree gives an endless step to every cell that nobody came through: it explains the failures that could lie in it at no cost.
func (p *hazardSteps) settleFree() {
	for j := range p.h {
		if p.risk[j] <= 0 {
			p.h[j] = math.Inf(1)
		}
	}
	p.spans = slices.DeleteFunc(p.spans, func(s span) bool {
		return slices.ContainsFunc(p.h[s.from:s.to+1], func(h float64) bool { return math.IsInf(h, 1) })
	})
}

// sums are the hazards added up: sums[j] is the hazard of the cells before j.
func sums(h []float64) []float64 {
	c := make([]float64, len(h)+1)
	for j, v := range h {
		c[j+1] = c[j]
		if !math.IsInf(v, 1) {
			c[j+1] += v
		}
	}
	return c
}

// loglik is the log-likelihood at steps h.
func (p *hazardSteps) loglik(h []float64) float64 {
	l, c := 0.0, sums(h)
	for j, r := range p.risk {
		if r > 0 {
			l -= r * h[j]
		}
	}
	for _, s := range p.spans {
		d := c[s.to+1] - c[s.from]
		if d <= 0 {
			return math.Inf(-1)
		}
		l += s.n * logOneMinusExp(d)
	}
	return l
}

// solve brings the steps to the maximum: rounds of EM to come near, then, on the few cells that carry a hazard, Newton held above
// zero; cells that would raise the likelihood join, cells that reach zero leave (the constrained Newton method of Wang 2008,
// Computational Statistics and Data Analysis 52, in hazards).
func (p *hazardSteps) solve() {
	p.begin()
	for range 60 {
		p.expect()
	}
	p.concentrate()
	l := p.loglik(p.h)
	for range 400 {
		slope := p.slope()
		if p.off(slope) < 1e-11 {
			p.converged = true
			break
		}
		cells := p.support(slope)
		target, _ := p.quadratic(cells, slope, true)
		next, gained := p.approach(target, l)
		if !gained {
			target, _ = p.quadratic(cells, slope, false)
			next, gained = p.approach(target, l)
		}
		if !gained {
			p.converged = p.off(slope) < 1e-7
			break
		}
		l = next
	}
	slope := p.slope()
	_, p.unique = p.quadratic(p.support(slope), slope, false)
}

// begin shares each span's failures evenly over its cells.
func (p *hazardSteps) begin() {
	change := make([]float64, len(p.h)+1)
	for _, s := range p.spans {
		each := s.n / float64(s.to-s.from+1)
		change[s.from] += each
		change[s.to+1] -= each
	}
	failed := 0.0
	for j := range p.h {
		failed = max(failed+change[j], 0)
		if p.risk[j] > 0 {
			p.h[j] = math.Log1p(failed / p.risk[j])
		}
	}
}

// expect is one round of EM: where within its span each life failed, given the steps, and the steps given that.
func (p *hazardSteps) expect() {
	m := len(p.h)
	c := sums(p.h)
	weight, beyond := make([]float64, m+1), make([]float64, m+1)
	for _, s := range p.spans {
		d := c[s.to+1] - c[s.from]
		if d <= 0 {
			continue
		}
		w := s.n / -math.Expm1(-d) // times exp(-(hazard since the span began)) is the chance of coming to a cell
		weight[s.from] += w * math.Exp(c[s.from])
		weight[s.to+1] -= w * math.Exp(c[s.from])
		beyond[s.from] += w * math.Exp(-d)
		beyond[s.to+1] -= w * math.Exp(-d)
	}
	w, b := 0.0, 0.0
	for j := range p.h {
		w, b = w+weight[j], b+beyond[j]
		if p.risk[j] <= 0 {
			continue
		}
		failed := max(w, 0) * math.Exp(-c[j]) * -math.Expm1(-p.h[j])
		came := max(w*math.Exp(-c[j+1])-b, 0)
		p.h[j] = math.Log1p(failed / (p.risk[j] + came))
	}
}

// concentrate gathers the hazards on the cells where they stand highest among their neighbours; every span keeps one of them.
func (p *hazardSteps) concentrate() {
	kept := make([]bool, len(p.h))
	at := func(j int) float64 {
		if j < 0 || j >= len(p.h) || math.IsInf(p.h[j], 1) {
			return 0
		}
		return p.h[j]
	}
	for j := range p.h {
		kept[j] = at(j) > 0 && at(j) >= at(j-1) && at(j) >= at(j+1)
	}
	for _, s := range p.spans {
		if !slices.Contains(kept[s.from:s.to+1], true) {
			top := s.from
			for j := s.from; j <= s.to; j++ {
				if at(j) > at(top) {
					top = j
				}
			}
			kept[top] = true
		}
	}
	last := -1
	for j := range p.h {
		switch {
		case math.IsInf(p.h[j], 1):
		case kept[j]:
			last = j
		default:
			if last >= 0 {
				p.h[last] += p.h[j]
			}
			p.h[j] = 0
		}
	}
}

// slope is the derivative of the log-likelihood in every step.
func (p *hazardSteps) slope() []float64 {
	c := sums(p.h)
	change := make([]float64, len(p.h)+1)
	for _, s := range p.spans {
		q := s.n / math.Expm1(c[s.to+1]-c[s.from])
		change[s.from] += q
		change[s.to+1] -= q
	}
	slope, sum := make([]float64, len(p.h)), 0.0
	for j, r := range p.risk {
		sum += change[j]
		slope[j] = sum - r
	}
	return slope
}

// off is how far the conditions of a maximum are from holding: no slope above zero anywhere, none at all where there is a hazard.
func (p *hazardSteps) off(slope []float64) float64 {
	worst := 0.0
	for j, g := range slope {
		if p.risk[j] <= 0 {
			continue
		}
		if g < 0 {
			g = -g * min(1, p.h[j])
		}
		worst = max(worst, g/(p.risk[j]+1))
	}
	return worst
}

// support is the cells that carry a hazard, and between each two of them the one whose slope is highest above zero.
func (p *hazardSteps) support(slope []float64) []int {
	var cells []int
	top := -1
	join := func() {
		if top >= 0 {
			cells = append(cells, top)
			top = -1
		}
	}
	for j, g := range slope {
		switch {
		case p.risk[j] <= 0:
			join()
		case p.h[j] > 0:
			join()
			cells = append(cells, j)
		case g > 0 && (top < 0 || g > slope[top]):
			top = j
		}
	}
	join()
	return cells
}

// quadratic maximises the second-order approximation of the log-likelihood over steps of the given cells that are not negative:
// towards the free maximum until a step reaches zero, which then stays there. Bold, all steps that would go below zero stay there at
// once, which is many times faster and nearly always still rises.
func (p *hazardSteps) quadratic(cells []int, slope []float64, bold bool) (target []float64, unique bool) {
	blocks, first := p.blocks(cells)
	n := len(cells)
	now, free := make([]float64, n), make([]bool, n)
	for i, j := range cells {
		now[i], free[i] = p.h[j], true
	}
	pull := make([]float64, n) // slope + curvature x step, so that the free maximum solves curvature x step = pull
	for i, j := range cells {
		pull[i] = slope[j]
	}
	for _, s := range blocks {
		sum := 0.0
		for i := s.from; i <= s.to; i++ {
			sum += now[i]
		}
		for i := s.from; i <= s.to; i++ {
			pull[i] += s.n * sum
		}
	}
	for range n + 1 {
		curve := newEnvelope(first)
		for _, s := range blocks {
			for i := s.from; i <= s.to; i++ {
				curve.addRow(i, s.from, s.n)
			}
		}
		var lift []float64
		lift, unique = curve.solve(pull, free)
		share, hit := 1.0, false
		for i := range cells {
			if free[i] && lift[i] < 0 {
				share, hit = min(share, now[i]/(now[i]-lift[i])), true
			}
		}
		for i := range cells {
			if bold && hit {
				free[i] = free[i] && lift[i] >= 0
				continue
			}
			if !free[i] {
				now[i] = 0
				continue
			}
			now[i] += share * (lift[i] - now[i])
			if hit && lift[i] < 0 && now[i] <= 1e-15 {
				now[i], free[i] = 0, false
			}
		}
		if !hit {
			break
		}
	}
	target = make([]float64, len(p.h))
	for i, j := range cells {
		target[j] = now[i]
	}
	return target, unique
}

// blocks are the spans as the cells of the support see them, with the curvature each adds, and the first neighbour of every cell.
func (p *hazardSteps) blocks(cells []int) (blocks []span, first []int) {
	c := sums(p.h)
	merged := map[[2]int]float64{}
	for _, s := range p.spans {
		from, to := sort.SearchInts(cells, s.from), sort.SearchInts(cells, s.to+1)-1
		q := 1 / math.Expm1(c[s.to+1]-c[s.from])
		merged[[2]int{from, to}] += s.n * q * (1 + q)
	}
	first = make([]int, len(cells))
	for i := range first {
		first[i] = i
	}
	for k, w := range merged {
		blocks = append(blocks, span{k[0], k[1], w})
		for i := k[0]; i <= k[1]; i++ {
			first[i] = min(first[i], k[0])
		}
	}
	slices.SortFunc(blocks, func(a, b span) int { return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to)) })
	return blocks, first
}

// approach goes towards the target, less far each time, until the log-likelihood has risen.
func (p *hazardSteps) approach(target []float64, l float64) (next float64, gained bool) {
	trial := make([]float64, len(p.h))
	for size := 1.0; size > 1e-12; size /= 2 {
		for j, h := range p.h {
			if trial[j] = h; p.risk[j] > 0 {
				trial[j] = h + size*(target[j]-h)
			}
		}
		if v := p.loglik(trial); v > l {
			copy(p.h, trial)
			return v, true
		}
	}
	return l, false
}
