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
// hours at the instants asked about, and those around where a limit was passed.
func Stand(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) (*Standings, error) {
	return stand(ctx, db, scope, plantID, asOf, now, false)
}

// StandByAge is Stand for reports of splices' ages: the register is registry.AgesAsOf's, without what they do not
// show, without its pulleys no standing tells flexes, and
// its clocks are exact where splices ask, not where belts do.
func StandByAge(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) (*Standings, error) {
	return stand(ctx, db, scope, plantID, asOf, now, true)
}

func stand(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant, byAge bool) (*Standings, error) {
	read := registry.PlantAsOf
	if byAge {
		read = registry.AgesAsOf
	}
	p := &Standings{}
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) (err error) {
		if p.Register, err = read(ctx, tx, scope, plantID, asOf); err != nil {
			return err
		}
		return p.stand(ctx, tx, scope, asOf, now, byAge)
	})
	if err != nil {
		return nil, fmt.Errorf("read plant %d: %w", plantID, err)
	}
	return p, nil
}

// stand adds to a register where its splices stand, inside a transaction.
func (p *Standings) stand(ctx context.Context, tx *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf, now assets.Instant, byAge bool) (err error) {
	plantID := p.Register.Plant.ID
	if p.Rules, err = orders.RulesOf(ctx, tx, scope, plantID, asOf); err != nil {
		return err
	}
	at, known := now, asOf
	if asOf.Valid != 0 {
		at = asOf.Valid
	}
	known.Valid = 0 // what was known, at whatever time it was so
	h := &history{db: tx, scope: scope, known: known, splicesOnly: byAge}
	if err := h.read(ctx, p.Register, everywhere(p.Register, at), 0); err != nil {
		return err
	}
	p.Clocks = h.clocks
	p.Standings = due.Plant(at.Time(), p.Register, p.Rules, p.Clocks)
	return p.refine(ctx, h, at)
}

// everywhere asks for every conveyor's hours at an instant.
func everywhere(reg *assets.Register, at assets.Instant) []clocks.Asked {
	out := make([]clocks.Asked, len(reg.Conveyors))
	for i, c := range reg.Conveyors {
		out[i] = clocks.Asked{ConveyorID: c.ID, At: at}
	}
	return out
}

// refine reads the readings next to where limits in hours or passes were passed before the last reading: the day they
// were passed on lies between readings that were not asked for. Their splices stand anew.
func (p *Standings) refine(ctx context.Context, h *history, at assets.Instant) error {
	var limits []passed
	again := map[int64]bool{}
	for _, st := range p.Standings {
		if !st.ClockedAt.IsZero() && h.betweenReadings(st.ConveyorID, st.ClockedAt) {
			limits = append(limits, passed{st.ConveyorID, st.ClockedAt})
			again[st.SpliceID] = true
		}
	}
	if len(limits) == 0 {
		return nil
	}
	if err := h.settle(ctx, limits); err != nil {
		return err
	}
	var splices []assets.Splice
	for _, s := range p.Register.Splices {
		if again[s.ID] {
			splices = append(splices, s)
		}
	}
	next := due.Some(at.Time(), p.Register, splices, p.Rules, p.Clocks)
	for i := range p.Standings { // both in the order of the register
		if again[p.Standings[i].SpliceID] {
			p.Standings[i], next = next[0], next[1:]
		}
	}
	return nil
}
