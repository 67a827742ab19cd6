package orders

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/workorder"
)

// Withdrawal is an order that was withdrawn, and the step that did it.
type Withdrawal struct {
	Order workorder.Order
	Event workorder.Event
}

// Withdrawals lists the orders of a plant withdrawn in a span of time, oldest first, as known at asOf's position.
func Withdrawals(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, from, to assets.Instant, asOf plantdb.AsOf) ([]Withdrawal, error) {
	tx := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND what = 'withdrawn' AND at >= ? AND at < ?", plantID, from, to)
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
	}
	events, err := plantdb.Rows[workorder.Event](tx.Order("at, id"))
	if err != nil || len(events) == 0 {
		return nil, err
	}
	ids := make([]int64, len(events))
	for i, e := range events {
		ids[i] = e.OrderID
	}
	list, _, err := listAsOf(ctx, db, scope, Filter{PlantID: plantID, IDs: ids}, plantdb.AsOf{Known: asOf.Known})
	if err != nil {
		return nil, err
	}
	of := make(map[int64]workorder.Order, len(list))
	for _, o := range list {
		of[o.ID] = o
	}
	out := make([]Withdrawal, len(events))
	for i, e := range events {
		out[i] = Withdrawal{of[e.OrderID], e}
	}
	return out, nil
}
