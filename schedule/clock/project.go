package clock

import (
	"math"
	"sync"
	"time"
)

// Plan is a line's planned running; calendar.Production is one.
type Plan interface {
	// Planned returns the planned hours in [from, to).
	Planned(from, to time.Time) float64
	// Reach returns the first instant by which so many planned hours have come; false when they never do.
	Reach(from time.Time, hours float64) (time.Time, bool)
}

// Basis says in words what a projection rests on.
type Basis string

// What a projection may rest on.
const (
	NoBasis          Basis = ""
	PlanTimesRatio   Basis = "planned hours x observed ratio"
	PlanAlone        Basis = "planned hours alone"
	ObservedMeanRate Basis = "observed mean rate"
)

// The spread's assumptions, both rules of thumb. They carry it until the plant's own readings outweigh them.
const (
	// assumedWeeklyVariation is the standard deviation of one week's running over its mean.
	assumedWeeklyVariation = 0.15
	// assumedWeight is how many weeks of own readings that assumption weighs as much as.
	assumedWeight = 2
	// assumedRatioError is the standard deviation of hours run over hours planned where nothing has been observed.
	assumedRatioError = 0.25
	// leastRate keeps a belt that stood still from being projected to stand still for certain.
	leastRate = 0.1
	// week is the shortest stretch between readings that is compared with the plan: shorter ones vary with the hour of reading.
	week = 7 * 24 * time.Hour
)

// Projection is H(t) with what is expected after the last accepted reading. Its zero value knows nothing.
//
// With t_n the last point, T the trailing period, a = max(t_n - T, first point), x(t) the planned hours from t_n to t and
// r = (H(t_n) - H(a)) / P(a, t_n):
//
//	plan and P(a, t_n) > 0     H(t) = H(t_n) + r x(t)
//	plan and one point         r = 1; without any point H(t) = P(in service since, t)
//	no plan, or P(a, t_n) = 0  x(t) = t - t_n in hours, r = (H(t_n) - H(a)) / (t_n - a)
//
// The spread is one standard deviation, sqrt(s² x + V x²). s² is the variance of hours run per hour of x, from the
// stretches between readings of the trailing period, each at least a week: sum((h_j - r x_j)²/x_j) over one less than
// their number, pooled with an assumed variation of 15 % of a week that weighs as much as two of them (rule of thumb).
// V is the variance of r: s² over the x observed, or 0.25² where r is assumed. x is zero at t_n and never falls, so the
// spread is too. It ignores changes of duty and seasons; a plan that changes is known by its exceptions only.
//
// Making one costs one sum of the plan, asking its hours one more. The spread costs a sum for each reading of the trailing
// period, so it is worked out when it is first asked for: whoever dates splices asks for hours alone.
type Projection struct {
	line    Line
	plan    Plan // nil when x is elapsed time
	start   Point
	known   bool // start is known
	basis   Basis
	rate    float64
	scatter func() (variance, rateVar float64) // s², hours² per hour of x, and V; nil: neither
}

// Project prepares the projection of a line.
//
//	line       through the accepted readings; those of the trailing period and the one before are enough
//	plan       planned hours, nil when the line has none
//	trailing   the period whose hours run are compared with the plan, over 0; 90 days is usual
//	inService  since when the belt runs, for a conveyor without readings; zero when not known
func Project(line Line, plan Plan, trailing time.Duration, inService time.Time) Projection {
	p := Projection{line: line, plan: plan}
	last, some := line.Last()
	switch {
	case some:
		p.start, p.known = last, true
		p.observe(trailing)
	case plan != nil && !inService.IsZero():
		p.start, p.known = Point{At: inService.UTC()}, true
		p.assume()
	}
	return p
}

// observe sets rate and spread from the trailing period.
func (p *Projection) observe(trailing time.Duration) {
	first, _ := p.line.First()
	from := p.start.At.Add(-trailing)
	if from.Before(first.At) {
		from = first.At
	}
	ranBefore, _ := p.line.At(from)
	ran := p.start.Hours - ranBefore
	if !from.Before(p.start.At) {
		if p.plan != nil {
			p.assume()
		}
		return
	}
	p.basis = PlanTimesRatio
	x := p.exposure(from, p.start.At)
	if p.plan == nil || x <= 0 {
		p.plan, p.basis = nil, ObservedMeanRate
		x = p.exposure(from, p.start.At)
	}
	p.rate = max(0, ran/x)
	made := *p
	p.scatter = sync.OnceValues(func() (variance, rateVar float64) {
		variance = made.observedVariance(from, x)
		return variance, variance / x
	})
}

// assume takes the plan as it stands.
func (p *Projection) assume() {
	p.basis, p.rate = PlanAlone, 1
	plan, from := p.plan, p.start.At
	p.scatter = sync.OnceValues(func() (variance, rateVar float64) {
		meanWeek := plan.Planned(from, from.Add(8*week)) / 8
		return assumedVariance(1, meanWeek), assumedRatioError * assumedRatioError
	})
}

// assumedVariance is s² when one week's running varies as assumed about its mean.
func assumedVariance(rate, meanWeek float64) float64 {
	deviation := assumedWeeklyVariation * math.Max(rate, leastRate)
	return deviation * deviation * meanWeek
}

