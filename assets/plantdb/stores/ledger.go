package stores

import (
	"context"
	"errors"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/stock"

	"gorm.io/gorm"
)

// Lots lists the lots at the places of a scope with what is on hand of each, as it was and as known; lots of which nothing
// is left too when empty is true.
func Lots(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf, empty bool) ([]stock.Lot, error) {
	return lotsOf(db.SQL(ctx).Scopes(asOf.Rows, inPlaces(scope)), db.SQL(ctx).Scopes(inPlaces(scope)), asOf, empty)
}

// LotsOfItem lists the lots of an item at the places of a scope.
func LotsOfItem(ctx context.Context, db *plantdb.DB, scope assets.Scope, itemID int64, empty bool) ([]stock.Lot, error) {
	return lotsOf(db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, inPlaces(scope)).Where("item_id = ?", itemID),
		db.SQL(ctx).Scopes(inPlaces(scope)).Where("item_id = ?", itemID), plantdb.AsOf{}, empty)
}

// OneLot returns one lot of a scope.
func OneLot(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (stock.Lot, error) {
	lots, err := lotsOf(db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, inPlaces(scope)).Where("id = ?", id), db.SQL(ctx).Where("lot_id = ?", id), plantdb.AsOf{}, true)
	if err == nil && len(lots) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return stock.Lot{}, err
	}
	return lots[0], nil
}

func lotsOf(lots, movements *gorm.DB, asOf plantdb.AsOf, empty bool) ([]stock.Lot, error) {
	rows, err := list[assets.StockLot](lots.Order("item_id, id"))
	if err != nil {
		return nil, err
	}
	sums, err := lotSums(movements, asOf)
	if err != nil {
		return nil, err
	}
	var out []stock.Lot
	for _, l := range rows {
		if held := sums[l.ID]; empty || held != 0 {
			out = append(out, stock.Lot{StockLot: l, OnHand: held})
		}
	}
	return out, nil
}

func lotSums(movements *gorm.DB, asOf plantdb.AsOf) (map[int64]assets.Quantity, error) {
	tx := movements.Table("stock_movements").Select("lot_id, CAST(sum(quantity) AS BIGINT) AS quantity")
	if asOf.Valid != 0 {
		tx = tx.Where("at <= ?", asOf.Valid)
	}
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
	}
	var sums []struct {
		LotID    int64
		Quantity assets.Quantity
	}
	err := tx.Group("lot_id").Scan(&sums).Error
	of := map[int64]assets.Quantity{}
	for _, s := range sums {
		of[s.LotID] = s.Quantity
	}
	return of, err
}

// MovementFilter narrows the ledger; its zero value is all of it.
type MovementFilter struct {
	ItemID, LotID, OrderID int64
	From, To               assets.Instant // To exclusive
	Skip, Most             int            // so many of the latest lines left out, so many then; Most 0: all
}

// Movements lists lines of the ledger at the places of a scope, the latest first.
func Movements(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf, f MovementFilter) ([]assets.StockMovement, error) {
	tx := db.SQL(ctx).Scopes(inPlaces(scope), f.lines(asOf))
	if f.Most > 0 {
		tx = tx.Offset(f.Skip).Limit(f.Most)
	}
	return list[assets.StockMovement](tx.Order("at DESC, id DESC"))
}

// CountMovements counts the lines that Movements lists, whatever part of them is asked for.
func CountMovements(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf, f MovementFilter) (int, error) {
	var n int64
	err := db.SQL(ctx).Table("stock_movements").Scopes(inPlaces(scope), f.lines(asOf)).Count(&n).Error
	return int(n), err
}

// lines narrows the ledger to what the filter names.
func (f MovementFilter) lines(asOf plantdb.AsOf) func(*gorm.DB) *gorm.DB {
	return func(tx *gorm.DB) *gorm.DB {
		for column, id := range map[string]int64{"item_id": f.ItemID, "lot_id": f.LotID, "order_id": f.OrderID} {
			if id != 0 {
				tx = tx.Where(column+" = ?", id)
			}
		}
		if f.From != 0 {
			tx = tx.Where("at >= ?", f.From)
		}
		if f.To != 0 {
			tx = tx.Where("at < ?", f.To)
		}
		if asOf.Known != 0 {
			tx = tx.Where("known_from <= ?", asOf.Known)
		}
		return tx
	}
}

