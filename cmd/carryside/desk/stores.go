package desk

import (
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/kit"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Room returns the storeroom of a plant, worked out.
func (d *Desk) Room(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.Room, error) {
	fleet, err := d.Fleet(ctx, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	room, err := stores.Look(ctx, d.db, scope, fleet.Register, outlook.FailuresOf(fleet.Forecasts, now), now)
	if err != nil {
		return nil, err
	}
	out := &web.Room{Today: room.Today, Items: room.Items, Outlooks: room.Outlooks, Supplies: room.Supplies, Demand: &room.Demand, Orders: map[int64]string{}}
	for _, o := range room.Demand.Orders {
		out.Orders[o.Number] = o.Title
		if c, ok := fleet.Register.Conveyor(o.ConveyorID); ok {
			out.Orders[o.Number] = c.Tag + ", " + o.Title
		}
	}
	sums, err := stores.Sums(ctx, d.db, plantID)
	out.Movements, out.Unsaid, out.Counted, out.Adrift = sums.Lines, sums.Unsaid, sums.Counted, sums.Adrift
	return out, err
}

// KitRoom returns the kit a plant may use.
func (d *Desk) KitRoom(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.KitRoom, error) {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	all, err := stores.Kit(ctx, d.db, scope, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	customer, err := d.db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, err
	}
	out := &web.KitRoom{Counters: map[int64][]kit.Counter{}, Aways: map[int64][]assets.KitAway{}, Calibrations: map[int64][]assets.Calibration{}, Jobs: map[int64][]web.KitJob{}}
	var ids []int64
	for _, k := range all {
		if k.HomePlantID == plantID || k.HomePlantID == 0 && (k.CustomerID == 0 || k.CustomerID == customer) {
			out.Kit, ids = append(out.Kit, k), append(ids, k.ID)
		}
	}
	counters, err := stores.Counters(ctx, d.db, plantdb.AsOf{}, ids)
	if err != nil {
		return nil, err
	}
	for _, c := range counters {
		out.Counters[c.KitID] = append(out.Counters[c.KitID], c)
	}
	aways, err := stores.Aways(ctx, d.db, plantdb.AsOf{}, ids, assets.InstantOf(now.AddDate(0, 0, -30)), 0)
	if err != nil {
		return nil, err
	}
	for _, a := range aways {
		out.Aways[a.KitID] = append(out.Aways[a.KitID], a)
	}
	calibrations, err := stores.Calibrations(ctx, d.db, plantdb.AsOf{}, ids)
	if err != nil {
		return nil, err
	}
	for _, c := range calibrations {
		out.Calibrations[c.KitID] = append(out.Calibrations[c.KitID], c)
	}
	return out, d.kitJobs(ctx, scope, plantID, out)
}

// kitJobs adds the work that kit is placed on. Of plants outside the scope only the time is told.
func (d *Desk) kitJobs(ctx context.Context, scope assets.Scope, plantID int64, out *web.KitRoom) error {
	jobs, err := stores.Jobs(ctx, d.db)
	if err != nil {
		return err
	}
	seen := map[int64]bool{}
	for _, j := range jobs {
		if _, asked := seen[j.Order.PlantID]; !asked {
			seen[j.Order.PlantID] = d.db.Reach(ctx, scope, j.Order.PlantID) == nil
		}
		for _, id := range j.Order.PlacedTools {
			if _, known := out.Of(id); !known {
				continue
			}
			job := web.KitJob{From: j.From, To: j.To, Hidden: !seen[j.Order.PlantID], Here: j.Order.PlantID == plantID}
			if !job.Hidden {
				job.Number, job.Where = j.Order.Number, j.Tag
				if !job.Here {
					job.Where = j.Plant
				}
			}
			out.Jobs[id] = append(out.Jobs[id], job)
		}
	}
	return nil
}

// Ledger returns lines of a plant's ledger, the newest first.
func (d *Desk) Ledger(ctx context.Context, scope assets.Scope, plantID, itemID int64, from, most int) (*web.Ledger, error) {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	here := assets.PlantScope(plantID)
	asked := stores.MovementFilter{ItemID: itemID, Skip: from, Most: most}
	lines, err := stores.Movements(ctx, d.db, here, plantdb.AsOf{}, asked)
	if err != nil {
		return nil, err
	}
	l := &web.Ledger{Lines: lines, Lots: map[int64]assets.StockLot{}, Items: map[int64]assets.StockItem{}}
	if l.All, err = stores.CountMovements(ctx, d.db, here, plantdb.AsOf{}, asked); err != nil {
		return nil, err
	}
	lots, err := stores.Lots(ctx, d.db, here, plantdb.AsOf{}, true)
	if err != nil {
		return nil, err
	}
	for _, lot := range lots {
		l.Lots[lot.ID] = lot.StockLot
	}
	items, err := stores.Items(ctx, d.db, scope, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		l.Items[it.ID] = it
	}
	var people, numbers []int64
	for _, m := range lines {
		people, numbers = append(people, m.PersonID), append(numbers, m.OrderID)
	}
	if l.People, err = registry.Names(ctx, d.db, people); err != nil {
		return nil, err
	}
	l.Orders, err = stores.OrderNumbers(ctx, d.db, here, numbers)
	return l, err
}

// StoreItem returns an item of the list.
func (d *Desk) StoreItem(ctx context.Context, scope assets.Scope, id int64) (assets.StockItem, error) {
	return stores.Item(ctx, d.db, scope, id)
}

// StoreLot returns a lot with what is on hand of it.
func (d *Desk) StoreLot(ctx context.Context, scope assets.Scope, id int64) (stock.Lot, error) {
	return stores.OneLot(ctx, d.db, scope, id)
}

// StoreSupply returns an order to a supplier.
func (d *Desk) StoreSupply(ctx context.Context, scope assets.Scope, id int64) (assets.SupplyOrder, error) {
	return stores.OneSupplyOrder(ctx, d.db, scope, id)
}

// StorePolicy returns how an item is kept at a plant.
func (d *Desk) StorePolicy(ctx context.Context, scope assets.Scope, plantID, itemID int64) (assets.StockPolicy, error) {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return assets.StockPolicy{}, err
	}
	all, err := stores.Policies(ctx, d.db, assets.PlantScope(plantID), plantdb.AsOf{})
	for _, p := range all {
		if p.ItemID == itemID {
			return p, nil
		}
	}
	return assets.StockPolicy{}, err
}

// SaveStoreItem keeps an item of the company's list.
func (d *Desk) SaveStoreItem(ctx context.Context, a web.Act, item *assets.StockItem) error {
	act := act(a, 0)
	act.Plants, act.Company = nil, true
	return d.db.Change(ctx, act, func(c *plantdb.Change) error { return stores.SaveItem(c, item) })
}

// SavePolicy keeps how an item is kept at a plant.
func (d *Desk) SavePolicy(ctx context.Context, scope assets.Scope, a web.Act, p *assets.StockPolicy) error {
	return d.write(ctx, scope, a, p.PlantID, func(c *plantdb.Change) error { return stores.SavePolicy(c, p) })
}

// SaveLot keeps what is known of a lot.
func (d *Desk) SaveLot(ctx context.Context, scope assets.Scope, a web.Act, l *assets.StockLot) error {
	return d.write(ctx, scope, a, l.PlantID, func(c *plantdb.Change) error { return stores.SaveLot(c, l) })
}

// Book writes the lines of one act.
func (d *Desk) Book(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, lines []assets.StockMovement) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return stores.Post(c, lines) })
}

