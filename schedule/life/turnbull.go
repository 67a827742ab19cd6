package life

import (
	"cmp"
	"math"
	"slices"
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
