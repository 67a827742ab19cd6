package registry

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// PlantsWithKind returns the plants in scope that have a live splice of a form and bond, by name.
func PlantsWithKind(ctx context.Context, db *plantdb.DB, scope assets.Scope, f assets.Form, b assets.Bond) ([]assets.Plant, error) {
	var ids []int64
	q := db.SQL(ctx).Table("splices").Scopes(plantdb.InScope(scope, "plant_id")).Where("known_to IS NULL AND valid_to IS NULL AND ended IS NULL AND form = ? AND bond = ?", f, b)
	if err := q.Distinct().Pluck("plant_id", &ids).Error; err != nil {
		return nil, err
	}
	return plantsNumbered(ctx, db, scope, ids)
}

// PlantsWithSpecification returns the plants in scope on whose conveyors a belt of a specification runs, by name.
func PlantsWithSpecification(ctx context.Context, db *plantdb.DB, scope assets.Scope, specification int64) ([]assets.Plant, error) {
	var ids []int64
	q := db.SQL(ctx).Table("belts").Scopes(plantdb.InScope(scope, "plant_id")).Where("known_to IS NULL AND valid_to IS NULL AND removed IS NULL AND specification_id = ?", specification)
	if err := q.Distinct().Pluck("plant_id", &ids).Error; err != nil {
		return nil, err
	}
	return plantsNumbered(ctx, db, scope, ids)
}

func plantsNumbered(ctx context.Context, db *plantdb.DB, scope assets.Scope, ids []int64) ([]assets.Plant, error) {
	all, err := Plants(ctx, db, scope)
	return slices.DeleteFunc(all, func(p assets.Plant) bool { return !slices.Contains(ids, p.ID) }), err
}
