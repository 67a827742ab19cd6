package orders

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// ListAsOf returns orders as they stood at a moment, by latest date (none last) and number.
func ListAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, f Filter, asOf plantdb.AsOf) ([]workorder.Order, error) {
	list, _, err := listAsOf(ctx, db, scope, f, asOf)
	return list, err
}

// EventsAsOf returns the history of an order up to a moment, oldest first.
func EventsAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderID int64, asOf plantdb.AsOf) ([]workorder.Event, error) {
	tx := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID)
	if asOf.Valid != 0 {
		tx = tx.Where("at <= ?", asOf.Valid)
	}
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
	}
	return plantdb.Rows[workorder.Event](tx.Order("entered_at, id"))
}

// RemindersAsOf returns the occurrences of a plant that had no order at a moment and are about a splice, belt or conveyor
// that was in use then. Whether one was put off then is not kept: it is told whatever its day.
func RemindersAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]rules.Occurrence, error) {
	tx := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID)
	if asOf.Valid != 0 {
		tx = tx.Where("raised_at <= ?", asOf.Valid)
	}
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
	}
	held, args := asOf.On("x")
	tx = tx.Where("NOT EXISTS (SELECT 1 FROM orders x WHERE occurrences.order_id <> 0 AND x.id = occurrences.order_id AND "+held+")", args...)
	at := asOf.Valid
	if at == 0 {
		at = 1<<63 - 1
	}
	for _, of := range []struct {
		kind, table, live string
		more              []any
	}{
		{"splice", "splices", "(x.ended IS NULL OR x.ended > ?)", []any{at}}, {"belt", "belts", "(x.removed IS NULL OR x.removed > ?)", []any{at}},
		{"conveyor", "conveyors", "x.status <> 'retired'", nil}} {
		tx = tx.Where("(occurrences.target_kind <> '"+of.kind+"' OR EXISTS (SELECT 1 FROM "+of.table+" x WHERE x.id = occurrences.target_id AND "+held+" AND "+of.live+"))", slices.Concat(args, of.more)...)
	}
	return plantdb.Rows[rules.Occurrence](tx.Order("due_at, id"))
}
