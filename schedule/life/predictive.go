package life

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// Prior is what the parent of a cohort says of its shape: ln(shape) is normal about LogShape with standard deviation SD.
type Prior struct {
	LogShape float64
	SD       float64 // 0: the shape is LogShape and nothing else
}

// ShapeEstimate is the shape of one cohort with a maximum of its own.
type ShapeEstimate struct {
	LogShape float64
	StdError float64 // of LogShape
}

// ShapePrior is the empirical-Bayes prior of the shape in a family of cohorts: the weighted mean of their ln(shape) and the spread
// between cohorts beyond what their standard errors explain, by the method of moments (DerSimonian and Laird 1986, Controlled
// Clinical Trials 7). The standard deviation also carries the doubt of the mean. A Refusal of kind TooFew without a cohort; from one
// cohort alone the prior is that cohort's own doubt, which cannot show how cohorts differ.
func ShapePrior(family []ShapeEstimate) (Prior, error) {
	if len(family) == 0 {
		return Prior{}, &Refusal{TooFew, "no cohort of the family has a shape of its own; state a shape"}
	}
	var w, wx, ww float64
	for _, f := range family {
		if !(f.StdError > 0) || math.IsInf(f.StdError, 1) || math.IsNaN(f.LogShape) {
			return Prior{}, &Refusal{BadInput, "a shape needs a standard error above zero to be shared"}
		}
		v := 1 / (f.StdError * f.StdError)
		w, wx, ww = w+v, wx+v*f.LogShape, ww+v*v
	}
	mean, q := wx/w, 0.0
	for _, f := range family {
		q += (f.LogShape - mean) * (f.LogShape - mean) / (f.StdError * f.StdError)
	}
	between := 0.0
	if free := float64(len(family) - 1); free > 0 {
		between = max(0, (q-free)/(w-ww/w))
	}
	w, wx = 0, 0
	for _, f := range family {
		v := 1 / (f.StdError*f.StdError + between)
		w, wx = w+v, wx+v*f.LogShape
	}
	return Prior{wx / w, math.Sqrt(between + 1/w)}, nil
}

// Predictive is a law of life averaged over the likelihood of its fit, so that chances widen with few failures.
type Predictive struct {
	laws    []Weibull
	weights []float64 // sum 1
	Best    Weibull   // at the greatest (penalised) likelihood
}

// nodes is the number of shapes, and of scales at each, over which the likelihood is averaged.
const nodes = 11

// nodesAlone is how many scales are taken where the shape is known: nothing else is averaged over.
const nodesAlone = 25

// leastWeight is the weight below which a node is left out: ten thousand of them make a chance of a thousandth.
const leastWeight = 1e-7

// reach is how far, in roots of the deviance, the likelihood is followed: beyond it a millionth is left.
const reach = 5

// Predict averages over the likelihood with a flat prior in (ln shape, ln scale), or with the parent's prior of the shape.
//
// The flat prior is the one of Jeffreys' rule for location and scale of ln(life): for lives without censoring, and for a study
// stopped at a failure count, its predictive chances hold exactly in repeated use (Lawless 2003; Severini, Mukerjee and Ghosh 2002,
// Biometrika 89). A unit that is itself among the lives, still sound, is counted once: its survival is in the likelihood.
// Observations have passed Check and one failed; without a prior three did. A NoMaximum says why not.
func Predict(lives []Observation, prior *Prior) (*Predictive, error) {
	if len(lives) == 0 {
		return nil, &Refusal{TooFew, "there are no lives to learn from"}
	}
	for _, o := range lives {
		if err := o.Check(); err != nil {
			return nil, err
		}
	}
	b := &belief{s: newSample(lives), prior: prior}
	top, err := b.top()
	if err != nil {
		return nil, err
	}
	return b.average(top)
}

// belief is a likelihood with a prior of the shape.
type belief struct {
	s     *sample
	prior *Prior
}

