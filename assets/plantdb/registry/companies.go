package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Company returns the service company; assets.ErrNotFound before it has been set up.
func Company(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) (assets.Company, error) {
	return one[assets.Company](db.SQL(ctx).Scopes(asOf.OfCompany().Rows))
}

// SaveCompany sets the company up, or changes it from an instant on (0: corrects it).
func SaveCompany(c *plantdb.Change, next *assets.Company, from assets.Instant) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the company's name")
	checkZone(bad, next.Zone)
	checkCurrency(bad, next.Currency)
	checkUnits(bad, next.UnitSystem)
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		n, err := count(c, "SELECT count(*) FROM companies WHERE"+isCurrent)
		if err != nil {
			return err
		}
		if n > 0 {
			return assets.Invalid{"": "the service company has been set up already; change it instead"}
		}
		return plantdb.Create(c, ch, next)
	}
	return save(c, ch, next, from)
}
