package life

import (
	"fmt"
	"math"
)

// Costs are what a replacement costs, planned and after a failure, in one currency: stop hours x cost per hour + labour + belt.
type Costs struct {
	Planned   float64
	Unplanned float64
}

// The outcomes of the question when to replace.
const (
	Optimum   = "optimum"
	NoOptimum = "no_optimum"
)

// The reasons for which there is no age worth replacing at: run and inspect.
const (
	ByShape  = "shape"  // the law does not wear: shape 1 or below
	ByCosts  = "costs"  // a failure is not dearer than a planned replacement
	BySaving = "saving" // the best age saves less than 1 % against running to failure
)

// leastSaving is the share of the cost of running to failure below which a rule is not worth keeping, by convention.
const leastSaving = 0.01

// flatness is how much dearer than the best age the ends of the flat region are.
const flatness = 1.05

// Replacement is when to replace a unit of a known law.
type Replacement struct {
	Result   string // Optimum or NoOptimum
	Reason   string // "" with an optimum
	Age      Figure // best age T*, in the unit of the scale
	CostRate Figure // C at the best age, currency per unit of age; with BySaving, at the age that would be best
	Saving   Figure // 1 - C(T*)/C(running to failure)
	Low      Figure // from here ...
	High     Figure // ... to here C is at most 1.05 C(T*); None = running to failure stays within it
}

// Replace finds the age T that makes C(T) = (cp R(T) + cf F(T)) / (integral of R from 0 to T) least.
//
// T* solves h(T) integral_0^T R - F(T) = cp/(cf - cp), whose left side rises from 0 without end when shape is above 1. Costs are
// finite and above 0. Relative error of T* near 1e-13. Source: Barlow and Proschan 1965, Mathematical Theory of Reliability, ch. 4;
// it ignores discounting and counts a replaced unit as new. A Refusal of kind BadInput for numbers out of range.
func Replace(law Weibull, costs Costs) (Replacement, error) {
	if err := law.Check(); err != nil {
		return Replacement{}, err
	}
	for name, c := range map[string]float64{"planned": costs.Planned, "unplanned": costs.Unplanned} {
		if !(c > 0) || math.IsInf(c, 1) {
			return Replacement{}, &Refusal{BadInput, fmt.Sprintf("the cost of a %s replacement must be a number above zero; %g given", name, c)}
		}
	}
	none := Replacement{Result: NoOptimum, Age: None, CostRate: None, Saving: None, Low: None, High: None}
	switch {
	case law.Shape <= 1:
		none.Reason = ByShape
		return none, nil
	case costs.Unplanned <= costs.Planned:
		none.Reason = ByCosts
		return none, nil
	}
	return (&ageing{law: law, costs: costs, a: 1 / law.Shape}).best(), nil
}

// ageing is age replacement in y = ln H(T): the cumulative hazard, unlike the age, has no unit.
type ageing struct {
	law   Weibull
	costs Costs
	a     float64 // 1/shape
}

// The ends of ln H between which ages are looked for.
const leastLogHazard, greatestLogHazard = -700.0, 700.0

// age is T at y.
func (r *ageing) age(y float64) float64 { return r.law.Scale * math.Exp(y*r.a) }

// shareSpent is (integral of R up to T) / mean.
func (r *ageing) shareSpent(y float64) float64 { return gammaBelow(r.a, math.Exp(y)) }

// shareLeft is 1 - shareSpent, with its digits.
func (r *ageing) shareLeft(y float64) float64 { return gammaAbove(r.a, math.Exp(y)) }

// relativeCost is C(T)/C(running to failure).
func (r *ageing) relativeCost(y float64) float64 {
	dearer := r.costs.Unplanned - r.costs.Planned
	return (r.costs.Planned - dearer*math.Expm1(-math.Exp(y))) / (r.costs.Unplanned * r.shareSpent(y))
}

// saving is 1 - relativeCost, with its digits when it is small.
func (r *ageing) saving(y float64) float64 {
	dearer := (r.costs.Unplanned - r.costs.Planned) / r.costs.Unplanned
	return (dearer*math.Exp(-math.Exp(y)) - r.shareLeft(y)) / r.shareSpent(y)
}

// best finds T* and the region round it.
func (r *ageing) best() Replacement {
	gammaOver := math.Exp(logGamma(1 + r.a))
	ratio := r.costs.Planned / (r.costs.Unplanned - r.costs.Planned)
	y := rising(leastLogHazard, greatestLogHazard, func(y float64) float64 {
		// h(T) integral R = shape u^(1-a) Gamma(1+a) P(a, u); F = 1 - exp(-u)
		return r.law.Shape*math.Exp(y*(1-r.a))*gammaOver*r.shareSpent(y) + math.Expm1(-math.Exp(y)) - ratio
	})
	runToFailure := r.costs.Unplanned / r.law.Mean()
	saving := max(0, r.saving(y))
	out := Replacement{
		Result: Optimum, Age: Figure(r.age(y)), Saving: Figure(saving), CostRate: Figure(runToFailure * r.relativeCost(y)),
		Low: None, High: None,
	}
	if saving < leastSaving {
		out.Result, out.Reason, out.Age = NoOptimum, BySaving, None
		return out
	}
	edge := flatness * r.relativeCost(y)
	out.Low = Figure(r.age(rising(leastLogHazard, y, func(v float64) float64 { return edge - r.relativeCost(v) })))
	if edge < 1 {
		out.High = Figure(r.age(rising(y, greatestLogHazard, func(v float64) float64 { return r.relativeCost(v) - edge })))
	}
	return out
}

// CostRate is C(T) of Replace at an age T above 0: what replacing at that age costs in the long run, currency per unit of
// age. As T grows it nears the cost of running to failure, unplanned cost / mean life.
func CostRate(law Weibull, costs Costs, age float64) float64 {
	r := ageing{law: law, costs: costs, a: 1 / law.Shape}
	return r.relativeCost(law.Shape*math.Log(age/law.Scale)) * costs.Unplanned / law.Mean()
}
