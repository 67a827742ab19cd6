package rules

import (
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// lifeLimit is what limits a splice's life and falls due first: a rule, or the age at which replacing costs least. A rule of
// thumb binds nothing and limits none.
type lifeLimit struct {
	best      func(share float64) time.Time // of the best age; nil: a rule
	found     bool
	made      time.Time
	due       time.Time // by the calendar
	byCounter bool
	counter   counter
	limit     float64 // hours or passes
}

// lifeUsedReaches returns the instant at which a splice has used a share of its life, if that is by an instant:
// its age as a share of the age at which the re-splice rule in force or the best age is reached, whichever comes first.
// Without either, or without a date, no share is known.
func (o *Outlook) lifeUsedReaches(s *assets.Splice, share float64, by time.Time) (time.Time, bool) {
	l, known := o.life[s.ID]
	if !known {
		l = o.orBestAge(s, o.lifeLimitOf(s))
		o.life[s.ID] = l
	}
	switch {
	case !l.found:
		return time.Time{}, false
	case l.best != nil:
		at := l.best(share)
		return micro(at), !at.IsZero() && !at.After(by)
	case !l.byCounter:
		return micro(l.made.Add(time.Duration(share * float64(l.due.Sub(l.made))))), true
	}
	if reached, known := o.reachedBy(l.counter, s.ConveyorID, by); !known || reached < share*l.limit {
		return time.Time{}, false
	}
	return l.counter.reaches(share * l.limit)
}

// orBestAge is the best age in the place of the rule where it comes first. One by rule of thumb does not stand in the place of a
// rule that is passed.
func (o *Outlook) orBestAge(s *assets.Splice, rule lifeLimit) lifeLimit {
	l := o.in.Lives[s.ID]
	if l.BestAt.IsZero() || l.Share == nil || s.Made.IsZero() || s.Made.Unknown() {
		return rule
	}
	by := l.BestAt
	if !l.Class.RaisesOrders() && by.Before(o.in.Now) {
		by = o.in.Now
	}
	first := rule.found && !rule.byCounter && !rule.due.After(by)
	if rule.byCounter {
		then, known := o.reachedBy(rule.counter, s.ConveyorID, by)
		first = known && then >= rule.limit
	}
	if first {
		return rule
	}
	return lifeLimit{found: true, best: l.Share}
}

// lifeLimitOf finds the rule that falls due first. Limits on hours and passes are compared as running hours, and
// the first of them with a date by the hours on that date, so that nothing is projected to its own date.
func (o *Outlook) lifeLimitOf(s *assets.Splice) lifeLimit {
	if s.Made.IsZero() || s.Made.Unknown() {
		return lifeLimit{}
	}
	var dated, counted lifeLimit
	for _, r := range o.in.Rules {
		if !r.limitsLife() || !r.AppliesTo(o.in.Plant) || !o.Matches(r.Scope, s) {
			continue
		}
		l := o.limitBy(r, s)
		switch {
		case !l.found:
		case !l.byCounter && (!dated.found || l.due.Before(dated.due)):
			dated = l
		case l.byCounter && (!counted.found || l.hours() < counted.hours()):
			counted = l
		}
	}
	if !dated.found || !counted.found {
		if counted.found {
			return counted
		}
		return dated
	}
	if then, known := o.reachedBy(counted.counter, s.ConveyorID, dated.due); known && then >= counted.limit {
		return counted
	}
	return dated
}

// hours returns the conveyor's running hours at which a limit on hours or passes is reached.
func (l lifeLimit) hours() float64 {
	h, ok := l.counter.hoursAt(l.limit)
	if !ok {
		return math.Inf(1)
	}
	return h
}

// limitsLife tells whether a rule bounds the age of splices: it binds and has them remade, counted from their making.
func (r Rule) limitsLife() bool {
	onSplices := r.Scope.Target == TargetSplice || r.Scope.Target == ""
	counted := r.Trigger.Kind == TriggerHours || r.Trigger.Kind == TriggerPasses ||
		r.Trigger.Kind == TriggerInterval && r.Trigger.CountedFrom == FromMade
	return r.Template.Kind == workorder.KindResplice && onSplices && counted && r.Scope.UsedFrom == 0 && r.Class.RaisesOrders()
}

func (o *Outlook) limitBy(r Rule, s *assets.Splice) lifeLimit {
	made := s.Made.At.Time()
	if r.Trigger.Kind == TriggerInterval {
		due, _, ok := o.afterOwnDate(r.Trigger, s.Made, 1)
		return lifeLimit{found: ok, due: due, made: made}
	}
	c, ok := o.counterOf(r.Trigger.Kind, s.ConveyorID, s.BeltID, made)
	return lifeLimit{found: ok, made: made, byCounter: true, counter: c, limit: r.Trigger.count()}
}

// count is the number of hours or passes of a trigger.
func (t Trigger) count() float64 {
	if t.Kind == TriggerPasses {
		return t.Passes
	}
	return t.Hours
}
