package rules

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// eachClocked visits what running hours or passes since an event make due. The event is the splice's making
// or the belt's fitting, or the last completed order of the rule on the target; the cycle is that event and k.
// When a value is reached follows from the clock: between readings from the line, after the last of them from
// its projection. A projection costs much to invert, so that it is first asked what is reached by the end of
// the span, and only that is dated.
func (o *Outlook) eachClocked(r Rule, until time.Time, visit func(Proposal)) {
	if !(r.Trigger.count() > 0) {
		return
	}
	end := until.AddDate(0, 0, r.Template.LeadDays+1)
	for _, t := range o.inScope(r, end) {
		e, ok := o.eventOf(r, t)
		if !ok {
			continue
		}
		c, ok := o.counterOf(r.Trigger.Kind, t.ConveyorID, t.BeltID, e.at)
		if !ok {
			continue
		}
		reached, known := o.reachedBy(c, t.ConveyorID, end)
		if known && reached >= r.Trigger.count() {
			o.eachReached(r, t, e, c, reached, until, visit)
		}
	}
}

// eachReached visits the cycles of one target that are reached by the end of the span.
func (o *Outlook) eachReached(r Rule, t inScope, e clockEvent, c counter, reached float64, until time.Time, visit func(Proposal)) {
	if e.completed != nil {
		o.sinceCompletion(r, t, e, c, visit)
		return
	}
	first, last := o.firstCycle(r, c), 1
	if r.Trigger.Repeats {
		last = int(min(math.Floor(reached/r.Trigger.count()), float64(first+mostCycles)))
	}
	o.eachCycle(r, t, first, last, until, func(k int) (time.Time, assets.Day, bool) {
		due, ok := c.reaches(float64(k) * r.Trigger.count())
		return due, o.day(due), ok
	}, func(k int, due time.Time, _ assets.Day) Proposal {
		return o.clockedProposal(r, t, e, c, ownCycle(t.Target, k), k, due)
	}, visit)
}

// clockEvent is what hours or passes are counted from.
type clockEvent struct {
	at        time.Time
	completed *workorder.Order // nil: the target's own date
}

// eventOf returns the event a target's clock is counted from: the completion where the rule counts from
// completions and there is one, else the target's own date; false when that is not known.
func (o *Outlook) eventOf(r Rule, t inScope) (clockEvent, bool) {
	if r.Trigger.CountedFrom == FromCompletion {
		if done := o.past.completion(r, t.Target); done != nil {
			return clockEvent{at: done.DoneAt.Time(), completed: done}, true
		}
	}
	if t.own.IsZero() {
		at, known := o.lineBegins(t)
		return clockEvent{at: at}, known
	}
	return clockEvent{at: t.own.At.Time()}, r.countsFrom(t.own)
}

// eventWords says what is counted from.
func (o *Outlook) eventWords(t inScope, e clockEvent) string {
	switch {
	case e.completed != nil:
		return fmt.Sprintf("since it was last done on %s (order %d)", o.dateWords(e.at), e.completed.Number)
	case t.own.IsZero():
		return "since " + o.dateWords(e.at) + ", when its hours begin"
	}
	return "since it was " + t.begun() + " " + o.onWords(t.own)
}

// lineBegins is what the hours of a conveyor, which has no date of its own, are counted from.
func (o *Outlook) lineBegins(t inScope) (time.Time, bool) {
	line := o.in.Clocks.Lines[t.ConveyorID]
	if line == nil || t.Kind != TargetConveyor {
		return time.Time{}, false
	}
	return line.Begins()
}

// firstCycle returns the first cycle worth asking: of a repeating rule, the one under way at its start.
func (o *Outlook) firstCycle(r Rule, c counter) int {
	if !r.Trigger.Repeats {
		return 1
	}
	n, known := c.at(r.StartsAt.Time())
	if !known {
		return 1
	}
	return max(1, int(math.Floor(n/r.Trigger.count())))
}

// sinceCompletion visits the one cycle that follows a completed order.
func (o *Outlook) sinceCompletion(r Rule, t inScope, e clockEvent, c counter, visit func(Proposal)) {
	due, ok := c.reaches(r.Trigger.count())
	if ok && t.reachable(due) {
		visit(o.clockedProposal(r, t, e, c, orderCycle(e.completed)+":1", 1, due))
	}
}

func (o *Outlook) clockedProposal(r Rule, t inScope, e clockEvent, c counter, cycle string, k int, due time.Time) Proposal {
	day := o.day(due)
	p := o.proposal(r, t.Target, cycle, due, day, o.raiseAt(r, t, due))
	if o.silent {
		return p
	}
	limit := float64(k) * r.Trigger.count()
	reached, _ := c.at(o.in.Now)
	lower := c.atLeast || e.completed == nil && onlyLatest(t.own)
	p.Values = map[string]any{"clock": r.Trigger.clockWords(), "reached": reached, "limit": limit, "k": k, "counted_from": e.at,
		"at_least": lower, "due": p.DueAt}
	when := "reached on"
	if due.After(o.in.Now) {
		when = "expected on"
	}
	p.Why = o.because(r, fmt.Sprintf("%s%s of %s %s %s, %s %s", least(lower), count(reached), count(limit), r.Trigger.clockWords(), o.eventWords(t, e), when, o.dateWords(due)))
	return p
}

// clockWords names the clock of a trigger on hours or passes.
func (t Trigger) clockWords() string {
	if t.Kind == TriggerPasses {
		return "passes"
	}
	return "running hours"
}
