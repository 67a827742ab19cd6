package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Lines lists a plant's lines as material flows.
func Lines(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]assets.Line, error) {
	return list[assets.Line](ofPlants(ctx, db, scope, asOf).Where("plant_id = ?", plantID).Order("position, name_key, id"))
}

// SaveLine adds a line (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveLine(c *plantdb.Change, next *assets.Line, from assets.Instant) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the line's name")
	next.NameKey = assets.NameKey(next.Name)
	n, err := count(c, "SELECT count(*) FROM lines WHERE plant_id = ? AND name_key = ? AND id <> ? AND"+isCurrent, next.PlantID, next.NameKey, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("name", "this plant has a line of this name already")
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
	return save(c, ch, next, from)
}

// EndLine takes a line that has no conveyors any more out of the register from an instant on.
func EndLine(c *plantdb.Change, id, rowID int64, from assets.Instant) error {
	row, err := current[assets.Line](c, id, rowID)
	if err != nil {
		return err
	}
	n, err := count(c, "SELECT count(*) FROM conveyors WHERE plant_id = ? AND line_id = ? AND"+isCurrent, row.PlantID, id)
	if err != nil {
		return err
	}
	if n > 0 {
		return assets.Invalid{"": "conveyors stand on this line; move them to another line first"}
	}
	ch, err := c.PlantChain(row.PlantID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &row, from)
}
