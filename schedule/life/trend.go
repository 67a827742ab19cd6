package life

import (
	"fmt"
	"math"
	"slices"
)

// Measurements are repeated measurements of one quantity on one thing: cover thickness, take-up travel, splice gap, hardness.
type Measurements struct {
	Times      []float64 // in one unit, in any order; two may be the same
	Values     []float64 // as many, in one unit
	Limit      float64   // the value that must not be passed, in that unit
	Confidence float64   // two-sided, in (0, 1)
}

// most is how many measurements a trend takes: the pairs are a thousand times as many.
const most = 3000

// RobustTrend is the slope that half the misreadings cannot move, and when it meets the limit.
type RobustTrend struct {
	Slope         float64
	Intercept     float64 // value at time 0
	SlopeLower    Figure  // None: no interval from so few points
	SlopeUpper    Figure
	Crossing      Figure // time at which the line meets the limit; None when it heads away; one in the past: already reached
	CrossEarliest Figure
	CrossLatest   Figure // None unless both limits of the slope head for the limit
}

// Trend is the line of least squares and when it meets the limit.
type Trend struct {
	Slope              float64
	Intercept          float64
	ResidualSD         Figure // None with two measurements
	R2                 Figure // None when all values are the same
	SlopeLower         Figure // Student limits
	SlopeUpper         Figure
	Crossing           Figure
	PredictionEarliest Figure // where the prediction interval of a single reading meets the limit
	PredictionLatest   Figure // None when the slope is not significant: the band never leaves the limit
	MeanEarliest       Figure // the same for the band of the mean
	MeanLatest         Figure
}

// check refuses what no line can be laid through.
func (m Measurements) check() error {
	n := len(m.Times)
	switch {
	case n != len(m.Values):
		return &Refusal{BadInput, fmt.Sprintf("there are %d times and %d values; give one value for each time", n, len(m.Values))}
	case n < 2:
		return &Refusal{TooFew, fmt.Sprintf("a trend needs two measurements or more; %d given", n)}
	case n > most:
		return &Refusal{BadInput, fmt.Sprintf("a trend takes up to %d measurements; %d given, leave out the oldest", most, n)}
	case !(m.Confidence > 0 && m.Confidence < 1):
		return &Refusal{BadInput, fmt.Sprintf("the confidence must lie between 0 and 1; %g given", m.Confidence)}
	}
	for _, v := range append(append([]float64{m.Limit}, m.Times...), m.Values...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return &Refusal{BadInput, "a time, a value or the limit is not a finite number; correct it"}
		}
	}
	if slices.Min(m.Times) == slices.Max(m.Times) {
		return &Refusal{TooFew, "all measurements were taken at one time; a trend needs two times"}
	}
	return nil
}

// crossing is the time at which a line meets the limit, None when it does not head there from its value at the first time.
func (m Measurements) crossing(slope, intercept float64) Figure {
	if first := intercept + slope*slices.Min(m.Times); slope == 0 || (m.Limit-first)*slope < 0 {
		return None
	}
	return Figure((m.Limit - intercept) / slope)
}

// Robust is the slope of Theil (1950) with the limits of Sen (1968, JASA 63).
//
// Slope = median of the slopes of all pairs at different times, intercept = median(value - slope time). The limits are the k-th
// least and greatest of the N slopes, k = floor((N - z sqrt(V))/2), V = (n(n-1)(2n+5) - sum over ties in value and in time of
// g(g-1)(2g+5))/18; k is rounded down, the cautious choice. Each limit has an intercept of its own. Refusals: BadInput, TooFew.
func (m Measurements) Robust() (RobustTrend, error) {
	if err := m.check(); err != nil {
		return RobustTrend{}, err
	}
	slopes := m.pairSlopes()
	r := RobustTrend{Slope: median(slopes), SlopeLower: None, SlopeUpper: None, CrossEarliest: None, CrossLatest: None}
	r.Intercept = m.medianIntercept(r.Slope)
	r.Crossing = m.crossing(r.Slope, r.Intercept)
	n := float64(len(m.Times))
	v := (n*(n-1)*(2*n+5) - tieTerm(m.Values) - tieTerm(m.Times)) / 18
	k := int(math.Floor((float64(len(slopes)) - normalRoot(m.Confidence)*math.Sqrt(max(v, 0))) / 2))
	if k < 1 {
		return r, nil
	}
	lower, upper := slopes[k-1], slopes[len(slopes)-k]
	r.SlopeLower, r.SlopeUpper = Figure(lower), Figure(upper)
	a, b := m.crossing(lower, m.medianIntercept(lower)), m.crossing(upper, m.medianIntercept(upper))
	switch {
	case a.Known() && b.Known():
		r.CrossEarliest, r.CrossLatest = min(a, b), max(a, b)
	case a.Known():
		r.CrossEarliest = a
	case b.Known():
		r.CrossEarliest = b
	}
	return r, nil
}