// PutAside books a quantity out of a lot into a new one.
func (d *Desk) PutAside(ctx context.Context, scope assets.Scope, a web.Act, from stock.Lot, into *assets.StockLot, q assets.Quantity, why assets.MovementWhy, at assets.Instant) error {
	act := act(a, from.PlantID)
	for _, plant := range []int64{from.PlantID, into.PlantID} {
		if plant == 0 {
			act.Company = true
			continue
		}
		if err := d.db.Reach(ctx, scope, plant); err != nil {
			return err
		}
		if !slices.Contains(act.Plants, plant) {
			act.Plants = append(act.Plants, plant)
		}
	}
	return d.db.Change(ctx, act, func(c *plantdb.Change) error {
		if err := stores.SaveLot(c, into); err != nil {
			return err
		}
		return stores.Post(c, []assets.StockMovement{{LotID: from.ID, Quantity: -q, Why: why, At: at}, {LotID: into.ID, Quantity: q, Why: why, At: at}})
	})
}

// Receive books a delivery.
func (d *Desk) Receive(ctx context.Context, scope assets.Scope, a web.Act, supply *assets.SupplyOrder, lot *assets.StockLot, q assets.Quantity, at assets.Instant) error {
	return d.write(ctx, scope, a, lot.PlantID, func(c *plantdb.Change) error { return stores.Receive(c, supply, lot, q, at) })
}

