package reports

import (
	"time"

	"carryside/assets"
)

// Moment reads as of when and as known when something of a plant is asked for, with the same meaning as in a report: a day
// is its end, as-of in the plant's zone and known-at in the company's, or now if that is earlier; an instant of RFC 3339 is
// taken as it is. The zero time is now. What is neither, or has not come yet, gives assets.Invalid with the names as-of and known-at.
func Moment(asOf, knownAt string, now time.Time, plant, company *time.Location) (at, known time.Time, err error) {
	a, err := NewAsOf(assets.Day(asOf), now)
	if err != nil {
		return at, known, err
	}
	k, err := NewKnownAt(knownAt, company)
	if err != nil {
		return at, known, err
	}
	if company == nil {
		company = time.UTC
	}
	if err := (Inputs{Known: k, Zone: company}).inTime(a, asOf, []*time.Location{plant}); err != nil {
		return at, known, err
	}
	if asOf != "" {
		at = a.Now(plant)
	}
	return at, k.At, nil
}
