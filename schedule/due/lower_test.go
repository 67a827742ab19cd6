package due_test

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/rules"
)

// TestALatestDayGivesLowerBounds: a splice made "before 2024" counts from 31 Dec 2023 on every clock and may be
// older; one made in spring 2022 counts from its earliest day and is no older.
func TestALatestDayGivesLowerBounds(t *testing.T) {
	for _, tt := range []struct {
		earliest, latest assets.Day
		words            string
		lower            bool
	}{{"", "2025-12-31", "before 2026", true}, {"2025-09-01", "2025-11-30", "autumn 2025", false}, {"2025-12-31", "2025-12-31", "", false}} {
		reg, clocks := grainPlant()
		made, err := assets.Between(tt.earliest, tt.latest, tt.words, reg.Plant.Location(), time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		reg.Splices[0].Made = made
		for _, r := range []rules.Rule{monthsLimit(1, 36), passesLimit(1, 364000)} {
			st := one(t, reg, clocks, r)
			if !st.Age.RunHours.Known || st.Age.RunHours.AtLeast != tt.lower || !st.Used.Known || st.Used.AtLeast != tt.lower || strings.HasPrefix(st.Reason, "at least ") != tt.lower {
				t.Errorf("made %q, %s: hours %+v, used %+v, %q", tt.words, r.Trigger.Kind, st.Age.RunHours, st.Used, st.Reason)
			}
		}
	}
}
