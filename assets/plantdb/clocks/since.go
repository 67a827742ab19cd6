package clocks

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// ReadSince counts the conveyors of a plant with an accepted reading at or after an instant.
func ReadSince(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, since assets.Instant) (int, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return 0, err
	}
	var n int
	err := db.SQL(ctx).Raw(`SELECT count(*) FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL
		AND EXISTS (SELECT 1 FROM readings r WHERE r.conveyor_id = v.id AND r.at >= ? AND r.known_to IS NULL)`, plantID, since).Scan(&n).Error
	return n, err
}
