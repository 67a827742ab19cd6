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
	db       *plantdb.DB
	scope    assets.Scope
	known    plantdb.AsOf // what was known, at whatever time it was so
	past     due.History
	meters   map[int64][]assets.Meter
	readings map[int64][]assets.Reading // those read, by conveyor, in order of time
	clocks   due.Clocks

	splicesOnly bool // nobody asks how long belts have run
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
	if h.readings, err = clocks.PlantReadings(ctx, h.db, h.scope, plant, wanted, h.known); err != nil {
		return err
	}
	for _, c := range reg.Conveyors {
		h.past.Points[c.ID] = clocks.Points(h.meters[c.ID], h.readings[c.ID])
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
		if !h.splicesOnly {
			ask(b.ConveyorID, b.Fitted.At)
		}
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
	read := h.readings[conveyor]
	return len(read) > 0 && at.Before(read[len(read)-1].At.Time())
}

// readWhole reads all readings of some conveyors and makes their lines anew.
func (h *history) readWhole(ctx context.Context, some map[int64]bool) error {
	if len(some) == 0 {
		return nil
	}
	read, err := clocks.WholeReadings(ctx, h.db, h.scope, h.past.Register.Plant.ID, slices.Sorted(maps.Keys(some)), h.known)
	if err != nil {
		return err
	}
	for id := range some {
		h.readings[id] = read[id]
	}
	h.again(some)
	return nil
}

// readAround reads the readings next to some instants, and makes the lines of their conveyors anew.
func (h *history) readAround(ctx context.Context, some []clocks.Asked) error {
	if len(some) == 0 {
		return nil
	}
	read, err := clocks.ReadingsAround(ctx, h.db, h.scope, h.past.Register.Plant.ID, some, h.known)
	if err != nil {
		return err
	}
	changed := make(map[int64]bool, len(read))
	for id, more := range read {
		h.readings[id] = clocks.InOrder(append(h.readings[id], more...))
		changed[id] = true
	}
	h.again(changed)
	return nil
}

// again makes the lines of some conveyors anew.
func (h *history) again(some map[int64]bool) {
	var conveyors []assets.Conveyor
	for _, c := range h.past.Register.Conveyors {
		if some[c.ID] {
			h.past.Points[c.ID] = clocks.Points(h.meters[c.ID], h.readings[c.ID])
			conveyors = append(conveyors, c)
		}
	}
	h.clocks.Read(h.past, conveyors)
}
