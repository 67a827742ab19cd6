package web

import (
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// notKnown are the words by which people say that a date of life is not known.
var notKnown = []string{"not known", "unknown", "?"}

// readWhen reads a date of life as people type it: a day, a day with a time, or words that bound it. What is
// not exact is kept as written.
func readWhen(text string, zone *time.Location, now time.Time) (assets.When, error) {
	text = strings.TrimSpace(text)
	for _, w := range notKnown {
		if strings.EqualFold(text, w) {
			return assets.Between("", "", "not known", zone, now)
		}
	}
	if l, err := calendar.ParseLocal(strings.Replace(text, " ", "T", 1)); err == nil {
		at, showing := calendar.ZoneOf(zone).Resolve(l)
		if showing == calendar.Skipped {
			return assets.When{}, fmt.Errorf("the clocks go forward over %s on that day; give a time that the clock showed", l.Time)
		}
		return assets.Exactly(at, zone), nil
	}
	if d, err := calendar.ParseDate(text); err == nil && !d.IsZero() {
		return assets.OnDay(assets.Day(text), zone, now)
	}
	return assets.When{}, fmt.Errorf("%q is no date; write it as 2026-11-25, or as it is known: spring 2022, 2019, before 2018, not known", text)
}
