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
	var readings []assets.Reading
	var held []assets.HeldReading
	for _, c := range w.change.Conveyors {
		offset := w.offsetBefore(c)
		for _, m := range c.Meters {
			m.PlantID, m.ConveyorID = w.plant.ID, c.Record.ID
			if m.Why == assets.MeterReplaced && m.PreviousFinalH == nil {
				final := m.OffsetH + m.StartH - offset
				m.PreviousFinalH = &final
			}
			offset = m.OffsetH
			meters = append(meters, m)
		}
		for _, r := range c.Readings {
			r.ConveyorID = c.Record.ID
			readings = append(readings, r)
		}
		for _, h := range c.Held {
			h.PlantID, h.ConveyorID, h.EnteredAt, h.EnteredBy = w.plant.ID, c.Record.ID, w.c.Now(), w.c.Act.PersonID
			held = append(held, h)
		}
	}
	if err := plantdb.CreateMany(w.c, w.ch, meters); err != nil {
		return err
	}
	if err := clocks.WriteReadings(w.c, w.ch, readings); err != nil {
		return err
	}
	return clocks.HoldReadings(w.c, w.ch, held)
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
