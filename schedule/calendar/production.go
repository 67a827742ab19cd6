package calendar

import (
	"math"
	"slices"
	"sync"
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
	special    []Date     // dates with an exception, ascending
	plainSpans [7][]wall  // what the shifts starting on a weekday add where neither exception nor clock change is near
	plainDay   [7]float64 // the same in hours
	plainWeek  float64    // their sum

	steady atomic.Pointer[[]*steady] // where the clock was found not to change, in order of time; replaced as a whole
	edges  sync.Map                  // Date -> *steady, of the last days before a change, each by itself
	odd    sync.Map                  // Date -> hours that its shifts add, of dates near an exception or a clock change, as asked
}

// steady is a run of dates whose midnights stand at one offset from UTC, from first on.
type steady struct {
	first  Date
	offset int64 // seconds
	change Date  // on which the clock changes next; no date: never
}

// mostSteady bounds the runs kept: the two hundred years a plan is followed, with a clock that changes twice in each.
const mostSteady = 500

// covers tells whether the midnight of a date stands in the run: two days before the change it does, even where the
// date line takes the day between.
func (s *steady) covers(d Date) bool {
	return !d.Before(s.first) && (s.change.IsZero() || s.change.DaysSince(d) >= 2)
}

// wall is a stretch as it lies after the midnight of the date it starts on.
type wall struct{ start, end time.Duration }

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
		for _, s := range plain.resolvedOn(d) {
			p.plainSpans[d.Weekday()] = append(p.plainSpans[d.Weekday()], wall{s.start.Sub(d.utc()), s.end.Sub(d.utc())})
			p.plainDay[d.Weekday()] += s.hours()
		}
		p.plainWeek += p.plainDay[d.Weekday()]
	}
}

// Zone returns the zone in which the calendar's times are read.
func (p *Production) Zone() Zone { return p.zone }

// WeekHours returns the planned hours of a week without exceptions and clock changes.
func (p *Production) WeekHours() float64 { return p.plainWeek }

// shiftsOn returns the shifts that start on a date.
func (p *Production) shiftsOn(d Date) []Shift {
	if shifts, special := p.exceptions[d]; special {
		return shifts
	}
	return p.weekly[d.Weekday()]
}

// allOn returns the stretches of the shifts that start on a date, merged. A shift that the clock leaves nothing of is none.
func (p *Production) allOn(d Date) []span {
	var spans []span
	for _, s := range p.shiftsOn(d) {
		end := Local{d, s.End}
		if s.End <= s.Start {
			end.Date = d.AddDays(1)
		}
		stretch := span{p.zone.Instant(Local{d, s.Start}), p.zone.Instant(end)}
		if stretch.start.Before(stretch.end) {
			spans = append(spans, stretch)
		}
	}
	return merged(spans)
}

// startingOn returns what the shifts starting on a date add to those of earlier dates; leaving out the overlap makes the
// hours of days add up. A shift is at most 24 hours on the wall, so those of the day before matter, and where the date
// line takes a whole date those of the day before that.
func (p *Production) startingOn(d Date) []span {
	if p.plainDays(d, d) == 0 {
		return p.resolvedOn(d)
	}
	midnight := p.midnight(d)
	spans := make([]span, len(p.plainSpans[d.Weekday()]))
	for i, s := range p.plainSpans[d.Weekday()] {
		spans[i] = span{midnight.Add(s.start), midnight.Add(s.end)}
	}
	return spans
}

// resolvedOn is startingOn with every wall time placed by itself, for dates near an exception or a clock change.
func (p *Production) resolvedOn(d Date) []span {
	spans := p.allOn(d)
	for back := 1; back <= 2 && len(spans) > 0; back++ {
		spans = without(spans, p.allOn(d.AddDays(-back)))
	}
	return spans
}

// Planned returns the planned hours P(from, to): the overlap of [from, to) with the calendar's shifts, in elapsed hours.
// Zero when to is not after from.
//
// Whole weeks without exception or clock change are counted in one step, so ten years take some hundred steps.
func (p *Production) Planned(from, to time.Time) float64 {
	sum := 0.0
	p.walk(from, to, func(s step) bool {
		sum += s.hours
		return true
	})
	return sum
}

// Reach returns the first instant t from which P(from, t) is at least hours; false when no plan of the coming two hundred
// years brings so many.
func (p *Production) Reach(from time.Time, hours float64) (time.Time, bool) {
	if !(hours > 0) {
		return from.UTC(), true
	}
	left := hours
	var at time.Time
	p.walk(from, from.AddDate(200, 0, 0), func(s step) bool {
		switch {
		case s.hours < left-roundingHours:
			left -= s.hours
		case s.weeks > 1:
			// The target lies in one of these weeks: take the whole ones, then look day by day.
			whole := max(0, min(int(math.Ceil((left-roundingHours)/p.plainWeek))-1, s.weeks-1))
			at, _ = p.reachDays(s.first.AddDays(7*whole), left-float64(whole)*p.plainWeek, from)
		default:
			at, _ = p.reachDays(s.first, left, from)
		}
		return at.IsZero()
	})
	return at, !at.IsZero()
}

