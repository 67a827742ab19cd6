package calendar

import (
	"slices"
	"strings"
	"time"
)

// Unit is what an interval counts.
type Unit string

// Units of intervals.
const (
	Days   Unit = "days"
	Weeks  Unit = "weeks"
	Months Unit = "months"
	Years  Unit = "years"
)

// Interval is "every n days, weeks, months or years". Days are local dates, not 24 hours.
type Interval struct {
	Every int
	Unit  Unit
}

// longestEvery bounds an interval to a century in any unit, so that arithmetic stays inside the calendar.
var longestEvery = map[Unit]int{Days: 36525, Weeks: 5218, Months: 1200, Years: 100}

// NewInterval checks an interval; the unit may be written in the singular.
func NewInterval(every int, unit string) (Interval, error) {
	u := Unit(strings.ToLower(strings.TrimSpace(unit)))
	if u != "" && !strings.HasSuffix(string(u), "s") {
		u += "s"
	}
	longest, known := longestEvery[u]
	if !known {
		return Interval{}, refuse(BadInterval, "an interval counts days, weeks, months or years, not %q", unit)
	}
	if every < 1 || every > longest {
		return Interval{}, refuse(BadInterval, "every %d %s is not an interval; write a whole number from 1 to %d", every, u, longest)
	}
	return Interval{every, u}, nil
}

// From returns the date so many intervals after a first date, months clamped to their last day. It counts from the first
// date each time: 31 January, 28 February, 31 March.
func (i Interval) From(first Date, times int) Date {
	switch i.Unit {
	case Days:
		return first.AddDays(i.Every * times)
	case Weeks:
		return first.AddDays(7 * i.Every * times)
	case Months:
		return first.AddMonths(i.Every * times)
	case Years:
		return first.AddMonths(12 * i.Every * times)
	default:
		return Date{}
	}
}

// Planned returns occurrence k counted from the plan: k intervals after the anchor, at its time of day; 0 is the anchor.
// False past the year 9999.
func (i Interval) Planned(zone Zone, anchor Local, k int) (Occurrence, bool) {
	d := i.From(anchor.Date, k)
	if d.IsZero() {
		return Occurrence{}, false
	}
	return zone.Occurrence(Local{d, anchor.Time}), true
}

// Between returns the occurrences counted from the plan, k = 0 (the anchor itself) upwards, with after < instant <= until.
// Its cost grows with what it returns, not with the distance from the anchor.
func (i Interval) Between(zone Zone, anchor Local, after, until time.Time) []Occurrence {
	var found []Occurrence
	if i.Every < 1 || !after.Before(until) {
		return nil
	}
	last := zone.Date(until).AddDays(2)
	for k := i.before(anchor.Date, zone.Date(after)); ; k++ {
		o, ok := i.Planned(zone, anchor, k)
		if !ok || o.Planned.Date.After(last) {
			break
		}
		if o.At.After(after) && !o.At.After(until) {
			found = append(found, o)
		}
	}
	slices.SortStableFunc(found, byInstant)
	return found
}

// before returns an occurrence number that is surely not after a date, and not far before it.
func (i Interval) before(anchor, d Date) int {
	longest := map[Unit]int{Days: 1, Weeks: 7, Months: 31, Years: 366}[i.Unit] * i.Every
	if longest == 0 {
		return 0
	}
	return max(0, d.DaysSince(anchor)/longest-2)
}

// AfterCompletion returns the next occurrence counted from the last completion: the local date of the completion and one
// interval, at the rule's time of day.
func (i Interval) AfterCompletion(zone Zone, done time.Time, at TimeOfDay) (Occurrence, bool) {
	return i.Planned(zone, Local{zone.Date(done), at}, 1)
}
