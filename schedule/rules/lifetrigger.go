package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"carryside/assets"
)

// SpliceLife is what the law of its cohort tells of one splice.
type SpliceLife struct {
	// Within is the chance that the splice, sound at from, fails by to; both may lie in the past.
	Within func(from, to time.Time) float64
	BestAt time.Time                     // when it reaches the age at which replacing costs least; zero: there is no such age, or it is never reached
	Share  func(share float64) time.Time // when it reaches a share of that age; nil: there is no such age
	Best   string                        // that age in words, with its numbers
	Class  assets.Class
	Rests  string // "23 failures among 412 lives of its cohort"
}

// AfterNext is what a life trigger looks at: the chance of failing before the stop after next. What waits for the next stop
// alone is not lost; what fails before the one after it is.
//
// Where fewer than two stops are planned, ninety days stand for them: our own choice.
const withoutStopDays = 90

// DefaultChance is the chance from which a life trigger raises where nothing else is typed. Rule of thumb, class D.
const DefaultChance = 0.1

// lookEvery is how often a chance is looked at between stops, in days.
const lookEvery = 7

// eachLife visits the splices whose chance of failing before the stop after next reaches the rule's share, or that reach
// their best age. The cycle is the splice, until it is replaced. A law of class D (a thin cohort) only reminds.
//
// The law is the one known now, also for instants in the past: a preview of the last year shows what today's knowledge would
// have raised.
func (o *Outlook) eachLife(r Rule, after, until time.Time, visit func(Proposal)) {
	if len(o.in.Lives) == 0 {
		return
	}
	for _, t := range o.inScope(r, until.AddDate(0, 0, r.Template.LeadDays+1)) {
		l, known := o.in.Lives[t.SpliceID]
		switch {
		case !known || !r.countsFrom(t.own):
		case r.Trigger.BestAge:
			if !l.BestAt.IsZero() && t.reachable(l.BestAt) {
				visit(o.bestAgeProposal(r, t, l))
			}
		case l.Within != nil:
			o.likelyToFail(r, t, l, after, until, visit)
		}
	}
}

// likelyToFail visits the first instant of the span at which the chance is reached.
func (o *Outlook) likelyToFail(r Rule, t inScope, l SpliceLife, after, until time.Time, visit func(Proposal)) {
	for _, at := range o.looks(t, after, until) {
		if !t.holds(at) {
			continue
		}
		by := at.AddDate(0, 0, withoutStopDays)
		next, second := o.stopsAfter(t.Target, at)
		if next != nil && by.Before(o.in.Now) && next.Start.Time().After(o.in.Now) {
			next, second = nil, nil // the stops of then are not on record; those to come were not the next ones
		}
		if second != nil {
			by = second.Start.Time()
		}
		if p := l.Within(at, by); p >= r.Trigger.share() {
			visit(o.chanceProposal(r, t, l, look{at: at, by: by, next: next, stops: second != nil, chance: p}))
			return
		}
	}
}

// look is a chance looked at.
type look struct {
	at, by time.Time
	next   *assets.StopWindow
	stops  bool // by is the stop after next
	chance float64
}

// looks are the instants of a span at which a chance is looked at. Of the past only its end counts, except in a preview:
// what a rule did not see then it sees now. The chance steps up when a stop has passed; between stops it is looked at weekly.
func (o *Outlook) looks(t inScope, after, until time.Time) []time.Time {
	now := o.in.Now
	if !o.forgets && after.Before(now) {
		if !until.After(now) {
			return []time.Time{until}
		}
		after = now
	}
	if year := now.AddDate(-1, 0, 0); after.Before(year) {
		after = year
	}
	at := []time.Time{later(after.Add(time.Microsecond), t.from)}
	for d := at[0].AddDate(0, 0, lookEvery); !d.After(until); d = d.AddDate(0, 0, lookEvery) {
		at = append(at, d)
	}
	for _, w := range o.in.Windows {
		if s := w.Start.Time(); w.StopsConveyor(t.ConveyorID, t.LineID) && s.After(at[0]) && !s.After(until) {
			at = append(at, s)
		}
	}
	slices.SortFunc(at, time.Time.Compare)
	return slices.DeleteFunc(at, func(d time.Time) bool { return d.After(until) })
}

