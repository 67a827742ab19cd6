package calendar

import (
	"math"
	"slices"
	"sort"
	"time"
)

// plannedIndex holds the planned seconds of the dates from one to another, added up. It is only read once it is made.
//
// A date's hours are those of the shifts that start on it. Far from exceptions and clock changes they repeat by the week; such
// dates are one run, every other date is a run of its own.
type plannedIndex struct {
	p              *Production
	clock          zoneClock
	first, through Date
	runs           []plannedRun // from first through the last date, without gaps
	total          int64        // seconds of all of them
}

// plannedRun is one date, or several plain ones that follow each other.
type plannedRun struct {
	first    Date
	days     int
	before   int64  // planned seconds of the index's earlier dates
	midnight int64  // of the first date, Unix seconds; of plain runs only
	spans    []span // what a date that is not plain adds
	plain    bool
}

// marginDays is how many dates before and after that of an instant may have shifts on both its sides: a shift reaches into the
// next date, and the date line takes or repeats a whole one.
const marginDays = 2

// over returns an index that covers two instants, or nil where dates end.
func (p *Production) over(from, to time.Time) *plannedIndex {
	x := p.index.Load()
	if x != nil && x.covers(from) && x.covers(to) {
		return x
	}
	first, through := p.zone.Date(from).AddDays(-marginDays), p.zone.Date(to).AddDays(marginDays)
	if first.IsZero() || through.IsZero() {
		return nil
	}
	next := x.extended(p, first, through)
	p.index.Store(next)
	return next
}

// covers tells whether every date with a shift about an instant is in the index.
func (x *plannedIndex) covers(t time.Time) bool {
	unix := t.Unix()
	if unix < x.clock[0].at {
		return false
	}
	d := x.clock.date(unix)
	return !d.AddDays(-marginDays).Before(x.first) && !d.AddDays(marginDays).After(x.through)
}

// extended returns an index of more dates; x may be nil. It grows by half of what it had at least, so that who asks date
// after date does not make one for each.
func (x *plannedIndex) extended(p *Production, first, through Date) *plannedIndex {
	const least = 100
	if x == nil {
		from, to := first.sooner(least), through.later(least)
		clock := p.clockOver(from, to)
		runs, total := p.count(clock, from, to)
		return &plannedIndex{p: p, clock: clock, first: from, through: to, runs: runs, total: total}
	}
	more := max(least, x.through.DaysSince(x.first)/2)
	next := &plannedIndex{p: p, first: x.first, through: x.through, runs: x.runs, total: x.total}
	if first.Before(x.first) {
		next.first = first.sooner(more)
	}
	if through.After(x.through) {
		next.through = through.later(more)
	}
	next.clock = p.clockOver(next.first, next.through)
	if next.first.Before(x.first) {
		runs, total := p.count(next.clock, next.first, x.first.AddDays(-1))
		next.runs, next.total = joined(runs, total, next.runs), total+next.total
	}
	if next.through.After(x.through) {
		runs, total := p.count(next.clock, x.through.AddDays(1), next.through)
		next.runs, next.total = joined(next.runs, next.total, runs), next.total+total
	}
	return next
}

// joined appends later runs to those of the dates before them, which come to total seconds.
func joined(runs []plannedRun, total int64, later []plannedRun) []plannedRun {
	all := slices.Concat(runs, later)
	for i := range all[len(runs):] {
		all[len(runs)+i].before += total
	}
	return all
}

// sooner is so many days before a date, the first date there is at least.
func (d Date) sooner(days int) Date { return Date{max(1, d.n-int32(days))} }

// later is so many days after a date, the last date there is at most.
func (d Date) later(days int) Date { return Date{min(lastDay, d.n+int32(days))} }

// clockOver reads the clock wide enough to place every shift of the dates from one to another, and to tell which of them are
// near a change.
func (p *Production) clockOver(first, through Date) zoneClock {
	return readClock(p.zone, first.utc().AddDate(0, 0, -8), through.utc().AddDate(0, 0, 8))
}

// count adds up the dates from one to another.
func (p *Production) count(clock zoneClock, first, through Date) (runs []plannedRun, total int64) {
	for d, odd := first, p.oddDates(clock, first, through); !d.After(through); {
		r := plannedRun{first: d, days: 1, before: total}
		if len(odd) > 0 && odd[0] == d {
			odd = odd[1:]
			r.spans = p.resolvedOn(clock, d)
			total += totalSeconds(r.spans)
		} else {
			next := through.AddDays(1)
			if len(odd) > 0 {
				next = odd[0]
			}
			r.plain, r.days, r.midnight = true, next.DaysSince(d), clock.instant(Local{Date: d})
			total += p.plainSeconds(d, r.days)
		}
		runs = append(runs, r)
		d = d.AddDays(r.days)
		if d.IsZero() {
			break
		}
	}
	return runs, total
}

// oddDates are the dates from one to another that are near an exception or a clock change, ascending. An exception also changes
// what the day after it adds. About a change each wall time is placed by itself on the dates that it touches, on those whose
// shifts may reach it and on those that leave out what these plan.
func (p *Production) oddDates(clock zoneClock, first, through Date) []Date {
	var odd []Date
	see := func(from, to Date) {
		for d := from; !d.After(to); d = d.AddDays(1) {
			if !d.Before(first) && !d.After(through) {
				odd = append(odd, d)
			}
		}
	}
	i, _ := slices.BinarySearchFunc(p.special, first.sooner(1), Date.Compare)
	for ; i < len(p.special) && !p.special[i].After(through); i++ {
		see(p.special[i], p.special[i].later(1))
	}
	for i := 1; i < len(clock); i++ {
		before := dateOfDay(floorDiv(clock[i].at-1+clock[i-1].offset, secondsPerDay) + unixDayOne)
		after := clock.date(clock[i].at)
		if before.After(after) {
			before, after = after, before
		}
		see(before.sooner(2), after.later(2))
	}
	slices.SortFunc(odd, Date.Compare)
	return slices.Compact(odd)
}

