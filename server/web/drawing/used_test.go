package drawing

import (
	"math"
	"testing"
)

// The bands of the design's seam ramp, bounds in the higher band.
func TestBandsOfTheSeamRamp(t *testing.T) {
	tests := []struct {
		name  string
		used  Used
		token string
		text  string
	}{
		{"new", Used{Known: true, Share: 0}, "tight", "0\u00a0%"},
		{"just under a half", Used{Known: true, Share: 0.494}, "tight", "49\u00a0%"},
		{"reads 50 %", Used{Known: true, Share: 0.496}, "settled", "50\u00a0%"},
		{"a half", Used{Known: true, Share: 0.5}, "settled", "50\u00a0%"},
		{"four fifths", Used{Known: true, Share: 0.8}, "opening", "80\u00a0%"},
		{"all of it", Used{Known: true, Share: 1}, "past", "100\u00a0%"},
		{"past", Used{Known: true, Share: 1.06, Name: "S2"}, "past", "S2 106\u00a0%"},
		{"lower bound", Used{Known: true, Share: 0.4, AtLeast: true}, "tight", "at least 40\u00a0%"},
		{"no date made", Used{}, "unknown", "not known"},
		{"not a number", Used{Known: true, Share: math.NaN()}, "unknown", "not known"},
	}
	for _, tt := range tests {
		if got := tt.used.Token(); got != tt.token {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.token)
		}
		if got := tt.used.Text(); got != tt.text {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.text)
		}
	}
}

func TestRampShowsEveryBandOnce(t *testing.T) {
	seen := map[Band]bool{}
	for _, u := range Ramp() {
		seen[u.Band()] = true
		wellFormed(t, string(u.Mark()))
	}
	if len(seen) != 5 {
		t.Errorf("the key shows %d of 5 bands", len(seen))
	}
}

func TestLegendIsWellFormed(t *testing.T) {
	wellFormed(t, string(Legend(false)))
	wellFormed(t, string(Legend(true)))
}

func TestNumbersHaveAtMostOneDecimal(t *testing.T) {
	for x, want := range map[float64]string{0: "0", -0.04: "0", 12: "12", 12.34: "12.3", -0.25: "-0.3", -7: "-7", 129.96: "130", math.NaN(): "0", math.Inf(1): "0", 1e17: "0"} {
		if got := num(x); got != want {
			t.Errorf("%v is written %s, want %s", x, got, want)
		}
	}
}
