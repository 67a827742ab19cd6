package due

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// Figure is a figure that may be missing, or known only as a lower bound.
type Figure struct {
	Value   float64
	Known   bool
	AtLeast bool // the true value is this or more: the clock was not read over the whole life
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

// run is a conveyor's line with one belt's stretches on it, asked for many splices.
type run struct {
	line   Line
	drives []Drive
}

// between returns what was run from one instant to another.
//
// Passes are summed over stretches of constant speed v and loop length L: 3600 v ΔH / L; flexes are
// passes times the bends. Where the line begins after from, or a stretch has no speed or length, the
// figures are lower bounds; where nothing is known they are missing.
func (r run) between(from, to time.Time) usage {
	start, h0, late, ok := r.begin(from)
	h1, known := r.hoursAt(to)
	if !ok || !known || start.After(to) {
		return usage{}
	}
	u := usage{hours: Figure{Value: max(0, h1-h0), Known: true, AtLeast: late}}
	var sum, flex, rev float64
	passesOf, bendsOf, passGap, bendGap := false, false, false, false
	r.walk(start, h0, to, h1, func(d Drive, dh float64) {
		per, has := d.passesPerHour()
		if !has {
			passGap, bendGap = true, true
			return
		}
		n := per * dh
		sum, passesOf = sum+n, true
		if d.PlainBends+d.ReverseBend == 0 {
			bendGap = true
			return
		}
		flex, rev, bendsOf = flex+n*float64(d.PlainBends+d.ReverseBend), rev+n*float64(d.ReverseBend), true
	})
	u.passes = Figure{Value: sum, Known: passesOf, AtLeast: passesOf && (late || passGap)}
	u.flexes = Figure{Value: flex, Known: bendsOf, AtLeast: bendsOf && (late || bendGap)}
	u.reverse = Figure{Value: rev, Known: bendsOf, AtLeast: bendsOf && (late || bendGap)}
	return u
}

// begin returns where counting starts: at from, or where the line begins if that is later.
func (r run) begin(from time.Time) (at time.Time, hours float64, late, ok bool) {
	if h, known := r.hoursAt(from); known {
		return from, h, false, true
	}
	if r.line == nil {
		return time.Time{}, 0, false, false
	}
	b, ok := r.line.Begins()
	if !ok || b.Before(from) {
		return time.Time{}, 0, false, false
	}
	h, known := r.line.HoursAt(b)
	return b, h, true, known
}

func (r run) hoursAt(t time.Time) (float64, bool) {
	if r.line == nil {
		return 0, false
	}
	return r.line.HoursAt(t)
}

// walk visits the stretches between two instants with the hours run in each.
func (r run) walk(from time.Time, h0 float64, to time.Time, h1 float64, visit func(Drive, float64)) {
	h := h0
	for i, d := range r.drives {
		end, last := to, i == len(r.drives)-1
		if !last {
			if next := r.drives[i+1].From.Time(); next.Before(to) {
				end = next
			} else {
				last = true
			}
		}
		if !last && !end.After(from) {
			continue
		}
		hEnd := h1
		if !last {
			hEnd, _ = r.line.HoursAt(end)
		}
		visit(d, max(0, hEnd-h))
		h = hEnd
		if last {
			return
		}
	}
}

// hoursForPasses returns the running hours at which a splice made at from has made that many passes.
// It is asked once per rule, so that the line is inverted once per splice and not once per rule.
func (r run) hoursForPasses(from time.Time, passes float64) (float64, bool) {
	start, h, _, ok := r.begin(from)
	if !ok {
		return 0, false
	}
	left := passes
	for i, d := range r.drives {
		last := i == len(r.drives)-1
		if !last && !r.drives[i+1].From.Time().After(start) {
			continue
		}
		per, has := d.passesPerHour()
		if last {
			return h + left/per, has
		}
		hEnd, known := r.line.HoursAt(r.drives[i+1].From.Time())
		if !known {
			return 0, false
		}
		n := per * (hEnd - h)
		if has && n >= left {
			return h + left/per, true
		}
		left, h = left-n, hEnd
	}
	return 0, false
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
