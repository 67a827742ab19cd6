package stores

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// Room is the storeroom of a plant as it stands, worked out.
type Room struct {
	Place    Place
	Today    assets.Day
	Items    []assets.StockItem
	Supplies []assets.SupplyOrder // asked for or ordered
	Demand   stock.Demand
	Outlooks []stock.Outlook // of the items that are kept, needed or on hand here
}

// Look reads the storeroom of a plant and works out what is held, what is short and what to order. register is the
// plant's, as of now; foreseen is what the life figures say of its splices (nil: nothing).
func Look(ctx context.Context, db *plantdb.DB, scope assets.Scope, register *assets.Register, foreseen stock.Foreseen, now time.Time) (*Room, error) {
	r := &Room{Place: Place{PlantID: register.Plant.ID}, Today: assets.DayOf(now.In(register.Plant.Location()))}
	if err := r.Place.Reaches(ctx, db, scope); err != nil {
		return nil, err
	}
	var err error
	if r.Items, err = Items(ctx, db, scope, plantdb.AsOf{}); err != nil {
		return nil, err
	}
	if err := r.demand(ctx, db, register, now); err != nil {
		return nil, err
	}
	r.Demand.Today, r.Demand.Foreseen = r.Today, foreseen
	all, err := SupplyOrders(ctx, db, scope, plantdb.AsOf{}, true)
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.PlantID == r.Place.PlantID {
			r.Supplies = append(r.Supplies, s)
		}
	}
	return r, r.work(ctx, db)
}

// demand reads orders, what they were given, their stops, templates and failures.
func (r *Room) demand(ctx context.Context, db *plantdb.DB, register *assets.Register, now time.Time) error {
	d := &r.Demand
	*d = stock.Demand{Register: register, Items: r.Items, StopDays: map[int64]assets.Day{}, Issued: map[stock.OrderItem]assets.Quantity{}}
	plant := register.Plant.ID
	const current = " AND known_to IS NULL AND valid_to IS NULL"
	states := []workorder.State{workorder.Accepted, workorder.Placed, workorder.Started}
	err := db.SQL(ctx).Where("plant_id = ? AND state IN ?"+current, plant, states).Order("id").Find(&d.Orders).Error
	if err != nil {
		return err
	}
	if d.Templates, err = list[assets.WorkTemplate](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("customer_id IN ?", []int64{0, register.Plant.CustomerID})); err != nil {
		return err
	}
	var windows []assets.StopWindow
	if err := db.SQL(ctx).Where(`plant_id = ? AND "end" > ?`+current, plant, assets.InstantOf(now.AddDate(0, -1, 0))).Find(&windows).Error; err != nil {
		return err
	}
	for _, w := range windows {
		d.StopDays[w.ID] = assets.DayOf(w.Start.Time().In(register.Plant.Location()))
	}
	since := assets.InstantOf(now.AddDate(-stock.YearsBack, 0, 0))
	err = db.SQL(ctx).Where("plant_id = ? AND ended > ? AND retired_why = ?"+current, plant, since, assets.RetiredFailed).Find(&d.Failed).Error
	if err != nil {
		return err
	}
	return r.issued(ctx, db)
}

// issued adds up what the open orders were given already.
func (r *Room) issued(ctx context.Context, db *plantdb.DB) error {
	if len(r.Demand.Orders) == 0 {
		return nil
	}
	ids := make([]int64, len(r.Demand.Orders))
	for i, o := range r.Demand.Orders {
		ids[i] = o.ID
	}
	var given []struct {
		OrderID, ItemID int64
		Quantity        assets.Quantity
	}
	err := db.SQL(ctx).Table("stock_movements").Select("order_id, item_id, CAST(-sum(quantity) AS BIGINT) AS quantity").
		Where("order_id IN ?", ids).Group("order_id, item_id").Scan(&given).Error
	for _, g := range given {
		r.Demand.Issued[stock.OrderItem{OrderID: g.OrderID, ItemID: g.ItemID}] = g.Quantity
	}
	return err
}

// work joins lots, supplies, needs and unplanned demand of each item.
func (r *Room) work(ctx context.Context, db *plantdb.DB) error {
	lots, err := Lots(ctx, db, assets.PlantScope(r.Place.PlantID), plantdb.AsOf{}, true)
	if err != nil {
		return err
	}
	policies, err := Policies(ctx, db, assets.PlantScope(r.Place.PlantID), plantdb.AsOf{})
	if err != nil {
		return err
	}
	needs, unplanned := r.Demand.Needs(), map[int]map[int64][]stock.Jobs{} // by lead time
	for _, it := range r.Items {
		kept := slices.ContainsFunc(lots, func(l stock.Lot) bool { return l.ItemID == it.ID })
		of := slices.DeleteFunc(slices.Clone(lots), func(l stock.Lot) bool { return l.ItemID != it.ID || l.OnHand == 0 })
		var policy *assets.StockPolicy
		if i := slices.IndexFunc(policies, func(p assets.StockPolicy) bool { return p.ItemID == it.ID }); i >= 0 {
			policy = &policies[i]
		}
		supplies := r.suppliesOf(it.ID)
		if it.Ended && len(of) == 0 || !kept && len(supplies)+len(needs[it.ID]) == 0 && policy == nil {
			continue
		}
		keeping := stock.KeepingOf(it, policy)
		if unplanned[keeping.LeadTimeDays] == nil {
			unplanned[keeping.LeadTimeDays] = r.Demand.Unplanned(keeping.LeadTimeDays)
		}
		o, err := stock.Look(it, keeping, of, supplies, needs[it.ID], unplanned[keeping.LeadTimeDays][it.ID], r.Today)
		if err != nil {
			return err
		}
		r.Outlooks = append(r.Outlooks, o)
	}
	return nil
}

func (r *Room) suppliesOf(itemID int64) []stock.Supply {
	var out []stock.Supply
	for _, s := range r.Supplies {
		if s.ItemID == itemID && s.Outstanding() > 0 {
			out = append(out, stock.Supply{ID: s.ID, Number: s.Number, Quantity: s.Outstanding(), Day: s.ExpectedDay})
		}
	}
	return out
}

// Outlook returns the outlook of an item here, false when nothing of it is kept, needed or on hand.
func (r *Room) Outlook(itemID int64) (stock.Outlook, bool) {
	i := slices.IndexFunc(r.Outlooks, func(o stock.Outlook) bool { return o.Item.ID == itemID })
	if i < 0 {
		return stock.Outlook{}, false
	}
	return r.Outlooks[i], true
}
