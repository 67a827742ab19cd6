package life

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// The methods by which a cohort's law is found.
const (
	MaximumLikelihood = "ml"          // shape and scale fitted
	FixedShape        = "fixed_shape" // shape held, scale fitted
	LowerBound        = "lower_bound" // no failure: shape held, scale bounded from below
)

// Where a shape comes from.
const (
	ShapeFitted  = "fitted"  // the cohort's own lives
	ShapeGiven   = "given"   // the caller
	ShapeCommon  = "common"  // the cohorts that are fitted, together
	ShapeDefault = "default" // a rule of thumb, class D
)

// defaultShape is the shape of cohorts with nothing to borrow from: wear that sets in slowly. Rule of thumb, class D.
const defaultShape = 2

// Settings are what a fit is asked for.
type Settings struct {
	Confidence float64   // of every limit, in (0, 1)
	Quantiles  []float64 // shares p in (0, 1) of which the life is asked; 0.1 is B10
	FixedShape float64   // shape of thin cohorts, above 0; 0 = none given
}

// Check refuses settings out of their range.
func (s Settings) Check() error {
	open := func(p float64) bool { return p > 0 && p < 1 }
	switch {
	case !open(s.Confidence):
		return &Refusal{BadInput, fmt.Sprintf("the confidence must lie between 0 and 1; %g given", s.Confidence)}
	case slices.ContainsFunc(s.Quantiles, func(p float64) bool { return !open(p) }):
		return &Refusal{BadInput, "a quantile must lie between 0 and 1"}
	case s.FixedShape < 0 || math.IsNaN(s.FixedShape) || math.IsInf(s.FixedShape, 0):
		return &Refusal{BadInput, fmt.Sprintf("the fixed shape must be a number above 0; %g given", s.FixedShape)}
	}
	return nil
}

// Report is the fit of all cohorts of a call.
type Report struct {
	Cohorts []Fitted
	Common  *Common // nil with fewer than two cohorts fitted by maximum likelihood
}

// Fitted is what the lives of one cohort say. Figures that a method does not give are None.
type Fitted struct {
	Cohort       string            `json:"cohort"`
	Method       string            `json:"method"`
	ShapeSource  string            `json:"shape_source"`
	RestsOn      Tally             `json:"rests_on"`
	Shape        Figure            `json:"shape"`
	Scale        Figure            `json:"scale"`
	LogLik       Figure            `json:"loglik"` // per unit of age
	StdError     StdErrors         `json:"std_error"`
	Covariance   *[2][2]Figure     `json:"covariance"` // of (ln shape, ln scale): inverse of the observed information
	Limits       Limits            `json:"limits"`
	Quantiles    []QuantileLife    `json:"quantiles"`
	ProductLimit []ProductLimitRow `json:"kaplan_meier"` // nil where there are intervals
	Turnbull     *SelfConsistent   `json:"turnbull"`     // nil where there are none
	Goodness     Goodness          `json:"goodness"`
	Gain         Figure            `json:"loglik_to_gain"` // by the score at the optimum; 0 to rounding
	Notes        []string          `json:"notes"`
}

// StdErrors are standard errors.
type StdErrors struct {
	LogShape Figure `json:"log_shape"`
	LogScale Figure `json:"log_scale"`
}

// Limits are lower and upper likelihood-ratio limits; None where open.
type Limits struct {
	Shape [2]Figure `json:"shape"`
	Scale [2]Figure `json:"scale"`
}

// QuantileLife is the age that a share P does not reach.
type QuantileLife struct {
	P     float64 `json:"p"`
	Life  Figure  `json:"life"`
	Lower Figure  `json:"lower"`
	Upper Figure  `json:"upper"`
}

// Fit finds the law of every cohort.
//
// Three failures and a finite maximum with shape in [0.01, 1000] give MaximumLikelihood; otherwise a failure gives FixedShape, none
// LowerBound, with the given shape, or the shape common to the fitted cohorts, or 2. Limits are likelihood-ratio limits: a value is
// inside while 2 (maximum - profile) is at most the chi-square quantile with one degree of freedom. With FixedShape the shape
// counts as known; LowerBound is one-sided.
//
// A Refusal for settings out of range, a cohort without lives or an observation that cannot be. The cost is a few dozen passes over
// the lives. Sources: see the package.
func Fit(cohorts []Cohort, settings Settings) (*Report, error) {
	if err := settings.Check(); err != nil {
		return nil, err
	}
	f := fitter{settings: settings, z: normalRoot(settings.Confidence)}
	if err := f.maximise(cohorts); err != nil {
		return nil, err
	}
	if err := f.share(); err != nil {
		return nil, err
	}
	r := &Report{Common: f.common, Cohorts: make([]Fitted, len(cohorts))}
	for i := range f.tries {
		r.Cohorts[i] = f.state(&f.tries[i])
	}
	return r, nil
}

