package pressing

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/press"
)

// isCurrent picks the row of a thing that is so and known now.
const isCurrent = " known_to IS NULL AND valid_to IS NULL"

// Recipes lists the company's recipes in their newest edition by name, those withdrawn too.
func Recipes(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.Recipe, error) {
	return plantdb.Rows[assets.Recipe](db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Order("name_key, id"))
}

// Editions lists every edition of a recipe, newest first; assets.ErrNotFound when there is no such recipe.
func Editions(ctx context.Context, db *plantdb.DB, id int64) ([]assets.Recipe, error) {
	rows, err := plantdb.Rows[assets.Recipe](db.SQL(ctx).Where("id = ? AND known_to IS NULL", id).Order("edition DESC"))
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("recipe %d: %w", id, assets.ErrNotFound)
	}
	return rows, err
}

// SaveRecipe adds a recipe (ID 0) as its first edition, or makes next the edition after the one that was read (next.RowID). assets.Invalid
// names each figure that is missing or contradicts another; assets.ErrConflict when there is a newer edition.
func SaveRecipe(c *plantdb.Change, next *assets.Recipe) error {
	if err := checkRecipe(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	next.SavedBy, next.SavedAt = c.Act.PersonID, c.Now()
	if next.ID == 0 {
		next.Edition, next.ValidFrom = 1, c.Now()
		return plantdb.Create(c, ch, next)
	}
	held, err := plantdb.ReadRow[assets.Recipe](c, next.ID)
	if err != nil {
		return err
	}
	if held.RowID != next.RowID {
		return assets.ErrConflict
	}
	next.Edition = held.Edition + 1
	return plantdb.Amend(c, ch, next, c.Now())
}

func checkRecipe(c *plantdb.Change, next *assets.Recipe) error {
	bad := assets.Invalid{}
	if _, err := press.FromValues(next.Values); err != nil {
		var of assets.Invalid
		if !asInvalid(err, &of) {
			return err
		}
		for field, says := range of {
			bad.Add(field, says)
		}
	}
	if next.Name = strings.TrimSpace(next.Name); next.Name == "" {
		bad.Add("name", "give the recipe's name")
	}
	if !slices.Contains(assets.Forms, next.Form) || !slices.Contains(assets.Bonds, next.Bond) {
		bad.Add("form", "choose form and bond of the splices it is for")
	}
	if next.ID != 0 && strings.TrimSpace(next.Changed) == "" {
		bad.Add("changed", "say what this version changes, and why: it stands beside the splices made with it")
	}
	if a, b := next.ThinnestM, next.ThickestM; a != nil && b != nil && *b < *a {
		bad.Add("thickest_m", "the thickest splice is thinner than the thinnest")
	}
	for _, v := range next.Values {
		if (v.Class == assets.ClassA || v.Class == assets.ClassB) && strings.TrimSpace(v.Source) == "" {
			bad.Add("values."+v.Quantity, "name the source: class A and B rest on one")
		}
		if !slices.Contains(assets.Classes, v.Class) {
			bad.Add("values."+v.Quantity, "choose the class of evidence")
		}
	}
	next.NameKey = assets.NameKey(next.Name)
	var same int64
	if err := c.Tx().Raw("SELECT count(*) FROM recipes WHERE name_key = ? AND id <> ? AND"+isCurrent, next.NameKey, next.ID).Scan(&same).Error; err != nil {
		return err
	}
	if same > 0 {
		bad.Add("name", "there is a recipe of this name already")
	}
	return bad.Err()
}
