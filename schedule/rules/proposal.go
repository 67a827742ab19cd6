package rules

import (
	"encoding/json"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Proposal is an occurrence to be raised: what the storage inserts under its key, with the order or, for a
// rule of thumb, as a reminder without one.
type Proposal struct {
	Rule         Rule
	PlantID      int64
	Target       Target
	Cycle        string
	WithdrawalNo int
	DueAt        time.Time
	DueDay       assets.Day
	PlannedLocal string     // of a calendar occurrence
	RaiseAt      time.Time  // due less the lead, not before the rule's start
	LatestDay    assets.Day // plant date
	Why          string
	Values       map[string]any
	Thumb        bool // what it rests on beside the rule is a rule of thumb: a law of a thin cohort
}

// Key is what may be there once.
type Key struct {
	RuleID     int64
	TargetKind TargetKind
	TargetID   int64
	Cycle      string
}

// Key returns the key of a proposal without its withdrawal's number.
func (p Proposal) Key() Key { return Key{p.Rule.ID, p.Target.Kind, p.Target.ID, p.Cycle} }

// Key returns the key of an occurrence without its withdrawal's number.
func (oc Occurrence) Key() Key { return Key{oc.RuleID, oc.TargetKind, oc.TargetID, oc.Cycle} }

// Reminder tells whether this raises no order: a figure it rests on is a rule of thumb.
func (p Proposal) Reminder() bool { return p.Thumb || !p.Rule.Class.RaisesOrders() }

// Title returns the title of the order: the template's, with the target's name in its place.
func (p Proposal) Title() string {
	title := p.Rule.Template.Title
	if title == "" {
		title = string(p.Rule.Template.Kind) + " {target}"
	}
	return strings.TrimSpace(strings.NewReplacer("{target}", p.Target.Words, "{conveyor}", p.Target.ConveyorTag).Replace(title))
}

// Occurrence returns the row, raised at now; the storage adds the order it points to.
func (p Proposal) Occurrence(now time.Time) Occurrence {
	values, err := json.Marshal(p.Values)
	if err != nil {
		values = []byte("{}")
	}
	return Occurrence{
		PlantID: p.PlantID, RuleID: p.Rule.ID, TargetKind: p.Target.Kind, TargetID: p.Target.ID,
		Cycle: p.Cycle, WithdrawalNo: p.WithdrawalNo, DueAt: assets.InstantOf(p.DueAt), DueDay: p.DueDay,
		PlannedLocal: p.PlannedLocal, RaisedAt: assets.InstantOf(now), Why: p.Why, Values: string(values),
	}
}

// Order returns the order to be raised at now where no open one is joined; the storage gives it its numbers.
func (p Proposal) Order(now time.Time) workorder.Order {
	t := p.Rule.Template
	return workorder.Order{
		PlantID: p.PlantID, Kind: t.Kind, State: workorder.Raised,
		ConveyorID: p.Target.ConveyorID, BeltID: p.Target.BeltID, SpliceID: p.Target.SpliceID, FindingID: p.Target.FindingID,
		Title: p.Title(), Reason: p.Why, RuleID: p.Rule.ID, LatestDay: p.LatestDay,
		WorkHours: t.WorkHours, Crew: t.Crew, RaisedAt: assets.InstantOf(now),
	}
}

// Joins tells whether the occurrence points to an order that is open already: same kind, same target. What a
// plant or line is about stands in the title, so there the titles are compared.
func (p Proposal) Joins(o workorder.Order) bool {
	t := p.Target
	switch {
	case !o.State.Open() || o.PlantID != p.PlantID || o.Kind != p.Rule.Template.Kind:
		return false
	case t.SpliceID != 0:
		return o.SpliceID == t.SpliceID
	case t.BeltID != 0:
		return o.BeltID == t.BeltID && o.SpliceID == 0
	case t.ConveyorID != 0:
		return o.ConveyorID == t.ConveyorID && o.BeltID == 0 && o.SpliceID == 0
	}
	return o.ConveyorID == 0 && o.Title == p.Title()
}

// MakeOrder makes the order of a reminder, 'Make it an order', decided by a person. Its latest date is the
// one the rule gives, or today where that has passed: the person decides today.
func (o *Outlook) MakeOrder(r Rule, oc Occurrence, by int64, now time.Time) (workorder.Order, error) {
	t, ok := o.TargetOf(oc.TargetKind, oc.TargetID)
	if !ok {
		return workorder.Order{}, assets.Invalid{"": "what this reminder is about is no longer in use; no order is made of it"}
	}
	p := Proposal{Rule: r, PlantID: oc.PlantID, Target: t, Why: oc.Why, LatestDay: oc.DueDay.AddDays(r.Template.LatestDays)}
	if today := assets.Day(o.zone.Date(now).String()); p.LatestDay < today {
		p.LatestDay = today
	}
	order := p.Order(now)
	order.RaisedBy = by
	return order, nil
}
