package life

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// SelfConsistent is the non-parametric maximum-likelihood estimate of the survival where lives failed between looks.
type SelfConsistent struct {
	LogLik Figure   `json:"loglik"` // with these masses; exact failures count as point masses
	Rows   []MassAt `json:"rows"`   // intervals that carry mass

	unique    bool
	converged bool
}

// MassAt is an interval (Lower, Upper] that carries mass; a point has Lower = Upper.
type MassAt struct {
	Lower    float64 `json:"lower"`
	Upper    Figure  `json:"upper"` // none: beyond the last look
	Mass     float64 `json:"mass"`
	Survival float64 `json:"survival"` // after the interval
}

// leastMass is the mass below which an interval is not listed.
const leastMass = 1e-7

// Turnbull is the self-consistent estimate (Turnbull 1976, JRSS B 38; candidate intervals under late entry after Frydman 1994,
// JRSS B 56) for observations that have passed Check.
//
// A failed life is the point t, a censored one (life, infinity), an interval (lower, upper], and a late entry conditions on
// (entry, infinity). In steps of the cumulative hazard the log-likelihood is concave and only has to be kept from going negative, so
// the maximum found is global; where several survivals share it, which is not rare, one of them is given.
func Turnbull(lives []Observation) *SelfConsistent {
	cells := candidates(lives)
	p := newHazardSteps(lives, cells)
	p.solve()
	return p.survival(cells)
}

// cell is a candidate interval.
type cell struct{ lower, upper float64 }

// The order of ends at one age: a point opens before anything closes there, and open lower ends come last.
const (
	opensAt = iota
	closes
	opensAfter
)

// edge is an end of an observation or an entry.
type edge struct {
	age  float64
	kind int
}

// candidates are the innermost intervals: a lower end directly followed by an upper end or an entry.
func candidates(lives []Observation) []cell {
	edges := make([]edge, 0, 2*len(lives)+2)
	for _, o := range lives {
		o = o.plain()
		switch o.Event {
		case Failed:
			edges = append(edges, edge{o.Life, opensAt}, edge{o.Life, closes})
		case Censored:
			edges = append(edges, edge{o.Life, opensAfter})
		case Interval:
			edges = append(edges, edge{o.Lower, opensAfter}, edge{o.Upper, closes})
		}
		if o.Entry > 0 {
			edges = append(edges, edge{o.Entry, closes})
		}
	}
	edges = append(edges, edge{math.Inf(1), closes})
	slices.SortFunc(edges, func(a, b edge) int {
		return cmp.Or(cmp.Compare(a.age, b.age), cmp.Compare(a.kind, b.kind))
	})
	var cells []cell
	for i := 1; i < len(edges); i++ {
		if edges[i-1].kind != closes && edges[i].kind == closes {
			cells = append(cells, cell{edges[i-1].age, edges[i].age})
		}
	}
	return cells
}

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
	first []int // first cell that shares a span with the cell

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
	p.neighbours()
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

// neighbours finds the width of each row of the curvature.
func (p *hazardSteps) neighbours() {
	p.first = make([]int, len(p.h))
	for j := range p.first {
		p.first[j] = j
	}
	for _, s := range p.spans {
		for j := s.from; j <= s.to; j++ {
			p.first[j] = min(p.first[j], s.from)
		}
	}
}

// loglik is the log-likelihood at steps h.
func (p *hazardSteps) loglik(h []float64) float64 {
	l := 0.0
	for j, r := range p.risk {
		if r > 0 {
			l -= r * h[j]
		}
	}
	for _, s := range p.spans {
		sum := 0.0
		for _, v := range h[s.from : s.to+1] {
			sum += v
		}
		if sum <= 0 {
			return math.Inf(-1)
		}
		l += s.n * logOneMinusExp(sum)
	}
	return l
}

// solve brings the steps to the maximum: some rounds of EM to come near, then Newton on the steps above zero.
func (p *hazardSteps) solve() {
	p.begin()
	for range 30 {
		p.expect()
	}
	l := p.loglik(p.h)
	for range 300 {
		next, gained := p.newton(l)
		if p.converged {
			return
		}
		if !gained {
			for range 50 {
				p.expect()
			}
			next = p.loglik(p.h)
		}
		l = next
	}
}

