package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Lines lists a plant's lines as material flows.
func Lines(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]assets.Line, error) {
	return list[assets.Line](ofPlants(ctx, db, scope, asOf).Where("plant_id = ?", plantID).Order("position, name_key, id"))
}
