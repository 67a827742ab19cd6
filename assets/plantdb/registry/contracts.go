package registry

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Contracts lists the contracts of customers within the scope; customerID 0 for all of them. Whoever was granted
// single plants sees the contracts that one of those plants is in.
func Contracts(ctx context.Context, db *plantdb.DB, scope assets.Scope, customerID int64) ([]assets.Contract, error) {
	tx := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "customer_id")).Order("customer_id, from_day, id")
	if customerID != 0 {
		tx = tx.Where("customer_id = ?", customerID)
	}
	all, err := list[assets.Contract](tx)
	return slices.DeleteFunc(all, func(k assets.Contract) bool { return !contractInScope(scope, k) }), err
}

// contractInScope tells whether whoever asks may see a contract of a customer they reach something of.
func contractInScope(scope assets.Scope, k assets.Contract) bool {
	all, customers, plants := scope.Reaches()
	return all || slices.Contains(customers, k.CustomerID) || len(k.PlantIDs) == 0 ||
		slices.ContainsFunc(k.PlantIDs, func(p int64) bool { return slices.Contains(plants, p) })
}

// Contract returns one contract.
func Contract(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Contract, error) {
	k, err := one[assets.Contract](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.CustomersInScope(scope, "customer_id")).Where("id = ?", id))
	if err == nil && !contractInScope(scope, k) {
		return assets.Contract{}, assets.ErrNotFound
	}
	return k, err
}

// SaveContract adds a contract (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveContract(c *plantdb.Change, next *assets.Contract, from assets.Instant) error {
	if err := checkContract(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(next.CustomerID)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		return plantdb.Create(c, ch, next)
	}
	return save(c, ch, next, from)
}

// EndContract takes a contract out of the lists from an instant on (0: it never was).
func EndContract(c *plantdb.Change, id, rowID int64, from assets.Instant) error {
	row, err := current[assets.Contract](c, id, rowID)
	if err != nil {
		return err
	}
	ch, err := c.Chain(row.CustomerID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &row, from)
}

func checkContract(c *plantdb.Change, next *assets.Contract) error {
	bad := assets.Invalid{}
	needText(bad, "number", next.Number, "the contract's number")
	needText(bad, "from_day", string(next.FromDay), "the day from which it holds")
	if next.UntilDay != "" && next.UntilDay < next.FromDay {
		bad.Add("until_day", "the contract would end before it begins")
	}
	atLeast(bad, "response_hours", next.ResponseHours, 0, "the response time")
	if len(next.PlantIDs) > 0 {
		n, err := count(c, "SELECT count(*) FROM plants WHERE id IN ? AND customer_id = ? AND"+isCurrent, next.PlantIDs, next.CustomerID)
		if err != nil {
			return err
		}
		if int(n) != len(next.PlantIDs) {
			bad.Add("plant_ids", "a contract covers plants of its own customer only")
		}
	}
	return bad.Err()
}
