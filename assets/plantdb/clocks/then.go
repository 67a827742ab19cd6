package clocks

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// HeldAsOf lists the readings of a plant that waited for a decision at a moment, oldest first.
func HeldAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]assets.HeldReading, error) {
	tx := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID)
	waiting, args := "decision = ''", []any(nil)
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
		waiting, args = waiting+" OR decided_position > ?", append(args, asOf.Known)
	}
	if asOf.Valid != 0 {
		tx = tx.Where("entered_at <= ?", asOf.Valid)
		waiting, args = waiting+" OR decided_at > ?", append(args, asOf.Valid)
	}
	return plantdb.Rows[assets.HeldReading](tx.Where("("+waiting+")", args...).Order("at, id"))
}

// LastAsOf returns the newest accepted reading of each conveyor of a plant up to a moment, by conveyor.
func LastAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, conveyors []assets.Conveyor, asOf plantdb.AsOf) (map[int64]assets.Reading, error) {
	var asked []Asked
	if asOf.Valid != 0 {
		for _, c := range conveyors {
			asked = append(asked, Asked{ConveyorID: c.ID, At: asOf.Valid})
		}
	}
	read, err := PlantReadings(ctx, db, scope, plantID, Wanted{Asked: asked}, asOf)
	last := make(map[int64]assets.Reading, len(read))
	for conveyor, list := range read {
		for _, r := range list {
			if asOf.Valid == 0 || r.At <= asOf.Valid {
				last[conveyor] = r
			}
		}
	}
	return last, err
}
