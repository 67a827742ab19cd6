package drawing

import (
	"strings"
	"testing"
)

// Of 8 unplanned stops at the worst plant 2 are half of 4: half as long, to one scale.
func TestBarsOfUnplannedStopsAreToOneScale(t *testing.T) {
	for _, tt := range []struct {
		without, with, most float64
		outline, solid      string
	}{{4, 2, 8, "55.5", "27.8"}, {8, 8, 8, "111", "111"}, {8, 0, 8, "111", "0"}} {
		got := string(OfLess(tt.without, tt.with, tt.most))
		if !strings.Contains(got, `class="w-off" x="0.5" y="1" width="`+tt.outline+`"`) || !strings.Contains(got, `class="inkf" x="0.5" y="1" width="`+tt.solid+`"`) {
			t.Errorf("%g without, %g with: %s", tt.without, tt.with, got)
		}
	}
}