// SaveLot adds a lot (ID 0) or changes its shelf, its date or that it is held back. A lot stays at its place and of its item:
// what moves becomes a lot there.
func SaveLot(c *plantdb.Change, next *assets.StockLot) error {
	bad := assets.Invalid{}
	needText(bad, "lot", next.Lot, "the lot or roll number")
	if next.PlantID != 0 {
		next.CustomerID = 0
	}
	if !(next.WidthM >= 0 && next.WidthM <= 10) {
		bad.Add("width_m", "the width is from 0 (as the item) to 10 m")
	}
	if next.ID == 0 && next.CutFromID != 0 {
		if err := cutFits(c, bad, next); err != nil {
			return err
		}
	}
	if next.ID != 0 {
		held, err := plantdb.ReadRow[assets.StockLot](c, next.ID)
		if err != nil {
			return err
		}
		if held.ItemID != next.ItemID || held.PlantID != next.PlantID || held.CustomerID != next.CustomerID {
			bad.Add("", "a lot stays where it is until it is moved")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := Place{next.CustomerID, next.PlantID}.chain(c)
	if err != nil {
		return err
	}
	return save(c, ch, next)
}

// cutFits refuses an offcut wider than what it was cut from, and one under a mark that lies beside it already: two pieces of one mark cannot be told apart.
func cutFits(c *plantdb.Change, bad assets.Invalid, next *assets.StockLot) error {
	from, err := plantdb.ReadRow[assets.StockLot](c, next.CutFromID)
	if err != nil {
		return err
	}
	if from.WidthM > 0 && next.WidthM > from.WidthM {
		bad.Add("width_m", fmt.Sprintf("it was cut from a roll %g mm wide and cannot be wider", from.WidthM*1000))
	}
	var same int64
	err = c.Tx().Raw("SELECT count(*) FROM stock_lots WHERE item_id = ? AND plant_id = ? AND customer_id = ? AND lot = ? AND known_to IS NULL AND valid_to IS NULL", next.ItemID, next.PlantID, next.CustomerID, next.Lot).Scan(&same).Error
	if same > 0 {
		bad.Add("lot", "this mark is given already; write another on the offcut")
	}
	return err
}

// Post writes the lines of one act, each in the chain of the place of its lot, if they keep what every posting must keep
// (stock.Check). The lines name their lots; item, place, person and times are filled in.
func Post(c *plantdb.Change, lines []assets.StockMovement) error {
	if len(lines) == 0 {
		return assets.Invalid{"quantity": "give a quantity"}
	}
	lots, onHand, err := lotsOfLines(c, lines)
	if err != nil {
		return err
	}
	item, err := plantdb.ReadRow[assets.StockItem](c, lots[0].ItemID)
	if err != nil {
		return err
	}
	for i := range lots {
		if lots[i].ItemID != item.ID {
			return errors.New("the lines of a posting are of one item")
		}
	}
	if err := stock.Check(item, lines, onHand); err != nil {
		return err
	}
	for _, l := range lines {
		if err := neverShort(c, item, l); err != nil {
			return err
		}
	}
	return writeLines(c, lots, lines)
}

// neverShort refuses what is said to have gone out of a lot at a time when the ledger had not so much in it, or would have had too little
// since: the stores as they were on a past day would show less than nothing.
func neverShort(c *plantdb.Change, item assets.StockItem, l assets.StockMovement) error {
	if l.Quantity >= 0 || l.At == 0 || l.At >= c.Now() {
		return nil
	}
	var kept []struct {
		At       assets.Instant
		Quantity assets.Quantity
	}
	if err := c.Tx().Table("stock_movements").Select("at, quantity").Where("lot_id = ?", l.LotID).Order("at, id").Scan(&kept).Error; err != nil {
		return err
	}
	var held assets.Quantity
	for _, k := range kept {
		if k.At <= l.At {
			held += k.Quantity
		}
	}
	least := held
	for _, k := range kept {
		if k.At > l.At {
			held += k.Quantity
			least = min(least, held)
		}
	}
	if least+l.Quantity < 0 {
		return assets.Invalid{"at": fmt.Sprintf("by the ledger the lot had only %s to give at that time; give the time it went out, or book first what came in before", item.Unit.Of(least))}
	}
	return nil
}

// lotsOfLines returns the lot of each line and what is on hand of each lot.
func lotsOfLines(c *plantdb.Change, lines []assets.StockMovement) ([]assets.StockLot, map[int64]assets.Quantity, error) {
	lots := make([]assets.StockLot, len(lines))
	ids := make([]int64, len(lines))
	for i, l := range lines {
		lot, err := plantdb.ReadRow[assets.StockLot](c, l.LotID)
		if err != nil {
			return nil, nil, fmt.Errorf("lot %d: %w", l.LotID, err)
		}
		lots[i], ids[i] = lot, lot.ID
	}
	onHand, err := lotSums(c.Tx().Where("lot_id IN ?", ids), plantdb.AsOf{})
	return lots, onHand, err
}

func writeLines(c *plantdb.Change, lots []assets.StockLot, lines []assets.StockMovement) error {
	for i := range lines {
		l, lot := &lines[i], lots[i]
		ch, err := Place{lot.CustomerID, lot.PlantID}.chain(c)
		if err != nil {
			return err
		}
		if l.ID, err = c.NewIDs(ch, "stock_movements", 1); err != nil {
			return err
		}
		l.PostingID = lines[0].ID
		l.CustomerID, l.PlantID, l.ItemID = lot.CustomerID, lot.PlantID, lot.ItemID
		l.EnteredAt, l.PersonID, l.KnownFrom = c.Now(), c.Act.PersonID, ch.Position
		if l.At == 0 {
			l.At = c.Now()
		}
		if l.At > c.Now() {
			return assets.Invalid{"at": "this time lies in the future; give now or before"}
		}
		if err := plantdb.Insert(c, ch, l.ID, l); err != nil {
			return err
		}
	}
	return nil
}
