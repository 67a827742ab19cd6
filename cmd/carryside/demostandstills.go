package main

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
)

// standstillYears is how far back the demonstration tells of standstills.
const standstillYears = 2

// layOutStandstills gives the plants of the demonstration a standstill for each splice that failed in the last years: it ended when the
// splice was remade, some hours after it had let go.
func layOutStandstills(ctx context.Context, db *plantdb.DB, act plantdb.Act) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	act.Origin, act.Action = plantdb.Demo, "set up the sample standstills"
	since := assets.InstantOf(act.Now.AddDate(-standstillYears, 0, 0))
	var all []assets.Standstill
	for _, p := range plants {
		act.Plants = append(act.Plants, p.ID)
		var failed []assets.Splice
		if err := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("plant_id = ? AND retired_why = ? AND ended >= ?", p.ID, assets.RetiredFailed, since).Order("ended, id").Find(&failed).Error; err != nil {
			return err
		}
		all = append(all, stoodFor(failed)...)
	}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		for _, st := range all {
			if _, err := stops.SaveStandstill(c, &st); err != nil {
				return err
			}
		}
		return nil
	})
}

// stoodFor are the standstills of splices that failed, none of them over another of its conveyor. How long each lasted follows its number.
func stoodFor(failed []assets.Splice) []assets.Standstill {
	var out []assets.Standstill
	free := map[int64]assets.Instant{}
	for _, s := range failed {
		hours := 2 + s.ID%7
		until := *s.Ended
		from := until - assets.Instant(hours*3600e6)
		if from < free[s.ConveyorID] {
			continue
		}
		free[s.ConveyorID] = until
		worked := float64(2 * hours)
		out = append(out, assets.Standstill{PlantID: s.PlantID, ConveyorID: s.ConveyorID, SpliceID: s.ID, OrderID: s.RetiredOrderID, Cause: assets.CauseSplice, FromAt: from, UntilAt: &until, WorkedH: &worked,
			Text: "splice " + s.Number + " let go: " + s.FailureMode})
	}
	return out
}
