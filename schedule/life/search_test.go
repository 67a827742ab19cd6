package life

import (
	"errors"
	"flag"
	"math"
	"math/rand/v2"
	"testing"
)

// A release draws ten thousand random cohorts ('go run ./cmd/dev soak fit'); what is run with every change is a sample of them.
var (
	cohortsToSearch = flag.Int("cohorts", 40, "random cohorts that the fit is held against a slow direct search on")
	firstCohort     = flag.Int("first", 0, "the first of them: each is drawn from its number")
)

// plainLife is one life with the logarithms of its ages, so that a search takes them once.
type plainLife struct {
	n             float64
	event         Event
	logLife       float64
	risk, between stretchOfAge // watched and sound; in which it failed unseen
}

// stretchOfAge is from one age to a later one.
type stretchOfAge struct {
	empty, fromNew, close    bool
	logFrom, logTo, logRatio float64
}

func stretchFrom(from, to float64) stretchOfAge {
	return stretchOfAge{empty: from == to, fromNew: from == 0, close: from > to/2, logFrom: math.Log(from), logTo: math.Log(to), logRatio: math.Log1p((to - from) / from)}
}

// hazard is what the cumulative hazard (t/scale)^b grows by. Only the difference of two at ages close together is taken from the
// difference of the ages: power by power it would lose eight digits.
func (s *stretchOfAge) hazard(b, logScale float64) float64 {
	switch {
	case s.empty:
		return 0
	case s.fromNew:
		return math.Exp(b * (s.logTo - logScale))
	case s.close && b*s.logRatio < 1:
		return math.Exp(b*(s.logFrom-logScale)) * math.Expm1(b*s.logRatio)
	}
	return math.Exp(b*(s.logTo-logScale)) - math.Exp(b*(s.logFrom-logScale))
}

func plainLives(lives []Observation) []plainLife {
	out := make([]plainLife, len(lives))
	for i, o := range lives {
		l := plainLife{n: float64(o.Count), event: o.Event, logLife: math.Log(o.Life), risk: stretchFrom(o.Entry, o.Life)}
		if o.Event == Interval {
			l.risk, l.between = stretchFrom(o.Entry, o.Lower), stretchFrom(o.Lower, o.Upper)
		}
		out[i] = l
	}
	return out
}

// plainLogLik is the log-likelihood as it is defined, one life at a time, without any of the fit's transformations.
func plainLogLik(lives []plainLife, b, logScale float64) float64 {
	sum := 0.0
	for i := range lives {
		o := &lives[i]
		l := -o.risk.hazard(b, logScale)
		switch o.event {
		case Failed:
			l += math.Log(b) - logScale + (b-1)*(o.logLife-logScale)
		case Interval:
			if d := o.between.hazard(b, logScale); d > 0 {
				l += math.Log(-math.Expm1(-d))
			} else {
				l = math.Inf(-1)
			}
		}
		sum += o.n * l
	}
	if math.IsNaN(sum) {
		return math.Inf(-1)
	}
	return sum
}

// golden finds the greatest value of a function with one top between lo and hi.
func golden(lo, hi float64, f func(float64) float64) (at, value float64) {
	const r = 0.6180339887498949
	x1, x2 := hi-r*(hi-lo), lo+r*(hi-lo)
	f1, f2 := f(x1), f(x2)
	for hi-lo > 1e-8*max(1, math.Abs(lo)) {
		if f1 > f2 {
			hi, x2, f2 = x2, x1, f1
			x1 = hi - r*(hi-lo)
			f1 = f(x1)
		} else {
			lo, x1, f1 = x1, x2, f2
			x2 = lo + r*(hi-lo)
			f2 = f(x2)
		}
	}
	return (lo + hi) / 2, max(f1, f2)
}

// scaleSearch is the best log-likelihood over scales at one shape; a coarse look first, since far away it is flat at minus infinity.
func scaleSearch(lives []plainLife, b float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range lives {
		at := lives[i].logLife
		if lives[i].event == Interval {
			at = lives[i].between.logTo
		}
		lo, hi = min(lo, at), max(hi, at)
	}
	lo, hi = lo-30/b, hi+30/b
	looks := 60 + min(int((hi-lo)*b), 60_000) // of steep laws the top is narrow
	best, at := math.Inf(-1), lo
	for i := range looks + 1 {
		m := lo + (hi-lo)*float64(i)/float64(looks)
		if v := plainLogLik(lives, b, m); v > best {
			best, at = v, m
		}
	}
	step := (hi - lo) / float64(looks)
	_, v := golden(at-step, at+step, func(m float64) float64 { return plainLogLik(lives, b, m) })
	return max(best, v)
}