// observedVariance estimates s² from the stretches between readings since from; x is the exposure of all of them.
func (p *Projection) observedVariance(from time.Time, x float64) float64 {
	squares, stretches := 0.0, 0
	at := from
	before, _ := p.line.At(from)
	for _, point := range p.line.points {
		if point.At.Sub(at) < week {
			continue
		}
		xj := p.exposure(at, point.At)
		if xj <= 0 {
			continue // a stretch without planned hours is taken together with the next
		}
		off := point.Hours - before - p.rate*xj
		squares += off * off / xj
		stretches++
		at, before = point.At, point.Hours
	}
	weeks := p.start.At.Sub(from).Hours() / week.Hours()
	assumed := assumedVariance(p.rate, x/weeks)
	freedom := math.Max(0, float64(stretches-1))
	return (assumedWeight*assumed + squares) / (assumedWeight + freedom)
}

// exposure is x: planned hours, or elapsed ones where no plan counts.
func (p *Projection) exposure(from, to time.Time) float64 {
	if p.plan == nil {
		return to.Sub(from).Hours()
	}
	return p.plan.Planned(from, to)
}

// Estimate is what is known of the running hours at an instant.
type Estimate struct {
	Hours     float64
	SpreadH   float64 // one standard deviation; zero up to the last reading
	Known     bool    // false: neither read nor to be projected
	Projected bool    // after the last reading
}

// At returns the running hours at an instant: read off the line up to its last point, projected after it.
func (p Projection) At(t time.Time) Estimate {
	e, x := p.hours(t)
	if e.Projected {
		e.SpreadH = p.spread(x)
	}
	return e
}

// hours is At without the spread, with the exposure it would be taken at.
func (p Projection) hours(t time.Time) (e Estimate, x float64) {
	if !p.known || !t.After(p.start.At) {
		hours, known := p.line.At(t)
		if p.known && t.Equal(p.start.At) {
			hours, known = p.start.Hours, true
		}
		return Estimate{Hours: hours, Known: known}, 0
	}
	if p.basis == NoBasis {
		return Estimate{}, 0
	}
	x = p.exposure(p.start.At, t)
	return Estimate{Hours: p.start.Hours + p.rate*x, Known: true, Projected: true}, x
}

// spread returns one standard deviation after x hours of exposure.
func (p Projection) spread(x float64) float64 {
	variance, rateVar := p.variances()
	return math.Sqrt(variance*x + rateVar*x*x)
}

// variances returns s² and V.
func (p Projection) variances() (variance, rateVar float64) {
	if p.scatter == nil {
		return 0, 0
	}
	return p.scatter()
}

// HoursAt returns At's hours, for Duty.
func (p Projection) HoursAt(t time.Time) (float64, bool) {
	e, _ := p.hours(t)
	return e.Hours, e.Known
}

// Basis says what the projection rests on, and with which rate: hours run per hour planned, or per hour elapsed for ObservedMeanRate.
func (p Projection) Basis() (Basis, float64) { return p.basis, p.rate }

// Start returns the point after which hours are projected; false when there is none.
func (p Projection) Start() (Point, bool) { return p.start, p.known }

// When returns the first instant at which so many running hours are reached; false when they were reached before the
// first reading, or never will be.
func (p Projection) When(hours float64) (time.Time, bool) {
	if !p.known {
		return time.Time{}, false
	}
	if hours <= p.start.Hours {
		if at, ok := p.line.When(hours); ok {
			return at, true
		}
		return p.start.At, hours == p.start.Hours
	}
	if !(p.rate > 0) {
		return time.Time{}, false
	}
	return p.reach((hours - p.start.Hours) / p.rate)
}

// farthestHours bounds a projection to 200 years, inside what a time.Duration holds.
const farthestHours = 200 * 365.25 * 24

// reach returns the instant after so many hours of exposure.
func (p Projection) reach(x float64) (time.Time, bool) {
	switch {
	case !(x < farthestHours):
		return time.Time{}, false
	case p.plan == nil:
		return p.start.At.Add(time.Duration(x * float64(time.Hour))), true
	default:
		return p.plan.Reach(p.start.At, x)
	}
}

// Band returns between which instants so many running hours are reached when the projection is off by z standard
// deviations either way; 1.28 leaves one chance in ten on each side. The zero time for late means never. Both are the
// reading's own instant for hours that are read already; false when When is false.
func (p Projection) Band(hours, z float64) (early, late time.Time, ok bool) {
	at, ok := p.When(hours)
	if !ok || hours <= p.start.Hours {
		return at, at, ok
	}
	// H + z spread = hours and H - z spread = hours are the two roots of a x² - b x + c = 0.
	need := hours - p.start.Hours
	variance, rateVar := p.variances()
	a := p.rate*p.rate - z*z*rateVar
	b := 2*need*p.rate + z*z*variance
	root := b + math.Sqrt(math.Max(0, b*b-4*a*need*need))
	early, found := p.reach(2 * need * need / root)
	if soonest := p.start.At.Add(hoursOf(need)); !found || early.Before(soonest) {
		early = soonest // no belt runs more than 24 hours a day
	}
	if early.After(at) {
		early = at
	}
	if a > 0 {
		late, _ = p.reach(root / (2 * a))
	}
	return early, late, true
}

// hoursOf makes a duration of hours, bounded by what one holds.
func hoursOf(h float64) time.Duration {
	return time.Duration(math.Min(h, farthestHours) * float64(time.Hour))
}
