package stores

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Place is where stock lies: a plant, or (PlantID 0) the depot of a customer or of the service company (CustomerID 0). Of a plant
// CustomerID is 0: the plant tells whose it is.
type Place struct {
	CustomerID int64
	PlantID    int64
}

// chain is the chain in which what lies at a place is journalled.
func (p Place) chain(c *plantdb.Change) (*plantdb.Chain, error) {
	if p.PlantID != 0 {
		return c.PlantChain(p.PlantID)
	}
	return c.Chain(p.CustomerID)
}

// Reaches tells whether a scope reaches the place: a depot only by a grant for its whole owner.
func (p Place) Reaches(ctx context.Context, db *plantdb.DB, scope assets.Scope) error {
	if p.PlantID != 0 {
		return db.Reach(ctx, scope, p.PlantID)
	}
	if all, customers, _ := scope.Reaches(); all || p.CustomerID != 0 && slices.Contains(customers, p.CustomerID) {
		return nil
	}
	return fmt.Errorf("the depot: %w", assets.ErrNotFound)
}

// inPlaces keeps a query to what lies at plants of the scope and in depots it reaches wholly.
func inPlaces(scope assets.Scope) func(*gorm.DB) *gorm.DB {
	return func(tx *gorm.DB) *gorm.DB {
		all, customers, _ := scope.Reaches()
		if all {
			return tx
		}
		where, args := plantdb.ScopeSQL(scope, "plant_id")
		where = "(plant_id <> 0 AND " + where + ")"
		if len(customers) > 0 {
			where = "(" + where + " OR (plant_id = 0 AND customer_id IN ?))"
			args = append(args, customers)
		}
		return tx.Where(where, args...)
	}
}

// list runs a query of rows.
func list[T any](tx *gorm.DB) ([]T, error) { return plantdb.Rows[T](tx) }

// one runs a query that finds at most one row; none is assets.ErrNotFound.
func one[T any](tx *gorm.DB) (T, error) {
	rows, err := list[T](tx.Limit(1))
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return *new(T), err
	}
	return rows[0], nil
}

// save adds a thing (ID 0), or makes it so from now on if it is still as it was read.
func save[T any, P plantdb.Fact[T]](c *plantdb.Change, ch *plantdb.Chain, next P) error {
	if next.Versioned().ID == 0 {
		return plantdb.Create[T](c, ch, next)
	}
	return plantdb.Amend[T](c, ch, next, c.Now())
}

func needText(bad assets.Invalid, field, text, what string) {
	if strings.TrimSpace(text) == "" {
		bad.Add(field, "give "+what)
	}
}

func classed(bad assets.Invalid, class assets.Class, source string) {
	if !slices.Contains(assets.Classes, class) {
		bad.Add("class", "choose the class of evidence")
	}
	if (class == assets.ClassA || class == assets.ClassB) && strings.TrimSpace(source) == "" {
		bad.Add("source", "name the source: class A and B rest on one")
	}
}
