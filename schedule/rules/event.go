package rules

import (
	"fmt"
	"time"
)

// Events that a rule may follow.
const (
	EventSpliceMade = "splice made"
	EventBeltFitted = "belt fitted"
)

// eachEvent visits what falls due so many hours, elapsed or running, after a splice was made or a belt was
// fitted: run-in check, re-tension. The cycle is the event's id and n; a rule has one n. What fell due before
// the rule's start is left out.
func (o *Outlook) eachEvent(r Rule, until time.Time, visit func(Proposal)) {
	scoped := r
	scoped.Scope.Target = TargetSplice
	if r.Trigger.Event == EventBeltFitted {
		scoped.Scope.Target = TargetBelt
	}
	for _, t := range o.inScope(scoped, until.AddDate(0, 0, r.Template.LeadDays+1)) {
		if !r.countsFrom(t.own) {
			continue
		}
		due, ok := o.afterEvent(r, t, until)
		if !ok || !t.reachable(due) || due.Before(r.StartsAt.Time()) {
			continue
		}
		visit(o.eventProposal(r, t, due))
	}
}

// afterEvent returns when so many hours after an event are over; false when running hours are not reached by the
// end of the span.
func (o *Outlook) afterEvent(r Rule, of inScope, until time.Time) (time.Time, bool) {
	at, t := of.own.At.Time(), r.Trigger
	if !t.RunningHours {
		return micro(at.Add(time.Duration(t.AfterHours * float64(time.Hour)))), true
	}
	c, ok := o.counterOf(TriggerHours, of.ConveyorID, of.BeltID, at)
	if !ok {
		return time.Time{}, false
	}
	reached, known := o.reachedBy(c, of.ConveyorID, until.AddDate(0, 0, r.Template.LeadDays+1))
	if !known || reached < t.AfterHours {
		return time.Time{}, false
	}
	return c.reaches(t.AfterHours)
}

func (o *Outlook) eventProposal(r Rule, t inScope, due time.Time) Proposal {
	p := o.proposal(r, t.Target, ownCycle(t.Target, 1), due, o.day(due), o.raiseAt(r, t, due))
	if o.silent {
		return p
	}
	p.Values = map[string]any{"clock": r.Trigger.Event, "after_hours": r.Trigger.AfterHours, "running_hours": r.Trigger.RunningHours,
		"counted_from": t.own.At.Time(), "due": p.DueAt}
	p.Why = o.because(r, fmt.Sprintf("%s %s %s, due %s", r.Trigger.afterWords(), t.begun(), o.onWords(t.own), o.dateWords(due)))
	return p
}

// afterWords says how long after an event: "24 h after it was", "100 running hours after it was".
func (t Trigger) afterWords() string {
	unit := "h"
	if t.RunningHours {
		unit = "running hours"
	}
	return fmt.Sprintf("%s %s after it was", count(t.AfterHours), unit)
}
