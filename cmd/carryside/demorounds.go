package main

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/rounds"
)

// layOutRounds gives each plant of the demonstration a round of each of its lines.
func layOutRounds(ctx context.Context, db *plantdb.DB, act plantdb.Act) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	act.Origin, act.Action = plantdb.Demo, "set up the sample rounds"
	for _, p := range plants {
		act.Plants = append(act.Plants, p.ID)
	}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		for _, p := range plants {
			lines, err := registry.Lines(ctx, c.DB, assets.PlantScope(p.ID), p.ID, plantdb.AsOf{})
			if err != nil {
				return err
			}
			for _, l := range lines {
				if err := rounds.Save(c, &assets.Round{PlantID: p.ID, Name: l.Name + ", on foot", LineIDs: []int64{l.ID}}); err != nil {
					return err
				}
			}
		}
		return nil
	})
}
