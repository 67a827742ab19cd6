package stores

import (
	"context"
	"maps"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/kit"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// Job is an order that kit is placed on, with its time.
type Job struct {
	Order    workorder.Order
	From, To assets.Instant
	Tag      string // of its conveyor
	Plant    string
}

// Jobs lists the orders that kit is placed on or at work at, over all plants, in order of time: whoever shows them keeps to
// what may be seen.
func Jobs(ctx context.Context, db *plantdb.DB) ([]Job, error) {
	const current = " AND known_to IS NULL AND valid_to IS NULL"
	var orders []workorder.Order
	err := db.SQL(ctx).Where("state IN ? AND placed_tools IS NOT NULL AND placed_tools NOT IN ('null', '[]')"+current, []workorder.State{workorder.Placed, workorder.Started}).Find(&orders).Error
	if err != nil || len(orders) == 0 {
		return nil, err
	}
	windows, err := byID[assets.StopWindow](ctx, db, idsOf(orders, func(o workorder.Order) int64 { return o.WindowID }))
	if err != nil {
		return nil, err
	}
	conveyors, err := byID[assets.Conveyor](ctx, db, idsOf(orders, func(o workorder.Order) int64 { return o.ConveyorID }))
	if err != nil {
		return nil, err
	}
	plants, err := byID[assets.Plant](ctx, db, idsOf(orders, func(o workorder.Order) int64 { return o.PlantID }))
	if err != nil {
		return nil, err
	}
	out := make([]Job, 0, len(orders))
	for _, o := range orders {
		j := Job{Order: o, Tag: conveyors[o.ConveyorID].Tag, Plant: plants[o.PlantID].Name, From: windows[o.WindowID].Start, To: windows[o.WindowID].End}
		if o.PlacedStart != nil {
			j.From = *o.PlacedStart
			if o.WorkHours > 0 {
				j.To = j.From + assets.Instant(o.WorkHours*3600e6)
			}
		}
		if j.From != 0 {
			out = append(out, j)
		}
	}
	slices.SortStableFunc(out, func(a, b Job) int { return int(min(max(a.From-b.From, -1), 1)) })
	return out, nil
}

func idsOf(orders []workorder.Order, id func(workorder.Order) int64) []int64 {
	var ids []int64
	for _, o := range orders {
		if n := id(o); n != 0 && !slices.Contains(ids, n) {
			ids = append(ids, n)
		}
	}
	return ids
}

// byID reads current things by their numbers.
func byID[T any, P plantdb.Fact[T]](ctx context.Context, db *plantdb.DB, ids []int64) (map[int64]T, error) {
	out := map[int64]T{}
	if len(ids) == 0 {
		return out, nil
	}
	rows, err := list[T](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("id IN ?", ids))
	for i := range rows {
		out[P(&rows[i]).Versioned().ID] = rows[i]
	}
	return out, err
}

// OrderNumbers returns the numbers of orders of a scope by their IDs.
func OrderNumbers(ctx context.Context, db *plantdb.DB, scope assets.Scope, ids []int64) (map[int64]int64, error) {
	out := map[int64]int64{}
	ids = slices.DeleteFunc(slices.Clone(ids), func(id int64) bool { return id == 0 })
	if len(ids) == 0 {
		return out, nil
	}
	var rows []struct{ ID, Number int64 }
	err := db.SQL(ctx).Table("orders").Select("id, number").Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id IN ?", ids).Scan(&rows).Error
	for _, r := range rows {
		out[r.ID] = r.Number
	}
	return out, err
}

// CountJob moves the counters of the kit a signed order was placed with, in the change that signs it: what was counted on
// the job, else what a job usually counts. The act declares the owners of the kit (Owners), the company for shared kit.
func CountJob(c *plantdb.Change, o workorder.Order, counted assets.JobCounted) error {
	for _, id := range o.PlacedTools {
		k, _, err := kitOf(c, id)
		if err != nil {
			return err
		}
		counters, err := Counters(c.Context(), c.DB, plantdb.AsOf{}, []int64{k.ID})
		if err != nil {
			return err
		}
		for _, done := range kit.OfJob(counters, counted) {
			if err := Count(c, &assets.KitCount{CounterID: done.CounterID, Quantity: done.Quantity, OrderID: o.ID, At: o.DoneAt}); err != nil {
				return err
			}
		}
	}
	return nil
}

// Owners returns the owners of pieces of kit, 0 for the company: whose chains an act that counts on them declares.
func Owners(ctx context.Context, db *plantdb.DB, kitIDs []int64) ([]int64, error) {
	of, err := byID[assets.Kit](ctx, db, kitIDs)
	var owners []int64
	for _, k := range of {
		if !slices.Contains(owners, k.CustomerID) {
			owners = append(owners, k.CustomerID)
		}
	}
	slices.Sort(owners)
	return owners, err
}

// LedgerSums says how the ledger of a plant stands.
type LedgerSums struct {
	Lines   int64
	Adrift  int64          // postings whose cuts do not sum to nothing, and lots below nothing
	Unsaid  int64          // lines that name neither an order nor a reason where one is due, or nobody who booked them
	Counted assets.Instant // of the last count
}

// Sums adds up the ledger of a plant.
func Sums(ctx context.Context, db *plantdb.DB, plantID int64) (LedgerSums, error) {
	var s LedgerSums
	err := db.SQL(ctx).Raw(`SELECT count(*) AS lines, coalesce(sum(CASE WHEN person_id = 0 OR why IN ('issued', 'returned', 'counted', 'scrapped') AND order_id = 0 AND trim(reason) = '' THEN 1 ELSE 0 END), 0) AS unsaid, coalesce(max(CASE WHEN why = 'counted' THEN at END), 0) AS counted FROM stock_movements WHERE plant_id = ?`, plantID).Scan(&s).Error
	if err != nil {
		return s, err
	}
	var lots, postings int64
	err = db.SQL(ctx).Raw("SELECT count(*) FROM (SELECT 1 FROM stock_movements WHERE plant_id = ? GROUP BY lot_id HAVING sum(quantity) < 0) AS below", plantID).Scan(&lots).Error
	if err != nil {
		return s, err
	}
	err = db.SQL(ctx).Raw("SELECT count(*) FROM (SELECT 1 FROM stock_movements WHERE plant_id = ? AND why = 'cut' GROUP BY posting_id HAVING sum(quantity) <> 0) AS apart", plantID).Scan(&postings).Error
	s.Adrift = lots + postings
	return s, err
}

// IssueJob books out what a signed order takes by its template and was not issued to it by hand: from the lots of its plant,
// first expiring first. taken is what was counted on the job, by item; of items not in it the template says how much. What no fit lot has is
// not booked; the storekeeper counts it then.
func IssueJob(c *plantdb.Change, register *assets.Register, o workorder.Order, taken map[int64]assets.Quantity) error {
	scope := assets.PlantScope(o.PlantID)
	items, err := Items(c.Context(), c.DB, scope, plantdb.AsOf{})
	if err != nil {
		return err
	}
	r := &Room{Place: Place{PlantID: o.PlantID}, Items: items, Demand: stock.Demand{Register: register, Items: items, Orders: []workorder.Order{o}, Issued: map[stock.OrderItem]assets.Quantity{}}}
	if r.Demand.Templates, err = list[assets.WorkTemplate](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("customer_id IN ?", []int64{0, register.Plant.CustomerID})); err != nil {
		return err
	}
	if err := r.issued(c.Context(), c.DB); err != nil {
		return err
	}
	today := assets.DayOf(c.Now().Time().In(register.Plant.Location()))
	wanted := map[int64]assets.Quantity{}
	for itemID, needs := range r.Demand.Needs() {
		wanted[itemID] = needs[0].Quantity
	}
	maps.Copy(wanted, taken)
	for _, itemID := range slices.Sorted(maps.Keys(wanted)) { // in one order, whenever it is run
		want := wanted[itemID]
		item, known := itemOf(items, itemID)
		if !known || want <= 0 {
			continue
		}
		lots, err := LotsOfItem(c.Context(), c.DB, scope, itemID, false)
		if err != nil {
			return err
		}
		lines, _ := stock.Pick(item, lots, want, today)
		for i := range lines {
			lines[i].OrderID = o.ID
		}
		if len(lines) == 0 {
			continue
		}
		if err := Post(c, lines); err != nil {
			return err
		}
	}
	return nil
}

func itemOf(items []assets.StockItem, id int64) (assets.StockItem, bool) {
	for _, it := range items {
		if it.ID == id {
			return it, true
		}
	}
	return assets.StockItem{}, false
}

// MovedAt returns when each counter of kit was moved last.
func MovedAt(ctx context.Context, db *plantdb.DB, kitIDs []int64) (map[int64]assets.Instant, error) {
	out := map[int64]assets.Instant{}
	if len(kitIDs) == 0 {
		return out, nil
	}
	var rows []struct {
		CounterID int64
		At        assets.Instant
	}
	err := db.SQL(ctx).Table("kit_counts").Select("counter_id, max(at) AS at").Where("kit_id IN ?", kitIDs).Group("counter_id").Scan(&rows).Error
	for _, r := range rows {
		out[r.CounterID] = r.At
	}
	return out, err
}

// LastLine is when an item was moved last at a plant, and its last receipt there.
type LastLine struct {
	ItemID  int64
	At      assets.Instant
	Receipt int64 // number of the line; 0: none
}

// LastLines returns the last lines of each item at a plant.
func LastLines(ctx context.Context, db *plantdb.DB, plantID int64) (map[int64]LastLine, error) {
	var rows []LastLine
	err := db.SQL(ctx).Raw(`SELECT item_id, max(at) AS at, coalesce(max(CASE WHEN why = 'received' THEN id END), 0) AS receipt
		FROM stock_movements WHERE plant_id = ? GROUP BY item_id`, plantID).Scan(&rows).Error
	out := map[int64]LastLine{}
	for _, r := range rows {
		out[r.ItemID] = r
	}
	return out, err
}
