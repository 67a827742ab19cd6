package desk

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/pressing"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// Recipes lists the newest edition of each recipe.
func (d *Desk) Recipes(ctx context.Context) ([]assets.Recipe, error) {
	return pressing.Recipes(ctx, d.db, plantdb.AsOf{})
}

// Editions lists every edition of a recipe with the names of who wrote them.
func (d *Desk) Editions(ctx context.Context, id int64) ([]assets.Recipe, map[int64]string, error) {
	all, err := pressing.Editions(ctx, d.db, id)
	if err != nil {
		return nil, nil, err
	}
	var ids []int64
	for _, e := range all {
		ids = append(ids, e.SavedBy)
	}
	names, err := registry.Names(ctx, d.db, ids)
	return all, names, err
}

// SaveRecipe adds a recipe or its next edition.
func (d *Desk) SaveRecipe(ctx context.Context, a web.Act, r *assets.Recipe) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error {
		next := *r // a change may run twice
		err := pressing.SaveRecipe(c, &next)
		if err == nil {
			*r = next
		}
		return err
	})
}

// Pressed lists the splices of a plant that were pressed, newest first.
func (d *Desk) Pressed(ctx context.Context, scope assets.Scope, f web.PressFilter) ([]web.PressedSplice, error) {
	made, err := pressing.MadeWith(ctx, d.db, scope, pressing.Filter{PlantID: f.PlantID, RecipeID: f.RecipeID, SpliceID: f.SpliceID, OrderID: f.OrderID})
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, m := range made {
		ids = append(ids, m.Splice.MadeByID)
	}
	names, err := registry.Names(ctx, d.db, ids)
	if err != nil {
		return nil, err
	}
	out := make([]web.PressedSplice, len(made))
	for i, m := range made {
		out[i] = web.PressedSplice{Record: m.PressRecord, Tag: m.Tag, Splice: m.Splice, By: names[m.Splice.MadeByID]}
	}
	return out, nil
}

// PressRecord returns one press record with what it names.
func (d *Desk) PressRecord(ctx context.Context, scope assets.Scope, id int64) (web.PressFile, error) {
	rec, err := pressing.Record(ctx, d.db, scope, id)
	if err != nil {
		return web.PressFile{}, err
	}
	f := web.PressFile{Record: rec}
	for _, of := range []struct {
		id     int64
		number *int64
	}{{rec.FollowUpID, &f.FollowUp}, {rec.OrderID, &f.Order}} {
		if of.id == 0 {
			continue
		}
		o, err := orders.Order(ctx, d.db, scope, of.id)
		if err != nil {
			return f, err
		}
		*of.number = o.Number
	}
	f.People, err = registry.Names(ctx, d.db, []int64{rec.RecordedBy, rec.ReasonBy})
	return f, err
}

// KeepPress keeps a record that was judged.
func (d *Desk) KeepPress(ctx context.Context, scope assets.Scope, a web.Act, r *assets.PressRecord, today assets.Day) error {
	return d.write(ctx, scope, a, r.PlantID, func(c *plantdb.Change) error {
		next := *r // a change may run twice
		err := pressing.Keep(c, &next, today)
		if err == nil {
			*r = next
		}
		return err
	})
}

// WithdrawPress takes a record back.
func (d *Desk) WithdrawPress(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return pressing.Withdraw(c, plantID, id, rowID) })
}
