package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Specifications lists the company's catalogue of belt specifications by name.
func Specifications(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.Specification, error) {
	return list[assets.Specification](db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Order("name_key, id"))
}

// Specification returns one belt specification.
func Specification(ctx context.Context, db *plantdb.DB, id int64) (assets.Specification, error) {
	return one[assets.Specification](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("id = ?", id))
}

// SpliceKinds lists the company's catalogue of splice kinds.
func SpliceKinds(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.SpliceKind, error) {
	return list[assets.SpliceKind](db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Order("id"))
}

// SpliceKind returns one splice kind.
func SpliceKind(ctx context.Context, db *plantdb.DB, id int64) (assets.SpliceKind, error) {
	return one[assets.SpliceKind](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("id = ?", id))
}