// directSearch is the best log-likelihood over shapes in [0.01, 1000] and scales, and the shape it was found at.
func directSearch(lives []plainLife) (value, shape float64) {
	const looks = 46
	lo, hi := math.Log(leastShape), math.Log(greatestShape)
	value = math.Inf(-1)
	at := lo
	for i := range looks + 1 {
		s := lo + (hi-lo)*float64(i)/looks
		if v := scaleSearch(lives, math.Exp(s)); v > value {
			value, at = v, s
		}
	}
	step := (hi - lo) / looks
	s, v := golden(max(lo, at-step), min(hi, at+step), func(s float64) float64 { return scaleSearch(lives, math.Exp(s)) })
	if v > value {
		value, at = v, s
	}
	return value, math.Exp(at)
}

// drawCohort draws lives of any sort: few or many failures, ties, six decades, hardly any failed, late entries, looks.
func drawCohort(r *rand.Rand) []Observation {
	pick := func(v ...float64) float64 { return v[r.IntN(len(v))] }
	law := Weibull{Shape: pick(0.2, 0.5, 0.9, 1.5, 2.5, 4, 12, 60), Scale: math.Pow(10, r.Float64()*14-5)}
	failures, failed := r.IntN(40), 0
	if r.IntN(12) == 0 {
		failures = r.IntN(501)
	}
	tie, late, looks, heavy, decades := r.IntN(4) == 0, r.IntN(3) == 0, r.IntN(3) == 0, r.IntN(6) == 0, r.IntN(8) == 0
	horizon := law.Quantile(pick(0.05, 0.3, 0.6, 0.95, 0.999))
	var lives []Observation
	for tries := 0; failed < failures && tries < 3*failures+20; tries++ {
		t := law.Quantile(r.Float64())
		if decades { // no law at all: evenly over six of them
			t = horizon * math.Pow(10, 3-6*r.Float64())
		}
		if tie {
			t = math.Ceil(t/law.Scale*8) / 8 * law.Scale
		}
		o := Observation{Event: Failed, Life: t, Count: 1 + int64(r.IntN(8)/7)*3}
		if late && r.IntN(2) == 0 {
			o.Entry = horizon * r.Float64()
			if o.Entry >= t {
				continue
			}
		}
		switch stop := horizon * (0.3 + 0.7*r.Float64()); {
		case t > stop && stop > o.Entry:
			o.Event, o.Life = Censored, stop
		case looks && r.IntN(2) == 0:
			every := horizon / 7
			o.Lower, o.Upper = max(o.Entry, math.Floor(t/every)*every), (math.Floor(t/every)+1)*every
			o.Event, o.Life = Interval, 0
			if o.Lower >= o.Upper {
				continue
			}
			failed++
		default:
			failed++
		}
		lives = append(lives, o)
	}
	if heavy || len(lives) == 0 {
		lives = append(lives, Observation{Event: Censored, Life: horizon * (0.2 + r.Float64()), Count: int64(2000 * (1 + failed))})
	}
	return lives
}

// searched tells what a run of searches met.
type searched struct {
	cohorts, limits                 int
	methods, reasons                map[string]int
	mostLives, mostFailures         int64
	leastShare, farthestGain, worst float64 // least share of lives failed; greatest gain left by the score, and by a search
}

// TestNeverBeatenByDirectSearch holds the fit against a search that uses nothing but the definition of the likelihood.
func TestNeverBeatenByDirectSearch(t *testing.T) {
	all := searched{methods: map[string]int{}, reasons: map[string]int{}, leastShare: 1, worst: math.Inf(-1)}
	for seed := *firstCohort; seed < *firstCohort+*cohortsToSearch; seed++ {
		all.search(t, seed)
		if all.cohorts%500 == 0 {
			t.Logf("%d cohorts so far: %v", all.cohorts, all.methods)
		}
	}
	t.Logf("%d cohorts, up to %d lives and %d failures, down to %.3g %% failed: %v, without a maximum %v; %d limits; a search gains %.2g at most, the score promises %.2g at most",
		all.cohorts, all.mostLives, all.mostFailures, 100*all.leastShare, all.methods, all.reasons, all.limits, all.worst, all.farthestGain)
	if *cohortsToSearch < 40 {
		return
	}
	if all.methods[MaximumLikelihood] < *cohortsToSearch/3 || all.methods[FixedShape] == 0 {
		t.Errorf("the draw is one-sided: %v", all.methods)
	}
}

