package rules

import (
	"fmt"
	"time"
)

// eachTakeUp visits the belts whose take-up leaves fewer re-splices than the rule asks for. The cycle is belt
// and limit until the next re-splice: the splice made last stands for "until". It fell due when that splice
// was made, or when the belt was fitted.
func (o *Outlook) eachTakeUp(r Rule, visit func(Proposal)) {
	for _, b := range o.beltsIn(r.Scope) {
		left, known := o.in.Resplices[b.ID]
		if !known || left >= r.Trigger.ResplicesLeft || !b.until.IsZero() {
			continue
		}
		last, at := o.lastSplice(b)
		due := micro(at)
		p := o.proposal(r, b.Target, fmt.Sprintf("limit %d after splice %d", r.Trigger.ResplicesLeft, last), due, o.day(due), o.raiseAt(r, b, due))
		p.Values = map[string]any{"clock": "take-up", "resplices_left": left, "limit": r.Trigger.ResplicesLeft, "since": due}
		p.Why = o.because(r, fmt.Sprintf("take-up leaves %s since %s, fewer than %d", plural(left, "re-splice"), o.dateWords(due), r.Trigger.ResplicesLeft))
		visit(p)
	}
}

// lastSplice returns the live splice of a belt made last, 0 when none was made since it was fitted, and when.
func (o *Outlook) lastSplice(b inScope) (id int64, at time.Time) {
	at = b.from
	for _, s := range o.inBelt[b.ID] {
		if s.Ended == nil && s.Made.At.Time().After(at) {
			id, at = s.ID, s.Made.At.Time()
		}
	}
	return id, at
}
