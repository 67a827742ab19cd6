package life

import "math"

// The likelihood is written in (b, k): b the shape, k = -b ln(scale/reference), so that H(t) = exp(k + b x), x = ln(t/reference).
// In these two the log-likelihood of exact, censored and interval lives is concave (Pratt 1981; Burridge 1981, JRSS B 43), with
// late entries it is still concave in k alone. The reference is the greatest age at which any life was sound: no x of a life at
// risk is above zero, and nothing overflows for shapes up to ten thousand.

// exposure is one stretch at risk, from an entry to the age last seen sound.
type exposure struct {
	x float64 // ln(age/reference)
	d float64 // ln(age/entry), 0 when watched from new
	n float64 // lives
}

// gap is one life that failed between two looks.
type gap struct {
	x float64 // ln(upper/reference)
	d float64 // ln(upper/lower), +Inf when not seen sound before
	n float64 // lives
}

// sample is the lives of one cohort in the form in which the likelihood reads them.
type sample struct {
	logRef  float64    // ln of the reference age
	whole   []exposure // stretches from new
	late    []exposure // stretches from an entry above 0
	gaps    []gap
	exact   float64 // number of exact failures
	between float64 // number of interval failures
	sumX    float64 // sum of x over exact failures
	sumLog  float64 // sum of ln(age) over exact failures

	greatest    float64 // greatest age last seen sound, 0 when there is none
	leastUpper  float64 // least upper of the gaps, +Inf without gaps
	exactBefore bool    // an exact failure lies below the greatest age
}

// newSample prepares a cohort; the observations have passed Check.
func newSample(lives []Observation) *sample {
	s := &sample{leastUpper: math.Inf(1)}
	reference := 0.0
	for _, o := range lives {
		o = o.plain()
		if age := o.lastSound(); age > o.Entry {
			s.greatest = max(s.greatest, age)
		}
		if o.Event == Interval {
			s.leastUpper = min(s.leastUpper, o.Upper)
			reference = max(reference, o.Upper)
		}
	}
	if s.greatest > 0 {
		reference = s.greatest
	}
	s.logRef = logAge(reference)
	s.whole = make([]exposure, 0, len(lives))
	for _, o := range lives {
		s.add(o.plain())
	}
	return s
}

// add takes one observation in.
func (s *sample) add(o Observation) {
	n := float64(o.Count)
	if age := o.lastSound(); age > o.Entry {
		x := logAge(age) - s.logRef
		if o.Entry > 0 {
			s.late = append(s.late, exposure{x, logRatio(age, o.Entry), n})
		} else {
			s.whole = append(s.whole, exposure{x, 0, n})
		}
		if o.Event == Failed {
			s.exact += n
			s.sumX += n * x
			s.sumLog += n * (x + s.logRef)
			s.exactBefore = s.exactBefore || age < s.greatest
		}
	}
	if o.Event == Interval {
		d := math.Inf(1)
		if o.Lower > 0 {
			d = logRatio(o.Upper, o.Lower)
		}
		s.gaps = append(s.gaps, gap{logAge(o.Upper) - s.logRef, d, n})
		s.between += n
	}
}

// logAge is ln(age), also of ages so small that a float64 holds only some of their digits: math.Log is wrong for those on some machines.
func logAge(age float64) float64 {
	if age < 0x1p-1000 {
		return math.Log(age*0x1p100) - 100*math.Ln2
	}
	return math.Log(age)
}

// logRatio is ln(a/b) for a above b, kept exact when they are close.
func logRatio(a, b float64) float64 {
	if a < 2*b {
		return math.Log1p((a - b) / b)
	}
	return logAge(a) - logAge(b)
}

// failures is the number of lives that failed.
func (s *sample) failures() float64 { return s.exact + s.between }

// risk is the sum of age^b - entry^b over all stretches, in units of the reference, with its first two derivatives in b.
type risk struct{ s0, s1, s2 float64 }

// riskAt sums the stretches at one shape. Differences of close ages are taken by expm1, so that none is lost.
func (s *sample) riskAt(b float64) risk {
	var r risk
	for i := range s.whole {
		e := &s.whole[i]
		v := e.n * math.Exp(b*e.x)
		vx := v * e.x
		r.s0 += v
		r.s1 += vx
		r.s2 += vx * e.x
	}
	for i := range s.late {
		e := &s.late[i]
		atEntry, v := math.Exp(b*(e.x-e.d)), 0.0
		if b*e.d > 0.1 { // the difference loses no more than a digit
			v = math.Exp(b*e.x) - atEntry
		} else {
			v = atEntry * math.Expm1(b*e.d)
		}
		r.s0 += e.n * v
		r.s1 += e.n * (e.x*v + e.d*atEntry)
		r.s2 += e.n * (e.x*e.x*v + e.d*(2*e.x-e.d)*atEntry)
	}
	return r
}

// slice is the likelihood at one shape: what does not change while the scale is looked for.
type slice struct {
	s    *sample
	b    float64
	risk risk
}

