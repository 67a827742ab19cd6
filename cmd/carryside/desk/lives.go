package desk

import (
	"cmp"
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/server/web"
)

// LifeBook returns the laws of the cohorts of a plant's customer, which pools all its plants, with the lives of the plants
// the reader may see. With a way of failing they are studied anew, by failures in that way alone.
func (d *Desk) LifeBook(ctx context.Context, scope assets.Scope, plantID int64, way string, now time.Time) (*web.LifeBook, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	kept, err := d.laws.WithLives(ctx, d.db, plant.CustomerID, now)
	if err != nil {
		return nil, err
	}
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	if way != "" {
		kept.Lives = cohort.For(way, kept.Lives)
		if kept.Laws, err = cohort.Study(cohort.Sort(kept.Lives)); err != nil {
			return nil, err
		}
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
	k.fleet.Belts = due.Belts(now, k.plant.Register, k.plant.Rules, k.plant.Clocks, onBelts, due.BeltDemands(now, k.plant.Register, k.plant.Rules, found.Demanding))
	return model, nil
}

// modelOf is the model on a register and catalogue, as they are or as they would be.
func modelOf(now time.Time, reg *assets.Register, rs []rules.Rule, kinds []assets.SpliceKind, found outlook.LifeFindings) due.LifeModel {
	return due.LifeModel{Cost: due.CostIn(reg, kinds), Trends: due.CrossingsOf(due.Trends(now, reg, kinds, found.Measured)), Findings: due.Demands(now, reg, rs, found.Demanding)}
}

// moveFor bounds how long is reckoned what a change of the company's catalogues moves; plants left then are named.
const moveFor = 20 * time.Second

// WhatMoves returns the splices and belts whose forecast a change would move, at every plant in scope that uses what changes:
// the recommended day, the best age, or the due band by more than a day. The plant looked at comes first.
func (d *Desk) WhatMoves(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, change web.LifeChange) (*web.Moves, error) {
	plants, err := d.plantsMoved(ctx, scope, plantID, change)
	if err != nil {
		return nil, err
	}
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	began := time.Now()
	out := &web.Moves{Plants: len(plants)}
	for _, p := range plants {
		if time.Since(began) > moveFor {
			out.Left = append(out.Left, p.Name)
			continue
		}
		rows, err := d.movesAt(ctx, p, now, kinds, change)
		if err != nil {
			return nil, err
		}
		out.Rows = append(out.Rows, rows...)
	}
	return out, nil
}

// plantsMoved are the plants in scope that use what changes, the plant looked at first. A conveyor's cost is its plant's alone.
func (d *Desk) plantsMoved(ctx context.Context, scope assets.Scope, plantID int64, change web.LifeChange) (plants []assets.Plant, err error) {
	switch {
	case change.Kind != nil:
		plants, err = registry.PlantsWithKind(ctx, d.db, scope, change.Kind.Form, change.Kind.Bond)
	case change.Specification != nil:
		plants, err = registry.PlantsWithSpecification(ctx, d.db, scope, change.Specification.ID)
	default:
		var p assets.Plant
		p, err = registry.Plant(ctx, d.db, scope, plantID)
		plants = []assets.Plant{p}
	}
	slices.SortStableFunc(plants, func(a, b assets.Plant) int { // false before true
		return cmp.Compare(boolInt(a.ID != plantID), boolInt(b.ID != plantID))
	})
	return plants, err
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// movesAt returns what a change moves at one plant.
func (d *Desk) movesAt(ctx context.Context, p assets.Plant, now time.Time, kinds []assets.SpliceKind, change web.LifeChange) (moves []web.Move, err error) {
	scope := assets.PlantScope(p.ID)
	k, err := d.look(ctx, scope, p.ID, now)
	if err != nil {
		return nil, err
	}
	laws, err := d.laws.Laws(ctx, d.db, p.CustomerID, now)
	if err != nil {
		return nil, err
	}
	found, err := outlook.ReadLifeFindings(ctx, d.db, scope, p.ID, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	reg, kinds := changed(k.plant.Register, kinds, change)
	model := modelOf(k.at, reg, k.plant.Rules, kinds, found)
	model.Laws = laws.Laws
	before := make(map[int64]due.Forecast, len(k.fleet.Forecasts))
	for _, f := range k.fleet.Forecasts {
		before[f.SpliceID] = f
	}
	name := func(conveyor int64, what string) string {
		c, _ := reg.Conveyor(conveyor)
		return c.Tag + " " + what
	}
	for _, f := range due.Forecasts(k.at, reg, k.plant.Rules, k.plant.Clocks, model) {
		if s, known := reg.Splice(f.SpliceID); known && moved(before[f.SpliceID], f) {
			moves = append(moves, web.Move{PlantID: p.ID, Plant: p.Name, SpliceID: f.SpliceID, Name: name(s.ConveyorID, "splice "+s.Number), Before: before[f.SpliceID], After: f})
		}
	}
	belts := due.Belts(k.at, reg, k.plant.Rules, k.plant.Clocks, due.BeltTrends(k.at, reg, found.Measured), due.BeltDemands(k.at, reg, k.plant.Rules, found.Demanding))
	for _, c := range reg.Conveyors {
		a, b := beltForecast(k.fleet.Belts, c.ID), beltForecast(belts, c.ID)
		if moved(a, b) {
			moves = append(moves, web.Move{PlantID: p.ID, Plant: p.Name, ConveyorID: c.ID, Name: name(c.ID, "belt"), Before: a, After: b})
		}
	}
	return moves, nil
}

// beltForecast is a belt's date in the form of a splice's.
func beltForecast(belts []due.BeltStanding, conveyor int64) (f due.Forecast) {
	for _, b := range belts {
		if b.ConveyorID == conveyor {
			f.Advice, f.Band = b.Advice, b.Band
		}
	}
	return f
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
	next.Splices = slices.DeleteFunc(next.Splices, func(s assets.Splice) bool { return !touches(reg, change, s) })
	next.Specifications = slices.Clone(next.Specifications)
	next.Conveyors = slices.Clone(next.Conveyors)
	next.Arrange()
	return &next, kinds
}

// touches tells whether a change can move a splice's forecast.
func touches(reg *assets.Register, change web.LifeChange, s assets.Splice) bool {
	b, _ := reg.Belt(s.BeltID)
	return change.Kind != nil && s.Form == change.Kind.Form && s.Bond == change.Kind.Bond ||
		change.Specification != nil && b.SpecificationID == change.Specification.ID || change.Conveyor != nil && s.ConveyorID == change.Conveyor.ID
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