// begin shares each span's failures evenly over its cells.
func (p *hazardSteps) begin() {
	failed := make([]float64, len(p.h))
	for _, s := range p.spans {
		for j := s.from; j <= s.to; j++ {
			failed[j] += s.n / float64(s.to-s.from+1)
		}
	}
	for j, f := range failed {
		if p.risk[j] > 0 {
			p.h[j] = math.Log1p(f / p.risk[j])
		}
	}
}

// expect is one round of EM: where within its span each life failed, given the steps, and the steps given that.
func (p *hazardSteps) expect() {
	m := len(p.h)
	failed, came := make([]float64, m), make([]float64, m)
	for _, s := range p.spans {
		sum := 0.0
		for _, v := range p.h[s.from : s.to+1] {
			sum += v
		}
		all, before := -math.Expm1(-sum), 0.0
		for j := s.from; j <= s.to; j++ {
			failed[j] += s.n * math.Exp(-before) * -math.Expm1(-p.h[j]) / all
			before += p.h[j]
			came[j] += s.n * (math.Exp(-before) - math.Exp(-sum)) / all
		}
	}
	for j := range p.h {
		if r := p.risk[j] + came[j]; p.risk[j] > 0 {
			p.h[j] = math.Log1p(failed[j] / r)
		}
	}
}

// newton takes one step on the cells whose hazard is above zero or wants to be, and shortens it until the likelihood has risen.
func (p *hazardSteps) newton(l float64) (next float64, gained bool) {
	slope, curve := p.derivatives()
	free := make([]bool, len(p.h))
	worst := 0.0
	for j, g := range slope {
		if p.risk[j] <= 0 {
			continue
		}
		free[j] = p.h[j] > 0 || g > 0
		off := g / (p.risk[j] + 1)
		if g < 0 {
			off *= -min(1, p.h[j]) // a step at zero may want to go lower
		}
		worst = max(worst, off)
		if g < 0 && p.h[j] < 1e-12 {
			free[j] = false
		}
	}
	step, unique := curve.solve(slope, free)
	p.unique = unique
	if worst < 1e-11 {
		p.converged = true
		return l, true
	}
	trial := make([]float64, len(p.h))
	for size := 1.0; size > 1e-12; size /= 2 {
		for j, h := range p.h {
			trial[j] = h
			if free[j] {
				trial[j] = max(0, h+size*step[j])
			} else if p.risk[j] > 0 {
				trial[j] = 0
			}
		}
		if v := p.loglik(trial); v > l {
			copy(p.h, trial)
			return v, true
		}
	}
	p.converged = worst < 1e-8
	return l, false
}

// derivatives are the slope of the log-likelihood and minus its curvature.
func (p *hazardSteps) derivatives() ([]float64, *envelope) {
	slope := make([]float64, len(p.h))
	curve := newEnvelope(p.first)
	for j, r := range p.risk {
		slope[j] = -r
	}
	for _, s := range p.spans {
		sum := 0.0
		for _, v := range p.h[s.from : s.to+1] {
			sum += v
		}
		q := 1 / math.Expm1(sum)
		w := s.n * q * (1 + q)
		for j := s.from; j <= s.to; j++ {
			slope[j] += s.n * q
			curve.addRow(j, s.from, w)
		}
	}
	return slope, curve
}

// survival turns the steps into masses.
func (p *hazardSteps) survival(cells []cell) *SelfConsistent {
	e := &SelfConsistent{LogLik: Figure(p.loglik(p.h)), Rows: []MassAt{}, unique: p.unique, converged: p.converged}
	alive := 1.0
	for j, c := range cells {
		mass := alive * -math.Expm1(-p.h[j])
		alive *= math.Exp(-p.h[j])
		if mass > leastMass {
			row := MassAt{Lower: c.lower, Upper: Figure(c.upper), Mass: mass, Survival: alive}
			e.Rows = append(e.Rows, row)
		}
	}
	return e
}
