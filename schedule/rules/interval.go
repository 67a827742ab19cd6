package rules

import (
	"fmt"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/workorder"
)

// What an interval, hours or passes are counted from.
const (
	FromPlan       = "plan"       // anchor date and n times the interval
	FromCompletion = "completion" // the last completed order of the rule on this target
	FromMade       = "made"       // the splice's making, the belt's fitting
)

// eachInterval visits the occurrences of "every n days, weeks, months, years".
func (o *Outlook) eachInterval(r Rule, after, until time.Time, visit func(Proposal)) {
	every, err := calendar.NewInterval(r.Trigger.Every, r.Trigger.Unit)
	if err != nil {
		return
	}
	switch r.Trigger.CountedFrom {
	case FromCompletion:
		o.eachAfterCompletion(r, every, until, visit)
	case FromMade:
		o.eachAfterMaking(r, until, visit)
	default:
		o.eachPlanned(r, every, after, until, visit)
	}
}

// eachPlanned counts from the plan: anchor plus k intervals, always from the anchor; the cycle is the planned
// local date and time. Nothing planned before the rule's start is visited.
func (o *Outlook) eachPlanned(r Rule, every calendar.Interval, after, until time.Time, visit func(Proposal)) {
	anchor, ok := r.Trigger.anchor()
	if !ok {
		return
	}
	// What is raised by until may be due up to the lead later.
	from := later(after, r.StartsAt.Time().Add(-time.Microsecond))
	end := until.AddDate(0, 0, r.Template.LeadDays+1)
	o.eachDate(r, every.Between(o.zone, anchor, from, end), end, r.Template.LeadDays, visit)
}

// anchor returns the first planned date with the rule's time of day.
func (t Trigger) anchor() (calendar.Local, bool) {
	d, err := calendar.ParseDate(string(t.AnchorDay))
	if err != nil || d.IsZero() {
		return calendar.Local{}, false
	}
	tod, err := t.timeOfDay()
	return calendar.Local{Date: d, Time: tod}, err == nil
}

// timeOfDay returns the rule's time of day, 06:00 where none is given.
func (t Trigger) timeOfDay() (calendar.TimeOfDay, error) {
	if t.TimeOfDay == "" {
		return calendar.At(6, 0), nil
	}
	return calendar.ParseTimeOfDay(t.TimeOfDay)
}

// eachAfterCompletion counts from the local date of the last completion; the cycle is the order completed,
// the first time the rule's start. Correcting the date of the completion moves the due date, not the key.
func (o *Outlook) eachAfterCompletion(r Rule, every calendar.Interval, until time.Time, visit func(Proposal)) {
	tod, err := r.Trigger.timeOfDay()
	if err != nil {
		return
	}
	for _, t := range o.inScope(r, until.AddDate(0, 0, r.Template.LeadDays+1)) {
		cycle, from := "start", r.StartsAt.Time()
		if done := o.past.completion(r, t.Target); done != nil {
			cycle, from = orderCycle(done), done.DoneAt.Time()
		}
		if p, ok := o.afterCompletion(r, t, every, tod, cycle, from); ok {
			visit(p)
		}
	}
}

func orderCycle(o *workorder.Order) string { return fmt.Sprintf("order %d", o.ID) }

func (o *Outlook) afterCompletion(r Rule, t inScope, every calendar.Interval, tod calendar.TimeOfDay, cycle string, from time.Time) (Proposal, bool) {
	at, ok := every.AfterCompletion(o.zone, from, tod)
	if !ok || !t.reachable(at.At) {
		return Proposal{}, false
	}
	p := o.plannedProposal(r, t, o.plan(at, r.Template.LeadDays))
	p.Cycle, p.PlannedLocal = cycle, ""
	if o.silent {
		return p, true
	}
	since := "since the last was done"
	if cycle == "start" {
		since = "since the rule began"
	}
	p.Values["counted_from"] = from
	p.Why = o.because(r, fmt.Sprintf("%s %s on %s, due %s", r.Trigger.Words(), since, dayWords(o.zone.Date(from)), dayWords(at.Planned.Date)))
	return p, true
}

// reachable tells whether a target is still in scope when something falls due. What fell due before it came
// into scope is raised when it does.
func (t inScope) reachable(due time.Time) bool { return t.until.IsZero() || due.Before(t.until) }

