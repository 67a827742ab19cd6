package crew

import (
	"context"
	"encoding/json"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/workorder"
)

// Need is an open order that calls somebody to a plant: by its latest date, or by the stop it is placed in.
type Need struct {
	OrderID, PlantID, Number, SpliceID int64
	Title                              string
	Kind                               workorder.Kind
	State                              workorder.State
	Tag                                string // of its conveyor
	LatestDay                          assets.Day
	WindowID                           int64
	Start, End                         assets.Instant // of its stop; 0: in none
	People, Tools                      []int64        `gorm:"-"`
}

// NeedsBy lists the open orders of a scope whose latest date is no later than a day, or whose stop begins before an instant, all
// plants in one reading.
func NeedsBy(ctx context.Context, db *plantdb.DB, scope assets.Scope, day assets.Day, from, before assets.Instant) ([]Need, error) {
	where, args := plantdb.ScopeSQL(scope, "o.plant_id")
	var rows []struct {
		Need
		PlacedPeople, PlacedTools *string
	}
	err := db.SQL(ctx).Raw(`SELECT o.id AS order_id, o.plant_id, o.number, o.splice_id, o.title, o.kind, o.state, o.latest_day, o.window_id, o.placed_people, o.placed_tools,
			coalesce(c.tag, '') AS tag, coalesce(w."start", 0) AS start, coalesce(w."end", 0) AS "end"
		FROM orders o
		LEFT JOIN conveyors c ON c.id = o.conveyor_id AND c.known_to IS NULL AND c.valid_to IS NULL
		LEFT JOIN stop_windows w ON w.id = o.window_id AND o.window_id <> 0 AND w.known_to IS NULL AND w.valid_to IS NULL
		WHERE o.known_to IS NULL AND o.valid_to IS NULL AND o.state IN ('raised', 'accepted', 'placed', 'started')
			AND ((o.latest_day <> '' AND o.latest_day <= ?) OR (w."end" > ? AND w."start" < ?)) AND `+where+`
		ORDER BY o.plant_id, o.latest_day, o.number`, append([]any{day, from, before}, args...)...).Scan(&rows).Error
	if err != nil {
		return nil, fmt.Errorf("read what needs a visit: %w", err)
	}
	out := make([]Need, len(rows))
	for i := range rows {
		out[i] = rows[i].Need
		out[i].People, out[i].Tools = numbersIn(rows[i].PlacedPeople), numbersIn(rows[i].PlacedTools)
	}
	return out, nil
}

// numbersIn reads a list kept as JSON.
func numbersIn(text *string) (out []int64) {
	if text == nil || json.Unmarshal([]byte(*text), &out) != nil {
		return nil
	}
	return out
}
