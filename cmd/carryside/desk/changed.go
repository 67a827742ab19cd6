package desk

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/pressing"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Changed returns what the work of an order changed: splices, stock, counters, the inspections its press cycles raised, and by which
// ticket it was signed.
func (d *Desk) Changed(ctx context.Context, scope assets.Scope, o workorder.Order) (*web.OrderDone, error) {
	if err := d.db.Reach(ctx, scope, o.PlantID); err != nil {
		return nil, err
	}
	out := &web.OrderDone{}
	var err error
	if out.Splices, err = registry.SplicesOfOrder(ctx, d.db, scope, o.PlantID, o.ID); err != nil {
		return nil, err
	}
	if err := d.booked(ctx, scope, o, out); err != nil {
		return nil, err
	}
	records, err := pressing.Records(ctx, d.db, scope, pressing.Filter{PlantID: o.PlantID, OrderID: o.ID})
	if err != nil {
		return nil, err
	}
	var raised []int64
	for _, rec := range records {
		raised = append(raised, rec.FollowUpID)
	}
	if out.Raised, err = stores.OrderNumbers(ctx, d.db, assets.PlantScope(o.PlantID), raised); err != nil || o.SignedBy == 0 {
		return out, err
	}
	return out, d.ticketOf(ctx, scope, o, out)
}

// booked adds what the order took from stock and wore on kit.
func (d *Desk) booked(ctx context.Context, scope assets.Scope, o workorder.Order, out *web.OrderDone) error {
	var err error
	if out.Taken, err = stores.Movements(ctx, d.db, assets.PlantScope(o.PlantID), plantdb.AsOf{}, stores.MovementFilter{OrderID: o.ID}); err != nil {
		return err
	}
	if out.Counts, err = stores.OrderCounts(ctx, d.db, o.ID); err != nil || len(out.Taken) == 0 {
		return err
	}
	lots, err := stores.Lots(ctx, d.db, assets.PlantScope(o.PlantID), plantdb.AsOf{}, true)
	if err != nil {
		return err
	}
	items, err := stores.Items(ctx, d.db, scope, plantdb.AsOf{})
	if err != nil {
		return err
	}
	out.Lots, out.Items = map[int64]assets.StockLot{}, map[int64]assets.StockItem{}
	for _, l := range lots {
		out.Lots[l.ID] = l.StockLot
	}
	for _, it := range items {
		out.Items[it.ID] = it
	}
	return nil
}

// ticketOf adds the ticket of whoever signed, on the day on which the work was done.
func (d *Desk) ticketOf(ctx context.Context, scope assets.Scope, o workorder.Order, out *web.OrderDone) error {
	plant, err := registry.Plant(ctx, d.db, scope, o.PlantID)
	if err != nil {
		return err
	}
	zone, err := time.LoadLocation(plant.Zone)
	if err != nil {
		return err
	}
	var sp assets.Splice
	if o.SpliceID != 0 {
		if sp, err = registry.Splice(ctx, d.db, scope, o.SpliceID, plantdb.AsOf{}); err != nil {
			return err
		}
	}
	out.Ticket, out.TicketUntil, err = crew.SignedBy(ctx, d.db, o.SignedBy, string(o.Kind), sp.Form, sp.Bond, assets.DayOf(o.DoneAt.Time().In(zone)))
	return err
}
