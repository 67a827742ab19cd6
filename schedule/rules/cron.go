package rules

import (
	"fmt"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// eachCron visits what a cron expression plans in a span, for each target in scope at the planned time. The
// cycle is the planned local date and time, so a skipped hour is raised once after the gap and a doubled one
// once. It has no lead: what is planned is raised when it is planned.
func (o *Outlook) eachCron(r Rule, after, until time.Time, visit func(Proposal)) {
	expr, err := calendar.ParseCron(r.Trigger.Cron)
	if err != nil {
		return // refused when saved; a rule that cannot be read plans nothing
	}
	o.eachDate(r, expr.Between(o.zone, later(after, r.StartsAt.Time().Add(-time.Microsecond)), until), until, 0, visit)
}

// planned is a planned time as proposals of all targets need it.
type planned struct {
	calendar.Occurrence
	local string
	day   assets.Day
	early time.Time // less the lead
}

func (o *Outlook) plan(at calendar.Occurrence, leadDays int) planned {
	return planned{at, at.Planned.String(), assets.Day(at.Planned.Date.String()), o.daysBefore(at.At, leadDays)}
}

// eachDate visits each target in scope at each planned time.
func (o *Outlook) eachDate(r Rule, dates []calendar.Occurrence, end time.Time, leadDays int, visit func(Proposal)) {
	if len(dates) == 0 {
		return
	}
	times := make([]planned, len(dates))
	for i, at := range dates {
		times[i] = o.plan(at, leadDays)
	}
	for _, t := range o.inScope(r, end) {
		for _, at := range times {
			if t.holds(at.At) {
				visit(o.plannedProposal(r, t, at))
			}
		}
	}
}

// plannedProposal is an occurrence whose local date and time the plan fixes; it is raised its lead before.
func (o *Outlook) plannedProposal(r Rule, t inScope, at planned) Proposal {
	p := o.proposal(r, t.Target, at.local, at.At, at.day, later(at.early, later(r.StartsAt.Time(), t.from)))
	p.PlannedLocal = at.local
	if o.silent {
		return p
	}
	p.Values = map[string]any{"clock": "calendar", "planned_local": p.PlannedLocal, "zone": o.zone.String(), "due": p.DueAt}
	p.Why = o.because(r, fmt.Sprintf("%s, planned for %s at %s plant time%s", r.Trigger.Words(), dayWords(at.Planned.Date), at.Planned.Time, o.shown(at.Occurrence)))
	return p
}

// shown says what a clock change does to a planned time.
func (o *Outlook) shown(at calendar.Occurrence) string {
	switch at.Showing {
	case calendar.Skipped:
		return fmt.Sprintf(", which the clock skips: %s by the clock", o.zone.Local(at.At).Time)
	case calendar.Twice:
		return ", the first of two by the clock"
	}
	return ""
}

// proposal fills what every trigger fills alike. The due day is given apart, because an end of day belongs
// to the day it ends. What fell due before its rule began has its latest date counted from that beginning:
// nobody had decided it before.
func (o *Outlook) proposal(r Rule, t Target, cycle string, due time.Time, day assets.Day, raise time.Time) Proposal {
	from := day
	if start := r.StartsAt.Time(); due.Before(start) {
		from = max(day, o.day(start))
	}
	return Proposal{
		Rule: r, PlantID: o.in.Plant.ID, Target: t, Cycle: cycle, DueAt: micro(due), DueDay: day,
		RaiseAt: micro(raise), LatestDay: from.AddDays(r.Template.LatestDays),
	}
}

// daysBefore returns the same wall time so many plant days earlier.
func (o *Outlook) daysBefore(t time.Time, days int) time.Time {
	if days <= 0 {
		return t
	}
	local := o.zone.Local(t)
	before := o.zone.Instant(calendar.Local{Date: local.Date.AddDays(-days), Time: local.Time})
	return before.Add(t.Sub(t.Truncate(time.Second)))
}

func (o *Outlook) day(t time.Time) assets.Day { return assets.Day(o.zone.Date(t).String()) }
