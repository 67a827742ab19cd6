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
