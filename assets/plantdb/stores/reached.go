package stores

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/kit"
)

// Reached is when a counter reached its limit (the last time, where it did so several times), and the plant whose signed job moved it there; 0: a
// person did by hand.
type Reached struct {
	At      assets.Instant
	PlantID int64
}

// ReachedAt returns where and when the counters that are at their limit reached it. It is read from what moved them, so that it stays what it is
// when other plants count on: a limit is reached once, at one plant.
func ReachedAt(ctx context.Context, db *plantdb.DB, counters []kit.Counter) (map[int64]Reached, error) {
	of, ids := map[int64]kit.Counter{}, []int64(nil)
	for _, c := range counters {
		if c.EndedAt == 0 && c.Spent() {
			of[c.ID], ids = c, append(ids, c.ID)
		}
	}
	out := map[int64]Reached{}
	if len(ids) == 0 {
		return out, nil
	}
	var lines []struct {
		CounterID, PlantID int64
		Quantity           float64
		At                 assets.Instant
	}
	err := db.SQL(ctx).Raw(`SELECT k.counter_id, k.quantity, k.at, coalesce(o.plant_id, 0) AS plant_id FROM kit_counts k
		LEFT JOIN orders o ON o.id = k.order_id AND k.order_id <> 0 AND o.known_to IS NULL AND o.valid_to IS NULL
		WHERE k.counter_id IN ? ORDER BY k.at, k.id`, ids).Scan(&lines).Error
	sums := map[int64]float64{}
	for _, l := range lines {
		c := of[l.CounterID]
		before, limit := sums[c.ID], c.Limit*float64(c.Cycle())
		sums[c.ID] += l.Quantity
		if slack := 1e-9 * c.Limit; before < limit-slack && sums[c.ID] >= limit-slack {
			out[c.ID] = Reached{l.At, l.PlantID}
		}
	}
	return out, err
}