// fitter carries one call of Fit.
type fitter struct {
	settings Settings
	z        float64
	tries    []try
	common   *Common
	held     float64 // the shape of thin cohorts
	source   string
}

// try is one cohort and its maximum, or why it has none.
type try struct {
	cohort Cohort
	s      *sample
	best   profiled
	none   *NoMaximum
}

// maximise looks for the own maximum of every cohort.
func (f *fitter) maximise(cohorts []Cohort) error {
	f.tries = make([]try, len(cohorts))
	for i, c := range cohorts {
		if len(c.Lives) == 0 {
			return &Refusal{BadInput, fmt.Sprintf("the cohort %s has no lives", c.Name)}
		}
		for _, o := range c.Lives {
			if err := o.Check(); err != nil {
				return &Refusal{BadInput, fmt.Sprintf("cohort %s: %s", c.Name, err)}
			}
		}
		t := try{cohort: c, s: newSample(c.Lives)}
		best, err := t.s.maximum()
		if err != nil && !errors.As(err, &t.none) {
			return err
		}
		t.best = best
		f.tries[i] = t
	}
	return nil
}

// share settles the shape of thin cohorts.
func (f *fitter) share() (err error) {
	var members []member
	for _, t := range f.tries {
		if t.none == nil {
			members = append(members, member{t.cohort.Name, t.s, t.best})
		}
	}
	f.held, f.source = defaultShape, ShapeDefault
	if len(members) == 1 {
		f.held, f.source = members[0].own.b, ShapeCommon
	}
	if len(members) > 1 {
		if f.common, err = commonShape(members); err != nil {
			return err
		}
		f.held, f.source = float64(f.common.Shape), ShapeCommon
	}
	if f.settings.FixedShape > 0 {
		f.held, f.source = f.settings.FixedShape, ShapeGiven
	}
	return nil
}

// state writes down what one cohort says.
func (f *fitter) state(t *try) Fitted {
	r := Fitted{
		Cohort: t.cohort.Name, RestsOn: tally(t.cohort.Lives), Shape: Figure(f.held), ShapeSource: f.source,
		Scale: None, LogLik: None, StdError: StdErrors{None, None}, Gain: None,
		Limits:   Limits{Shape: [2]Figure{None, None}, Scale: [2]Figure{None, None}},
		Goodness: Goodness{None, None, None, None}, Notes: []string{},
	}
	if r.RestsOn.Interval > 0 {
		r.Turnbull = Turnbull(t.cohort.Lives)
	} else {
		r.ProductLimit = ProductLimit(t.cohort.Lives)
	}
	switch {
	case t.none == nil:
		f.stateMaximum(t, &r)
	case t.none.Reason == NoFailure:
		f.stateBound(t, &r)
	default:
		f.stateScale(t, &r)
	}
	f.compare(t, &r)
	r.noteCurves()
	return r
}

// stateMaximum writes down a fit of shape and scale.
func (f *fitter) stateMaximum(t *try, r *Fitted) {
	best := t.best
	r.Method, r.ShapeSource = MaximumLikelihood, ShapeFitted
	r.Shape, r.Scale, r.LogLik = Figure(best.b), Figure(math.Exp(t.s.logScale(best.point))), Figure(best.l)
	r.Gain = Figure(best.gain())
	tilt := 1 / math.Sqrt(-best.bend)
	if shape, both, scale, ok := best.covariance(); ok {
		r.Covariance = &[2][2]Figure{{Figure(shape), Figure(both)}, {Figure(both), Figure(scale)}}
		r.StdError = StdErrors{Figure(math.Sqrt(shape)), Figure(math.Sqrt(scale))}
	}
	to := target{t.s, best, f.z, tilt}
	r.Limits.Shape = figures(to.shapeLimits())
	r.Limits.Scale = figures(to.quantileLimits(1))
	for _, p := range f.settings.Quantiles {
		c := -math.Log1p(-p)
		limits := figures(to.quantileLimits(c))
		life := math.Exp(t.s.logScale(best.point) + math.Log(c)/best.b)
		r.Quantiles = append(r.Quantiles, QuantileLife{p, Figure(life), limits[0], limits[1]})
	}
	r.noteOpen()
}

// figures pairs two numbers.
func figures(lower, upper float64) [2]Figure { return [2]Figure{known(lower), known(upper)} }

// known is a figure of a number above 0 that a float64 holds, None otherwise.
func known(v float64) Figure {
	if v == 0 || math.IsInf(v, 0) {
		return None
	}
	return Figure(v)
}

