package life

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestBandHoldsItsPromise draws 300 cohorts of ten complete lives and a next life each: the band from 10 to 90 % must hold about 80 % of
// the next lives, which one drawn from the fitted law alone does not (common practice: plug-in bands of few failures are too short).
func TestBandHoldsItsPromise(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 80))
	law := Weibull{2.2, 9000}
	const draws = 300
	averaged, plugged := 0, 0
	for range draws {
		lives := make([]Observation, 10)
		for i := range lives {
			lives[i] = Observation{Event: Failed, Life: law.Quantile(r.Float64()), Count: 1}
		}
		p, err := Predict(lives, nil)
		if err != nil {
			t.Fatal(err)
		}
		next := law.Quantile(r.Float64())
		if float64(p.ResidualQuantile(0, 0.1)) <= next && next <= float64(p.ResidualQuantile(0, 0.9)) {
			averaged++
		}
		if p.Best.Quantile(0.1) <= next && next <= p.Best.Quantile(0.9) {
			plugged++
		}
	}
	got := float64(averaged) / draws
	if math.Abs(got-0.8) > 0.07 { // three standard errors
		t.Errorf("the band holds %.3f of the next lives, want 0.80", got)
	}
	if plugged >= averaged {
		t.Errorf("averaging over the likelihood widens nothing: %d against %d", averaged, plugged)
	}
}

// TestShapeKnownIsExact holds the average with the shape known against its closed form: with D failures and total risk s,
// the chance of a new life to reach t is (s/(s + t^b))^D (gamma likelihood of the rate; Lawless 2003).
func TestShapeKnownIsExact(t *testing.T) {
	lives := []Observation{
		{Event: Failed, Life: 700, Count: 2}, {Event: Censored, Life: 1000, Count: 3}, {Event: Failed, Life: 900, Entry: 400, Count: 1},
	}
	p, err := Predict(lives, &Prior{LogShape: math.Log(2), SD: 0})
	if err != nil {
		t.Fatal(err)
	}
	s := 2*700.0*700 + 3*1000*1000 + 900*900 - 400*400
	for _, at := range []float64{100, 800, 3000} {
		want := 1 - math.Pow(s/(s+at*at), 3)
		if got := p.FailsWithin(0, at); math.Abs(got-want) > 2e-5*want {
			t.Errorf("by %g: got %v, want %v", at, got, want)
		}
		// The rate times 2 s is chi-square with 6 degrees of freedom: 5 % and 95 % points 1.635 and 12.592 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
		low, up := p.Band(at, 0.9)
		for got, chi := range map[float64]float64{low: 1.635, up: 12.592} {
			if want := -math.Expm1(-at * at * chi / 2 / s); math.Abs(got/want-1) > 0.03 {
				t.Errorf("band by %g: %v, want %v", at, got, want)
			}
		}
	}
}

// TestThinCohortLeansOnItsFamily holds that a shape borrowed lies between the cohort's own and the family's, nearer the family's the
// fewer the failures.
func TestThinCohortLeansOnItsFamily(t *testing.T) {
	prior, err := ShapePrior([]ShapeEstimate{{math.Log(3), 0.1}, {math.Log(3.4), 0.12}, {math.Log(2.7), 0.09}})
	if err != nil || prior.LogShape < math.Log(2.7) || prior.LogShape > math.Log(3.4) || prior.SD < 0.05 {
		t.Fatalf("prior %+v, %v", prior, err)
	}
	r := rand.New(rand.NewPCG(4, 4))
	last := math.Exp(prior.LogShape)
	for _, n := range []int{1, 12, 2000} {
		lives := make([]Observation, n)
		for i := range lives {
			lives[i] = Observation{Event: Failed, Life: Weibull{1.2, 500}.Quantile((float64(i) + 0.5*r.Float64() + 0.25) / float64(n)), Count: 1}
		}
		p, err := Predict(lives, &prior)
		if err != nil {
			t.Fatal(err)
		}
		if p.Best.Shape > last*1.05 {
			t.Errorf("%d lives of shape 1.2 leave the shape at %v, after %v with fewer", n, p.Best.Shape, last)
		}
		last = p.Best.Shape
	}
	if math.Abs(last-1.2) > 0.1 {
		t.Errorf("two thousand lives still lean on the family: %v", last)
	}
	if _, err := ShapePrior(nil); err == nil {
		t.Error("a family of none has a shape")
	}
}
