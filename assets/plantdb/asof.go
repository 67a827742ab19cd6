package plantdb

import (
	"context"
	"strings"

	"carryside/assets"

	"gorm.io/gorm"
)

// AsOf says which rows are asked for: as it was at the plant at Valid, as known at the journal position
// Known. Its zero value is what is so and known now. A position counts in the chain of the rows' customer;
// rows of the company (catalogues, company-wide rules) have a chain of their own.
type AsOf struct {
	Valid        assets.Instant // 0: now
	Known        int64          // position in the customer's chain; 0: now, -1: before its first entry
	CompanyKnown int64          // position in the company's chain; 0: now, -1: before its first entry
}

// OfCompany is the same moment for rows of the company's chain.
func (a AsOf) OfCompany() AsOf { return AsOf{Valid: a.Valid, Known: a.CompanyKnown} }

// Knew tells whether a row was held to be so at the position.
func (a AsOf) Knew(v assets.Version) bool {
	if a.Known == 0 {
		return v.KnownTo == nil
	}
	return v.KnownFrom <= a.Known && (v.KnownTo == nil || *v.KnownTo > a.Known)
}

// Rows adds the conditions to a query of one table of facts: db.SQL(ctx).Scopes(asOf.Rows).
func (a AsOf) Rows(tx *gorm.DB) *gorm.DB {
	where, args := a.On("")
	return tx.Where(where, args...)
}

// KnownRows adds only what was known, for queries that want every stretch of a thing's time.
func (a AsOf) KnownRows(tx *gorm.DB) *gorm.DB {
	if a.Known == 0 {
		return tx.Where("known_to IS NULL")
	}
	return tx.Where("known_from <= ? AND (known_to IS NULL OR known_to > ?)", a.Known, a.Known)
}

// On returns the conditions for a table under an alias ("" for none) in hand-written SQL.
func (a AsOf) On(alias string) (where string, args []any) {
	valid, known := "@valid_to IS NULL", "@known_to IS NULL"
	if a.Valid != 0 {
		// 0 is "since ever", also for a day before 1970, whose instants are below it.
		valid = "(@valid_from <= ? OR @valid_from = 0) AND (@valid_to IS NULL OR @valid_to > ?)"
		args = append(args, a.Valid, a.Valid)
	}
	if a.Known != 0 {
		known = "@known_from <= ? AND (@known_to IS NULL OR @known_to > ?)"
		args = append(args, a.Known, a.Known)
	}
	if alias != "" {
		alias += "."
	}
	return strings.ReplaceAll(valid+" AND "+known, "@", alias), args
}

// KnownAt returns the AsOf that shows a plant at valid as it was known at an instant.
func (db *DB) KnownAt(ctx context.Context, plantID int64, valid, knownAt assets.Instant) (AsOf, error) {
	a := AsOf{Valid: valid}
	customer, err := db.CustomerOf(ctx, plantID)
	if err != nil {
		return a, err
	}
	if a.Known, err = db.PositionAt(ctx, customer, knownAt); err != nil {
		return a, err
	}
	a.CompanyKnown, err = db.PositionAt(ctx, 0, knownAt)
	return a, err
}

// CustomerOf returns the customer of a plant, 0 when there is no such plant. It stays with its customer.
func (db *DB) CustomerOf(ctx context.Context, plantID int64) (customer int64, err error) {
	err = db.SQL(ctx).Raw("SELECT customer_id FROM plants WHERE id = ? ORDER BY row_id DESC LIMIT 1", plantID).Scan(&customer).Error
	return customer, err
}
