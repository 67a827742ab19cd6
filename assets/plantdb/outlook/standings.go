package outlook

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/clock"
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
	l := standingLoader{db: tx, scope: scope, known: asOf, at: now, plant: p}
	if asOf.Valid != 0 {
		l.at = asOf.Valid
	}
	l.known.Valid = 0 // what was known, at whatever time it was so
	return p, l.load(ctx)
}

// standingLoader reads what a plant's clocks are made of as of a day, as it was known at a position.
type standingLoader struct {
	db     *plantdb.DB
	scope  assets.Scope
	known  plantdb.AsOf
	at     assets.Instant
	plant  *Standings
	meters map[int64][]assets.Meter
}

func (l *standingLoader) load(ctx context.Context) (err error) {
	reg, plant := l.plant.Register, l.plant.Register.Plant.ID
	h := due.History{Register: reg}
	if h.Calendars, err = clocks.Calendars(ctx, l.db, l.scope, plant, l.known); err != nil {
		return err
	}
	if h.Conveyors, h.Belts, err = registry.Stretches(ctx, l.db, l.scope, plant, l.known); err != nil {
		return err
	}
	if l.meters, err = clocks.MetersOfPlant(ctx, l.db, l.scope, plant, l.known); err != nil {
		return err
	}
	wanted := clocks.Wanted{Asked: l.asked(h), TrailingH: due.Trailing.Hours()}
	readings, err := clocks.PlantReadings(ctx, l.db, l.scope, plant, wanted, l.known)
	if err != nil {
		return err
	}
	h.Points = make(map[int64][]clock.Point, len(reg.Conveyors))
	for _, c := range reg.Conveyors {
		h.Points[c.ID] = clocks.Points(l.meters[c.ID], readings[c.ID])
	}
	l.standings(h)
	return l.refine(ctx, h)
}

// standings computes where every splice stands from what was read.
func (l *standingLoader) standings(h due.History) {
	l.plant.Clocks = due.NewClocks(h)
	l.plant.Standings = due.Plant(l.at.Time(), h.Register, l.plant.Rules, l.plant.Clocks)
}

// asked returns the instants at which hours must be exact: now, the making of each splice and fitting of each
// belt, and each change of speed or loop length of a belt that is on.
func (l *standingLoader) asked(h due.History) []clocks.Asked {
	var out []clocks.Asked
	ask := func(conveyor int64, at assets.Instant) {
		if at != 0 && at < l.at {
			out = append(out, clocks.Asked{ConveyorID: conveyor, At: at})
		}
	}
	for _, c := range h.Register.Conveyors {
		out = append(out, clocks.Asked{ConveyorID: c.ID, At: l.at})
		for _, v := range h.Conveyors[c.ID] {
			ask(c.ID, v.ValidFrom)
		}
	}
	for _, b := range h.Register.Belts {
		ask(b.ConveyorID, b.Fitted.At)
		for _, v := range h.Belts[b.ID] {
			ask(b.ConveyorID, v.ValidFrom)
		}
	}
	for _, s := range h.Register.Splices {
		ask(s.ConveyorID, s.Made.At)
	}
	return out
}

// refine reads all readings of the conveyors on which a limit in hours or passes was passed before the last
// reading: the day it was passed on lies between readings that were not asked for.
func (l *standingLoader) refine(ctx context.Context, h due.History) error {
	passed := map[int64]bool{}
	for _, st := range l.plant.Standings {
		if st.Limit == nil || st.Limit.Clock == due.Days || passed[st.ConveyorID] || st.DueAt.IsZero() {
			continue
		}
		points := h.Points[st.ConveyorID]
		if len(points) == 0 || !st.DueAt.Before(points[len(points)-1].At) {
			continue
		}
		readings, err := clocks.Readings(ctx, l.db, l.scope, st.ConveyorID, clocks.Span{}, l.known)
		if err != nil {
			return err
		}
		passed[st.ConveyorID] = true
		h.Points[st.ConveyorID] = clocks.Points(l.meters[st.ConveyorID], readings)
	}
	if len(passed) > 0 {
		l.standings(h)
	}
	return nil
}
