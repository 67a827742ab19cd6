package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Customers lists the customers of whom the scope reaches a plant, by name.
func Customers(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.Customer, error) {
	return list[assets.Customer](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "id")).Order("name_key"))
}

// Customer returns one customer.
func Customer(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Customer, error) {
	return one[assets.Customer](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "id")).Where("id = ?", id))
}

// CustomerByName finds a customer by a typed name.
func CustomerByName(ctx context.Context, db *plantdb.DB, scope assets.Scope, name string) (assets.Customer, error) {
	return one[assets.Customer](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "id")).Where("name_key = ?", assets.NameKey(name)))
}
