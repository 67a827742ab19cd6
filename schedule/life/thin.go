package life

import "math"

// scaled is a fit in which the shape is held and only the scale is estimated.
type scaled struct {
	*slice
	point
}

// withShape estimates the scale at a held shape; a NoMaximum of reason NeverSound when nothing holds the scale up.
//
// Without intervals scale = (sum(life^b - entry^b)/failures)^(1/b).
func (s *sample) withShape(b float64) (scaled, error) {
	c := s.at(b)
	if s.failures() == 0 {
		return scaled{}, &NoMaximum{NoFailure}
	}
	if !(c.risk.s0 > 0) {
		return scaled{}, &NoMaximum{NeverSound}
	}
	return scaled{c, c.point(c.bestK())}, nil
}

// scaleError is the standard error of ln(scale) with the shape known.
func (f scaled) scaleError() float64 { return 1 / (f.point.b * math.Sqrt(-f.lkk)) }

// limits are the likelihood-ratio limits of k with the shape known.
func (f scaled) limits(z float64) (lower, upper float64) {
	return f.slice.fallFrom(f.k, f.l, z, -1), f.slice.fallFrom(f.k, f.l, z, 1)
}

// fallFrom walks k from a place of log-likelihood top until 2 (top - l) = z squared; the likelihood is concave in k, so there is
// one such place, or none: then NaN.
func (c *slice) fallFrom(from, top, z, side float64) float64 {
	near, far := from, math.NaN()
	for stride := 1.0; math.IsNaN(far); stride *= 2 {
		if stride > 1e9 {
			return math.NaN()
		}
		if k := near + side*stride; 2*(top-c.point(k).l) >= z*z {
			far = k
		} else {
			near = k
		}
	}
	at := near + (far-near)/2
	for range 200 {
		p := c.point(at)
		root := math.Sqrt(max(0, 2*(top-p.l)))
		if root < z {
			near = at
		} else {
			far = at
		}
		if math.Abs(root-z) <= 1e-11*z || math.Abs(far-near) <= 1e-13*max(1, math.Abs(at)) {
			break
		}
		to := at + (z-root)*root/-p.lk
		if !((to-near)*side > 0 && (to-far)*side < 0) {
			to = near + (far-near)/2
		}
		at = to
	}
	return at
}

// explained is a k at which every gap is long over: the log-likelihood of lives that are nothing but gaps is 0 there.
func (c *slice) explained() float64 {
	k := math.Inf(-1)
	for _, g := range c.s.gaps {
		v, _, _ := g.logStep(c.b)
		k = max(k, 7-v)
	}
	return k
}

// boundScale is ln of the one-sided lower limit of the scale when nothing has failed: at shape b,
// scale >= (sum(life^b - entry^b)/-ln(1 - confidence))^(1/b).
func (s *sample) boundScale(b, confidence float64) float64 {
	return s.logRef + (math.Log(s.at(b).risk.s0)-math.Log(-math.Log1p(-confidence)))/b
}
