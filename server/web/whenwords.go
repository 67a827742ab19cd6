package web

import (
	"time"

	"carryside/assets"
	"carryside/assets/intake"
)

// readWhen reads a date of life as people type it, the way a cell of a list is read: a day, a day with a
// time, or words that bound it.
func readWhen(text string, zone *time.Location, now time.Time) (assets.When, error) {
	return intake.ReadWhen(text, zone, now)
}