// reachDays finds the instant at which the shifts from a date on have brought so many hours, none before from.
func (p *Production) reachDays(d Date, hours float64, from time.Time) (time.Time, bool) {
	for range 15 {
		for _, s := range p.startingOn(d) {
			s, some := s.clip(from, s.end)
			if !some {
				continue
			}
			if s.hours() >= hours-roundingHours {
				return s.start.Add(time.Duration(min(hours, s.hours()) * float64(time.Hour))), true
			}
			hours -= s.hours()
		}
		d = d.AddDays(1)
	}
	return time.Time{}, false
}

// roundingHours is what a sum of shifts may be off in binary: some microseconds.
const roundingHours = 1e-8

// step is one or several days with the planned hours of the shifts that start on them.
type step struct {
	first Date
	weeks int // whole plain weeks; 0: one day
	hours float64
}

// walk visits the planned hours between two instants in order until visit says stop. The days next to either end are cut
// at it; whole plain weeks between are one step.
func (p *Production) walk(from, to time.Time, visit func(step) bool) {
	if !from.Before(to) {
		return
	}
	// A shift that reaches past from may have started the day before, or two over the date line.
	d, last := p.zone.Date(from).AddDays(-2), p.zone.Date(to).AddDays(2)
	if d.IsZero() || last.IsZero() {
		return
	}
	inner, outer := d.AddDays(5), last.AddDays(-5)
	for !d.After(last) {
		s := step{first: d}
		if d.Before(inner) || d.After(outer) {
			s.hours = p.cutDay(d, from, to)
		} else {
			s = p.wholeDays(d, outer)
		}
		if !visit(s) {
			return
		}
		d = d.AddDays(max(1, 7*s.weeks))
	}
}

// cutDay returns the hours that a date's shifts add inside [from, to).
func (p *Production) cutDay(d Date, from, to time.Time) float64 {
	sum := 0.0
	for _, s := range p.startingOn(d) {
		if s, some := s.clip(from, to); some {
			sum += s.hours()
		}
	}
	return sum
}

// wholeDays returns the next step from a date on that needs no cutting: as many plain weeks as there are before last, or one day.
func (p *Production) wholeDays(d, last Date) step {
	plain := p.plainDays(d, last)
	switch weeks := plain / 7; {
	case weeks > 0:
		return step{first: d, weeks: weeks, hours: float64(weeks) * p.plainWeek}
	case plain > 0:
		return step{first: d, hours: p.plainDay[d.Weekday()]}
	default:
		return step{first: d, hours: p.oddDay(d)}
	}
}

// oddDay returns the hours that a date's shifts add where each wall time is to be placed by itself.
func (p *Production) oddDay(d Date) float64 {
	if hours, known := p.odd.Load(d); known {
		return hours.(float64)
	}
	hours := totalHours(p.resolvedOn(d))
	p.odd.Store(d, hours)
	return hours
}

// plainDays returns how many days from a date on, up to and including last, are far from any exception and clock change.
func (p *Production) plainDays(d, last Date) int {
	days := last.DaysSince(d) + 1
	// An exception also changes what the day after it adds, so the day before d counts.
	i, _ := slices.BinarySearchFunc(p.special, d.AddDays(-1), Date.Compare)
	if i < len(p.special) {
		days = min(days, p.special[i].DaysSince(d))
	}
	// From two days before, since d leaves out the night shift of the day before and the date line may take that day whole;
	// up to two days before the change, since a shift of the last day reaches into the next one.
	if around := p.around(d.AddDays(-2)); !around.change.IsZero() {
		days = min(days, around.change.DaysSince(d)-2)
	}
	return max(0, days)
}

// around returns the steady run that the midnight of a date stands in. The zone data base is slow to ask, and a sum of
// the plan asks for one date after the other.
func (p *Production) around(d Date) *steady {
	known := p.steady.Load()
	if known == nil {
		known = &[]*steady{}
	}
	i, _ := slices.BinarySearchFunc(*known, d, func(s *steady, d Date) int {
		if s.first.After(d) {
			return 1
		}
		return -1
	})
	if i > 0 && (*known)[i-1].covers(d) {
		return (*known)[i-1]
	}
	if s, known := p.edges.Load(d); known {
		return s.(*steady)
	}
	offset, change := stretch(p.zone.StartOfDay(d).In(p.zone.Location()))
	s := &steady{first: d, offset: offset}
	if !change.IsZero() {
		s.change = p.zone.Date(change)
	}
	if !s.covers(d) {
		p.edges.Store(d, s)
		return s
	}
	if len(*known) >= mostSteady {
		known, i = &[]*steady{}, 0
	}
	next := slices.Insert(slices.Clone(*known), i, s)
	p.steady.Store(&next)
	return s
}

// midnight returns the first instant of a plain date.
func (p *Production) midnight(d Date) time.Time {
	return time.Unix(Local{Date: d}.unix()-p.around(d.AddDays(-2)).offset, 0).UTC()
}
