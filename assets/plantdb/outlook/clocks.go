package outlook

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// clocks makes the usage clocks. Of the readings only those are read that tell the hours at the instants rules
// count from; where something to be raised fell due between readings that were not read, the conveyor's are
// read whole, so that its date is right.
func (l loader) clocks(ctx context.Context) error {
	h := due.History{Register: l.p.Register, Points: map[int64][]clock.Point{}}
	var err error
	if h.Calendars, err = clocks.Calendars(ctx, l.db, l.scope, l.plant, plantdb.AsOf{}); err != nil {
		return err
	}
	if h.Conveyors, h.Belts, err = registry.Stretches(ctx, l.db, l.scope, l.plant, plantdb.AsOf{}); err != nil {
		return err
	}
	meters, err := clocks.MetersOfPlant(ctx, l.db, l.scope, l.plant, plantdb.AsOf{})
	if err != nil {
		return err
	}
	wanted := clocks.Wanted{Asked: l.asked(h), TrailingH: l.trailing.Hours()}
	readings, err := clocks.PlantReadings(ctx, l.db, l.scope, l.plant, wanted, plantdb.AsOf{})
	if err != nil {
		return err
	}
	for _, c := range l.p.Register.Conveyors {
		h.Points[c.ID] = clocks.Points(meters[c.ID], readings[c.ID])
	}
	l.count(h)
	whole := l.between(h)
	for conveyor := range whole {
		all, err := clocks.Readings(ctx, l.db, l.scope, conveyor, clocks.Span{}, plantdb.AsOf{})
		if err != nil {
			return err
		}
		h.Points[conveyor] = clocks.Points(meters[conveyor], all)
	}
	if len(whole) > 0 {
		l.count(h)
	}
	return nil
}

func (l loader) count(h due.History) {
	l.p.Clocks = due.NewClocks(h)
	l.p.Inputs.Clocks = l.p.Clocks.Rules()
}

// asked returns the instants that hours are counted from: the making of splices, the fitting of belts, changes
// of speed and length, completions, and the start of rules that repeat.
func (l loader) asked(h due.History) []clocks.Asked {
	var out []clocks.Asked
	ask := func(conveyor int64, at assets.Instant) {
		if at != 0 {
			out = append(out, clocks.Asked{ConveyorID: conveyor, At: at})
		}
	}
	for _, b := range l.p.Register.Belts {
		ask(b.ConveyorID, b.Fitted.At)
		ask(b.ConveyorID, b.ValidFrom)
		for _, v := range h.Belts[b.ID] {
			ask(b.ConveyorID, v.ValidFrom)
		}
	}
	for _, s := range l.p.Register.Splices {
		ask(s.ConveyorID, s.Made.At)
	}
	for _, c := range l.p.Register.Conveyors {
		ask(c.ID, c.ValidFrom)
		for _, v := range h.Conveyors[c.ID] {
			ask(c.ID, v.ValidFrom)
		}
		for _, r := range l.p.Inputs.Rules {
			if r.Trigger.Repeats {
				ask(c.ID, r.StartsAt)
			}
		}
	}
	l.askCompletions(ask)
	return out
}

// askCompletions asks for the hours at which the orders of rules were done, from which the next cycle counts.
func (l loader) askCompletions(ask func(int64, assets.Instant)) {
	clocked := map[int64]bool{}
	for _, r := range l.p.Inputs.Rules {
		clocked[r.ID] = onHours(r) && r.Trigger.CountedFrom == rules.FromCompletion
	}
	done := map[int64]assets.Instant{}
	for _, o := range l.p.Inputs.Orders {
		done[o.ID] = o.DoneAt
	}
	for _, oc := range l.p.Inputs.Occurrences {
		if clocked[oc.RuleID] {
			ask(l.conveyorOf(oc), done[oc.OrderID])
		}
	}
}

func (l loader) conveyorOf(oc rules.Occurrence) int64 {
	switch oc.TargetKind {
	case rules.TargetSplice:
		s, _ := l.p.Register.Splice(oc.TargetID)
		return s.ConveyorID
	case rules.TargetBelt:
		b, _ := l.p.Register.Belt(oc.TargetID)
		return b.ConveyorID
	}
	return oc.TargetID
}

func onHours(r rules.Rule) bool {
	return r.Trigger.Kind == rules.TriggerHours || r.Trigger.Kind == rules.TriggerPasses || r.Trigger.Kind == rules.TriggerEvent && r.Trigger.RunningHours
}

// between returns the conveyors on which something to be raised now fell due before the last reading.
func (l loader) between(h due.History) map[int64]bool {
	look := rules.NewOutlook(l.p.Inputs)
	whole := map[int64]bool{}
	for _, r := range l.p.Inputs.Rules {
		if !onHours(r) {
			continue
		}
		for _, p := range look.Propose(r, r.Since(l.p.Through[r.ID], l.now), l.now) {
			if last, known := clock.NewLine(h.Points[p.Target.ConveyorID]).Last(); known && p.DueAt.Before(last.At) {
				whole[p.Target.ConveyorID] = true
			}
		}
	}
	return whole
}
