package crew

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/schedule/workorder"
)

// Placed is an order placed in a stop, with the stop and what it is about.
type Placed struct {
	Order    workorder.Order
	Window   assets.StopWindow
	Conveyor assets.Conveyor
	Belt     assets.Belt
	Splice   assets.Splice
}

// PlacedBetween lists the orders placed in stops that overlap [from, to), over all plants of the scope.
func PlacedBetween(ctx context.Context, db *plantdb.DB, scope assets.Scope, from, to assets.Instant) ([]Placed, error) {
	inScope := func() []any { return []any{false, to, from} }
	where, args := plantdb.ScopeSQL(scope, "plant_id")
	windows, err := plantdb.Rows[assets.StopWindow](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).
		Where(`withdrawn = ? AND "start" < ? AND "end" > ? AND id IN (SELECT o.window_id FROM orders o WHERE o.known_to IS NULL AND o.valid_to IS NULL AND o.state IN ('placed', 'started')) AND `+where, append(inScope(), args...)...).
		Order(`"start", id`))
	if err != nil {
		return nil, err
	}
	var out []Placed
	for _, w := range windows {
		list, _, err := orders.List(ctx, db, scope, orders.Filter{PlantID: w.PlantID, WindowID: w.ID, States: []workorder.State{workorder.Placed, workorder.Started}})
		if err != nil {
			return nil, err
		}
		for _, o := range list {
			p := Placed{Order: o, Window: w}
			if err := p.about(ctx, db, scope); err != nil {
				return nil, err
			}
			out = append(out, p)
		}
	}
	return out, nil
}

// about reads conveyor, belt and splice of an order.
func (p *Placed) about(ctx context.Context, db *plantdb.DB, scope assets.Scope) (err error) {
	if p.Conveyor, err = current[assets.Conveyor](ctx, db, scope, p.Order.ConveyorID); err != nil {
		return err
	}
	if p.Belt, err = current[assets.Belt](ctx, db, scope, p.Order.BeltID); err != nil {
		return err
	}
	p.Splice, err = current[assets.Splice](ctx, db, scope, p.Order.SpliceID)
	return err
}

// current returns the row of a thing that is so now; the zero row where there is none.
func current[T any](ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (row T, err error) {
	if id == 0 {
		return row, nil
	}
	rows, err := plantdb.Rows[T](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id = ?", id))
	if err == nil && len(rows) > 0 {
		row = rows[0]
	}
	return row, err
}
