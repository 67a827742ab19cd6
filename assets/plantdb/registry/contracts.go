package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Contracts lists the contracts of customers within the scope; customerID 0 for all of them.
func Contracts(ctx context.Context, db *plantdb.DB, scope assets.Scope, customerID int64) ([]assets.Contract, error) {
	tx := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "customer_id")).Order("customer_id, from_day, id")
	if customerID != 0 {
		tx = tx.Where("customer_id = ?", customerID)
	}
	return list[assets.Contract](tx)
}

// Contract returns one contract.
func Contract(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Contract, error) {
	return one[assets.Contract](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "customer_id")).Where("id = ?", id))
}
