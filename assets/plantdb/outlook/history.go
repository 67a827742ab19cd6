package outlook

import (
	"context"
	"maps"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/clock"
	"carryside/schedule/due"
)

// history is what a plant's usage clocks are made of, and the clocks. Of the readings only those are read that tell
// the hours at the instants asked about; where a date turns out to lie between readings that were not read, the
// conveyor's are read whole.
type history struct {
	db     *plantdb.DB
	scope  assets.Scope
	known  plantdb.AsOf // what was known, at whatever time it was so
	past   due.History
	meters map[int64][]assets.Meter
	clocks due.Clocks
}

// read reads what the clocks of a register are made of. The readings are those around the instants it asks for itself
// (the making of splices, the fitting of belts, changes of speed, pulleys and length), and those around more.
// whole is a stretch of time before each conveyor's last reading of which all are read; 0: none.
func (h *history) read(ctx context.Context, reg *assets.Register, more []clocks.Asked, whole time.Duration) (err error) {
	plant := reg.Plant.ID
	h.past = due.History{Register: reg, Points: make(map[int64][]clock.Point, len(reg.Conveyors))}
	if h.past.Calendars, err = clocks.Calendars(ctx, h.db, h.scope, plant, h.known); err != nil {
		return err
	}
	if h.past.Conveyors, h.past.Belts, err = registry.Stretches(ctx, h.db, h.scope, plant, h.known); err != nil {
		return err
	}
	if h.meters, err = clocks.MetersOfPlant(ctx, h.db, h.scope, plant, h.known); err != nil {
		return err
	}
	wanted := clocks.Wanted{Asked: append(h.asked(), more...), BeforeLastH: due.Trailing.Hours(), TrailingH: whole.Hours()}
	readings, err := clocks.PlantReadings(ctx, h.db, h.scope, plant, wanted, h.known)
	if err != nil {
		return err
	}
	for _, c := range reg.Conveyors {
		h.past.Points[c.ID] = clocks.Points(h.meters[c.ID], readings[c.ID])
	}
	h.clocks = due.NewClocks(h.past)
	return nil
}

// asked returns the instants at which the hours of any plant's clocks must be exact. A conveyor or belt that never
// changed has been as it is since ever.
func (h *history) asked() []clocks.Asked {
	reg := h.past.Register
	out := make([]clocks.Asked, 0, len(reg.Conveyors)+len(reg.Belts)+len(reg.Splices))
	ask := func(conveyor int64, at assets.Instant) {
		if at != 0 {
			out = append(out, clocks.Asked{ConveyorID: conveyor, At: at})
		}
	}
	for _, c := range reg.Conveyors {
		for i, v := range h.past.Conveyors[c.ID] {
			ask(c.ID, v.ValidFrom)
			if i == 0 {
				ask(c.ID, c.ValidFrom)
			}
		}
	}
	for _, b := range reg.Belts {
		ask(b.ConveyorID, b.Fitted.At)
		for i, v := range h.past.Belts[b.ID] {
			ask(b.ConveyorID, v.ValidFrom)
			if i == 0 {
				ask(b.ConveyorID, b.ValidFrom)
			}
		}
	}
	for _, s := range reg.Splices {
		ask(s.ConveyorID, s.Made.At)
	}
	return out
}

// betweenReadings tells whether an instant lies before the last reading of a conveyor.
func (h *history) betweenReadings(conveyor int64, at time.Time) bool {
	points := h.past.Points[conveyor]
	return len(points) > 0 && at.Before(points[len(points)-1].At)
}

// readWhole reads all readings of some conveyors and makes their clocks anew.
func (h *history) readWhole(ctx context.Context, some map[int64]bool) error {
	reg := h.past.Register
	read, err := clocks.WholeReadings(ctx, h.db, h.scope, reg.Plant.ID, slices.Sorted(maps.Keys(some)), h.known)
	if err != nil {
		return err
	}
	var again []assets.Conveyor
	for _, c := range reg.Conveyors {
		if some[c.ID] {
			h.past.Points[c.ID] = clocks.Points(h.meters[c.ID], read[c.ID])
			again = append(again, c)
		}
	}
	h.clocks.Read(h.past, again)
	return nil
}