// log is the profile and the prior at ln(shape).
func (b *belief) log(logShape float64) float64 {
	l := b.s.profile(math.Exp(logShape)).l
	if b.prior != nil && b.prior.SD > 0 {
		z := (logShape - b.prior.LogShape) / b.prior.SD
		l -= z * z / 2
	}
	return l
}

// top is ln(shape) at the greatest of likelihood times prior.
func (b *belief) top() (float64, error) {
	if b.prior == nil {
		best, err := b.s.maximum()
		if err != nil {
			return 0, err
		}
		return math.Log(best.b), nil
	}
	switch {
	case b.s.failures() == 0:
		return 0, &NoMaximum{NoFailure}
	case b.s.greatest == 0:
		return 0, &NoMaximum{NeverSound}
	case b.prior.SD == 0:
		return b.prior.LogShape, nil
	case !(b.prior.SD > 0) || math.IsNaN(b.prior.LogShape):
		return 0, errors.New("the prior of the shape needs a standard deviation of zero or more")
	}
	in := bracket{lo: math.Log(leastShape), hi: math.Log(greatestShape)}
	at := min(max(b.prior.LogShape, in.lo), in.hi)
	for range 200 {
		p := b.s.profile(math.Exp(at))
		precision := 1 / (b.prior.SD * b.prior.SD)
		slope, bend := p.slope-(at-b.prior.LogShape)*precision, p.bend-precision
		if slope > 0 {
			in.lo, in.loSeen = at, true
		} else {
			in.hi, in.hiSeen = at, true
		}
		step := -slope / bend
		if bend < 0 && math.Abs(step) < 1e-9 || in.hi-in.lo < 1e-12 {
			return at, nil
		}
		at = in.next(at, step, bend < 0)
	}
	return 0, &NoMaximum{NotConverged}
}

// end is where the likelihood has fallen by reach on one side of the top, or the end of the shapes.
func (b *belief) end(top, side float64) float64 {
	far := math.Log(leastShape)
	if side > 0 {
		far = math.Log(greatestShape)
	}
	high := b.log(top)
	near := top
	for range 60 {
		mid := near + (far-near)/2
		if 2*(high-b.log(mid)) > reach*reach {
			far = mid
		} else {
			near = mid
		}
		if math.Abs(far-near) < 1e-3 {
			break
		}
	}
	return far
}

// average lays the nodes: shapes at even steps of ln(shape), scales at even steps of k, each weighed by its likelihood.
func (b *belief) average(top float64) (*Predictive, error) {
	shapes := []float64{top}
	if b.prior == nil || b.prior.SD > 0 {
		shapes = even(b.end(top, -1), b.end(top, 1), nodes)
	}
	out, logs := &Predictive{}, []float64(nil)
	for _, logShape := range shapes {
		held, err := b.s.withShape(math.Exp(logShape))
		if err != nil {
			return nil, err
		}
		lower, upper := held.limits(reach)
		scales := even(lower, upper, nodes)
		if len(shapes) == 1 {
			scales = even(lower, upper, nodesAlone)
		}
		fixed := b.log(logShape) - held.l + math.Log((upper-lower)/held.point.b) // even steps of ln(scale) = k/shape
		for _, k := range scales {
			p := held.slice.point(k)
			out.laws = append(out.laws, Weibull{p.b, math.Exp(b.s.logScale(p))})
			logs = append(logs, p.l+fixed)
		}
	}
	out.weigh(logs)
	best, err := b.s.withShape(math.Exp(top))
	if err != nil {
		return nil, err
	}
	out.Best = Weibull{math.Exp(top), math.Exp(b.s.logScale(best.point))}
	return out, nil
}