// SaveSupply keeps an order to a supplier.
func (d *Desk) SaveSupply(ctx context.Context, scope assets.Scope, a web.Act, s *assets.SupplyOrder) error {
	return d.write(ctx, scope, a, s.PlantID, func(c *plantdb.Change) error { return stores.SaveSupplyOrder(c, s) })
}

// keep runs one change of kit in the chain of its owner.
func (d *Desk) keep(ctx context.Context, a web.Act, owner int64, fn func(*plantdb.Change) error) error {
	return d.db.Change(ctx, kitAct(a, owner), fn)
}

func kitAct(a web.Act, owner int64) plantdb.Act {
	act := act(a, 0)
	act.Plants = nil
	if owner == 0 {
		act.Company = true
	} else {
		act.Customers = []int64{owner}
	}
	return act
}

// SaveKit adds kit or changes it.
func (d *Desk) SaveKit(ctx context.Context, a web.Act, k *assets.Kit) error {
	return d.keep(ctx, a, k.CustomerID, func(c *plantdb.Change) error { return stores.SaveKit(c, k) })
}

// SaveAway keeps when kit is away.
func (d *Desk) SaveAway(ctx context.Context, a web.Act, k assets.Kit, away *assets.KitAway) error {
	return d.keep(ctx, a, k.CustomerID, func(c *plantdb.Change) error { return stores.SaveAway(c, away) })
}

// SaveCounter adds a counter or changes its limit.
func (d *Desk) SaveCounter(ctx context.Context, a web.Act, k assets.Kit, counter *assets.KitCounter) error {
	return d.keep(ctx, a, k.CustomerID, func(c *plantdb.Change) error { return stores.SaveCounter(c, counter) })
}

// CountKit moves a counter by hand.
func (d *Desk) CountKit(ctx context.Context, a web.Act, k assets.Kit, line *assets.KitCount) error {
	return d.keep(ctx, a, k.CustomerID, func(c *plantdb.Change) error { return stores.Count(c, line) })
}

// SaveCalibration keeps a calibration.
func (d *Desk) SaveCalibration(ctx context.Context, a web.Act, k assets.Kit, cal *assets.Calibration) error {
	return d.keep(ctx, a, k.CustomerID, func(c *plantdb.Change) error { return stores.SaveCalibration(c, cal) })
}

// ChangeParts ends and begins counters of parts and books what was taken from stock for it, in one act.
func (d *Desk) ChangeParts(ctx context.Context, scope assets.Scope, a web.Act, k assets.Kit, change web.PartsChange) error {
	act := kitAct(a, k.CustomerID)
	for _, l := range change.Stock {
		if err := d.db.Reach(ctx, scope, l.PlantID); err != nil {
			return err
		}
		act.Plants = append(act.Plants, l.PlantID)
	}
	return d.db.Change(ctx, act, func(c *plantdb.Change) error {
		for _, old := range change.End {
			if err := stores.EndCounter(c, old.ID, old.RowID, change.Why); err != nil {
				return err
			}
		}
		for i := range change.Begin {
			if err := stores.SaveCounter(c, &change.Begin[i]); err != nil {
				return err
			}
		}
		for _, up := range change.Up {
			if err := stores.SaveCounter(c, &up.KitCounter); err != nil {
				return err
			}
		}
		if len(change.Stock) == 0 {
			return nil
		}
		return stores.Post(c, change.Stock)
	})
}

