package outlook

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// Standings is one plant as of an instant with where each of its live splices stands: what screens and reports show.
type Standings struct {
	Register  *assets.Register
	Rules     []rules.Rule // that apply to the plant, switched-off ones too
	Clocks    due.Clocks
	Standings []due.Standing // of every live splice, in the order of the register
}

// Stand reads a plant as it was at an instant (at 0: now) and as it is known at asOf's position. Its cost follows
// what lives in the plant, not the length of its histories: of the readings only those are fetched that tell the
// hours at the instants asked about, and all of a conveyor's only where a limit was passed between them.
func Stand(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) (*Standings, error) {
	var p *Standings
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) (err error) {
		p, err = stand(ctx, tx, scope, plantID, asOf, now)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read plant %d: %w", plantID, err)
	}
	return p, nil
}

// stand is Stand inside a transaction.
func stand(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) (*Standings, error) {
	p := &Standings{}
	var err error
	if p.Register, err = registry.PlantAsOf(ctx, tx, scope, plantID, asOf); err != nil {
		return nil, err
	}
	if p.Rules, err = orders.RulesOf(ctx, tx, scope, plantID, asOf); err != nil {
		return nil, err
	}
	at, known := now, asOf
	if asOf.Valid != 0 {
		at = asOf.Valid
	}
	known.Valid = 0 // what was known, at whatever time it was so
	h := &history{db: tx, scope: scope, known: known}
	if err := h.read(ctx, p.Register, everywhere(p.Register, at), 0); err != nil {
		return nil, err
	}
	p.Clocks = h.clocks
	p.Standings = due.Plant(at.Time(), p.Register, p.Rules, p.Clocks)
	return p, p.refine(ctx, h, at)
}

// everywhere asks for every conveyor's hours at an instant.
func everywhere(reg *assets.Register, at assets.Instant) []clocks.Asked {
	out := make([]clocks.Asked, len(reg.Conveyors))
	for i, c := range reg.Conveyors {
		out[i] = clocks.Asked{ConveyorID: c.ID, At: at}
	}
	return out
}

// refine reads all readings of the conveyors on which a limit in hours or passes was passed before the last
// reading: the day it was passed on lies between readings that were not asked for. Their splices stand anew.
func (p *Standings) refine(ctx context.Context, h *history, at assets.Instant) error {
	passed := map[int64]bool{}
	for _, st := range p.Standings {
		if st.Limit != nil && st.Limit.Clock != due.Days && !st.DueAt.IsZero() && h.betweenReadings(st.ConveyorID, st.DueAt) {
			passed[st.ConveyorID] = true
		}
	}
	if len(passed) == 0 {
		return nil
	}
	if err := h.readWhole(ctx, passed); err != nil {
		return err
	}
	var again []assets.Splice
	for _, s := range p.Register.Splices {
		if passed[s.ConveyorID] {
			again = append(again, s)
		}
	}
	next := due.Some(at.Time(), p.Register, again, p.Rules, p.Clocks)
	for i := range p.Standings { // both in the order of the register
		if passed[p.Standings[i].ConveyorID] {
			p.Standings[i], next = next[0], next[1:]
		}
	}
	return nil
}
