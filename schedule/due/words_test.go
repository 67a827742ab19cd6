package due

import "testing"

// A best age of 218 572 passes from 19 failures is not known to the single pass.
func TestAnEstimatedAgeIsToldToThreeFigures(t *testing.T) {
	for age, want := range map[float64]string{218_572: "219\u00a0000", 2_704: "2\u00a0700", 999.6: "1\u00a0000", 87.4: "87", 0.3: "0", 0: "0"} {
		if got := estimate(age); got != want {
			t.Errorf("%v is told as %q, want %q", age, got, want)
		}
	}
}
