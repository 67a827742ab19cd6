package calendar

import (
	"slices"
	"sync/atomic"
	"time"
)

// Shift is a planned stretch of running, wall time. It ends on the next day when its end is not after its start.
type Shift struct {
	Start, End TimeOfDay
}

// DayShifts are the shifts that start on one weekday.
type DayShifts struct {
	Day    time.Weekday
	Shifts []Shift
}

// Exception replaces the shifts that start on its date; none means closed.
type Exception struct {
	Date   Date
	Shifts []Shift
}

// Production is a line's production calendar in its plant's zone: weekly shifts and dated exceptions.
//
// It is made once and then only read, so goroutines may share it. Shifts that overlap count once.
type Production struct {
	zone       Zone
	weekly     [7][]Shift
	exceptions map[Date][]Shift
	special    []Date    // dates with an exception, ascending
	plainSpans [7][]wall // what the shifts starting on a weekday add where neither exception nor clock change is near
	plainDay   [7]int64  // the same in seconds
	plainWeek  int64     // their sum

	index atomic.Pointer[plannedIndex] // of the dates asked about so far; replaced as a whole
}

// wall is a stretch as it lies after the midnight of the date it starts on, in seconds.
type wall struct{ start, end int64 }

// NewProduction checks a production calendar and prepares its plain week.
func NewProduction(zone Zone, weekly []DayShifts, exceptions []Exception) (*Production, error) {
	p := &Production{zone: zone, exceptions: make(map[Date][]Shift, len(exceptions))}
	for _, d := range weekly {
		if d.Day < time.Sunday || d.Day > time.Saturday {
			return nil, refuse(BadCalendar, "a shift has no weekday; choose Monday to Sunday")
		}
		p.weekly[d.Day] = append(p.weekly[d.Day], d.Shifts...)
	}
	for _, e := range exceptions {
		if e.Date.IsZero() {
			return nil, refuse(BadCalendar, "an exception day has no date; write it as YYYY-MM-DD")
		}
		if _, twice := p.exceptions[e.Date]; twice {
			return nil, refuse(BadCalendar, "the exception day %s is there twice; put its shifts into one", e.Date)
		}
		p.exceptions[e.Date] = e.Shifts
		p.special = append(p.special, e.Date)
	}
	if err := p.checkShifts(); err != nil {
		return nil, err
	}
	slices.SortFunc(p.special, Date.Compare)
	p.preparePlainWeek()
	return p, nil
}

// checkShifts refuses times of day that are none.
func (p *Production) checkShifts() error {
	all := slices.Concat(p.weekly[:]...)
	for _, shifts := range p.exceptions {
		all = append(all, shifts...)
	}
	for _, s := range all {
		if s.Start < 0 || s.Start >= secondsPerDay || s.End < 0 || s.End > secondsPerDay {
			return refuse(BadCalendar, "a shift from %s to %s is not one; write its start from 00:00 to 23:59 and its end up to 24:00", s.Start, s.End)
		}
	}
	return nil
}

// preparePlainWeek adds up a week on a clock that never changes.
func (p *Production) preparePlainWeek() {
	// Any week will do as long as the days before it are of the same kind; UTC has no changes.
	plain := &Production{weekly: p.weekly}
	monday := NewDate(2001, time.January, 1)
	for i := range 7 {
		d := monday.AddDays(i)
		midnight := Local{Date: d}.unix()
		for _, s := range plain.resolvedOn(zoneClock{{}}, d) {
			p.plainSpans[d.Weekday()] = append(p.plainSpans[d.Weekday()], wall{s.start - midnight, s.end - midnight})
			p.plainDay[d.Weekday()] += s.end - s.start
		}
		p.plainWeek += p.plainDay[d.Weekday()]
	}
}

// Zone returns the zone in which the calendar's times are read.
func (p *Production) Zone() Zone { return p.zone }

// WeekHours returns the planned hours of a week without exceptions and clock changes.
func (p *Production) WeekHours() float64 { return inHours(p.plainWeek) }

// shiftsOn returns the shifts that start on a date.
func (p *Production) shiftsOn(d Date) []Shift {
	if shifts, special := p.exceptions[d]; special {
		return shifts
	}
	return p.weekly[d.Weekday()]
}

// allOn returns the stretches of the shifts that start on a date, merged. A shift that the clock leaves nothing of is none.
func (p *Production) allOn(c zoneClock, d Date) []span {
	var spans []span
	for _, s := range p.shiftsOn(d) {
		end := Local{d, s.End}
		if s.End <= s.Start {
			end.Date = d.AddDays(1)
		}
		stretch := span{c.instant(Local{d, s.Start}), c.instant(end)}
		if stretch.start < stretch.end {
			spans = append(spans, stretch)
		}
	}
	return merged(spans)
}

// resolvedOn returns what the shifts starting on a date add to those of earlier dates, every wall time placed by itself;
// leaving out the overlap makes the hours of days add up. A shift is at most 24 hours on the wall, so those of the day
// before matter, and where the date line takes a whole date those of the day before that.
func (p *Production) resolvedOn(c zoneClock, d Date) []span {
	spans := p.allOn(c, d)
	for back := 1; back <= 2 && len(spans) > 0; back++ {
		spans = without(spans, p.allOn(c, d.AddDays(-back)))
	}
	return spans
}

// Planned returns the planned hours P(from, to): the overlap of [from, to) with the calendar's shifts, in elapsed hours.
// Zero when to is not after from.
//
// The hours of whole dates are added up once, in seconds, so that a sum over twenty years costs two searches.
func (p *Production) Planned(from, to time.Time) float64 {
	if !from.Before(to) {
		return 0
	}
	x := p.over(from, to)
	if x == nil {
		return 0
	}
	return x.before(to).minus(x.before(from))
}

// farthestYears is how far a plan is followed.
const farthestYears = 200

// Reach returns the first instant t from which P(from, t) is at least hours; false when no plan of the coming two hundred
// years brings so many.
func (p *Production) Reach(from time.Time, hours float64) (time.Time, bool) {
	if !(hours > 0) {
		return from.UTC(), true
	}
	latest := from.AddDate(farthestYears, 0, 0)
	to := from
	if p.plainWeek > 0 { // so far ahead it may be
		to = from.Add(time.Duration(min(hours/p.WeekHours(), farthestYears*53) * 7 * 24 * float64(time.Hour)))
	}
	for ; ; to = to.Add(to.Sub(from) + 400*24*time.Hour) {
		if to.After(latest) {
			to = latest
		}
		x := p.over(from, to)
		if x == nil {
			return time.Time{}, false
		}
		if at, reached := x.reach(from, hours); reached && !at.After(latest) {
			return at, true
		}
		if to.Equal(latest) {
			return time.Time{}, false
		}
	}
}

// roundingHours is what hours asked for may be off in binary: some microseconds.
const roundingHours = 1e-8

// inHours turns seconds into hours.
func inHours(seconds int64) float64 { return float64(seconds) / 3600 }
