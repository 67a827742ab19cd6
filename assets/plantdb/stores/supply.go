package stores

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// SupplyOrders lists orders to suppliers for the places of a scope, the latest expected first; those that still bring
// something only when open is true.
func SupplyOrders(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf, open bool) ([]assets.SupplyOrder, error) {
	tx := db.SQL(ctx).Scopes(asOf.Rows, inPlaces(scope))
	if open {
		tx = tx.Where("state IN ?", []assets.SupplyState{assets.SupplyAsked, assets.SupplyOrdered})
	}
	return list[assets.SupplyOrder](tx.Order("expected_day DESC, id DESC"))
}

// OneSupplyOrder returns one order to a supplier of the scope.
func OneSupplyOrder(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.SupplyOrder, error) {
	return one[assets.SupplyOrder](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, inPlaces(scope)).Where("id = ?", id))
}

// SaveSupplyOrder writes an order to a supplier (ID 0: numbered anew) or changes it.
func SaveSupplyOrder(c *plantdb.Change, next *assets.SupplyOrder) error {
	bad := assets.Invalid{}
	item, err := plantdb.ReadRow[assets.StockItem](c, next.ItemID)
	if err != nil {
		return err
	}
	if next.Quantity <= 0 || item.Whole() && next.Quantity%1000 != 0 {
		bad.Add("quantity", "give how much is ordered, in the item's unit")
	}
	if next.State == assets.SupplyOrdered && next.ExpectedDay == "" {
		bad.Add("expected_day", "give the day it is expected: orders wait for it")
	}
	if next.ExpectedDay != "" && next.OrderedDay != "" && next.ExpectedDay < next.OrderedDay {
		bad.Add("expected_day", "it cannot come before it is ordered")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	if next.PlantID != 0 {
		next.CustomerID = 0
	}
	ch, err := Place{next.CustomerID, next.PlantID}.chain(c)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		if next.Number, err = c.NewNumber(ch, "supply_order_numbers"); err != nil {
			return err
		}
		next.AskedBy = c.Act.PersonID
	}
	return save(c, ch, next)
}

// Receive books what came with a supply order into a lot of its place: the lot (ID 0: made; else one that lies there), the line, and the order's own
// count in one change.
func Receive(c *plantdb.Change, order *assets.SupplyOrder, lot *assets.StockLot, q assets.Quantity, at assets.Instant) error {
	if order != nil {
		lot.CustomerID, lot.PlantID, lot.ItemID = order.CustomerID, order.PlantID, order.ItemID
	}
	if lot.ID == 0 {
		if err := SaveLot(c, lot); err != nil {
			return err
		}
	}
	line := assets.StockMovement{LotID: lot.ID, Quantity: q, Why: assets.MoveReceived, At: at}
	if order == nil {
		return Post(c, []assets.StockMovement{line})
	}
	line.SupplyID = order.ID
	if err := Post(c, []assets.StockMovement{line}); err != nil {
		return err
	}
	order.Received += q
	if order.Received >= order.Quantity {
		order.State = assets.SupplyReceived
	}
	return SaveSupplyOrder(c, order)
}