// even are the nodes from lo to hi.
func even(lo, hi float64, n int) []float64 {
	at := make([]float64, n)
	for i := range at {
		at[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return at
}

// weigh turns logarithms of likelihoods into weights of sum 1.
func (p *Predictive) weigh(logs []float64) {
	high, sum := math.Inf(-1), 0.0
	for _, l := range logs {
		high = max(high, l)
	}
	kept := p.laws[:0]
	p.weights = make([]float64, 0, len(logs))
	for i, l := range logs {
		if w := math.Exp(l - high); w > leastWeight {
			kept, p.weights = append(kept, p.laws[i]), append(p.weights, w)
			sum += w
		}
	}
	p.laws = kept
	for i := range p.weights {
		p.weights[i] /= sum
	}
}

// Aged is a splice of an age: its chances of failing, asked for many times.
type Aged struct {
	p      *Predictive
	age    float64
	hazard []float64 // of each law up to the age
}

// At returns the chances of a splice that is sound at an age.
func (p *Predictive) At(age float64) *Aged {
	a := &Aged{p, age, make([]float64, len(p.laws))}
	for i, law := range p.laws {
		a.hazard[i] = law.CumulativeHazard(age)
	}
	return a
}

// Span returns units to come between which the chance of failing rises from little to nearly certain, for a splice of an age.
func (p *Predictive) Span(age float64) (least, most float64) {
	return p.Best.ResidualQuantile(age, 0.01), 4 * p.Best.ResidualQuantile(age, 0.95)
}

// FailsWithin is the chance of failing within x more units: 1 - exp(-(H(age+x) - H(age))), averaged. The step of the hazard is
// H(age) ((1 + x/age)^shape - 1), which keeps its digits where x is small.
func (a *Aged) FailsWithin(x float64) float64 {
	sum := 0.0
	if a.age <= 0 {
		for i, law := range a.p.laws {
			sum += a.p.weights[i] * chanceOf(law.CumulativeHazard(x))
		}
		return sum
	}
	grown, shape, factor := math.Log1p(x/a.age), math.NaN(), 0.0
	for i := range a.p.laws {
		if b := a.p.laws[i].Shape; b != shape { // the scales of one shape stand together
			shape, factor = b, math.Expm1(b*grown)
		}
		sum += a.p.weights[i] * chanceOf(a.hazard[i]*factor)
	}
	return sum
}

// chanceOf is 1 - exp(-h) with its digits; exp alone is faster and enough unless h is small.
func chanceOf(h float64) float64 {
	if h < 1e-3 {
		return -math.Expm1(-h)
	}
	return 1 - math.Exp(-h)
}

// FailsWithin is the predictive chance that a unit sound at age fails within x more; both 0 or more, in the unit of the lives.
func (p *Predictive) FailsWithin(age, x float64) float64 { return p.At(age).FailsWithin(x) }

// Band are the shares failed by an age from new, x above 0, between which what the lives leave open puts a share level, in (0, 1),
// of its weight: as much below as above. Relative error of the ends a few per cent, by the spacing of the nodes.
func (p *Predictive) Band(x, level float64) (low, up float64) {
	order := make([]int, len(p.laws))
	share := make([]float64, len(p.laws))
	for i, law := range p.laws {
		order[i], share[i] = i, law.FailsWithin(0, x)
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(share[a], share[b]) })
	at := func(tail float64) float64 {
		mid, last, before := 0.0, share[order[0]], 0.0 // a node stands in the middle of its weight
		for _, i := range order {
			next := mid + (before+p.weights[i])/2
			if next >= tail {
				return last + (share[i]-last)*(tail-mid)/(next-mid)
			}
			mid, last, before = next, share[i], p.weights[i]
		}
		return last
	}
	return at((1 - level) / 2), at((1 + level) / 2)
}

// ResidualQuantile is the further life x within which the predictive chance of failing reaches share, in (0, 1): shares of 0.1, 0.5
// and 0.9 at the unit's age are its due band in usage. None where the chance never reaches it within a float64.
func (p *Predictive) ResidualQuantile(age, share float64) Figure {
	of, far := p.At(age), p.Best.Scale
	for of.FailsWithin(far) < share {
		if far *= 4; math.IsInf(far, 1) {
			return None
		}
	}
	return Figure(far * math.Exp(rising(-80, 0, func(y float64) float64 { return of.FailsWithin(far*math.Exp(y)) - share })))
}