// at cuts the likelihood at one shape.
func (s *sample) at(b float64) *slice { return &slice{s: s, b: b, risk: s.riskAt(b)} }

// logStep is ln(H(upper) - H(lower)) - k of a gap, with its first two derivatives in b.
func (g gap) logStep(b float64) (v, v1, v2 float64) {
	if math.IsInf(g.d, 1) {
		return b * g.x, g.x, 0
	}
	w := b * g.d
	rest := -math.Expm1(-w)
	v = b*g.x + math.Log(rest)
	if w > 700 {
		return v, g.x, 0
	}
	q := g.d / math.Expm1(w)
	return v, g.x + q, -q * g.d / rest
}

// gapTerm is ln(1 - exp(-D)) at D = exp(u), with its first two derivatives in u.
func gapTerm(u float64) (value, first, second float64) {
	switch {
	case u > 6.6: // exp(-D) has left the range of a float64
		return 0, 0, 0
	case u < -18: // the first terms of the series in D
		d := math.Exp(u)
		return u - d/2, 1 - d/2, -d / 2
	}
	d := math.Exp(u)
	first = d / math.Expm1(d)
	return logOneMinusExp(d), first, first * (1 - d - first)
}

// logOneMinusExp is ln(1 - exp(-d)) for d above 0 (Maechler 2012, Accurately computing log(1 - exp(-|a|))).
func logOneMinusExp(d float64) float64 {
	if d < math.Ln2 {
		return math.Log(-math.Expm1(-d))
	}
	return math.Log1p(-math.Exp(-d))
}

// point is the log-likelihood at (b, k) with its first and second derivatives.
type point struct {
	b, k          float64
	l             float64
	lb, lk        float64
	lbb, lbk, lkk float64
}

// point evaluates the log-likelihood, per unit of age, at one k of the slice.
func (c *slice) point(k float64) point {
	s, h := c.s, math.Exp(k)
	p := point{b: c.b, k: k}
	p.l = s.exact*(math.Log(c.b)+k) + c.b*s.sumX - s.sumLog - h*c.risk.s0
	p.lb = s.exact/c.b + s.sumX - h*c.risk.s1
	p.lk = s.exact - h*c.risk.s0
	p.lbb = -s.exact/(c.b*c.b) - h*c.risk.s2
	p.lbk = -h * c.risk.s1
	p.lkk = -h * c.risk.s0
	for _, g := range s.gaps {
		v, v1, v2 := g.logStep(c.b)
		value, first, second := gapTerm(k + v)
		p.l += g.n * value
		p.lk += g.n * first
		p.lb += g.n * first * v1
		p.lkk += g.n * second
		p.lbk += g.n * second * v1
		p.lbb += g.n * (second*v1*v1 + first*v2)
	}
	return p
}

// bestK is the k that maximises the likelihood of the slice; there are failures and a stretch at risk (s0 above 0).
//
// Without gaps exp(k) = failures/s0. With gaps the root of ln(expected failures) - k - ln(s0) is found by Newton inside a bracket
// that is known beforehand; the left side falls at least as fast as k rises, so the root is the only one.
func (c *slice) bestK() float64 {
	s, logRisk := c.s, math.Log(c.risk.s0)
	if len(s.gaps) == 0 {
		return math.Log(s.exact) - logRisk
	}
	steps := make([]float64, len(s.gaps))
	least := math.Inf(1)
	for i, g := range s.gaps {
		steps[i], _, _ = g.logStep(c.b)
		least = min(least, -steps[i])
	}
	hi := math.Log(s.exact+s.between) - logRisk
	lo := math.Log(s.exact+0.5*s.between) - logRisk
	lo = min(lo, least)
	if s.exact > 0 {
		lo = max(lo, math.Log(s.exact)-logRisk)
	}
	k := lo + (hi-lo)/2
	for range 200 {
		failed, slope := s.exact, 0.0
		for i, g := range s.gaps {
			_, first, second := gapTerm(k + steps[i])
			failed += g.n * first
			slope += g.n * second
		}
		if failed == 0 { // every gap is long explained: far too high
			hi = k
			k = lo + (hi-lo)/2
			continue
		}
		off := math.Log(failed) - k - logRisk
		if off > 0 {
			lo = k
		} else {
			hi = k
		}
		step := off / (1 - slope/failed)
		next := k + step
		if next <= lo || next >= hi {
			next = lo + (hi-lo)/2
		}
		if tiny := 1e-11 * max(1, math.Abs(k)); math.Abs(next-k) <= tiny || hi-lo <= tiny/1e4 { // the next error is the square
			return next
		}
		k = next
	}
	return k
}

// profiled is the likelihood at one shape with the best scale, and its derivatives in ln(shape).
type profiled struct {
	point
	slope, bend float64 // first and second derivative in ln(shape)
}

// profile maximises over the scale at one shape.
func (s *sample) profile(b float64) profiled {
	c := s.at(b)
	p := c.point(c.bestK())
	second := p.lbb - p.lbk*p.lbk/p.lkk
	return profiled{p, b * p.lb, b*b*second + b*p.lb}
}
