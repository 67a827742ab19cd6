package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Contacts lists the people to reach at a plant; their names are in the table of people.
func Contacts(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.Contact, error) {
	return list[assets.Contact](ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("plant_id = ?", plantID).Order("id"))
}
