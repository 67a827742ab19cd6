package plantdb

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"

	"gorm.io/gorm"
)

// InScope keeps a query to the plants that whoever asks may see; column holds the number of the plant. The
// zero scope sees nothing.
func InScope(scope assets.Scope, column string) func(*gorm.DB) *gorm.DB {
	return func(tx *gorm.DB) *gorm.DB {
		where, args := ScopeSQL(scope, column)
		return tx.Where(where, args...)
	}
}

// ScopeSQL is InScope for hand-written SQL.
func ScopeSQL(scope assets.Scope, column string) (where string, args []any) {
	all, customers, plants := scope.Reaches()
	switch {
	case all:
		return "1 = 1", nil
	case len(customers) == 0 && len(plants) == 0:
		return "1 = 0", nil
	case len(customers) == 0:
		return column + " IN ?", []any{plants}
	}
	ofCustomers := column + " IN (SELECT reach.id FROM plants reach WHERE reach.known_to IS NULL AND reach.valid_to IS NULL AND reach.customer_id IN ?)"
	if len(plants) == 0 {
		return ofCustomers, []any{customers}
	}
	return "(" + column + " IN ? OR " + ofCustomers + ")", []any{plants, customers}
}

// CustomersInScope keeps a query to customers of which the scope reaches at least a plant; column holds
// the number of the customer.
func CustomersInScope(scope assets.Scope, column string) func(*gorm.DB) *gorm.DB {
	return func(tx *gorm.DB) *gorm.DB {
		where, args := CustomerSQL(scope, column)
		return tx.Where(where, args...)
	}
}

// CustomerSQL is CustomersInScope for hand-written SQL.
func CustomerSQL(scope assets.Scope, column string) (where string, args []any) {
	all, customers, plants := scope.Reaches()
	if all {
		return "1 = 1", nil
	}
	return "(" + column + " IN ? OR " + column + ` IN (SELECT reach.customer_id FROM plants reach
		WHERE reach.known_to IS NULL AND reach.valid_to IS NULL AND reach.id IN ?))`, []any{orNone(customers), orNone(plants)}
}

// orNone keeps an IN list from being empty, which SQL does not allow. Rows that name nobody carry 0, so
// that -1 stands for none.
func orNone(ids []int64) []int64 {
	if len(ids) == 0 {
		return []int64{-1}
	}
	return ids
}

// Reach returns nil when the scope reaches the plant, otherwise ErrNotFound: what one may not see looks
// like what is not there.
func (db *DB) Reach(ctx context.Context, scope assets.Scope, plantID int64) error {
	all, customers, plants := scope.Reaches()
	if all || slices.Contains(plants, plantID) {
		return nil
	}
	if len(customers) > 0 {
		var n int64
		err := db.SQL(ctx).Raw("SELECT count(*) FROM plants WHERE id = ? AND known_to IS NULL AND valid_to IS NULL AND customer_id IN ?", plantID, customers).Scan(&n).Error
		if err != nil {
			return err
		}
		if n > 0 {
			return nil
		}
	}
	return fmt.Errorf("plant %d: %w", plantID, assets.ErrNotFound)
}
