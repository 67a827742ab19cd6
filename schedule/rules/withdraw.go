package rules

import (
	"fmt"
	"time"

	"carryside/schedule/workorder"
)

// Doubt is a proposal to withdraw an order: a correction of the register took away the ground on which a rule
// raised it. A person decides; nothing takes an order back by itself.
type Doubt struct {
	OrderID int64
	RuleID  int64
	Why     string
}

// leastDoubtDays is by how much a due date must have moved past the lead before an order is doubted: a
// projection moves by some days with every reading.
const leastDoubtDays = 7

// Doubts returns the open orders, not yet started, that rules raised and would not raise on what the register
// says now.
func (o *Outlook) Doubts(rs []Rule) []Doubt {
	byRule := map[int64]Rule{}
	for _, r := range rs {
		byRule[r.ID] = r
	}
	would := map[int64]map[Key]Proposal{}
	var out []Doubt
	for i := range o.in.Occurrences {
		oc := &o.in.Occurrences[i]
		order := o.past.orders[oc.OrderID]
		r, known := byRule[oc.RuleID]
		if order == nil || oc.Joined || !known || !r.AppliesTo(o.in.Plant) || !order.State.Open() || order.State == workorder.Started {
			continue
		}
		if why := o.doubt(r, *oc, would); why != "" {
			out = append(out, Doubt{OrderID: order.ID, RuleID: r.ID, Why: why})
		}
	}
	return out
}

// doubt says why an occurrence would not be raised now; "" when it would.
func (o *Outlook) doubt(r Rule, oc Occurrence, would map[int64]map[Key]Proposal) string {
	if gone := o.gone(oc); gone != "" {
		return gone
	}
	if r.PlansDates() {
		return "" // a planned date stays planned
	}
	if r.Trigger.Kind == TriggerGrade {
		return o.doubtFinding(r, oc.TargetID)
	}
	if would[r.ID] == nil {
		would[r.ID] = o.wouldRaise(r)
	}
	p, still := would[r.ID][oc.Key()]
	switch {
	case !still:
		return fmt.Sprintf("%s no longer gives a ground for this order on what the register says now", r.Name)
	case p.RaiseAt.After(o.in.Now.AddDate(0, 0, leastDoubtDays)):
		return fmt.Sprintf("after a correction it falls due on %s, %s days from now; %s", dueWords(p.DueDay), count(p.DueAt.Sub(o.in.Now).Hours()/24), p.Why)
	}
	return ""
}

// doubtFinding says that a finding was corrected and no longer is what its rule looks at.
func (o *Outlook) doubtFinding(r Rule, id int64) string {
	for i := range o.in.Findings {
		f := &o.in.Findings[i]
		switch {
		case f.ID != id || r.looksAt(f):
		case f.Grade == nil:
			return "after a correction the finding has no grade"
		default:
			return fmt.Sprintf("after a correction the finding is of grade %d, %s; %s looks at grade %d and more", *f.Grade, f.Category, r.Name, r.Trigger.Grade)
		}
	}
	return ""
}

// gone says that what an occurrence is about is no longer in use.
func (o *Outlook) gone(oc Occurrence) string {
	switch oc.TargetKind {
	case TargetSplice:
		if s := o.splices[oc.TargetID]; s == nil || s.Ended != nil {
			return "the splice is no longer in use"
		}
	case TargetBelt:
		if b := o.belts[oc.TargetID]; b == nil || b.Removed != nil {
			return "the belt is no longer on its conveyor"
		}
	}
	return ""
}

// wouldRaise returns what a rule raises on the facts as they are, as if it had always been in force, by key.
// Two years ahead are enough to tell a date that moved from a ground that is gone.
func (o *Outlook) wouldRaise(r Rule) map[Key]Proposal {
	out := map[Key]Proposal{}
	r.StartsAt = 0
	o.forgetting().each(r, time.Time{}, o.in.Now.AddDate(2, 0, 0), func(p Proposal) { out[p.Key()] = p })
	return out
}
