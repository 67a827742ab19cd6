package rounds

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Of lists the rounds of a plant by name.
func Of(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.Round, error) {
	return plantdb.Rows[assets.Round](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID).Order("name, id"))
}

// Round returns a round of a plant.
func Round(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (assets.Round, error) {
	rows, err := Of(ctx, db, scope, plantID)
	i := slices.IndexFunc(rows, func(r assets.Round) bool { return r.ID == id })
	if err == nil && i < 0 {
		err = fmt.Errorf("round %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.Round{}, err
	}
	return rows[i], nil
}

// Save adds a round (ID 0) or changes the one that was read (RowID) from now on. assets.Invalid names what is wrong.
func Save(c *plantdb.Change, r *assets.Round) error {
	bad := assets.Invalid{}
	if r.Name = strings.Join(strings.Fields(r.Name), " "); r.Name == "" {
		bad.Add("name", "give the round a name, such as the part of the plant that is walked")
	}
	if len(r.LineIDs) == 0 {
		bad.Add("lines", "choose at least one line to walk")
	}
	for _, id := range r.LineIDs {
		l, err := plantdb.ReadRow[assets.Line](c, id)
		if err != nil || l.PlantID != r.PlantID {
			bad.Add("lines", "choose the lines from the list; one of these is not in this plant")
			break
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(r.PlantID)
	if err != nil {
		return err
	}
	if r.ID == 0 {
		r.ValidFrom = c.Now()
		return plantdb.Create(c, ch, r)
	}
	held, err := plantdb.ReadRow[assets.Round](c, r.ID)
	switch {
	case err != nil:
		return err
	case held.PlantID != r.PlantID:
		return fmt.Errorf("round %d: %w", r.ID, assets.ErrNotFound)
	case held.RowID != r.RowID:
		return assets.ErrConflict
	}
	return plantdb.Amend(c, ch, r, c.Now())
}