// plainSeconds are the planned seconds of so many plain dates.
func (p *Production) plainSeconds(d Date, days int) int64 {
	sum := int64(days/7) * p.plainWeek
	for i := range days % 7 {
		sum += p.plainDay[(int(d.Weekday())+i)%7]
	}
	return sum
}

// at returns the run that holds a date.
func (x *plannedIndex) at(d Date) *plannedRun {
	i := sort.Search(len(x.runs), func(i int) bool { return x.runs[i].first.After(d) })
	return &x.runs[i-1]
}

// start are the planned seconds of the dates before one.
func (x *plannedIndex) start(d Date) int64 {
	if d.After(x.through) {
		return x.total
	}
	r := x.at(d)
	return r.before + x.p.plainSecondsIf(r.plain, r.first, d.DaysSince(r.first))
}

// plainSecondsIf is plainSeconds of plain dates, 0 of others: such a run has but one date.
func (p *Production) plainSecondsIf(plain bool, d Date, days int) int64 {
	if !plain {
		return 0
	}
	return p.plainSeconds(d, days)
}

// startingOn appends what the shifts starting on a date add to those of earlier dates.
func (x *plannedIndex) startingOn(spans []span, d Date) []span {
	r := x.at(d)
	if !r.plain {
		return append(spans, r.spans...)
	}
	midnight := r.midnight + int64(d.DaysSince(r.first))*secondsPerDay
	for _, s := range x.p.plainSpans[d.Weekday()] {
		spans = append(spans, span{midnight + s.start, midnight + s.end})
	}
	return spans
}

// planned is a sum of planned time: seconds, and of the second that an instant cuts the nanoseconds before it.
type planned struct{ seconds, nanos int64 }

// minus are the hours from an earlier sum to a later one.
func (a planned) minus(b planned) float64 {
	return inHours(a.seconds-b.seconds) + float64(a.nanos-b.nanos)/float64(time.Hour)
}

// before is what is planned before an instant, counted from the index's first date.
func (x *plannedIndex) before(t time.Time) planned {
	unix, nanos := t.Unix(), int64(t.Nanosecond())
	d := x.clock.date(unix)
	from := d.AddDays(-marginDays)
	sum := planned{seconds: x.start(from)}
	var room [24]span
	for i := range 2*marginDays + 1 {
		for _, s := range x.startingOn(room[:0], from.AddDays(i)) {
			switch {
			case unix >= s.end:
				sum.seconds += s.end - s.start
			case unix >= s.start:
				sum.seconds += unix - s.start
				sum.nanos += nanos
			}
		}
	}
	return sum
}

// reach finds when so many hours have come from an instant on; false when the index brings less.
func (x *plannedIndex) reach(from time.Time, hours float64) (time.Time, bool) {
	near := x.clock.date(from.Unix()).AddDays(-marginDays)
	far := near.AddDays(2*marginDays + 1) // from here on whole dates count
	whole := planned{seconds: x.start(far)}
	left := hours - whole.minus(x.before(from))
	if left <= roundingHours {
		return x.reachOn(near, hours, from)
	}
	// The last run that starts before they have come holds the date.
	until := func(seconds int64) float64 { return inHours(seconds - whole.seconds) }
	i := sort.Search(len(x.runs), func(i int) bool { return until(x.runs[i].before) >= left-roundingHours })
	if i == len(x.runs) && until(x.total) < left-roundingHours {
		return time.Time{}, false
	}
	r := x.runs[i-1]
	if r.first.Before(far) {
		r = plannedRun{first: far, days: r.days - far.DaysSince(r.first), before: whole.seconds, plain: r.plain}
	}
	left -= until(r.before)
	if r.plain && r.days > 7 && x.p.plainWeek > 0 {
		week := inHours(x.p.plainWeek)
		weeks := max(0, min(int(math.Ceil((left-roundingHours)/week))-1, r.days/7))
		r.first, left = r.first.AddDays(7*weeks), left-float64(weeks)*week
	}
	return x.reachOn(r.first, left, from)
}

// reachOn finds the instant at which the shifts from a date on have brought so many hours, none before from.
func (x *plannedIndex) reachOn(d Date, hours float64, from time.Time) (time.Time, bool) {
	start, nanos := from.Unix(), time.Duration(from.Nanosecond())
	var room [24]span
	for ; !d.IsZero() && !d.After(x.through); d = d.AddDays(1) {
		for _, s := range x.startingOn(room[:0], d) {
			cut := time.Duration(0)
			if s.start <= start {
				cut = nanos
			}
			s, some := s.clip(start)
			if !some {
				continue
			}
			length := inHours(s.end-s.start) - cut.Hours()
			if length >= hours-roundingHours {
				return time.Unix(s.start, int64(cut)).UTC().Add(time.Duration(min(hours, length) * float64(time.Hour))), true
			}
			hours -= length
		}
	}
	return time.Time{}, false
}
