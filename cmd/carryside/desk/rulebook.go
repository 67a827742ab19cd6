package desk

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/schedule/rules"
	"carryside/server/web"
)

// RulesOf returns the rules that apply to a plant.
func (d *Desk) RulesOf(ctx context.Context, scope assets.Scope, plantID int64) ([]rules.Rule, error) {
	return orders.RulesOf(ctx, d.db, scope, plantID, plantdb.AsOf{})
}

// RuleOf returns one of them.
func (d *Desk) RuleOf(ctx context.Context, scope assets.Scope, plantID, id int64) (rules.Rule, error) {
	return orders.Rule(ctx, d.db, scope, plantID, id)
}

// RaisedSince counts what each rule raised at a plant since an instant.
func (d *Desk) RaisedSince(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) (map[int64]int, error) {
	rows, err := orders.Occurrences(ctx, d.db, scope, plantID, assets.InstantOf(since))
	n := map[int64]int{}
	for _, o := range rows {
		n[o.RuleID]++
	}
	return n, err
}

// Outlook returns the plant prepared for previews.
func (d *Desk) Outlook(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*rules.Outlook, error) {
	p, err := outlook.LoadYear(ctx, d.db, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	if err := p.Foresee(ctx, d.db, d.laws, now); err != nil {
		return nil, err
	}
	return rules.NewOutlook(p.Inputs), nil
}

// SaveRule raises what the rule as it stood had to raise by now, then keeps the edit.
func (d *Desk) SaveRule(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, r *rules.Rule) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	if r.ID != 0 {
		if _, err := d.evaluator.EvaluatePlant(ctx, plantID, a.Now); err != nil {
			return err
		}
	}
	act := act(a, plantID)
	act.Company = r.PlantID == 0 && r.CustomerID == 0
	return d.db.Change(ctx, act, func(c *plantdb.Change) error { return orders.SaveRule(c, r) })
}