// search draws one cohort, fits it and searches.
func (all *searched) search(t *testing.T, seed int) {
	t.Helper()
	lives := drawCohort(rand.New(rand.NewPCG(uint64(seed), 7)))
	for _, o := range lives {
		if err := o.Check(); err != nil {
			t.Fatalf("cohort %d: %v", seed, err)
		}
	}
	report, err := Fit([]Cohort{{"drawn", lives}}, Settings{Confidence: 0.95, Quantiles: []float64{0.1}})
	if err != nil {
		t.Fatalf("cohort %d: %v", seed, err)
	}
	f := report.Cohorts[0]
	all.cohorts++
	all.methods[f.Method]++
	all.mostLives, all.mostFailures = max(all.mostLives, f.RestsOn.Lives), max(all.mostFailures, f.RestsOn.Failures)
	if f.RestsOn.Failures > 0 {
		all.leastShare = min(all.leastShare, float64(f.RestsOn.Failures)/float64(f.RestsOn.Lives))
	}
	plain := plainLives(lives)
	slack := func(value float64) float64 { return 1e-9*math.Abs(value) + 1e-7 }
	switch f.Method {
	case MaximumLikelihood:
		value, shape := directSearch(plain)
		value = max(value, around(plain, f))
		all.worst = max(all.worst, (value-float64(f.LogLik))/max(1, math.Abs(value)))
		all.farthestGain = max(all.farthestGain, float64(f.Gain))
		if value > float64(f.LogLik)+slack(value) || !(f.Gain < 1e-6) {
			t.Errorf("cohort %d: search finds %.12g at shape %.6g, the fit %.12g at %.6g; it could gain %g", seed, value, shape, f.LogLik, f.Shape, f.Gain)
		}
		all.limits += checkLimits(t, seed, plain, f)
	case FixedShape:
		if value := scaleSearch(plain, float64(f.Shape)); f.LogLik.Known() && value > float64(f.LogLik)+slack(value) {
			t.Errorf("cohort %d: search finds %.12g at the held shape, the fit %.12g", seed, value, f.LogLik)
		}
		if f.RestsOn.Failures >= 3 {
			var none *NoMaximum
			if _, err := GreatestLogLik(lives); !errors.As(err, &none) || none.Error() == "" || none.Reason == NotConverged {
				t.Errorf("cohort %d: no shape is fitted, because %v", seed, err)
			} else {
				all.reasons[none.Reason]++
			}
			checkNoMaximum(t, seed, plain, f)
		}
	}
}

// around is the best log-likelihood next to a fit: in eight directions, from a hundredth to a ten-millionth of a step away.
func around(lives []plainLife, f Fitted) float64 {
	b, logScale := math.Log(float64(f.Shape)), math.Log(float64(f.Scale))
	best := math.Inf(-1)
	for step := 1e-2; step > 1e-8; step /= 10 {
		for i := range 9 {
			db, ds := float64(i%3-1)*step, float64(i/3-1)*step
			best = max(best, plainLogLik(lives, math.Exp(b+db), logScale+ds))
		}
	}
	return best
}

// checkLimits holds that the profile at each limit is as low as it must be, by direct search over the other parameter.
func checkLimits(t *testing.T, seed int, lives []plainLife, f Fitted) (known int) {
	t.Helper()
	drop := normalRoot(0.95) * normalRoot(0.95) / 2
	near := func(what string, value float64) {
		known++
		if gap := float64(f.LogLik) - value - drop; math.Abs(gap) > 2e-4 {
			t.Errorf("cohort %d: the profile at the %s misses the limit by %g (%+v, %+v)", seed, what, gap, f.RestsOn, f.Limits)
		}
	}
	for i, side := range []string{"lower", "upper"} {
		if b := f.Limits.Shape[i]; b.Known() {
			near(side+" shape", scaleSearch(lives, float64(b)))
		}
		for _, q := range []struct {
			name string
			c    float64
			life Figure
		}{{"scale", 1, f.Limits.Scale[i]}, {"B10", -math.Log(0.9), [2]Figure{f.Quantiles[0].Lower, f.Quantiles[0].Upper}[i]}} {
			if q.life.Known() {
				near(side+" "+q.name, shapeSearch(lives, q.c, float64(q.life)))
			}
		}
	}
	return known
}

// shapeSearch is the best log-likelihood over shapes with the cumulative hazard at a life held.
func shapeSearch(lives []plainLife, c, life float64) float64 {
	at := func(s float64) float64 {
		b := math.Exp(s)
		return plainLogLik(lives, b, math.Log(life)-math.Log(c)/b)
	}
	const looks = 160
	lo, hi := math.Log(leastShapeLimit), math.Log(greatestShapeLimit)
	best, from := math.Inf(-1), lo
	for i := range looks + 1 {
		s := lo + (hi-lo)*float64(i)/looks
		if v := at(s); v > best {
			best, from = v, s
		}
	}
	step := (hi - lo) / looks
	_, v := golden(from-step, from+step, at)
	return max(best, v)
}

// checkNoMaximum holds that a search does not find a maximum where the fit says there is none.
func checkNoMaximum(t *testing.T, seed int, lives []plainLife, f Fitted) {
	t.Helper()
	value, shape := directSearch(lives)
	inside := shape > leastShape*1.05 && shape < greatestShape/1.05
	if edge := max(scaleSearch(lives, leastShape), scaleSearch(lives, greatestShape)); inside && value > edge+1e-6 {
		t.Errorf("cohort %d: no maximum, but the search finds %.10g at shape %g: %v", seed, value, shape, f.Notes)
	}
}
