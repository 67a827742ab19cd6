package rules

import (
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// lifeLimit is the rule that limits a splice's life and falls due first.
type lifeLimit struct {
	found     bool
	due       time.Time
	made      time.Time
	byCounter bool
	counter   counter
	limit     float64 // hours or passes
}

// reaches returns when a share of the life is used.
func (l lifeLimit) reaches(share float64) (time.Time, bool) {
	switch {
	case !l.found:
		return time.Time{}, false
	case l.byCounter:
		return l.counter.reaches(share * l.limit)
	}
	return micro(l.made.Add(time.Duration(share * float64(l.due.Sub(l.made))))), true
}

// lifeUsedReaches returns the instant at which a splice has used a share of its life: its age as a share of
// the age at which the re-splice rule in force that falls due first is reached. Without such a rule, or
// without a date, no share is known.
func (o *Outlook) lifeUsedReaches(s *assets.Splice, share float64) (time.Time, bool) {
	l, known := o.life[s.ID]
	if !known {
		l = o.lifeLimitOf(s)
		o.life[s.ID] = l
	}
	return l.reaches(share)
}

func (o *Outlook) lifeLimitOf(s *assets.Splice) (first lifeLimit) {
	if s.Made.IsZero() || s.Made.Unknown() {
		return first
	}
	for _, r := range o.in.Rules {
		if !r.limitsLife() || !r.AppliesTo(o.in.Plant) || !o.Matches(r.Scope, s) {
			continue
		}
		if l := o.limitBy(r, s); l.found && (!first.found || l.due.Before(first.due)) {
			first = l
		}
	}
	return first
}

// limitsLife tells whether a rule bounds the age of splices: it has them remade, counted from their making.
func (r Rule) limitsLife() bool {
	onSplices := r.Scope.Target == TargetSplice || r.Scope.Target == ""
	counted := r.Trigger.Kind == TriggerHours || r.Trigger.Kind == TriggerPasses ||
		r.Trigger.Kind == TriggerInterval && r.Trigger.CountedFrom == FromMade
	return r.Template.Kind == workorder.KindResplice && onSplices && counted && r.Scope.UsedFrom == 0
}

func (o *Outlook) limitBy(r Rule, s *assets.Splice) lifeLimit {
	made := s.Made.At.Time()
	if r.Trigger.Kind == TriggerInterval {
		due, _, ok := o.afterOwnDate(r.Trigger, s.Made, 1)
		return lifeLimit{found: ok, due: due, made: made}
	}
	c, ok := o.counterOf(r.Trigger.Kind, s.ConveyorID, s.BeltID, made)
	if !ok {
		return lifeLimit{}
	}
	due, ok := c.reaches(r.Trigger.count())
	return lifeLimit{found: ok, due: due, made: made, byCounter: true, counter: c, limit: r.Trigger.count()}
}

// count is the number of hours or passes of a trigger.
func (t Trigger) count() float64 {
	if t.Kind == TriggerPasses {
		return t.Passes
	}
	return t.Hours
}
