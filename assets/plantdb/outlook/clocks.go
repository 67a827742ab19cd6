package outlook

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb/clocks"
	"carryside/schedule/rules"
)

// clocks makes the usage clocks. Where something to be raised fell due between readings that were not read, the
// conveyor's are read whole, so that its date is right.
func (l loader) clocks(ctx context.Context) error {
	h := &history{db: l.db, scope: l.scope}
	if err := h.read(ctx, l.p.Register, l.asked(), l.whole); err != nil {
		return err
	}
	l.p.Clocks, l.p.Inputs.Clocks = h.clocks, h.clocks.Rules()
	if between := l.between(h); len(between) > 0 {
		return h.readWhole(ctx, between) // the same lines as the rules have
	}
	return nil
}

// asked returns the instants that rules count hours from beside those of the register: completions, and the start of
// rules that repeat.
func (l loader) asked() []clocks.Asked {
	var out []clocks.Asked
	for _, r := range l.p.Inputs.Rules {
		if !r.Trigger.Repeats {
			continue
		}
		for _, c := range l.p.Register.Conveyors {
			out = append(out, clocks.Asked{ConveyorID: c.ID, At: r.StartsAt})
		}
	}
	clocked, done := map[int64]bool{}, map[int64]assets.Instant{}
	for _, r := range l.p.Inputs.Rules {
		clocked[r.ID] = onHours(r) && r.Trigger.CountedFrom == rules.FromCompletion
	}
	for _, o := range l.p.Inputs.Orders {
		done[o.ID] = o.DoneAt
	}
	for _, oc := range l.p.Inputs.Occurrences {
		if at := done[oc.OrderID]; clocked[oc.RuleID] && at != 0 {
			out = append(out, clocks.Asked{ConveyorID: l.conveyorOf(oc), At: at})
		}
	}
	return out
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
func (l loader) between(h *history) map[int64]bool {
	look := rules.NewOutlook(l.p.Inputs)
	found := map[int64]bool{}
	for _, r := range l.p.Inputs.Rules {
		if !onHours(r) {
			continue
		}
		for _, p := range look.Propose(r, r.Since(l.p.Through[r.ID], l.now), l.now) {
			if h.betweenReadings(p.Target.ConveyorID, p.DueAt) {
				found[p.Target.ConveyorID] = true
			}
		}
	}
	return found
}
