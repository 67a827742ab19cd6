package rules

import (
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// eachFinding visits the findings of at least the rule's grade that nobody has answered: no follow-up order,
// no signed refusal. The cycle is the finding's id, so that it raises once.
//
// What was found before the rule's start is raised at the start if it still stands: what it is about is still
// there, and nobody found the same sound since.
func (o *Outlook) eachFinding(r Rule, visit func(Proposal)) {
	start := r.StartsAt
	for i := range o.in.Findings {
		f := &o.in.Findings[i]
		if r.looksAt(f) && o.findingInScope(r.Scope, f) && o.stands(f, start) {
			visit(o.findingProposal(r, f))
		}
	}
}

// stands tells whether a finding still asks for an answer. A preview asks only whether it came after the rule's
// start: what was answered since would have been raised then.
func (o *Outlook) stands(f *assets.Finding, start assets.Instant) bool {
	if o.forgets {
		return f.FoundAt >= start
	}
	return f.RefusedBy == 0 && !o.followedUp(f) && o.stillThere(f) && (f.FoundAt >= start || !o.foundBetterSince(f))
}

// looksAt tells whether a finding is of a rule's grade and category.
func (r Rule) looksAt(f *assets.Finding) bool {
	return f.Grade != nil && *f.Grade >= r.Trigger.Grade && among(r.Trigger.Categories, f.Category)
}

// followedUp tells whether a finding has its order. One that a rule raised and somebody withdrew leaves it open
// again: whether it may be raised anew is a matter of the withdrawal.
func (o *Outlook) followedUp(f *assets.Finding) bool {
	if f.FollowUpOrderID == 0 {
		return false
	}
	order := o.past.orders[f.FollowUpOrderID]
	return order == nil || order.State != workorder.Withdrawn
}

func (o *Outlook) findingInScope(sc Scope, f *assets.Finding) bool {
	if s := o.splices[f.SpliceID]; s != nil {
		return o.Matches(sc, s)
	}
	if len(sc.Forms)+len(sc.Bonds) > 0 || sc.AgeUnknown {
		return false
	}
	return o.matchesConveyor(sc, f.ConveyorID) && among(sc.Families, o.family[f.BeltID])
}

// stillThere tells whether what was found is still in use: a remade splice, a removed belt or a retired
// conveyor needs no order.
func (o *Outlook) stillThere(f *assets.Finding) bool {
	if c := o.conveyors[f.ConveyorID]; c == nil || c.Status == assets.ConveyorRetired {
		return false
	}
	if f.SpliceID != 0 {
		s := o.splices[f.SpliceID]
		return s != nil && s.Ended == nil
	}
	if f.BeltID != 0 {
		b := o.belts[f.BeltID]
		return b != nil && b.Removed == nil
	}
	return true
}

// foundBetterSince tells whether the same category was graded lower on the same target later.
func (o *Outlook) foundBetterSince(f *assets.Finding) bool {
	return slices.ContainsFunc(o.in.Findings, func(g assets.Finding) bool {
		same := g.ConveyorID == f.ConveyorID && g.BeltID == f.BeltID && g.SpliceID == f.SpliceID && g.Category == f.Category
		return same && g.Grade != nil && *g.Grade < *f.Grade && g.FoundAt > f.FoundAt
	})
}

func (o *Outlook) findingProposal(r Rule, f *assets.Finding) Proposal {
	found := f.FoundAt.Time()
	day := f.FoundDay
	if day == "" {
		day = o.day(found)
	}
	p := o.proposal(r, o.findingTarget(f), fmt.Sprint(f.ID), found, day, o.raiseAt(r, inScope{}, found))
	p.Values = map[string]any{"clock": "finding", "finding": f.ID, "grade": *f.Grade, "limit": r.Trigger.Grade, "category": f.Category, "found": found}
	words := fmt.Sprintf("finding of grade %d on %s: %s", *f.Grade, dueWords(day), f.Category)
	if f.Measurement != nil {
		p.Values["measurement"], p.Values["unit"] = *f.Measurement, f.MeasurementUnit
	}
	p.Why = o.because(r, words+fmt.Sprintf(", answered from grade %d, latest %s", r.Trigger.Grade, dueWords(p.LatestDay)))
	return p
}
