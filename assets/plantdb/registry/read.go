package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// list runs a query of current or past rows.
func list[T any](tx *gorm.DB) ([]T, error) { return plantdb.Rows[T](tx) }

// one runs a query that finds at most one row; none is assets.ErrNotFound.
func one[T any](tx *gorm.DB) (T, error) {
	rows, err := list[T](tx.Limit(1))
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return *new(T), err
	}
	return rows[0], nil
}

// ofPlants begins a query of rows of plants within the scope.
func ofPlants(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf) *gorm.DB {
	return db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id"))
}
