package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Owned are plants and their customers as known at some places of the journal, today's stretch of their time.
type Owned struct {
	Plants    []assets.Plant    // by name
	Customers []assets.Customer // by name
}

// OwnersAsOf lists the plants of a scope and their customers as known at a place in each chain; at tells the place by the
// chain's customer, 0 for the company's. A plant that was not known then is left out.
func OwnersAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, at func(customerID int64) (plantdb.AsOf, error)) (o Owned, err error) {
	company, err := at(0)
	if err != nil {
		return o, err
	}
	o.Customers, err = list[assets.Customer](db.SQL(ctx).Scopes(company.Rows, plantdb.CustomersInScope(scope, "id")).Order("name_key, id"))
	if err != nil {
		return o, err
	}
	plants, err := list[assets.Plant](db.SQL(ctx).Scopes(plantdb.InScope(scope, "id")).Where("valid_to IS NULL").Order("name_key, id, known_from"))
	if err != nil {
		return o, err
	}
	for _, p := range plants {
		then, err := at(p.CustomerID)
		if err != nil {
			return o, err
		}
		if then.Knew(p.Version) {
			o.Plants = append(o.Plants, p)
		}
	}
	return o, nil
}
