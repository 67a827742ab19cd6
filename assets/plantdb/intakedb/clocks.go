package intakedb

import (
	"context"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
)

// hangClocks adds meters, accepted readings and held ones.
func hangClocks(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, at map[int64]*intake.ConveyorState) error {
	meters, err := clocks.MetersOfPlant(ctx, tx, scope, plantID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	readings, err := clocks.AllReadings(ctx, tx, scope, plantID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	held, err := clocks.HeldOfPlant(ctx, tx, scope, plantID)
	if err != nil {
		return err
	}
	for id, c := range at {
		c.Meters, c.Readings, c.Held = meters[id], readings[id], held[id]
	}
	return nil
}

// writeClocks writes new stretches of meters, readings and held readings of the plant's conveyors.
func (w *plantWriter) writeClocks() error {
	var meters []assets.Meter
	var held []assets.HeldReading
	for _, c := range w.change.Conveyors {
		meters = append(meters, w.newMeters(c)...)
		for i := range c.Readings {
			c.Readings[i].ConveyorID = c.Record.ID
		}
		for _, h := range c.Held {
			h.PlantID, h.ConveyorID, h.EnteredAt, h.EnteredBy = w.plant.ID, c.Record.ID, w.c.Now(), w.c.Act.PersonID
			held = append(held, h)
		}
	}
	if err := plantdb.CreateMany(w.c, w.ch, meters); err != nil {
		return err
	}
	if err := w.writeReadings(); err != nil {
		return err
	}
	return clocks.HoldReadings(w.c, w.ch, held)
}

// newMeters completes the new stretches of a conveyor: what the old meter showed last follows from the offsets.
func (w *plantWriter) newMeters(c *intake.ConveyorChange) []assets.Meter {
	offset := w.offsetBefore(c)
	for i := range c.Meters {
		m := &c.Meters[i]
		m.PlantID, m.ConveyorID = w.plant.ID, c.Record.ID
		if m.Why == assets.MeterReplaced && m.PreviousFinalH == nil {
			final := m.OffsetH + m.StartH - offset
			m.PreviousFinalH = &final
		}
		offset = m.OffsetH
	}
	return c.Meters
}

// writeReadings writes the readings some thousands at a time, so that a list of a hundred thousand is not held
// twice.
func (w *plantWriter) writeReadings() error {
	const some = 4000
	var waiting []assets.Reading
	for i, c := range w.change.Conveyors {
		waiting = append(waiting, c.Readings...)
		if len(waiting) < some && i < len(w.change.Conveyors)-1 {
			continue
		}
		if err := clocks.WriteReadings(w.c, w.ch, waiting); err != nil {
			return err
		}
		waiting = waiting[:0]
	}
	return nil
}

// offsetBefore is the offset in force before the first new stretch of a conveyor.
func (w *plantWriter) offsetBefore(c *intake.ConveyorChange) (offset float64) {
	if len(c.Meters) == 0 {
		return 0
	}
	for _, m := range w.meters[c.Record.ID] {
		if m.FromAt < c.Meters[0].FromAt {
			offset = m.OffsetH
		}
	}
	return offset
}
