package desk

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/stops"
	"carryside/server/web"
)

// Standstills lists how a plant's conveyors stood by failures.
func (d *Desk) Standstills(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant) ([]assets.Standstill, error) {
	return stops.Standstills(ctx, d.db, scope, plantID, since, plantdb.AsOf{})
}

// Standstill returns one of them.
func (d *Desk) Standstill(ctx context.Context, scope assets.Scope, plantID, id int64) (assets.Standstill, error) {
	return stops.Standstill(ctx, d.db, scope, plantID, id)
}

// SaveStandstill adds one or corrects it.
func (d *Desk) SaveStandstill(ctx context.Context, scope assets.Scope, a web.Act, s *assets.Standstill) (again bool, err error) {
	err = d.write(ctx, scope, a, s.PlantID, func(c *plantdb.Change) error {
		next := *s // a change may run twice
		if again, err = stops.SaveStandstill(c, &next); err == nil {
			*s = next
		}
		return err
	})
	return again, err
}