// eachAfterMaking counts from the splice's or belt's own date; the cycle is that splice or belt and k, so
// that correcting its date moves the due date, not the key.
func (o *Outlook) eachAfterMaking(r Rule, until time.Time, visit func(Proposal)) {
	for _, t := range o.inScope(r, until.AddDate(0, 0, r.Template.LeadDays+1)) {
		if !r.countsFrom(t.own) {
			continue
		}
		first, last := 1, 1
		if r.Trigger.Repeats {
			first, last = r.firstAfterMaking(t.own), mostCycles
		}
		o.eachCycle(r, t, first, last, until, func(k int) (time.Time, assets.Day, bool) { return o.afterOwnDate(r.Trigger, t.own, k) },
			func(k int, due time.Time, day assets.Day) Proposal {
				p := o.proposal(r, t.Target, ownCycle(t.Target, k), due, day, o.raiseAt(r, t, due))
				if o.silent {
					return p
				}
				age := int(o.in.Now.Sub(t.own.At.Time()) / (24 * time.Hour))
				p.Values = map[string]any{"clock": "days", "reached": age, "every": r.Trigger.Every, "unit": r.Trigger.Unit, "k": k,
					"counted_from": t.own.At.Time(), "at_least": onlyLatest(t.own), "due": p.DueAt}
				p.Why = o.because(r, fmt.Sprintf("%s%s days old, limit %s since it was %s %s, due %s",
					least(onlyLatest(t.own)), count(float64(age)), plural(k*r.Trigger.Every, r.Trigger.Unit), t.begun(), o.onWords(t.own), dueWords(day)))
				return p
			}, visit)
	}
}

// longestDays are the most days a unit of an interval has.
var longestDays = map[string]int{"day": 1, "week": 7, "month": 31, "year": 366}

// firstAfterMaking returns a cycle that surely falls before the rule's start, and not far before it: of a
// repeating rule nothing earlier is raised.
func (r Rule) firstAfterMaking(own assets.When) int {
	length := longestDays[r.Trigger.Unit] * r.Trigger.Every
	if length <= 0 {
		return 1
	}
	return max(1, int(r.StartsAt.Time().Sub(own.At.Time()).Hours()/24)/length-2)
}

// begun says how a target's own date came about.
func (t Target) begun() string {
	if t.Kind == TargetBelt {
		return "fitted"
	}
	return "made"
}

// ownCycle is the event counted from, and k.
func ownCycle(t Target, k int) string { return fmt.Sprintf("%s %d:%d", t.Kind, t.ID, k) }

// afterOwnDate returns when k intervals after a date are over: at the rule's time of day, else at the time of
// day the date was given with, else at the end of that day. An approximate date counts from its earliest day.
func (o *Outlook) afterOwnDate(t Trigger, own assets.When, k int) (time.Time, assets.Day, bool) {
	every, err := calendar.NewInterval(t.Every, t.Unit)
	if err != nil {
		return time.Time{}, "", false
	}
	base := o.zone.Local(own.At.Time())
	whole := false
	if !own.Timed {
		day := own.Earliest
		if day == "" {
			day = own.Latest
		}
		if d, err := calendar.ParseDate(string(day)); err == nil && !d.IsZero() {
			base, whole = calendar.Local{Date: d}, true
		}
	}
	due := every.From(base.Date, k)
	if due.IsZero() {
		return time.Time{}, "", false
	}
	at := o.zone.Instant(calendar.Local{Date: due, Time: base.Time})
	switch tod, err := calendar.ParseTimeOfDay(t.TimeOfDay); {
	case t.TimeOfDay != "" && err == nil:
		at = o.zone.Instant(calendar.Local{Date: due, Time: tod})
	case whole:
		at = o.zone.EndOfDay(due)
	}
	return at, assets.Day(due.String()), true
}

// eachCycle visits the cycles k = first to last that fall due, are to be raised by until, and are free. A limit (one that
// does not repeat) that was passed before the rule's start still stands and is raised at the start; of a
// repeating one, what fell due before the start is left out.
func (o *Outlook) eachCycle(r Rule, t inScope, first, last int, until time.Time, due func(k int) (time.Time, assets.Day, bool), propose func(int, time.Time, assets.Day) Proposal, visit func(Proposal)) {
	for k := first; k <= last; k++ {
		if _, _, free := o.past.free(Key{r.ID, t.Kind, t.ID, ownCycle(t.Target, k)}, o.zone); !free {
			continue
		}
		at, day, ok := due(k)
		if !ok || !t.reachable(at) || o.daysBefore(at, r.Template.LeadDays).After(until) {
			return
		}
		if r.Trigger.Repeats && at.Before(r.StartsAt.Time()) {
			continue
		}
		visit(propose(k, at, day))
	}
}

// mostCycles bounds the cycles of one splice or belt: daily ones over a hundred years.
const mostCycles = 36525

// raiseAt is the instant at which something due is raised: so many days before, but not before the rule's
// start nor before its target came into scope.
func (o *Outlook) raiseAt(r Rule, t inScope, due time.Time) time.Time {
	return later(o.daysBefore(due, r.Template.LeadDays), later(r.StartsAt.Time(), t.from))
}

// intervalAfter returns the instant one interval after a completion.
func (o *Outlook) intervalAfter(t Trigger, done time.Time) (time.Time, bool) {
	every, err := calendar.NewInterval(t.Every, t.Unit)
	if err != nil {
		return time.Time{}, false
	}
	tod, err := t.timeOfDay()
	if err != nil {
		return time.Time{}, false
	}
	at, ok := every.AfterCompletion(o.zone, done, tod)
	return at.At, ok
}
