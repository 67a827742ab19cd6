package stops

import (
	"context"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Groups lists the isolation groups of a plant by name.
func Groups(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.IsolationGroup, error) {
	return plantdb.Rows[assets.IsolationGroup](ofScope(ctx, db, scope).Where("plant_id = ?", plantID).Order("name_key, id"))
}

// SaveGroup adds an isolation group (ID 0) or changes it. A conveyor is in one group at most.
func SaveGroup(c *plantdb.Change, next *assets.IsolationGroup) error {
	bad := assets.Invalid{}
	next.NameKey = assets.NameKey(next.Name)
	if next.NameKey == "" {
		bad.Add("name", "give the group's name")
	}
	if strings.TrimSpace(next.Point) == "" {
		bad.Add("point", "say where it is isolated, as the plant names the point")
	}
	for field, minutes := range map[string]int{"isolate_min": next.IsolateMin, "restart_min": next.RestartMin} {
		if minutes < 0 || minutes > 24*60 {
			bad.Add(field, "give minutes from 0 to 1440")
		}
	}
	if !(next.SetupCost >= 0 && next.SetupCost < 1e9) {
		bad.Add("setup_cost", "give the cost of one isolation, 0 or more")
	}
	if err := areOf(c, bad, next.PlantID, 0, next.ConveyorIDs); err != nil {
		return err
	}
	others, err := Groups(c.Context(), c.DB, assets.PlantScope(next.PlantID), next.PlantID)
	if err != nil {
		return err
	}
	for _, g := range others {
		switch {
		case g.ID == next.ID:
		case g.NameKey == next.NameKey:
			bad.Add("name", "there is a group of this name already")
		case slices.ContainsFunc(next.ConveyorIDs, func(id int64) bool { return slices.Contains(g.ConveyorIDs, id) }):
			bad.Add("conveyors", "a conveyor is isolated in one group only; take it out of "+g.Name+" first")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		return plantdb.Create(c, ch, next)
	}
	return plantdb.Amend(c, ch, next, c.Now())
}

// EndGroup lets a group be no more.
func EndGroup(c *plantdb.Change, id, rowID int64) error {
	g, err := plantdb.ReadRow[assets.IsolationGroup](c, id)
	if err != nil {
		return err
	}
	if rowID != 0 && rowID != g.RowID {
		return assets.ErrConflict
	}
	ch, err := c.PlantChain(g.PlantID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &g, c.Now())
}
