package orders

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/workorder"
)

// Work is a plant's orders as they stood at a moment, with the stops they were placed in and which of them ended a failed splice.
type Work struct {
	Orders   []workorder.Order
	Windows  map[int64]assets.StopWindow
	Failures map[int64]bool // by order
}

// WorkAsOf reads the work of a plant.
func WorkAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (Work, error) {
	w := Work{Windows: map[int64]assets.StopWindow{}, Failures: map[int64]bool{}}
	var err error
	if w.Orders, err = ListAsOf(ctx, db, scope, Filter{PlantID: plantID}, asOf); err != nil {
		return w, err
	}
	windows, err := plantdb.Rows[assets.StopWindow](db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID))
	if err != nil {
		return w, err
	}
	for _, s := range windows {
		w.Windows[s.ID] = s
	}
	ended, err := plantdb.Rows[assets.Splice](db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND retired_why = ? AND retired_order_id <> 0", plantID, assets.RetiredFailed))
	for _, s := range ended {
		w.Failures[s.RetiredOrderID] = true
	}
	return w, err
}
