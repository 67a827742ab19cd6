package crew

import (
	"context"
	"encoding/json"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Busy is a stretch of time in which somebody is placed in a stop. It names no order.
type Busy struct {
	PersonID   int64
	PlantID    int64
	WindowID   int64
	Start, End assets.Instant
}

// BusyBetween lists when people are placed in stops that overlap [from, to), over every plant there is. It is for plans and for
// saying "not free then": whoever shows it to a reader of one plant leaves out where.
func BusyBetween(ctx context.Context, db *plantdb.DB, people []int64, from, to assets.Instant) ([]Busy, error) {
	var rows []struct {
		PlantID, WindowID int64
		PlacedPeople      string
		Start, End        assets.Instant
	}
	err := db.SQL(ctx).Raw(`SELECT o.plant_id, o.window_id, o.placed_people, w."start" AS "start", w."end" AS "end" FROM stop_windows w
		JOIN orders o ON o.window_id = w.id AND o.plant_id = w.plant_id AND o.known_to IS NULL AND o.valid_to IS NULL AND o.state IN ('placed', 'started')
		WHERE w.known_to IS NULL AND w.valid_to IS NULL AND w.withdrawn = ? AND w."start" < ? AND w."end" > ? ORDER BY w."start", o.id`, false, to, from).Scan(&rows).Error
	var out []Busy
	for _, r := range rows {
		var placed []int64
		if json.Unmarshal([]byte(r.PlacedPeople), &placed) != nil {
			continue // an order without people carries no list
		}
		for _, id := range placed {
			if slices.Contains(people, id) {
				out = append(out, Busy{PersonID: id, PlantID: r.PlantID, WindowID: r.WindowID, Start: r.Start, End: r.End})
			}
		}
	}
	return out, err
}
