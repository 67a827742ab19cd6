package life

import (
	"math"
	"math/rand/v2"
	"testing"
)

// halved is the zero by halving alone.
func halved(lo, hi float64, f func(float64) float64) float64 {
	for range 200 {
		mid := lo + (hi-lo)/2
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}

// The best age and the ends of its flat region are those that halving finds, in far fewer steps.
func TestZerosAreThoseOfHalving(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	for range 400 {
		a := ageing{law: Weibull{Shape: 1 + math.Exp(6*r.Float64()-4), Scale: 1}, costs: Costs{1, 1 + math.Exp(14*r.Float64()-6)}}
		a.a = 1 / a.law.Shape
		at := math.Exp(8*r.Float64() - 6)
		for name, f := range map[string]func(float64) float64{
			"spent": func(y float64) float64 { return a.shareSpent(y) - min(at, 0.99) },
			"step":  func(y float64) float64 { return math.Copysign(1, y-at) },
			"cubic": func(y float64) float64 { return (y - at) * (y - at) * (y - at) },
		} {
			steps := 0
			got := rising(leastLogHazard, greatestLogHazard, func(y float64) float64 { steps++; return f(y) })
			want := halved(leastLogHazard, greatestLogHazard, f)
			tol := 1e-13 * max(1, math.Abs(want))
			if name == "cubic" {
				tol = 1e-5 // flat at its zero
			}
			if math.Abs(got-want) > tol || steps > 90 {
				t.Errorf("%s of %+v: zero at %v after %d steps, by halving %v", name, a, got, steps, want)
			}
		}
	}
	always := func(v float64) func(float64) float64 { return func(float64) float64 { return v } }
	if got := rising(-5, 5, always(1)); got != -5 {
		t.Errorf("a function above zero everywhere has its zero at %v", got)
	}
	if got := rising(-5, 5, always(-1)); got != 5 {
		t.Errorf("a function below zero everywhere has its zero at %v", got)
	}
}

// The series and the fraction of the incomplete gamma function meet where one takes over from the other.
func TestGammaMeetsItself(t *testing.T) {
	for _, a := range []float64{0.02, 0.3, 0.9, 1, 2.5, 8, 11, 40, 700} {
		for _, x := range []float64{a + 1, 2, 5, 11.9, 12, 12.1, 30} {
			if x < a+1 {
				continue
			}
			if p, q := gammaSeries(a, x), gammaAbove(a, x); math.Abs(p+q-1) > 2e-13 {
				t.Errorf("P(%g, %g) + Q = 1 + %g", a, x, p+q-1)
			}
		}
	}
}
