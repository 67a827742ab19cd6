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

// AddCustomer adds a customer and begins its journal. The act must declare the company.
func AddCustomer(c *plantdb.Change, next *assets.Customer) error {
	if err := checkCustomer(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if next.ID, err = c.NewCustomerID(); err != nil {
		return err
	}
	if err := plantdb.Create(c, ch, next); err != nil {
		return err
	}
	_, err = c.NewChain(next.ID)
	return err
}

// AlterCustomer changes a customer from an instant on (0: corrects it).
func AlterCustomer(c *plantdb.Change, next *assets.Customer, from assets.Instant) error {
	if err := checkCustomer(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	return save(c, ch, next, from)
}

func checkCustomer(c *plantdb.Change, next *assets.Customer) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the customer's name")
	next.NameKey = assets.NameKey(next.Name)
	n, err := count(c, "SELECT count(*) FROM customers WHERE name_key = ? AND id <> ? AND"+isCurrent, next.NameKey, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("name", "there is a customer of this name already")
	}
	return bad.Err()
}