// stopsAfter returns the next two agreed stops of a target after an instant, nil where none is planned.
func (o *Outlook) stopsAfter(t Target, at time.Time) (next, second *assets.StopWindow) {
	for i := range o.in.Windows {
		w := &o.in.Windows[i]
		switch {
		case !w.StopsConveyor(t.ConveyorID, t.LineID) || !w.Start.Time().After(at):
		case next == nil || w.Start < next.Start:
			next, second = w, next
		case second == nil || w.Start < second.Start:
			second = w
		}
	}
	return next, second
}

func (o *Outlook) chanceProposal(r Rule, t inScope, l SpliceLife, k look) Proposal {
	due := k.at
	if k.next != nil {
		due = k.next.Start.Time()
	}
	p := o.proposal(r, t.Target, lifeCycle(t.Target), due, o.day(due), later(k.at, later(r.StartsAt.Time(), t.from)))
	p.Thumb = !l.Class.RaisesOrders()
	if o.silent {
		return p
	}
	what := "the stop after next, " + o.dateWords(k.by)
	if !k.stops {
		what = o.dateWords(k.by) + fmt.Sprintf(", %d days on: fewer than two stops are planned", withoutStopDays)
	}
	p.Values = map[string]any{"clock": "life", "chance": round3(k.chance), "limit": r.Trigger.share(), "by": k.by, "rests_on": l.Rests, "class": l.Class}
	p.Why = o.because(r, fmt.Sprintf("chance of %s of failing before %s, limit %s; %s", percentWords(k.chance), what, percentWords(r.Trigger.share()), l.restsWords()))
	return p
}

func (o *Outlook) bestAgeProposal(r Rule, t inScope, l SpliceLife) Proposal {
	p := o.proposal(r, t.Target, lifeCycle(t.Target), l.BestAt, o.day(l.BestAt), o.raiseAt(r, t, l.BestAt))
	p.Thumb = !l.Class.RaisesOrders()
	if o.silent {
		return p
	}
	when := "reached on"
	if l.BestAt.After(o.in.Now) {
		when = "expected on"
	}
	p.Values = map[string]any{"clock": "life", "best_age": l.Best, "due": p.DueAt, "rests_on": l.Rests, "class": l.Class}
	p.Why = o.because(r, fmt.Sprintf("best age %s, %s %s; %s", l.Best, when, o.dateWords(l.BestAt), l.restsWords()))
	return p
}

// restsWords says on what the law rests, and that a thin one only reminds.
func (l SpliceLife) restsWords() string {
	if l.Class.RaisesOrders() {
		return fmt.Sprintf("by %s, class %s", l.Rests, l.Class)
	}
	return "by " + l.Rests + ", too few for more than a reminder (class D)"
}

// lifeCycle is the key of a life: the splice, until it is replaced by another one.
func lifeCycle(t Target) string { return fmt.Sprintf("splice %d", t.ID) }

// share is the chance from which the trigger raises.
func (t Trigger) share() float64 {
	if t.Chance > 0 {
		return t.Chance
	}
	return DefaultChance
}

func (t Trigger) lifeWords() string {
	if t.BestAge {
		return "best age reached"
	}
	return percentWords(t.share()) + " chance of failing before the stop after next"
}

func percentWords(p float64) string {
	if p > 0 && p < 0.01 {
		return "under 1\u00a0%"
	}
	return strings.TrimSuffix(fmt.Sprintf("%.0f", math.Floor(100*p+0.5)), ".") + "\u00a0%"
}

func round3(p float64) float64 { return math.Round(1000*p) / 1000 }

func checkLife(t Trigger, sc Scope, wrong assets.Invalid) {
	if sc.Target != "" && sc.Target != TargetSplice {
		wrong.Add("target", "life is known of splices only; let the rule look at splices")
	}
	if sc.AgeUnknown {
		wrong.Add("target", "a splice whose age is not known has no chance of failing; choose another trigger for those")
	}
	if !t.BestAge && !(t.Chance >= 0.01 && t.Chance <= 0.9) {
		wrong.Add("chance", "give the chance of failing as a number from 1 to 90 %; the rule raises from there on")
	}
}
