package cohort

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"carryside/schedule/life"
)

// Comparison is how well one clock tells the lives of a cohort.
type Comparison struct {
	Clock  Clock
	LogLik float64 // greatest log-likelihood, per day, of the lives known on all clocks compared
	Short  float64 // how far it falls short of the best clock; 0 for the best
}

// ErrTooFew is a cohort with too few failures for clocks to be compared.
var ErrTooFew = errors.New("fewer than three failures are known on every clock: clocks cannot be compared")

// Compare fits the lives on every clock and compares the log-likelihoods; the best clock first.
//
// To be comparable they are all taken per day: a failure at age a on a clock that advances by r units a day has the density
// f(a) r per day, so ln r is added for each exact failure, r being the mean over its life. Failures between two dates are
// chances already. Only lives known on every clock that most of them have are compared, so that all clocks answer for the
// same lives. A clock on which no maximum exists is left out; ErrTooFew when fewer than two remain.
func (c Cohort) Compare() ([]Comparison, error) {
	clocks := c.comparable()
	var all []Comparison
	for _, clock := range clocks {
		os, jacobian := c.shared(clock, clocks)
		greatest, err := life.GreatestLogLik(os)
		if err != nil {
			continue
		}
		all = append(all, Comparison{Clock: clock, LogLik: greatest + jacobian})
	}
	if len(all) < 2 {
		return nil, ErrTooFew
	}
	best := math.Inf(-1)
	for _, one := range all {
		best = max(best, one.LogLik)
	}
	for i := range all {
		all[i].Short = best - all[i].LogLik
	}
	slices.SortStableFunc(all, func(a, b Comparison) int { return cmp.Compare(a.Short, b.Short) })
	return all, nil
}

// comparable lists the clocks that at least four of five lives are known on: days always.
func (c Cohort) comparable() []Clock {
	days := len(c.On(Days))
	clocks := []Clock{Days}
	for _, clock := range []Clock{RunHours, Passes} {
		if n := len(c.On(clock)); n > 0 && 5*n >= 4*days {
			clocks = append(clocks, clock)
		}
	}
	return clocks
}

// shared are the observations on a clock of the lives known on all of some clocks, with the sum of ln(units per day) of
// their exact failures.
func (c Cohort) shared(on Clock, clocks []Clock) (os []life.Observation, jacobian float64) {
	for _, l := range c.Lives {
		if !l.knownOn(clocks) {
			continue
		}
		o := l.on[on]
		os = append(os, o)
		if o.Event == life.Failed {
			jacobian += math.Log(l.rate[on])
		}
	}
	return os, jacobian
}

func (l Life) knownOn(clocks []Clock) bool {
	for _, c := range clocks {
		if _, ok := l.On(c); !ok || !(l.rate[c] > 0) {
			return false
		}
	}
	return true
}
