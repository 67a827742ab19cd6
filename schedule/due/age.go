package due

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/clock"
)

// Figure is a figure that may be missing, or known only as a lower bound.
type Figure struct {
	Value   float64
	Known   bool
	AtLeast bool // the true value is this or more: the clock was not read over the whole life, or only the latest day is known
}

// Age is a splice's age on the four clocks.
type Age struct {
	Known         bool // false: its date is not known, every other field is empty
	Days          int  // whole days by the plant's calendar since it counts from
	AtLeastDays   int  // whole days since the latest date it can have been made; Days when exact
	Exact         bool // the date it was made is one day or one instant
	RunHours      Figure
	Passes        Figure
	Flexes        Figure // passes times the pulleys it bends over
	ReverseFlexes Figure // those of them on the carrying face
}

// usage is what a splice has run since an instant.
type usage struct {
	hours, passes, flexes, reverse Figure
}

// run is a conveyor's line with one belt's duty on it, asked for one splice.
type run struct {
	line Line
	duty clock.Duty
}

// between returns what was run from one instant to another: clock.Duty's sums of passes and flexes. Where
// the line begins after from the figures are lower bounds; where the hours, or speed or length, are not
// known they are missing.
func (r run) between(from, to time.Time) usage {
	start, h0, late, ok := r.begin(from)
	if !ok || start.After(to) {
		return usage{}
	}
	h1, known := r.line.HoursAt(to)
	if !known {
		return usage{}
	}
	some := func(v float64) Figure { return Figure{Value: max(0, v), Known: true, AtLeast: late} }
	u := usage{hours: some(h1 - h0)}
	sum, err := r.duty.Usage(r.line.HoursAt, start, to)
	if err != nil {
		return u // hours are known, what turns them into passes is not
	}
	u.passes = some(sum.Passes)
	if sum.FlexesKnown {
		u.flexes, u.reverse = some(sum.Flexes), some(sum.ReverseFlexes)
	}
	return u
}

// onlyLatest tells whether a splice's date is bounded by its latest day alone: it counts from that day, and was
// made then or earlier, so that all its figures are lower bounds.
func onlyLatest(made assets.When) bool {
	return !made.Timed && made.Earliest == "" && made.Latest != ""
}

// atLeast is the usage as a lower bound; what is missing stays so.
func (u usage) atLeast() usage {
	for _, f := range []*Figure{&u.hours, &u.passes, &u.flexes, &u.reverse} {
		f.AtLeast = f.Known
	}
	return u
}

// begin returns where counting starts: at from, or where the line begins if that is later.
func (r run) begin(from time.Time) (at time.Time, hours float64, late, ok bool) {
	if r.line == nil {
		return time.Time{}, 0, false, false
	}
	if h, known := r.line.HoursAt(from); known {
		return from, h, false, true
	}
	b, ok := r.line.Begins()
	if !ok || b.Before(from) {
		return time.Time{}, 0, false, false
	}
	h, known := r.line.HoursAt(b)
	return b, h, true, known
}

// hoursForPasses returns the running hours at which a splice made at from has made that many passes. Limits
// are compared as hours, so that the line is inverted once per splice and not once per rule.
func (r run) hoursForPasses(from time.Time, passes float64) (float64, bool) {
	at, h, _, ok := r.begin(from)
	if !ok {
		return 0, false
	}
	for _, next := range starts(r.duty) {
		if !next.After(at) {
			continue
		}
		perHour, err := r.duty.PassesPerHour(at)
		then, known := r.line.HoursAt(next)
		if err != nil || !known {
			return 0, false
		}
		n := perHour * (then - h)
		if n >= passes {
			return h + passes/perHour, true
		}
		passes, at, h = passes-n, next, then
	}
	perHour, err := r.duty.PassesPerHour(at)
	return h + passes/perHour, err == nil && perHour > 0
}

// wholeDays returns the whole days from one instant to another by the calendar of zone: a day is over
// when the wall clock shows the same time again, also when a change of the clock made it 23 or 25 hours.
func wholeDays(from, to time.Time, zone calendar.Zone) int {
	if !to.After(from) {
		return 0
	}
	f := zone.Local(from)
	n := zone.Date(to).DaysSince(f.Date)
	if n > 0 && zone.Instant(calendar.Local{Date: f.Date.AddDays(n), Time: f.Time}).After(to) {
		n--
	}
	return max(0, n)
}

// atLeastFrom returns the latest instant a splice can have been made: the end of the latest day.
func atLeastFrom(w assets.When, zone calendar.Zone) time.Time {
	if w.Exact() || w.Latest == "" {
		return w.At.Time()
	}
	end, err := w.Latest.End(zone.Location())
	if err != nil {
		return w.At.Time()
	}
	return end
}
