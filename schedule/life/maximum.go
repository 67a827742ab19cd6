package life

import "math"

// The shapes between which a fitted shape is believed, and between which its limits are looked for.
const (
	leastShape, greatestShape           = 0.01, 1000.0
	leastShapeLimit, greatestShapeLimit = 0.001, 10000.0
)

// The reasons for which a likelihood has no maximum in shape and scale.
const (
	NoFailure    = "no_failure"     // every life is censored
	FewFailures  = "few_failures"   // one or two failures: there may be a maximum, it is not believed
	OneAge       = "one_age"        // all failures at one age, and no life was seen sound beyond it
	OneGap       = "one_gap"        // one instant lies in every interval, and no life was seen sound beyond it
	NeverSound   = "never_sound"    // no life was ever seen sound after it came under observation
	ShapeTooLow  = "shape_too_low"  // the likelihood still rises at a shape of 0.01
	ShapeTooHigh = "shape_too_high" // the likelihood still rises at a shape of 1000
	NotConverged = "not_converged"  // the score could not be brought to zero
)

var noMaximumTexts = map[string]string{
	NoFailure:    "no life failed, so the data give a lower bound only",
	FewFailures:  "fewer than three lives failed, so no shape is fitted to them",
	OneAge:       "all failures stand at one age beyond which no life was seen sound: the likelihood grows with the shape without end",
	OneGap:       "one instant lies in the interval of every failure and no life was seen sound beyond it: the likelihood grows with the shape without end",
	NeverSound:   "no life was seen sound after it came under observation: the likelihood grows as the scale goes to zero",
	ShapeTooLow:  "the likelihood still rises towards shapes below 0.01",
	ShapeTooHigh: "the likelihood still rises towards shapes above 1000",
	NotConverged: "the score could not be brought to zero; look for ages that differ by less than they are written to",
}

// NoMaximum says why lives have no maximum-likelihood Weibull law of their own.
type NoMaximum struct{ Reason string }

// Error returns the reason in words.
func (n *NoMaximum) Error() string { return noMaximumTexts[n.Reason] }

// Class returns the reason as programs compare it.
func (n *NoMaximum) Class() string { return n.Reason }

// degenerate finds the lives whose likelihood has no maximum whatever the shape.
//
// As the shape grows the law becomes a single instant. That explains everything when all exact failures stand at the greatest age
// at which any life was sound, and every interval reaches that far.
func (s *sample) degenerate() error {
	switch {
	case s.failures() == 0:
		return &NoMaximum{NoFailure}
	case s.greatest == 0:
		return &NoMaximum{NeverSound}
	case !s.exactBefore && s.leastUpper >= s.greatest && s.exact > 0:
		return &NoMaximum{OneAge}
	case !s.exactBefore && s.leastUpper >= s.greatest:
		return &NoMaximum{OneGap}
	}
	return nil
}

// maximum finds the shape and scale of greatest likelihood, or says why there is none.
//
// Newton on the likelihood profiled over the scale, in ln(shape), held inside a bracket that shrinks with every sign of the score.
// Without late entries the profile is concave in the shape, so a zero of the score is the maximum. With late entries it need not
// be: the profile is first looked at over the whole range of shapes and every hill is climbed.
func (s *sample) maximum() (profiled, error) {
	if s.failures() < 3 {
		if err := s.degenerate(); err != nil {
			return profiled{}, err
		}
		return profiled{}, &NoMaximum{FewFailures}
	}
	if err := s.degenerate(); err != nil {
		return profiled{}, err
	}
	if len(s.late) == 0 {
		return s.climb(s.firstShape(), leastShape, greatestShape)
	}
	return s.highestHill()
}

// GreatestLogLik is the log-likelihood at Fit's MaximumLikelihood, without limits and curves: whoever compares fits needs no more.
// A NoMaximum where Fit holds the shape, a Refusal for no lives or one that cannot be.
func GreatestLogLik(lives []Observation) (float64, error) {
	if len(lives) == 0 {
		return 0, &Refusal{TooFew, "there are no lives to learn from"}
	}
	for _, o := range lives {
		if err := o.Check(); err != nil {
			return 0, err
		}
	}
	best, err := newSample(lives).maximum()
	return best.l, err
}

// highestHill scans the profile in steps of ln(shape), climbs from every local top and keeps the best.
//
// The scan only has to see where the hills are: of a large cohort it looks at every so manieth life. The climbs, and the comparison
// with the ends of the range, are on all lives.
func (s *sample) highestHill() (profiled, error) {
	const steps = 24
	ratio := math.Pow(greatestShape/leastShape, 1.0/steps)
	few := s.thinned(4000)
	shapes, heights := make([]float64, steps+1), make([]float64, steps+1)
	for i := range shapes {
		shapes[i] = leastShape * math.Pow(ratio, float64(i))
		heights[i] = few.profile(shapes[i]).l
	}
	best, found, edge := profiled{}, false, error(&NoMaximum{NotConverged})
	for i := range shapes {
		left, right := max(i-1, 0), min(i+1, steps)
		if heights[i] < heights[left] || heights[i] < heights[right] {
			continue
		}
		if few != s { // the hill of all lives may stand a step aside
			left, right = max(i-3, 0), min(i+3, steps)
		}
		p, err := s.climb(shapes[i], shapes[left], shapes[right])
		switch {
		case err == nil && (!found || p.l > best.l):
			best, found = p, true
		case err != nil && (i == 0 || i == steps):
			edge = err
		}
	}
	if !found {
		return profiled{}, edge
	}
	if low := s.profile(leastShape).l; best.l < low-1e-9*math.Abs(low) {
		return profiled{}, &NoMaximum{ShapeTooLow}
	}
	if high := s.profile(greatestShape).l; best.l < high-1e-9*math.Abs(high) {
		return profiled{}, &NoMaximum{ShapeTooHigh}
	}
	return best, nil
}

