package registry

import (
	"testing"
	"time"

	"carryside/assets"
)

func TestADateOfLifeLiesAfterTheFirstDayAndNotAheadOfNow(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for _, tt := range []struct {
		earliest, latest assets.Day
		fine             bool
	}{
		{"1950-01-01", "1950-01-01", true}, {"1949-12-31", "1949-12-31", false}, {"0001-01-01", "0001-01-01", false},
		{"", "1066-12-31", false}, {"", "2018-12-31", true}, {"1940-01-01", "1960-12-31", true}, {"", "", true},
	} {
		w, err := assets.Between(tt.earliest, tt.latest, "", time.UTC, now)
		if err != nil {
			t.Fatal(err)
		}
		bad := assets.Invalid{}
		couldBe(bad, "made", w, assets.InstantOf(now))
		if fine := bad["made"] == ""; fine != tt.fine {
			t.Errorf("%s to %s: %q", tt.earliest, tt.latest, bad["made"])
		}
	}
}
