package life

import (
	"math"
	"testing"
)

// Points on one line leave no doubt: 0.85 + 0.001 a day from day -50 meets 1 on day 100, with both ends of every interval there.
func TestPointsOnOneLineMeetTheLimitWithoutDoubt(t *testing.T) {
	for _, limit := range []float64{0.95, 1, 1.01} {
		m := Measurements{Times: []float64{-50, -20, 0}, Values: []float64{0.85, 0.88, 0.9}, Limit: limit, Confidence: 0.8}
		r, err := m.LeastSquares()
		if err != nil {
			t.Fatal(err)
		}
		want := (limit - 0.9) / 0.001
		for name, got := range map[string]Figure{"line": r.Crossing, "earliest of the mean": r.MeanEarliest, "latest of the mean": r.MeanLatest, "earliest reading": r.PredictionEarliest, "latest reading": r.PredictionLatest} {
			if !(math.Abs(float64(got)-want) < 1e-6) {
				t.Errorf("limit %v, %s: %v, want %v", limit, name, got, want)
			}
		}
	}
}
