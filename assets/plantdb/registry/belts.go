package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Belt returns one belt.
func Belt(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Belt, error) {
	b, err := one[assets.Belt](ofPlants(ctx, db, scope, asOf).Where("id = ?", id))
	if err != nil {
		return b, err
	}
	belts := []assets.Belt{b}
	err = nameBelts(ctx, db, belts)
	return belts[0], err
}

// BeltHistory returns the belts of a conveyor, newest first.
func BeltHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, asOf plantdb.AsOf) ([]assets.Belt, error) {
	belts, err := list[assets.Belt](ofPlants(ctx, db, scope, asOf).Where("conveyor_id = ?", conveyorID).Order("fitted_at DESC, id DESC"))
	if err != nil {
		return nil, err
	}
	return belts, nameBelts(ctx, db, belts)
}

// BeltStretches returns every row of a belt that is known now, from old to new: how its loop became shorter.
func BeltStretches(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) ([]assets.Belt, error) {
	return list[assets.Belt](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id = ? AND known_to IS NULL", id).Order("valid_from"))
}

// nameBelts fills in who fitted each.
func nameBelts(ctx context.Context, db *plantdb.DB, belts []assets.Belt) error {
	ids := make([]int64, len(belts))
	for i, b := range belts {
		ids[i] = b.FittedByID
	}
	names, err := Names(ctx, db, ids)
	for i := range belts {
		belts[i].FittedBy = names[belts[i].FittedByID]
	}
	return err
}
