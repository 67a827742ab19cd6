package cohort

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/life"
)

// Confidence of every limit of a cohort's figures.
const Confidence = 0.95

// fitQuantiles are the shares whose lives a fit tells: B10 and the middle.
var fitQuantiles = []float64{0.1, 0.5}

// ownShape is the number of failures from which a cohort needs no other's shape: with ten the predictive chances of its own
// fit hold to three points (our study of simulated cohorts).
const ownShape = 10

// evidenceC is the number of lives ended by failure in the own cohort that makes its figures the plant's own history, class C.
const evidenceC = 5

// Law is what is known of the lives of a cohort.
type Law struct {
	Key      Key
	Clock    Clock        // the clock it is told on
	Compared []Comparison // clocks by log-likelihood, best first; nil where they could not be compared
	ClockBy  Key          // the cohort whose failures decided the clock
	Own      life.Fitted  // by its own lives alone
	Prior    *life.Prior  // what others say of the shape; nil: its own failures are enough
	Lent     []Key        // the cohorts that lent the shape; nil with a prior: the rule of thumb
	LentBy   Key          // the parent in which they were found
	// Predictive are the chances of failing, averaged over what the lives leave open; nil where there is no failure yet.
	Predictive *life.Predictive
	best       *bestAges
	Class      assets.Class // C from five failures of its own with a fitted shape, else D
}

// thumbShape is the shape of a splice of which nothing is known: wear that sets in slowly. Rule of thumb, class D.
var thumbShape = life.Prior{LogShape: math.Ln2, SD: 0}

// fits are the cohorts' own fits, each made once, when it is first asked for: most cohorts are told on one clock.
type fits [ClockCount]map[Key]life.Fitted

// of fits a cohort by its own lives on a clock; the zero Fitted where no life is known on it.
func (f *fits) of(one Cohort, clock Clock) (life.Fitted, error) {
	if fitted, made := f[clock][one.Key]; made {
		return fitted, nil
	}
	fitted := life.Fitted{}
	if os := one.On(clock); os != nil {
		r, err := life.Fit([]life.Cohort{{Name: one.Key.Words(), Lives: os}}, life.Settings{Confidence: Confidence, Quantiles: fitQuantiles})
		if err != nil {
			return fitted, fmt.Errorf("fit %s on %s: %w", one.Key.Words(), clock, err)
		}
		fitted = r.Cohorts[0]
	}
	if f[clock] == nil {
		f[clock] = map[Key]life.Fitted{}
	}
	f[clock][one.Key] = fitted
	return fitted, nil
}

// Study finds the law of every cohort.
//
// The clock is the one whose fit is likeliest in the cohort itself, else in the closest parent in which clocks can be
// compared, else passes, hours or days, whichever most lives are known on. With fewer than ten failures the shape is
// borrowed: an empirical-Bayes prior from the cohorts of the closest parent that have a shape of their own (three failures
// and a maximum), else the rule of thumb. With no failure the scale is bounded from below, at the middle of that prior. One refusal of the fit (an observation that cannot be) refuses the whole.
func Study(all []Cohort) ([]Law, error) {
	var own fits
	compared := map[Key][]Comparison{}
	laws := make([]Law, 0, len(all))
	for _, one := range all {
		l := Law{Key: one.Key, Class: assets.ClassD, best: &bestAges{of: map[float64]life.Replacement{}}}
		l.chooseClock(one, all, compared)
		var err error
		if l.Own, err = own.of(one, l.Clock); err != nil {
			return nil, err
		}
		if err = l.borrow(all, &own); err != nil {
			return nil, err
		}
		if err := l.bound(one); err != nil {
			return nil, err
		}
		if err := l.predict(one); err != nil {
			return nil, err
		}
		if l.Own.Method == life.MaximumLikelihood && l.Own.RestsOn.Failures >= evidenceC {
			l.Class = assets.ClassC
		}
		laws = append(laws, l)
	}
	return laws, nil
}

// chooseClock asks the cohort, then its parents.
func (l *Law) chooseClock(one Cohort, all []Cohort, compared map[Key][]Comparison) {
	for _, k := range append([]Key{one.Key}, one.Key.Parents()...) {
		found, asked := compared[k]
		if !asked {
			wide := one
			if k != one.Key {
				wide = Gather(k, all)
			}
			found, _ = wide.Compare() // too few failures: nil, and the next one is asked
			compared[k] = found
		}
		for _, f := range found {
			if len(one.On(f.Clock)) > 0 {
				l.Clock, l.Compared, l.ClockBy = f.Clock, found, k
				return
			}
		}
	}
	l.Clock = mostKnown(one)
}

// mostKnown is the clock nearest to wear that no fewer lives are known on than on any other.
func mostKnown(one Cohort) Clock {
	best := Passes
	for _, c := range []Clock{RunHours, Days} {
		if len(one.On(c)) > len(one.On(best)) {
			best = c
		}
	}
	return best
}

// borrow finds the closest parent whose cohorts have shapes to lend.
func (l *Law) borrow(all []Cohort, own *fits) error {
	if l.Own.Method == life.MaximumLikelihood && l.Own.RestsOn.Failures >= ownShape {
		return nil
	}
	for _, parent := range l.Key.Parents() {
		var shapes []life.ShapeEstimate
		var lent []Key
		for _, other := range all {
			if other.Key == l.Key || !parent.Holds(other.Key) {
				continue
			}
			f, err := own.of(other, l.Clock)
			if err != nil {
				return err
			}
			if f.Method != life.MaximumLikelihood {
				continue
			}
			shapes = append(shapes, life.ShapeEstimate{LogShape: math.Log(float64(f.Shape)), StdError: float64(f.StdError.LogShape)})
			lent = append(lent, other.Key)
		}
		if prior, err := life.ShapePrior(shapes); err == nil {
			l.Prior, l.Lent, l.LentBy = &prior, lent, parent
			return nil
		}
	}
	if l.Own.Method != life.MaximumLikelihood {
		l.Prior = &thumbShape
	}
	return nil
}

// bound takes the lower bound of a cohort without a failure at the shape that is lent to it: at a shape by rule of thumb the
// tenth to fail would seem to last longer than splices like it have shown.
func (l *Law) bound(one Cohort) error {
	if l.Own.Method != life.LowerBound || l.Lent == nil {
		return nil
	}
	r, err := life.Fit([]life.Cohort{{Name: one.Key.Words(), Lives: one.On(l.Clock)}},
		life.Settings{Confidence: Confidence, Quantiles: fitQuantiles, FixedShape: math.Exp(l.Prior.LogShape)})
	if err != nil {
		return fmt.Errorf("bound %s on %s: %w", one.Key.Words(), l.Clock, err)
	}
	l.Own = r.Cohorts[0]
	return nil
}

// predict averages over what the lives leave open. Without a failure there is nothing to average.
func (l *Law) predict(one Cohort) error {
	os := one.On(l.Clock)
	if len(os) == 0 || l.Own.RestsOn.Failures == 0 {
		return nil
	}
	p, err := life.Predict(os, l.Prior)
	var none *life.NoMaximum
	switch {
	case err == nil:
		l.Predictive = p
	case errors.As(err, &none):
	default:
		return fmt.Errorf("predict %s: %w", l.Key.Words(), err)
	}
	return nil
}

// ByFailures orders laws by the failures they rest on, most first.
func ByFailures(laws []Law) {
	slices.SortStableFunc(laws, func(a, b Law) int {
		return cmp.Or(cmp.Compare(b.Own.RestsOn.Failures, a.Own.RestsOn.Failures), cmp.Compare(a.Key.Words(), b.Key.Words()))
	})
}
