package desk

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// PlantMeters returns the newest accepted reading and the meter stretches of every conveyor of a plant.
func (d *Desk) PlantMeters(ctx context.Context, scope assets.Scope, plantID int64) (map[int64]assets.Reading, map[int64][]assets.Meter, error) {
	read, err := clocks.PlantReadings(ctx, d.db, scope, plantID, clocks.Wanted{}, plantdb.AsOf{})
	if err != nil {
		return nil, nil, err
	}
	last := make(map[int64]assets.Reading, len(read))
	for conveyor, list := range read {
		last[conveyor] = list[len(list)-1]
	}
	meters, err := clocks.MetersOfPlant(ctx, d.db, scope, plantID, plantdb.AsOf{})
	return last, meters, err
}

// MetersOf returns the stretches of a conveyor's meter.
func (d *Desk) MetersOf(ctx context.Context, scope assets.Scope, conveyorID int64) ([]assets.Meter, error) {
	return clocks.Meters(ctx, d.db, scope, conveyorID, plantdb.AsOf{})
}

// LastReadings returns a conveyor's newest accepted readings.
func (d *Desk) LastReadings(ctx context.Context, scope assets.Scope, conveyorID int64, limit int) ([]assets.Reading, error) {
	return clocks.LastReadings(ctx, d.db, scope, conveyorID, limit)
}

// ReadingsBetween returns a conveyor's accepted readings of a stretch of time.
func (d *Desk) ReadingsBetween(ctx context.Context, scope assets.Scope, conveyorID int64, from, to assets.Instant) ([]assets.Reading, error) {
	return clocks.Readings(ctx, d.db, scope, conveyorID, clocks.Span{From: from, To: to}, plantdb.AsOf{})
}

// WaitingReadings returns a plant's held readings that wait for a person.
func (d *Desk) WaitingReadings(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.HeldReading, error) {
	return clocks.Held(ctx, d.db, scope, plantID)
}

// HeldOf returns a conveyor's held readings.
func (d *Desk) HeldOf(ctx context.Context, scope assets.Scope, conveyorID int64) ([]assets.HeldReading, error) {
	return clocks.HeldOf(ctx, d.db, scope, conveyorID)
}

// HeldReading returns one held reading.
func (d *Desk) HeldReading(ctx context.Context, scope assets.Scope, id int64) (assets.HeldReading, error) {
	return clocks.HeldReading(ctx, d.db, scope, id)
}

// LeftOutBy returns the accepted readings that a held one would leave out if it was right.
func (d *Desk) LeftOutBy(ctx context.Context, scope assets.Scope, heldID int64) ([]assets.Reading, error) {
	return clocks.LeftOutBy(ctx, d.db, scope, heldID)
}

// DecidedReadings returns a page of a plant's held readings that were decided, and how many there are.
func (d *Desk) DecidedReadings(ctx context.Context, scope assets.Scope, plantID int64, offset, limit int) ([]assets.HeldReading, int, error) {
	return clocks.Decided(ctx, d.db, scope, plantID, offset, limit)
}

// NamesOf returns the names of people by number.
func (d *Desk) NamesOf(ctx context.Context, ids []int64) (map[int64]string, error) {
	return registry.Names(ctx, d.db, ids)
}

// EnterReadings takes readings in one change.
func (d *Desk) EnterReadings(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, readings []web.ReadingEntered) ([]web.ReadingOutcome, error) {
	out := make([]web.ReadingOutcome, len(readings))
	err := d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error {
		for i, r := range readings {
			o, err := clocks.AddReading(c, clocks.Entered{ConveyorID: r.ConveyorID, At: r.At, ShownH: r.ShownH, Remark: r.Remark, Origin: "screen"})
			if err != nil {
				return err
			}
			out[i] = web.ReadingOutcome{Class: o.Class, HeldID: o.HeldID}
		}
		return nil
	})
	return out, err
}

// DecideReading keeps a person's answer to a held reading.
func (d *Desk) DecideReading(ctx context.Context, scope assets.Scope, a web.Act, plantID, heldID int64, decision web.ReadingDecision) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return clocks.Decide(c, heldID, clocks.Decision(decision)) })
}

// CorrectReading gives an accepted reading another value, or leaves it out.
func (d *Desk) CorrectReading(ctx context.Context, scope assets.Scope, a web.Act, plantID, conveyorID int64, at assets.Instant, shownH *float64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return clocks.CorrectReading(c, conveyorID, at, shownH) })
}

// DeclareStretch declares a replaced meter or a rollover.
func (d *Desk) DeclareStretch(ctx context.Context, scope assets.Scope, a web.Act, m *assets.Meter) error {
	return d.write(ctx, scope, a, m.PlantID, func(c *plantdb.Change) error { return clocks.DeclareStretch(c, m) })
}

// CorrectStretch corrects a declared one.
func (d *Desk) CorrectStretch(ctx context.Context, scope assets.Scope, a web.Act, m *assets.Meter) error {
	return d.write(ctx, scope, a, m.PlantID, func(c *plantdb.Change) error { return clocks.CorrectStretch(c, m) })
}

// CancelStretch takes back one that never was.
func (d *Desk) CancelStretch(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return clocks.CancelStretch(c, id, rowID) })
}
