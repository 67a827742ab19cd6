package main

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

// plantState is one plant looked at as of an instant: what its screens, its rules and its reports work on.
type plantState struct {
	Register  *assets.Register
	Rules     []rules.Rule // in force, switched-off ones too
	Clocks    due.Clocks
	Standings []due.Standing // of the live splices, in the order of the register
}

// loadPlant reads a plant as it was at an instant (0: now) and as it is known now. Its cost follows what
// lives in the plant, not the length of its histories: of the readings only those are fetched that tell the
// hours at the instants asked about, and all of a conveyor's only where a limit was passed between them.
func loadPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, at, now assets.Instant) (s plantState, err error) {
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		asOf := plantdb.AsOf{Valid: at}
		if s.Register, err = registry.PlantAsOf(ctx, tx, scope, plantID, asOf); err != nil {
			return err
		}
		if s.Rules, err = orders.RulesOf(ctx, tx, scope, plantID, asOf); err != nil {
			return err
		}
		if at == 0 {
			at = now
		}
		l := clockLoader{tx, scope, at, &s}
		return l.load(ctx)
	})
	if err != nil {
		return plantState{}, fmt.Errorf("read plant %d: %w", plantID, err)
	}
	return s, nil
}

// clockLoader reads what a plant's clocks are made of.
type clockLoader struct {
	db    *plantdb.DB
	scope assets.Scope
	at    assets.Instant
	state *plantState
}

func (l clockLoader) load(ctx context.Context) error {
	reg, plant := l.state.Register, l.state.Register.Plant.ID
	h := due.History{Register: reg}
	var err error
	if h.Calendars, err = clocks.Calendars(ctx, l.db, l.scope, plant, plantdb.AsOf{}); err != nil {
		return err
	}
	if err := l.versions(ctx, &h); err != nil {
		return err
	}
	meters, err := clocks.MetersOfPlant(ctx, l.db, l.scope, plant, plantdb.AsOf{})
	if err != nil {
		return err
	}
	wanted := clocks.Wanted{Asked: l.asked(h), TrailingH: due.Trailing.Hours()}
	readings, err := clocks.PlantReadings(ctx, l.db, l.scope, plant, wanted, plantdb.AsOf{})
	if err != nil {
		return err
	}
	h.Points = map[int64][]clock.Point{}
	for _, c := range reg.Conveyors {
		h.Points[c.ID] = clocks.Points(meters[c.ID], readings[c.ID])
	}
	l.state.Clocks = due.NewClocks(h)
	l.state.Standings = due.Plant(l.at.Time(), reg, l.state.Rules, l.state.Clocks)
	return l.refine(ctx, h, meters)
}

// versions reads the other stretches of conveyors and belts that changed; most never did.
func (l clockLoader) versions(ctx context.Context, h *due.History) (err error) {
	h.Conveyors, h.Belts, err = registry.Stretches(ctx, l.db, l.scope, h.Register.Plant.ID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	for _, c := range h.Register.Conveyors {
		if c.ValidTo != nil { // it changed after the moment looked at
			h.Conveyors[c.ID], err = registry.ConveyorHistory(ctx, l.db, l.scope, c.ID)
		} else if len(h.Conveyors[c.ID]) > 0 {
			h.Conveyors[c.ID] = append(h.Conveyors[c.ID], c)
		}
		if err != nil {
			return err
		}
	}
	for _, b := range h.Register.Belts {
		if b.ValidTo != nil {
			h.Belts[b.ID], err = registry.BeltStretches(ctx, l.db, l.scope, b.ID)
		} else if len(h.Belts[b.ID]) > 0 {
			h.Belts[b.ID] = append(h.Belts[b.ID], b)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// asked returns the instants at which hours must be exact: now, the making of each splice and fitting of
// each belt, and each change of speed or loop length.
func (l clockLoader) asked(h due.History) []clocks.Asked {
	var out []clocks.Asked
	ask := func(conveyor int64, at assets.Instant) {
		if at != 0 {
			out = append(out, clocks.Asked{ConveyorID: conveyor, At: at})
		}
	}
	for _, c := range h.Register.Conveyors {
		ask(c.ID, l.at)
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
func (l clockLoader) refine(ctx context.Context, h due.History, meters map[int64][]assets.Meter) error {
	var passed []assets.Conveyor
	read := map[int64]bool{}
	for _, st := range l.state.Standings {
		if st.Limit == nil || st.Limit.Clock == due.Days || read[st.ConveyorID] || st.DueAt.IsZero() {
			continue
		}
		last, _ := clock.NewLine(h.Points[st.ConveyorID]).Last()
		if !st.DueAt.Before(last.At) {
			continue
		}
		readings, err := clocks.Readings(ctx, l.db, l.scope, st.ConveyorID, clocks.Span{}, plantdb.AsOf{})
		if err != nil {
			return err
		}
		read[st.ConveyorID] = true
		h.Points[st.ConveyorID] = clocks.Points(meters[st.ConveyorID], readings)
		if c, ok := h.Register.Conveyor(st.ConveyorID); ok {
			passed = append(passed, c)
		}
	}
	if len(passed) > 0 {
		l.state.Clocks.Read(h, passed)
		l.standAnew(read)
	}
	return nil
}

// standAnew computes the standings on some conveyors again.
func (l clockLoader) standAnew(on map[int64]bool) {
	reg := l.state.Register
	var some []assets.Splice
	for _, s := range reg.Splices {
		if on[s.ConveyorID] {
			some = append(some, s)
		}
	}
	anew := due.Some(l.at.Time(), reg, some, l.state.Rules, l.state.Clocks)
	for i := range l.state.Standings {
		if on[l.state.Standings[i].ConveyorID] {
			l.state.Standings[i], anew = anew[0], anew[1:]
		}
	}
}
