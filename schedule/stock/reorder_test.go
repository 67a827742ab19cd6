package stock

import (
	"math"
	"testing"

	"carryside/assets"

	"pgregory.net/rapid"
)

// Cumulative sums of the Poisson distribution: Abramowitz and Stegun, Handbook of Mathematical Functions (1964), table 26.7
// (values from memory, to five decimals; each is the finite sum of exp(-m) m^j / j!, j < c, reckoned again by hand). The
// smallest c with a sum of at least the service level is the number of spares.
var poissonSums = map[float64][]float64{
	0.5: {0.60653, 0.90980, 0.98561, 0.99825, 0.99983},
	1:   {0.36788, 0.73576, 0.91970, 0.98101, 0.99634, 0.99941, 0.99992},
	2:   {0.13534, 0.40601, 0.67668, 0.85712, 0.94735, 0.98344, 0.99547, 0.99890, 0.99976},
	5:   {0.00674, 0.04043, 0.12465, 0.26503, 0.44049, 0.61596, 0.76218, 0.86663, 0.93191, 0.96817, 0.98630, 0.99455, 0.99798, 0.99930, 0.99977},
}

func TestSparesForAServiceLevelAgainstThePoissonTable(t *testing.T) {
	for m, sums := range poissonSums {
		for _, level := range []float64{0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995} {
			want := 0
			for sums[want] < level {
				want++
			}
			got, err := Reorder(0, []Jobs{{PerDay: m / 30, Each: 1000}}, 30, level, 0)
			if err != nil || got.Point != assets.Quantity(want)*1000 {
				t.Errorf("mean %g, level %g: point %v (%v), the table says %d", m, level, got.Point, err, want)
			}
		}
	}
}

// The usual formula of the trade, point = d × LT + z × sigma × sqrt(LT), with its example of 1.2 kits a month, two months, sigma
// 0.8 and z = 1.28 (90 %): 3.85, so 4 kits. With Poisson demand of the same mean the table above (between m = 2 and m = 3)
// gives 4 too: exp(-2.4) × (1 + 2.4 + 2.88 + 2.304 + 1.3824) = 0.90413.
func TestTheTradesOwnExample(t *testing.T) {
	got, err := Reorder(0, []Jobs{{PerDay: 1.2 / 30, Each: 1000}}, 60, 0.90, 0)
	if err != nil || got.Point != 4000 || got.Expected != 2400 {
		t.Errorf("%+v, %v; want a point of 4 kits and 2.4 expected", got, err)
	}
}

// sumDirectly works out P(U <= q) by adding over the numbers of jobs of two sizes, without a recursion.
func sumDirectly(a, b float64, sizeA, sizeB, q assets.Quantity) float64 {
	pois := func(m float64, n int) float64 {
		lg, _ := math.Lgamma(float64(n + 1))
		return math.Exp(float64(n)*math.Log(m) - m - lg)
	}
	p := 0.0
	for i := 0; assets.Quantity(i)*sizeA <= q; i++ {
		for j := 0; assets.Quantity(i)*sizeA+assets.Quantity(j)*sizeB <= q; j++ {
			p += pois(a, i) * pois(b, j)
		}
	}
	return p
}

func TestJobsOfTwoSizesAgainstAddingThemUp(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b := rapid.Float64Range(0.05, 6).Draw(rt, "rate a"), rapid.Float64Range(0.05, 6).Draw(rt, "rate b")
		sizeA, sizeB := assets.Quantity(rapid.IntRange(1, 9).Draw(rt, "size a"))*500, assets.Quantity(rapid.IntRange(1, 9).Draw(rt, "size b"))*500
		level := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.999}).Draw(rt, "level")
		got, err := Reorder(2000, []Jobs{{a / 10, sizeA}, {b / 10, sizeB}}, 10, level, 1000)
		if err != nil {
			rt.Fatal(err)
		}
		q := got.Point - 3000
		if at := sumDirectly(a, b, sizeA, sizeB, q); at < level-1e-9 {
			rt.Fatalf("at %v the chance is %g, asked for %g", q, at, level)
		}
		if q > 0 {
			if below := sumDirectly(a, b, sizeA, sizeB, q-1); below >= level+1e-9 {
				rt.Fatalf("one thousandth below %v the chance is %g already", q, below)
			}
		}
	})
}

// With many jobs the sum is near normal: mean + z × sqrt(rate) × size (central limit), within half a per cent for 2000 jobs.
func TestManyJobsApproachTheNormalLaw(t *testing.T) {
	got, err := Reorder(0, []Jobs{{PerDay: 20, Each: 1000}}, 100, 0.95, 0)
	want := 1000 * (2000 + 1.6449*math.Sqrt(2000))
	if err != nil || math.Abs(float64(got.Point)/want-1) > 0.005 {
		t.Errorf("point %v (%v), want about %.0f", got.Point, err, want/1000)
	}
}

func TestUnevenSizesGoOnACoarserGridUpwards(t *testing.T) {
	got, err := Reorder(0, []Jobs{{0.1, 7919}, {0.1, 104729}, {0.01, 9999991}}, 60, 0.99, 0)
	if err != nil || got.Point < 9999991 || got.Point > 60_000_000 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestAServiceLevelIsAChance(t *testing.T) {
	for _, level := range []float64{0, 0.49, 1, math.NaN(), math.Inf(1)} {
		if _, err := Reorder(0, nil, 10, level, 0); err != ErrServiceLevel {
			t.Errorf("level %g: %v", level, err)
		}
	}
	if got, err := Reorder(4000, nil, 10, 0.95, 1000); err != nil || got.Point != 5000 {
		t.Errorf("planned work alone: %+v, %v", got, err)
	}
}
