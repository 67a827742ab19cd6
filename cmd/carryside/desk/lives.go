package desk

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
	"carryside/schedule/rules"
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
	k.fleet.Standings = due.Together(now, reg.Plant, k.plant.Standings, k.fleet.Forecasts)
	return nil
}

// model is what a plant's forecasts need besides the laws.
func (d *Desk) model(ctx context.Context, scope assets.Scope, k *keptFleet, now time.Time) (due.LifeModel, error) {
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return due.LifeModel{}, err
	}
	found, err := outlook.ReadLifeFindings(ctx, d.db, scope, k.plant.Register.Plant.ID, plantdb.AsOf{})
	if err != nil {
		return due.LifeModel{}, err
	}
	model := modelOf(now, k.plant.Register, k.plant.Rules, kinds, found)
	onBelts := due.BeltTrends(now, k.plant.Register, found.Measured)
	k.fleet.Trends = append(due.Trends(now, k.plant.Register, kinds, found.Measured), onBelts...)
	k.fleet.Belts = due.Belts(now, k.plant.Register, onBelts, due.BeltDemands(now, k.plant.Register, k.plant.Rules, found.Demanding))
	return model, nil
}

// modelOf is the model on a register and catalogue, as they are or as they would be.
func modelOf(now time.Time, reg *assets.Register, rs []rules.Rule, kinds []assets.SpliceKind, found outlook.LifeFindings) due.LifeModel {
	return due.LifeModel{Cost: due.CostIn(reg, kinds), Trends: due.CrossingsOf(due.Trends(now, reg, kinds, found.Measured)), Findings: due.Demands(now, reg, rs, found.Demanding)}
}

// WhatMoves returns the splices of a plant whose forecast a change would move: the recommended day, or by more than a day
// the due band or by anything the best age.
func (d *Desk) WhatMoves(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, change web.LifeChange) ([]web.Move, error) {
	k, err := d.kept(ctx, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	laws, err := d.laws.Laws(ctx, d.db, k.plant.Register.Plant.CustomerID, now)
	if err != nil {
		return nil, err
	}
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	found, err := outlook.ReadLifeFindings(ctx, d.db, scope, plantID, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	reg, kinds := changed(k.plant.Register, kinds, change)
	model := modelOf(k.at, reg, k.plant.Rules, kinds, found)
	model.Laws = laws.Laws
	after := due.Forecasts(k.at, reg, k.plant.Rules, k.plant.Clocks, model)
	var moves []web.Move
	for i, b := range k.fleet.Forecasts { // both of the same splices in the order of the register
		if i < len(after) && after[i].SpliceID == b.SpliceID && moved(b, after[i]) {
			moves = append(moves, web.Move{SpliceID: b.SpliceID, Before: b, After: after[i]})
		}
	}
	return moves, nil
}

// moved tells whether two forecasts differ by what somebody would plan by.
func moved(a, b due.Forecast) bool {
	return a.Advice.Day != b.Advice.Day || a.Best.Words != b.Best.Words || a.Band.At50.Sub(b.Band.At50).Abs() > 24*time.Hour
}

// changed is a register and the splice kinds as they would be.
func changed(reg *assets.Register, kinds []assets.SpliceKind, change web.LifeChange) (*assets.Register, []assets.SpliceKind) {
	next := *reg // shared: its lists are copied before they are changed
	if k := change.Kind; k != nil {
		kinds = replaced(kinds, *k, func(o assets.SpliceKind) bool { return o.ID == k.ID })
	}
	if s := change.Specification; s != nil {
		next.Specifications = replaced(reg.Specifications, *s, func(o assets.Specification) bool { return o.ID == s.ID })
	}
	if c := change.Conveyor; c != nil {
		next.Conveyors = slices.Clone(reg.Conveyors)
		for i := range next.Conveyors {
			if next.Conveyors[i].ID == c.ID {
				next.Conveyors[i].StopCostPerHour = c.StopCostPerHour
			}
		}
	}
	next.Lines, next.Belts, next.Splices = slices.Clone(reg.Lines), slices.Clone(reg.Belts), slices.Clone(reg.Splices)
	next.Specifications = slices.Clone(next.Specifications)
	next.Conveyors = slices.Clone(next.Conveyors)
	next.Arrange()
	return &next, kinds
}

func replaced[T any](all []T, by T, is func(T) bool) []T {
	out := slices.Clone(all)
	for i := range out {
		if is(out[i]) {
			out[i] = by
		}
	}
	return out
}
