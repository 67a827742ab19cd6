package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Conveyor returns one conveyor.
func Conveyor(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Conveyor, error) {
	return one[assets.Conveyor](ofPlants(ctx, db, scope, asOf).Where("id = ?", id))
}

// ConveyorByTag finds a conveyor of a plant by a typed tag.
func ConveyorByTag(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, tag string) (assets.Conveyor, error) {
	return one[assets.Conveyor](ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("plant_id = ? AND tag_key = ?", plantID, assets.TagKey(tag)))
}

// ConveyorHistory returns every row of a conveyor that is known now, from old to new: how its speed, line,
// name and duty changed.
func ConveyorHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) ([]assets.Conveyor, error) {
	return list[assets.Conveyor](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id = ? AND known_to IS NULL", id).Order("valid_from"))
}
