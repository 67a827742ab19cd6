package life

import (
	"errors"
	"math"
	"testing"
)

// Cohorts at the edges of what a file can hold. Shape, scale and log-likelihood were found with forty digits (mpmath 1.3: the
// likelihood as it is defined, its zero in the scale by halving, its top in the shape by golden section).
func TestCohortsAtTheEdges(t *testing.T) {
	failed := func(age float64, n int64) Observation { return Observation{Event: Failed, Life: age, Count: n} }
	sound := func(age float64, n int64) Observation { return Observation{Event: Censored, Life: age, Count: n} }
	late := func(entry, age float64) Observation {
		return Observation{Event: Failed, Life: age, Entry: entry, Count: 1}
	}
	gap := func(lower, upper float64) Observation {
		return Observation{Event: Interval, Lower: lower, Upper: upper, Count: 1}
	}
	for name, tt := range map[string]struct {
		lives  []Observation
		shape  float64
		reason string
	}{
		"ages of 1e-300":                     {[]Observation{failed(1e-300, 1), failed(3e-300, 1), failed(7e-300, 1), sound(9e-300, 1)}, 1.15645349, ""},
		"ages of 1e300":                      {[]Observation{failed(1e300, 1), failed(3e300, 1), failed(7e300, 1), sound(9e300, 1)}, 1.15645349, ""},
		"twenty-one decades":                 {[]Observation{failed(1e-9, 1), failed(1, 1), failed(1e12, 1), sound(1e3, 1)}, 0.0608879852, ""},
		"ages a tenth of a per cent apart":   {[]Observation{failed(999, 1), failed(1000, 1), failed(1001, 1), failed(1000.5, 1), sound(1002, 1)}, 868.272089, ""},
		"a hundredth of a per cent apart":    {[]Observation{failed(999.9, 1), failed(1000, 1), failed(1000.1, 1), failed(1000.05, 1), sound(1000.2, 1)}, 0, ShapeTooHigh},
		"one age and a look later":           {[]Observation{failed(100, 3), gap(110, 120)}, 16.9234723, ""},
		"one age and a look before":          {[]Observation{failed(100, 3), gap(50, 80)}, 13.898491, ""},
		"one age inside the look":            {[]Observation{failed(100, 3), gap(90, 110)}, 0, OneAge},
		"looks that meet":                    {[]Observation{gap(0, 5), gap(5, 9), gap(0, 5), sound(3, 50)}, 0, OneGap},
		"watched a moment":                   {[]Observation{late(999.999999, 1000), late(1199.9999, 1200), failed(900, 1), {Event: Censored, Life: 1500, Entry: 1499, Count: 1}, late(100, 1300)}, 6.61453493, ""},
		"all late, fewer and fewer":          {[]Observation{late(900, 1000), late(1000, 1020), late(1100, 2000), {Event: Censored, Life: 5000, Entry: 1100, Count: 1}}, 0, ShapeTooLow},
		"a million sound":                    {[]Observation{failed(5, 1), failed(7, 1), failed(9, 1), sound(11, 1e6)}, 2.08172607, ""},
		"nine thousand million million each": {[]Observation{failed(5, 1<<53), failed(7, 1<<53), failed(9, 1<<53), sound(11, 1<<53)}, 3.07280619, ""},
		"looks of a billionth":               {[]Observation{gap(100, 100.0000001), gap(200, 200.0000001), gap(300, 300.0000001), sound(400, 1)}, 1.83154929, ""},
		"ages a float64 barely holds":        {[]Observation{failed(5e-324, 1), failed(1e-320, 1), failed(1e-318, 1), sound(1e-317, 1)}, 0.177843024, ""},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := Fit([]Cohort{{"one", tt.lives}}, Settings{Confidence: 0.95, Quantiles: []float64{0.1}})
			if err != nil {
				t.Fatal(err)
			}
			f := r.Cohorts[0]
			if tt.reason == "" {
				if f.Method != MaximumLikelihood || math.Abs(float64(f.Shape)/tt.shape-1) > 1e-8 || !(float64(f.Gain) < 1e-4) {
					t.Errorf("%s, shape %.10g, want %.10g; the score leaves %g: %v", f.Method, f.Shape, tt.shape, f.Gain, f.Notes)
				}
				return
			}
			var none *NoMaximum
			if _, err := GreatestLogLik(tt.lives); f.Method != FixedShape || !errors.As(err, &none) || none.Reason != tt.reason {
				t.Errorf("%s, because %v, want %s", f.Method, err, tt.reason)
			}
		})
	}
}
