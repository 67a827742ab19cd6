package life

import "math"

// Goodness is how well the fitted law describes its lives.
type Goodness struct {
	MaxGap            Figure `json:"max_gap"`            // largest distance between the fitted and the non-parametric survival
	ExponentialLogLik Figure `json:"exponential_loglik"` // maximum with shape 1
	DevianceShape1    Figure `json:"deviance_shape_1"`   // 2 (loglik - exponential_loglik)
	PShape1           Figure `json:"p_shape_1"`          // chance of a deviance as great without wear (chi-square, 1 df): small = wear shows
}

// conditional is the fitted survival given that a life reached the age from which the cohort is watched.
type conditional struct {
	law  Weibull
	from float64
}

func (c conditional) survival(age float64) float64 {
	return 1 - c.law.FailsWithin(c.from, max(age, c.from)-c.from)
}

// leastEntry is the age from which the cohort is watched.
func leastEntry(lives []Observation) float64 {
	least := math.Inf(1)
	for _, o := range lives {
		least = min(least, o.Entry)
	}
	return least
}

// gapToSteps is the largest distance just before and at every age of failure.
func (c conditional) gapToSteps(rows []ProductLimitRow) float64 {
	worst, before := 0.0, 1.0
	for _, r := range rows {
		s := c.survival(r.Time)
		worst = max(worst, math.Abs(s-before), math.Abs(s-r.Survival))
		before = r.Survival
	}
	return worst
}

// gapToMasses is the largest distance at both ends of every interval that ends: at its lower end against the survival before it, at
// its upper end against the survival after it. A lower end below the age from which the cohort is watched is taken there.
func (c conditional) gapToMasses(rows []MassAt) float64 {
	worst, before := 0.0, 1.0
	for _, r := range rows {
		if r.Upper.Known() {
			worst = max(worst, math.Abs(c.survival(r.Lower)-before), math.Abs(c.survival(float64(r.Upper))-r.Survival))
		}
		before = r.Survival
	}
	return worst
}
