package life

import (
	"fmt"
	"math"
)

// Weibull is a law of life: S(t) = exp(-(t/Scale)^Shape). Scale is an age, in the caller's unit; Shape has none.
type Weibull struct {
	Shape float64
	Scale float64
}

// Refusal is a question that cannot be answered: a class that programs compare and one sentence that a person reads.
type Refusal struct {
	Kind string // BadInput or TooFew
	Text string
}

// The classes of refusal.
const (
	BadInput = "bad_input" // a number out of its range
	TooFew   = "too_few"   // fewer measurements than the method needs
)

// Error returns the sentence.
func (r *Refusal) Error() string { return r.Text }

// Class returns the class.
func (r *Refusal) Class() string { return r.Kind }

// Check refuses a law whose shape or scale is not a finite number above zero.
func (w Weibull) Check() error {
	for _, p := range []struct {
		name string
		v    float64
	}{{"shape", w.Shape}, {"scale", w.Scale}} {
		if !(p.v > 0) || math.IsInf(p.v, 1) {
			return &Refusal{BadInput, fmt.Sprintf("the %s must be a number above zero; %g given", p.name, p.v)}
		}
	}
	return nil
}

// checkAge refuses an age, or a stretch of age, that is negative or not finite.
func checkAge(name string, v float64) error {
	if !(v >= 0) || math.IsInf(v, 1) {
		return &Refusal{BadInput, fmt.Sprintf("the %s must be a number of zero or more; %g given", name, v)}
	}
	return nil
}

// CumulativeHazard is H(t) = (t/Scale)^Shape, for t of 0 or more.
func (w Weibull) CumulativeHazard(t float64) float64 { return math.Pow(t/w.Scale, w.Shape) }

// FailsWithin is the chance that a life sound at age fails within x more: 1 - exp(H(age) - H(age+x)).
//
// Both in the unit of Scale, 0 or more. Small chances keep their digits: the difference of hazards is H(age) expm1(Shape
// log1p(x/age)) where x is the smaller. Source: Kalbfleisch and Prentice 2002.
func (w Weibull) FailsWithin(age, x float64) float64 { return -math.Expm1(-w.hazardStep(age, x)) }

// hazardStep is H(age+x) - H(age).
func (w Weibull) hazardStep(age, x float64) float64 {
	if x > age {
		return w.CumulativeHazard(age+x) - w.CumulativeHazard(age)
	}
	if age == 0 {
		return 0
	}
	return w.CumulativeHazard(age) * math.Expm1(w.Shape*math.Log1p(x/age))
}

// Quantile is the age that a share p of new lives does not reach: Scale (-ln(1-p))^(1/Shape), p in [0, 1).
func (w Weibull) Quantile(p float64) float64 {
	return w.Scale * math.Pow(-math.Log1p(-p), 1/w.Shape)
}

// ResidualQuantile is the further life x within which a share p of the lives sound at age fails:
// Scale (H(age) - ln(1-p))^(1/Shape) - age, p in [0, 1). Relative error near 1e-14 also where x is far below age.
func (w Weibull) ResidualQuantile(age, p float64) float64 {
	more, h := -math.Log1p(-p), w.CumulativeHazard(age)
	if !(more < h) {
		return w.Scale*math.Pow(h+more, 1/w.Shape) - age
	}
	return age * math.Expm1(math.Log1p(more/h)/w.Shape)
}

// Mean is the expected life from new: Scale Gamma(1 + 1/Shape).
func (w Weibull) Mean() float64 { return w.Scale * math.Exp(logGamma(1+1/w.Shape)) }

// ResidualMean is the expected further life of one sound at age: the integral of S from age on, over S(age), which is
// (Scale/Shape) exp(H) Gamma(1/Shape, H) with H = H(age). Relative error near 1e-13; 0 where H is beyond a float64.
func (w Weibull) ResidualMean(age float64) float64 {
	a, h := 1/w.Shape, w.CumulativeHazard(age)
	switch {
	case h == 0:
		return w.Mean() // less the age, of which nothing is left beside the mean
	case math.IsInf(h, 1):
		return 0
	case h >= a+1:
		return w.Scale * a * math.Pow(h, a) * gammaFraction(a, h)
	}
	return w.Mean() * gammaAbove(a, h) * math.Exp(h)
}

// Risk is FailsWithin for numbers that nobody has judged yet: a Refusal of kind BadInput for a law or an age out of range.
func (w Weibull) Risk(age, x float64) (float64, error) {
	if err := w.Check(); err != nil {
		return 0, err
	}
	if err := checkAge("age", age); err != nil {
		return 0, err
	}
	if err := checkAge("stretch ahead", x); err != nil {
		return 0, err
	}
	return w.FailsWithin(age, x), nil
}

// Residual is the further life of one sound at an age: what 10, 50 and 90 % do not reach, and its mean, in the unit of the scale.
type Residual struct{ Q10, Q50, Q90, Mean float64 }

// Residual is the further life of one sound at age; a Refusal of kind BadInput for a law or an age out of range.
func (w Weibull) Residual(age float64) (Residual, error) {
	if err := w.Check(); err != nil {
		return Residual{}, err
	}
	if err := checkAge("age", age); err != nil {
		return Residual{}, err
	}
	return Residual{w.ResidualQuantile(age, 0.1), w.ResidualQuantile(age, 0.5), w.ResidualQuantile(age, 0.9), w.ResidualMean(age)}, nil
}