// stateScale writes down a fit with the shape held.
func (f *fitter) stateScale(t *try, r *Fitted) {
	r.Method = FixedShape
	r.Notes = append(r.Notes, fmt.Sprintf("shape held at %.6g (%s): %s", f.held, sourceWords[f.source], t.none))
	scale := func(k float64) float64 { return t.s.logRef - k/f.held }
	logScale, lower := math.NaN(), math.NaN()
	var upper float64
	held, err := t.s.withShape(f.held)
	if err == nil {
		logScale = scale(held.k)
		r.LogLik, r.Gain = Figure(held.l), Figure(held.lk*held.lk/(-2*held.lkk))
		r.StdError.LogScale = Figure(held.scaleError())
		low, high := held.limits(f.z)
		lower, upper = scale(high), scale(low)
	} else {
		r.Notes = append(r.Notes, "no scale above 0 has the greatest likelihood; only its upper limit is known")
		c := t.s.at(f.held)
		upper = scale(c.fallFrom(c.explained(), 0, f.z, -1))
	}
	r.Scale = known(math.Exp(logScale))
	r.Limits.Scale = figures(math.Exp(lower), math.Exp(upper))
	for _, p := range f.settings.Quantiles {
		shift := math.Log(-math.Log1p(-p)) / f.held
		limits := figures(math.Exp(lower+shift), math.Exp(upper+shift))
		r.Quantiles = append(r.Quantiles, QuantileLife{p, known(math.Exp(logScale + shift)), limits[0], limits[1]})
	}
}

// stateBound writes down the lower bound that lives without a failure give.
func (f *fitter) stateBound(t *try, r *Fitted) {
	r.Method = LowerBound
	r.Notes = append(r.Notes, fmt.Sprintf("no failure: lower bound at %g one-sided confidence with the shape held at %.6g (%s)", f.settings.Confidence, f.held, sourceWords[f.source]))
	bound := t.s.boundScale(f.held, f.settings.Confidence)
	r.Limits.Scale[0] = known(math.Exp(bound))
	for _, p := range f.settings.Quantiles {
		shift := math.Log(-math.Log1p(-p)) / f.held
		r.Quantiles = append(r.Quantiles, QuantileLife{p, None, known(math.Exp(bound + shift)), None})
	}
}

// compare sets the fit beside the curves that assume no law, and beside a law without wear.
func (f *fitter) compare(t *try, r *Fitted) {
	if r.Method == LowerBound {
		return
	}
	if one, err := t.s.withShape(1); err == nil {
		r.Goodness.ExponentialLogLik = Figure(one.l)
		if r.Method == MaximumLikelihood {
			deviance := max(0, 2*(t.best.l-one.l))
			r.Goodness.DevianceShape1, r.Goodness.PShape1 = Figure(deviance), Figure(chiSquareAbove(deviance, 1))
		}
	}
	if !r.Scale.Known() {
		return
	}
	c := conditional{Weibull{float64(r.Shape), float64(r.Scale)}, leastEntry(t.cohort.Lives)}
	if r.Turnbull != nil {
		r.Goodness.MaxGap = Figure(c.gapToMasses(r.Turnbull.Rows))
	} else {
		r.Goodness.MaxGap = Figure(c.gapToSteps(r.ProductLimit))
	}
}

// sourceWords say where a held shape comes from.
var sourceWords = map[string]string{
	ShapeGiven:   "given",
	ShapeCommon:  "common to the cohorts that are fitted",
	ShapeDefault: "rule of thumb, class D",
}

// noteOpen names the limits that the data leave open.
func (r *Fitted) noteOpen() {
	var open []string
	see := func(what string, v Figure) {
		if !v.Known() {
			open = append(open, what)
		}
	}
	see("lower limit of the shape", r.Limits.Shape[0])
	see("upper limit of the shape", r.Limits.Shape[1])
	see("lower limit of the scale", r.Limits.Scale[0])
	see("upper limit of the scale", r.Limits.Scale[1])
	for _, q := range r.Quantiles {
		see(fmt.Sprintf("lower limit of the %g quantile", q.P), q.Lower)
		see(fmt.Sprintf("upper limit of the %g quantile", q.P), q.Upper)
	}
	if len(open) > 0 {
		r.Notes = append(r.Notes, "open, because the likelihood never falls that far: "+strings.Join(open, ", "))
	}
}

// noteCurves says where a non-parametric curve must not be taken at its word.
func (r *Fitted) noteCurves() {
	for i, row := range r.ProductLimit {
		if row.Survival == 0 && i < len(r.ProductLimit)-1 {
			r.Notes = append(r.Notes, fmt.Sprintf("late entries leave none at risk at %g: the product-limit survival stays 0 from there", row.Time))
			break
		}
	}
	if r.Turnbull != nil && !r.Turnbull.unique {
		r.Notes = append(r.Notes, "the Turnbull estimate is not unique: other survivals have the same likelihood")
	}
	if r.Turnbull != nil && !r.Turnbull.converged {
		r.Notes = append(r.Notes, "the Turnbull estimate was not brought to its last digits")
	}
}
