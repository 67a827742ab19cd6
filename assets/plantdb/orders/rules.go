package orders

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/rules"
)

// RulesOf returns the rules that apply to a plant, its own, its customer's and the company's, by number;
// switched-off ones too. assets.ErrNotFound outside the scope.
func RulesOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]rules.Rule, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	var own, company []rules.Rule
	err := db.SQL(ctx).Scopes(asOf.Rows).Where(`(plant_id = ? OR (plant_id = 0 AND customer_id IN
		(SELECT p.customer_id FROM plants p WHERE p.id = ? AND p.known_to IS NULL AND p.valid_to IS NULL)))`, plantID, plantID).Find(&own).Error
	if err != nil {
		return nil, err
	}
	err = db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Where("plant_id = 0 AND customer_id = 0").Find(&company).Error
	all := append(own, company...)
	slices.SortFunc(all, func(a, b rules.Rule) int { return int(a.ID - b.ID) })
	return all, err
}

// Rule returns a rule that applies to a plant of the scope.
func Rule(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (rules.Rule, error) {
	all, err := RulesOf(ctx, db, scope, plantID, plantdb.AsOf{})
	if err != nil {
		return rules.Rule{}, err
	}
	for _, r := range all {
		if r.ID == id {
			return r, nil
		}
	}
	return rules.Rule{}, fmt.Errorf("rule %d: %w", id, assets.ErrNotFound)
}

// SaveRule writes a new rule (ID 0) or an edit of one: it keeps its number, takes the next edit version and
// raises nothing planned before now. The edit carries the edit version that was read; assets.ErrConflict when
// somebody saved another since.
func SaveRule(c *plantdb.Change, r *rules.Rule) error {
	ch, err := ruleChain(c, *r)
	if err != nil {
		return err
	}
	r.SavedBy, r.StartsAt = c.Act.PersonID, c.Now()
	if r.ID == 0 {
		r.EditVersion = 1
		r.ValidFrom = c.Now()
		return plantdb.Create(c, ch, r)
	}
	held, err := plantdb.ReadRow[rules.Rule](c, r.ID)
	if err != nil {
		return fmt.Errorf("rule %d: %w", r.ID, err)
	}
	if held.EditVersion != r.EditVersion {
		return fmt.Errorf("rule %q: %w", held.Name, assets.ErrConflict)
	}
	if held.PlantID != r.PlantID || held.CustomerID != r.CustomerID {
		return assets.Invalid{"": "a rule stays with the plant it was made for; make a new one for another plant"}
	}
	r.Version = held.Version
	r.EditVersion++
	return plantdb.Amend(c, ch, r, c.Now())
}

// SeedRules writes a company's first rules as they are given, with their start.
func SeedRules(c *plantdb.Change, rs []rules.Rule) error {
	for i := range rs {
		ch, err := ruleChain(c, rs[i])
		if err != nil {
			return err
		}
		if rs[i].EditVersion == 0 {
			rs[i].EditVersion = 1
		}
		if err := plantdb.Create(c, ch, &rs[i]); err != nil {
			return err
		}
	}
	return nil
}

// ruleChain is the chain a rule is journalled in: its customer's, or the company's for company-wide ones.
func ruleChain(c *plantdb.Change, r rules.Rule) (*plantdb.Chain, error) {
	if r.PlantID != 0 {
		return c.PlantChain(r.PlantID)
	}
	return c.Chain(r.CustomerID)
}
