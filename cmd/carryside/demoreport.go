package main

import (
	"bytes"
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
)

// giveReportsOut lets the demonstration's planner have taken the register of each plant along, as of yesterday, so that the
// page of reports shows what is kept of one: its file, and its proof. Once; a demonstration that is kept stays as it is.
func (d *demoCommand) giveReportsOut(ctx context.Context, db *plantdb.DB, now time.Time) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	for _, plant := range plants {
		if err := giveOut(ctx, db, plant, now); err != nil {
			return err
		}
	}
	return nil
}

func giveOut(ctx context.Context, db *plantdb.DB, plant assets.Plant, now time.Time) error {
	before, err := issued.OfPlant(ctx, db, assets.PlantScope(plant.ID), plant.ID, 1)
	if err != nil || len(before) > 0 {
		return err
	}
	people, err := registry.People(ctx, db, assets.JobScope(), true)
	if err != nil || len(people) == 0 {
		return err
	}
	entry, err := reports.Find("splice-age")
	if err != nil {
		return err
	}
	zone, err := reporting.CompanyZone(ctx, db)
	if err != nil {
		return err
	}
	var file bytes.Buffer // a demonstration's plant is small
	i := reporting.Issuing{Form: "xlsx", PersonID: people[0].ID, Origin: plantdb.Demo, Now: now}
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) (err error) {
		in := reports.Inputs{Source: reporting.NewSource(tx, assets.PlantScope(plant.ID)), Filter: reports.Filter{Plant: plant.Name}, Built: now, Zone: zone, By: people[0].Name, Version: programVersion(), PlantID: plant.ID}
		if i.Report, err = entry.Build(ctx, in, assets.DayOf(now.In(plant.Location()).AddDate(0, 0, -1))); err != nil {
			return err
		}
		out := reports.NewFileDigest(&file)
		i.Proof, err = i.Report.WriteXLSX(ctx, out)
		i.File = out.Of(entry.Slug + ".xlsx")
		return err
	})
	if err != nil {
		return err
	}
	_, err = reporting.Issue(ctx, db, i, &file)
	return err
}
