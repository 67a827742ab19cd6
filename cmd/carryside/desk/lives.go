package desk

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
	"carryside/server/web"
)

// LifeBook returns the laws of the cohorts of a plant's customer, which pools all its plants, with the lives of the plants
// the reader may see.
func (d *Desk) LifeBook(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.LifeBook, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	kept, err := d.laws.Laws(ctx, d.db, plant.CustomerID, now)
	if err != nil {
		return nil, err
	}
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	b := &web.LifeBook{Laws: kept.Laws, Fitted: kept.At, Kinds: kinds}
	for _, l := range kept.Lives {
		if scope.Holds(plant.CustomerID, l.PlantID) {
			b.Lives = append(b.Lives, l)
		} else {
			b.Elsewhere = true
		}
	}
	return b, nil
}

// foresee adds to a plant's standings its forecasts: they are kept together.
func (d *Desk) foresee(ctx context.Context, scope assets.Scope, k *keptFleet, now time.Time) error {
	reg := k.plant.Register
	laws, err := d.laws.Laws(ctx, d.db, reg.Plant.CustomerID, now)
	if err != nil {
		return err
	}
	model, err := d.model(ctx, scope, k, now)
	if err != nil {
		return err
	}
	model.Laws = laws.Laws
	k.fleet.Forecasts = due.Forecasts(now, reg, k.plant.Rules, k.plant.Clocks, model)
	k.fleet.Standings = due.ByBestAge(now, reg.Plant, k.plant.Standings, k.fleet.Forecasts)
	return nil
}

// model is what a plant's forecasts need besides the laws.
func (d *Desk) model(ctx context.Context, scope assets.Scope, k *keptFleet, now time.Time) (due.LifeModel, error) {
	reg := k.plant.Register
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return due.LifeModel{}, err
	}
	found, err := outlook.ReadLifeFindings(ctx, d.db, scope, reg.Plant.ID, plantdb.AsOf{})
	if err != nil {
		return due.LifeModel{}, err
	}
	k.fleet.Trends = due.Trends(now, reg, kinds, found.Measured)
	return due.LifeModel{Cost: due.CostIn(reg, kinds), Trends: due.CrossingsOf(k.fleet.Trends), Findings: due.Demands(now, reg, k.plant.Rules, found.Demanding)}, nil
}