// KitCounts returns what moved the counters of a piece of kit, the newest first, with the orders of a plant in it.
func (d *Desk) KitCounts(ctx context.Context, scope assets.Scope, plantID, kitID int64, from, most int) (web.CountBook, error) {
	if _, err := stores.OneKit(ctx, d.db, scope, kitID); err != nil {
		return web.CountBook{}, fmt.Errorf("kit %d: %w", kitID, err)
	}
	lines, all, err := stores.KitCounts(ctx, d.db, kitID, from, most)
	if err != nil {
		return web.CountBook{}, err
	}
	book := web.CountBook{Lines: lines, All: all}
	var people, numbers []int64
	for _, n := range lines {
		people, numbers = append(people, n.PersonID), append(numbers, n.OrderID)
	}
	if book.People, err = registry.Names(ctx, d.db, people); err != nil {
		return book, err
	}
	book.Orders, err = stores.OrderNumbers(ctx, d.db, assets.PlantScope(plantID), numbers)
	return book, err
}

// used is what signing an order books beside the step: counts on the kit it was placed with, and what it takes from stock.
type used struct {
	register *assets.Register
	counted  assets.JobCounted // on the job; what is not in it is as usual
}

// use declares in an act what signing an order will touch. It is nil where the order is not about to be signed.
func (d *Desk) use(ctx context.Context, scope assets.Scope, act *plantdb.Act, plantID, number int64, now time.Time) (*used, error) {
	o, err := orders.ByNumber(ctx, d.db, scope, plantID, number)
	if err != nil || o.State != workorder.Done {
		return nil, nil // what is wrong with it, the step says
	}
	return d.usedBy(ctx, scope, act, o, now)
}

// usedBy declares what signing an order will touch, however it stands yet.
func (d *Desk) usedBy(ctx context.Context, scope assets.Scope, act *plantdb.Act, o workorder.Order, now time.Time) (*used, error) {
	owners, err := stores.Owners(ctx, d.db, o.PlacedTools)
	if err != nil {
		return nil, err
	}
	for _, owner := range owners {
		act.Company = act.Company || owner == 0
		if owner != 0 {
			act.Customers = append(act.Customers, owner)
		}
	}
	fleet, err := d.Fleet(ctx, scope, o.PlantID, now)
	if err != nil {
		return nil, err
	}
	return &used{register: fleet.Register}, nil
}

// book writes it, once the order is signed.
func (u *used) book(c *plantdb.Change, o workorder.Order) error {
	if u == nil || o.State != workorder.Signed {
		return nil
	}
	if err := stores.CountJob(c, o, u.counted); err != nil {
		return err
	}
	return stores.IssueJob(c, u.register, o, u.counted.Taken)
}

// Depot returns what lies in the service company's own depot.
func (d *Desk) Depot(ctx context.Context, scope assets.Scope, from, most int) (*web.Depot, error) {
	lots, lines, all, err := stores.Depot(ctx, d.db, scope, from, most)
	if err != nil {
		return nil, err
	}
	out := &web.Depot{Lots: lots, Ledger: web.Ledger{Lines: lines, All: all, Lots: map[int64]assets.StockLot{}, Items: map[int64]assets.StockItem{}}}
	for _, l := range lots {
		out.Ledger.Lots[l.ID] = l.StockLot
	}
	items, err := stores.Items(ctx, d.db, scope, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		out.Ledger.Items[it.ID] = it
		if it.CustomerID == 0 {
			out.Items = append(out.Items, it)
		}
	}
	var people []int64
	for _, m := range lines {
		people = append(people, m.PersonID)
	}
	out.Ledger.People, err = registry.Names(ctx, d.db, people)
	return out, err
}

// BookDepot writes lines of the depot's ledger; lot is a new one that something was delivered into, nil where none was.
func (d *Desk) BookDepot(ctx context.Context, scope assets.Scope, a web.Act, lot *assets.StockLot, lines []assets.StockMovement) error {
	if err := (stores.Place{}).Reaches(ctx, d.db, scope); err != nil {
		return err
	}
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error {
		if lot == nil {
			return stores.Post(c, lines)
		}
		next, line := *lot, lines[0] // a change may run twice
		return stores.Receive(c, nil, &next, line.Quantity, line.At)
	})
}
