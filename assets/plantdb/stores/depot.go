package stores

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/stock"

	"gorm.io/gorm"
)

// Depot lists what lies in the service company's own depot, lots of which nothing is left too, with most lines of its ledger from one on, the newest
// first, and how many there are.
// assets.ErrNotFound for a scope that does not reach everything.
func Depot(ctx context.Context, db *plantdb.DB, scope assets.Scope, from, most int) (lots []stock.Lot, lines []assets.StockMovement, all int, err error) {
	if err := (Place{}).Reaches(ctx, db, scope); err != nil {
		return nil, nil, 0, err
	}
	there := func() *gorm.DB { return db.SQL(ctx).Where("plant_id = 0 AND customer_id = 0") }
	if lots, err = lotsOf(there().Scopes(plantdb.AsOf{}.Rows), there(), plantdb.AsOf{}, true); err != nil {
		return nil, nil, 0, err
	}
	var n int64
	if err = there().Table("stock_movements").Count(&n).Error; err != nil {
		return nil, nil, 0, err
	}
	lines, err = list[assets.StockMovement](there().Order("at DESC, id DESC").Offset(from).Limit(most))
	return lots, lines, int(n), err
}
