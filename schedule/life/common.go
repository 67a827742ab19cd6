package life

import "math"

// Common is one shape shared by several cohorts, each with a scale of its own, fitted together.
type Common struct {
	Shape    Figure            `json:"shape"`
	LogLik   Figure            `json:"loglik"`
	Scales   map[string]Figure `json:"scales"`
	Deviance Figure            `json:"deviance"` // 2 (sum of the cohorts' own maxima - joint maximum)
	Freedom  int               `json:"df"`       // cohorts - 1
	PValue   Figure            `json:"p_value"`  // chance of a deviance as great if the shapes were the same (chi-square)
}

// member is a cohort with a maximum of its own.
type member struct {
	name string
	s    *sample
	own  profiled
}

// commonShape fits one shape to all members by Newton on the sum of their profiles, in ln(shape). The sum falls outside the least
// and the greatest of their own shapes, so the maximum lies between them.
func commonShape(members []member) (*Common, error) {
	in := bracket{lo: math.Inf(1), hi: math.Inf(-1), loSeen: true, hiSeen: true}
	weight, sum, own := 0.0, 0.0, 0.0
	for _, m := range members {
		log := math.Log(m.own.b)
		in.lo, in.hi = min(in.lo, log), max(in.hi, log)
		weight -= m.own.bend
		sum -= m.own.bend * log
		own += m.own.l
	}
	at := sum / weight
	for range 200 {
		l, slope, bend := sumOfProfiles(members, math.Exp(at))
		step := -slope / bend
		if bend < 0 && math.Abs(step) <= 1e-10 || in.hi-in.lo <= 1e-13 {
			return newCommon(members, math.Exp(at), l, own), nil
		}
		if slope > 0 {
			in.lo = at
		} else {
			in.hi = at
		}
		at = in.next(at, step, bend < 0)
	}
	return nil, &NoMaximum{NotConverged}
}

// sumOfProfiles adds the members' profiles and their derivatives at one shape.
func sumOfProfiles(members []member, b float64) (l, slope, bend float64) {
	for _, m := range members {
		p := m.s.profile(b)
		l += p.l
		slope += p.slope
		bend += p.bend
	}
	return l, slope, bend
}

// newCommon states a joint fit.
func newCommon(members []member, b, l, own float64) *Common {
	c := &Common{Shape: Figure(b), LogLik: Figure(l), Scales: map[string]Figure{}, Freedom: len(members) - 1}
	for _, m := range members {
		c.Scales[m.name] = Figure(math.Exp(m.s.logScale(m.s.profile(b).point)))
	}
	deviance := max(0, 2*(own-l))
	c.Deviance, c.PValue = Figure(deviance), Figure(chiSquareAbove(deviance, c.Freedom))
	return c
}