// pairSlopes are the slopes of all pairs at different times, sorted.
func (m Measurements) pairSlopes() []float64 {
	slopes := make([]float64, 0, len(m.Times)*(len(m.Times)-1)/2)
	for i := range m.Times {
		for j := range i {
			if m.Times[i] != m.Times[j] {
				slopes = append(slopes, (m.Values[i]-m.Values[j])/(m.Times[i]-m.Times[j]))
			}
		}
	}
	slices.Sort(slopes)
	return slopes
}

// medianIntercept is the median of value - slope time.
func (m Measurements) medianIntercept(slope float64) float64 {
	rest := make([]float64, len(m.Times))
	for i, t := range m.Times {
		rest[i] = m.Values[i] - slope*t
	}
	slices.Sort(rest)
	return median(rest)
}

// median of sorted numbers.
func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// tieTerm is the sum of g(g-1)(2g+5) over groups of g equal numbers.
func tieTerm(numbers []float64) float64 {
	groups, sum := map[float64]float64{}, 0.0
	for _, v := range numbers {
		groups[v]++
	}
	for _, g := range groups {
		sum += g * (g - 1) * (2*g + 5)
	}
	return sum
}

// LeastSquares is the ordinary line with Student limits, and where its bands meet the limit.
//
// The band of a single reading is value(t) +/- q s sqrt(1 + 1/n + (t - mean t)^2/Sxx), that of the mean lacks the 1; q has n - 2
// degrees of freedom. Source: Draper and Smith, Applied Regression Analysis, 3rd ed. 1998. With two
// measurements there are no limits, with three they are very wide. Refusals: BadInput, TooFew.
func (m Measurements) LeastSquares() (Trend, error) {
	if err := m.check(); err != nil {
		return Trend{}, err
	}
	f := m.fitLine()
	r := Trend{
		Slope: f.slope, Intercept: f.meanV - f.slope*f.meanT, ResidualSD: None, R2: None, SlopeLower: None, SlopeUpper: None,
		PredictionEarliest: None, PredictionLatest: None, MeanEarliest: None, MeanLatest: None,
	}
	r.Crossing = m.crossing(r.Slope, r.Intercept)
	if f.syy > 0 {
		r.R2 = Figure(1 - f.rss/f.syy)
	}
	if f.n < 3 {
		return r, nil
	}
	sd := math.Sqrt(f.rss / (f.n - 2))
	reach := studentRoot(m.Confidence, int(f.n)-2) * sd
	wide := reach / math.Sqrt(f.sxx)
	r.ResidualSD, r.SlopeLower, r.SlopeUpper = Figure(sd), Figure(f.slope-wide), Figure(f.slope+wide)
	r.PredictionEarliest, r.PredictionLatest = m.meets(f, reach, 1+1/f.n)
	r.MeanEarliest, r.MeanLatest = m.meets(f, reach, 1/f.n)
	return r, nil
}

// line is a least-squares fit about the means.
type line struct{ n, meanT, meanV, sxx, syy, rss, slope float64 }

// fitLine sums in two passes, so that times far from zero lose nothing.
func (m Measurements) fitLine() line {
	f := line{n: float64(len(m.Times))}
	for i := range m.Times {
		f.meanT += m.Times[i] / f.n
		f.meanV += m.Values[i] / f.n
	}
	sxy := 0.0
	for i := range m.Times {
		t, v := m.Times[i]-f.meanT, m.Values[i]-f.meanV
		f.sxx += t * t
		f.syy += v * v
		sxy += t * v
	}
	f.slope = sxy / f.sxx
	for i := range m.Times {
		d := m.Values[i] - f.meanV - f.slope*(m.Times[i]-f.meanT)
		f.rss += d * d
	}
	return f
}

// meets are the times at which the band of half width reach sqrt(own + (t - mean t)^2/Sxx) begins and ends to hold the limit.
//
// They solve (D - slope z)^2 = reach^2 (own + z^2/Sxx), z = t - mean t, D = limit - mean value. With a significant slope there are two
// roots; without one the latest is open, and the earliest is the first meeting after the mean time.
func (m Measurements) meets(f line, reach, own float64) (earliest, latest Figure) {
	d := m.Limit - f.meanV
	a := f.slope*f.slope - reach*reach/f.sxx
	half := d * f.slope
	c := d*d - reach*reach*own
	// (D slope)^2 - a c without its cancellation, which left points on one line without an interval
	root := reach * math.Sqrt(own*a+d*d/f.sxx)
	significant := a > 0
	if significant && !m.crossing(f.slope, f.meanV-f.slope*f.meanT).Known() || math.IsNaN(root) {
		return None, None
	}
	// the root of greater size first; the other from the product, without cancellation
	q := half + math.Copysign(root, half)
	z1, z2 := q/a, c/q
	if q == 0 {
		z1, z2 = 0, 0
	}
	z1, z2 = min(z1, z2), max(z1, z2)
	if significant {
		return Figure(f.meanT + z1), Figure(f.meanT + z2)
	}
	for _, z := range []float64{z1, z2} {
		if z > 0 {
			return Figure(f.meanT + z), None
		}
	}
	return None, None
}
