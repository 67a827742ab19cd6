package assets_test

import (
	"testing"

	"carryside/assets"
)

func TestHoursOfAShift(t *testing.T) {
	for _, tt := range []struct {
		start, end string
		want       float64
	}{{"06:00", "14:00", 8}, {"22:00", "06:00", 8}, {"00:00", "24:00", 24}, {"07:30", "16:15", 8.75}, {"nine", "16:00", 0}} {
		if got := (assets.Shift{Start: tt.start, End: tt.end}).Hours(); got != tt.want {
			t.Errorf("%s to %s lasts %g h, want %g", tt.start, tt.end, got, tt.want)
		}
	}
}
