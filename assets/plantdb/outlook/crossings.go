package outlook

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/clocks"
)

// passed is a limit in running hours or passes that a conveyor's line passed before its last reading.
type passed struct {
	conveyor int64
	at       time.Time // as the readings read so far tell it
}

// Each round of settle reads the readings around where the line is now thought to pass each limit. Running hours are
// nearly straight in time, so that two or three rounds find the two readings next to each other that it lies between;
// what takes longer is read whole.
const (
	settleRounds = 4
	// settleMargin is how near to a reading a passing may lie before it is read whole: so near, what sums of
	// fractions lose could put it on the reading's other side, and a belt that stood still there on another day.
	settleMargin = time.Millisecond
)

// settle reads what tells exactly when limits were passed, and makes the lines of their conveyors anew. Afterwards each
// of them was passed between two readings that stand next to each other, or its conveyor's readings are all read.
func (h *history) settle(ctx context.Context, limits []passed) error {
	asked, whole := map[int64][]assets.Instant{}, map[int64]bool{}
	open := make([]crossing, 0, len(limits))
	for _, l := range limits {
		hours, known := h.clocks.Lines[l.conveyor].HoursAt(l.at)
		if !known {
			whole[l.conveyor] = true
			continue
		}
		open = append(open, crossing{l.conveyor, hours})
	}
	for round := 0; len(open) > 0; round++ {
		var next []clocks.Asked
		open = slices.DeleteFunc(open, func(c crossing) bool {
			at, unknown := h.where(c, asked[c.conveyor])
			switch {
			case unknown || at != 0 && round == settleRounds:
				whole[c.conveyor] = true
				return true
			case at == 0:
				return true
			}
			next = append(next, clocks.Asked{ConveyorID: c.conveyor, At: at})
			return false
		})
		for _, a := range next {
			asked[a.ConveyorID] = append(asked[a.ConveyorID], a.At)
		}
		if err := h.readAround(ctx, next); err != nil {
			return err
		}
	}
	return h.readWhole(ctx, whole)
}

// crossing is where a conveyor's line reaches so many running hours.
type crossing struct {
	conveyor int64
	hours    float64
}

// where returns an instant around which to read, to learn more exactly when hours were reached; 0 where that lies
// between two readings that stand next to each other: those around an instant asked about before do. unknown means that
// asking this way does not tell.
func (h *history) where(c crossing, asked []assets.Instant) (at assets.Instant, unknown bool) {
	reached, ok := h.clocks.Lines[c.conveyor].HoursReachedAt(c.hours)
	if !ok {
		return 0, true
	}
	read := h.readings[c.conveyor]
	i, _ := slices.BinarySearchFunc(read, reached, func(r assets.Reading, t time.Time) int { return r.At.Time().Compare(t) })
	if i == 0 || i == len(read) {
		return 0, false // the first and the last reading are always read
	}
	from, to := read[i-1].At, read[i].At
	if slices.ContainsFunc(asked, func(t assets.Instant) bool { return from < t && t < to }) {
		return 0, reached.Sub(from.Time()) < settleMargin || to.Time().Sub(reached) < settleMargin
	}
	if to-from < 2 {
		return 0, false
	}
	return min(max(assets.InstantOf(reached), from+1), to-1), false
}
