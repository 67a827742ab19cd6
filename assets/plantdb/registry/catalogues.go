package registry

import (
	"context"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Specifications lists the company's catalogue of belt specifications by name.
func Specifications(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.Specification, error) {
	return list[assets.Specification](specifications(db.SQL(ctx), asOf))
}

func specifications(tx *gorm.DB, asOf plantdb.AsOf) *gorm.DB {
	return tx.Scopes(asOf.OfCompany().Rows).Order("name_key, id")
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

// SaveSpecification adds a belt specification (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveSpecification(c *plantdb.Change, next *assets.Specification, from assets.Instant) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the specification's name")
	next.NameKey = assets.NameKey(next.Name)
	atLeast(bad, "plies", float64(next.Plies), 0, "the number of plies")
	checkValues(bad, next.Values)
	n, err := count(c, "SELECT count(*) FROM specifications WHERE name_key = ? AND id <> ? AND"+isCurrent, next.NameKey, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("name", "the catalogue has a specification of this name already")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return saveCatalogue(c, next, from)
}

// SaveSpliceKind adds a splice kind (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveSpliceKind(c *plantdb.Change, next *assets.SpliceKind, from assets.Instant) error {
	bad := assets.Invalid{}
	if !slices.Contains(assets.Forms, next.Form) {
		bad.Add("form", "choose a form from the list")
	}
	if !slices.Contains(assets.Bonds, next.Bond) {
		bad.Add("bond", "choose a bond from the list")
	}
	checkValues(bad, next.Values)
	n, err := count(c, "SELECT count(*) FROM splice_kinds WHERE form = ? AND bond = ? AND id <> ? AND"+isCurrent, next.Form, next.Bond, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("form", "the catalogue has this splice kind already")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return saveCatalogue(c, next, from)
}

func saveCatalogue[T any, P plantdb.Fact[T]](c *plantdb.Change, next P, from assets.Instant) error {
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if next.Versioned().ID == 0 {
		return plantdb.Create[T](c, ch, next)
	}
	return save[T](c, ch, next, from)
}

// checkValues holds that each default says what it is, in which unit, and on what evidence.
func checkValues(bad assets.Invalid, values []assets.CatalogueValue) {
	seen := map[string]bool{}
	for _, v := range values {
		field := "values." + v.Quantity
		needText(bad, field, v.Unit, "the unit of "+v.Quantity)
		if !slices.Contains(assets.Classes, v.Class) {
			bad.Add(field, "choose the class of evidence of "+v.Quantity)
		}
		if (v.Class == assets.ClassA || v.Class == assets.ClassB) && strings.TrimSpace(v.Source) == "" {
			bad.Add(field, "name the source of "+v.Quantity+": class A and B rest on one")
		}
		if seen[v.Quantity] || v.Quantity == "" {
			bad.Add(field, "each quantity stands once, by its name")
		}
		seen[v.Quantity] = true
	}
}