// thinned is the sample itself, or every so manieth life of it when it has many more than n; it keeps the age of reference.
func (s *sample) thinned(n int) *sample {
	every := (len(s.whole) + len(s.late) + len(s.gaps)) / n
	if every < 2 {
		return s
	}
	few := &sample{logRef: s.logRef, whole: everyNth(s.whole, every), late: everyNth(s.late, every), gaps: everyNth(s.gaps, every)}
	share := 1 / float64(every)
	few.exact, few.between, few.sumX, few.sumLog = s.exact*share, s.between*share, s.sumX*share, s.sumLog*share
	return few
}

// everyNth keeps every n-th of a list, and the first.
func everyNth[T any](all []T, n int) []T {
	few := make([]T, 0, len(all)/n+1)
	for i := 0; i < len(all); i += n {
		few = append(few, all[i])
	}
	return few
}

// firstShape guesses a shape: the spread of ln(age at failure) is 1.28/shape when all have failed (Menon 1963).
func (s *sample) firstShape() float64 {
	var n, sum, squares float64
	see := func(x, w float64) { n += w; sum += w * x; squares += w * x * x }
	for _, e := range s.whole {
		see(e.x, e.n)
	}
	for _, g := range s.gaps {
		see(g.x, g.n)
	}
	spread := math.Sqrt(max(squares/n-sum*sum/(n*n), 0))
	if !(spread > 0) {
		return 2
	}
	return min(max(1.28/spread, 0.05), 100)
}

// bracket is the stretch of ln(shape) that still holds the zero of the score, and whether its ends were looked at.
type bracket struct {
	lo, hi         float64
	loSeen, hiSeen bool
}

// climb follows Newton from a shape to the zero of the score inside (least, greatest).
//
// Done when the Newton step in ln(shape) is below 1e-9; the step after it would be of the order of its square.
func (s *sample) climb(from, least, greatest float64) (profiled, error) {
	in := bracket{lo: math.Log(least), hi: math.Log(greatest)}
	bottom, top := in.lo, in.hi
	at := min(max(math.Log(from), bottom), top)
	for range 200 {
		p := s.profile(math.Exp(at))
		step := -p.slope / p.bend
		inside := at > bottom && at < top
		if p.bend < 0 && math.Abs(step) <= 1e-9 && inside {
			return s.proved(p)
		}
		if p.slope > 0 {
			in.lo, in.loSeen = at, true
		} else {
			in.hi, in.hiSeen = at, true
		}
		switch {
		case in.lo >= top:
			return profiled{}, &NoMaximum{ShapeTooHigh}
		case in.hi <= bottom:
			return profiled{}, &NoMaximum{ShapeTooLow}
		case in.hi-in.lo <= 1e-14*max(1, math.Abs(at)):
			return s.proved(p)
		}
		at = in.next(at, step, p.bend < 0)
	}
	return profiled{}, &NoMaximum{NotConverged}
}

// next is where to look after at: the Newton step where it can be trusted and stays inside, at most a stride away; an end that was
// not looked at yet may itself be the place.
func (in *bracket) next(at, step float64, trusted bool) float64 {
	const stride = 1.5
	to := at + step
	if !trusted || math.IsNaN(to) {
		to = in.lo + (in.hi-in.lo)/2
	}
	to = min(max(to, at-stride), at+stride)
	switch {
	case to <= in.lo && !in.loSeen:
		return in.lo
	case to >= in.hi && !in.hiSeen:
		return in.hi
	case to <= in.lo || to >= in.hi:
		return in.lo + (in.hi-in.lo)/2
	}
	return to
}

// proved holds that the score at a claimed maximum is zero to rounding: half the squared score over the information, which is
// what the log-likelihood could still gain, is below a millionth, or below what a score summed over so many lives rounds to.
func (s *sample) proved(p profiled) (profiled, error) {
	if !(p.bend < 0) || !(p.lkk < 0) || p.gain() > max(1e-6, 1e-20*s.failures()) {
		return profiled{}, &NoMaximum{NotConverged}
	}
	return p, nil
}

// gain is how much the log-likelihood could still rise, by its quadratic approximation in (ln shape, k).
func (p profiled) gain() float64 {
	return p.slope*p.slope/(-2*p.bend) + p.lk*p.lk/(-2*p.lkk)
}

// covariance inverts the information, minus the second derivatives in (ln shape, ln scale) at a maximum, where the first ones are
// zero. With k = -b (ln scale - ln reference) the step from (b, k) has the determinant -b^2, so that no digits are lost to steep laws.
func (p point) covariance() (shape, both, scale float64, ok bool) {
	b, k := p.b, p.k
	det := b * b * b * b * (p.lbb*p.lkk - p.lbk*p.lbk)
	if !(det > 0) {
		return 0, 0, 0, false
	}
	shape = -b * b * p.lkk / det
	both = -b * (b*p.lbk + k*p.lkk) / det
	scale = -(b*b*p.lbb + 2*b*k*p.lbk + k*k*p.lkk) / det
	return shape, both, scale, true
}

// logScale is ln(scale) of a point.
func (s *sample) logScale(p point) float64 { return s.logRef - p.k/p.b }
