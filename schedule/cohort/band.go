package cohort

import (
	"math"
	"time"
)

// Cause is something by which a splice comes due.
type Cause struct {
	Words  string                    // "failing, by 23 failures of its cohort", "limit of rule R7, 26,000 h"
	Chance func(t time.Time) float64 // that it has happened by then, given what is known of it by now; never falls with t. A limit last seen unmet may have been met since
}

// DueBand is the dates at which the chance of coming due reaches 10, 50 and 90 %; the zero time is beyond the horizon.
type DueBand struct {
	At10, At50, At90 time.Time
	Binding          int // the cause with the earliest 50 % date; -1 when none reaches it
}

// Compose joins the causes: the chance of coming due by a date is 1 - product of (1 - chance of each cause). Causes are
// taken as independent, which whoever shows the band has to say.
//
// Dates are found to two hours between now and the horizon.
func Compose(causes []Cause, now, horizon time.Time) DueBand {
	joint := func(t time.Time) float64 {
		none := 1.0
		for _, c := range causes {
			none *= 1 - c.Chance(t)
		}
		return 1 - none
	}
	b := DueBand{Binding: -1}
	if len(causes) == 0 {
		return b
	}
	b.At50 = reaches(joint, 0.5, now, horizon)
	soon, early, late := horizon, now, now // what the middle tells of where the others lie
	if !b.At50.IsZero() {
		soon, late = b.At50, b.At50
		if before := b.At50.Add(-toHours * time.Hour); before.After(now) {
			early = before
		}
	}
	b.At10, b.At90 = reaches(joint, 0.1, now, soon), reaches(joint, 0.9, late, horizon)
	if len(causes) == 1 {
		if !b.At50.IsZero() {
			b.Binding = 0
		}
		return b
	}
	first := horizon // no cause comes before all of them together
	for i, c := range causes {
		if c.Chance(first) < 0.5 {
			continue // not before the earliest so far
		}
		if at := reaches(c.Chance, 0.5, early, first); b.Binding < 0 || at.Before(first) {
			first, b.Binding = at, i
		}
	}
	return b
}

// toHours is how near dates are found.
const toHours = 2

// reaches is the first time at which a chance reaches a share, to two hours; zero when not by the horizon.
//
// Where a straight line between the ends of the bracket is there, held near the middle so that it takes no more than one step
// beyond those of halving, whatever the chance: it may jump (ITP: Oliveira and Takahashi 2020, ACM Transactions on Mathematical
// Software 47).
func reaches(chance func(time.Time) float64, share float64, now, horizon time.Time) time.Time {
	at := func(hours float64) time.Time { return now.Add(time.Duration(hours * float64(time.Hour))) }
	short := func(t time.Time) float64 { return chance(t) - share }
	lo, hi := 0.0, horizon.Sub(now).Hours()
	below, above := short(now), 0.0
	if below >= 0 {
		return now
	}
	if above = short(horizon); above < 0 {
		return time.Time{}
	}
	slack := toHours / 2 * math.Exp2(math.Ceil(math.Log2(max(1, hi/toHours)))+1)
	for whole := hi; hi-lo > toHours; slack /= 2 {
		mid, straight := lo+(hi-lo)/2, lo+(hi-lo)*below/(below-above)
		towards := math.Copysign(1, mid-straight)
		x := mid
		if nudge := 0.2 * (hi - lo) * (hi - lo) / whole; nudge <= math.Abs(mid-straight) {
			x = straight + towards*nudge
		}
		if most := max(0, slack-(hi-lo)/2); math.Abs(x-mid) > most {
			x = mid - towards*most
		}
		if v := short(at(x)); v >= 0 {
			hi, above = x, v
		} else {
			lo, below = x, v
		}
	}
	return at(hi)
}

// Ran is what a splice will have run by a date: units of a clock since now, with one standard deviation.
type Ran func(t time.Time) (mean, spread float64)

// FailsBy is the chance of failing by a date, averaged over how much will have been run; within is the chance of failing
// within so many more units.
//
// What it will run is taken as normal, cut at zero, by the five-point rule of Gauss and Hermite (Abramowitz and Stegun,
// table 25.10). The chances are read off a curve laid once from least to most units to come, both above 0 and the chance
// between 0 and 1 at both, so that a date costs five look-ups.
func FailsBy(within func(x float64) float64, ran Ran, least, most float64) func(t time.Time) float64 {
	curve := lay(within, least, most)
	return func(t time.Time) float64 {
		mean, spread := ran(t)
		if !(mean > 0) {
			return 0
		}
		sum := 0.0
		for i, z := range hermiteAt {
			sum += hermiteWeight[i] * curve.at(max(0, mean+math.Sqrt2*spread*z))
		}
		return sum
	}
}

// Points and weights of the rule, weights over sqrt(pi) so that they sum to 1.
var (
	hermiteAt     = [5]float64{-2.020182870456086, -0.958572464613819, 0, 0.958572464613819, 2.020182870456086}
	hermiteWeight = [5]float64{0.011257411327720693, 0.22207592200561264, 0.5333333333333333, 0.22207592200561264, 0.011257411327720693}
)

// curve is the chance of failing within x more units, laid at even steps of ln x as ln(-ln(1 - p)): of a Weibull law that is a
// straight line, of an aged or averaged one nearly so, so that few points do.
type curve struct {
	first, step float64 // of ln x
	c           [curvePoints]float64
}

const curvePoints = 14

func lay(within func(x float64) float64, least, most float64) curve {
	c := curve{first: math.Log(least), step: math.Log(most/least) / (curvePoints - 1)}
	for i := range c.c {
		c.c[i] = math.Log(-math.Log1p(-within(math.Exp(c.first + float64(i)*c.step))))
	}
	return c
}

// at reads the curve; before its first point it goes on as straight as it began, behind its last it stays.
func (c *curve) at(x float64) float64 {
	if x <= 0 {
		return 0
	}
	at := (math.Log(x) - c.first) / c.step
	if at >= curvePoints-1 {
		return cloglog(c.c[curvePoints-1])
	}
	i := max(0, int(at))
	return cloglog(c.c[i] + (c.c[i+1]-c.c[i])*(at-float64(i)))
}

func cloglog(c float64) float64 { return -math.Expm1(-math.Exp(c)) }

// PassesBy is the chance that a limit is passed by a date, for a limit so many units ahead: what will have been run is
// taken as normal.
func PassesBy(ahead float64, ran Ran) func(t time.Time) float64 {
	return func(t time.Time) float64 {
		mean, spread := ran(t)
		switch {
		case ahead <= 0:
			return 1
		case spread <= 0 && mean >= ahead:
			return 1
		case spread <= 0:
			return 0
		}
		return math.Erfc((ahead-mean)/(spread*math.Sqrt2)) / 2
	}
}

// OnDate is the chance of a cause that comes on a date.
func OnDate(due time.Time) func(t time.Time) float64 {
	return func(t time.Time) float64 {
		if t.Before(due) {
			return 0
		}
		return 1
	}
}
