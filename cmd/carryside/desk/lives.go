package desk

import (
	"context"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/server/web"
)

// lawsFor is how long the laws of a customer stand though none of its splices changed: what runs on only grows older.
const lawsFor = time.Hour

// lifeBooks keeps the laws of customers looked at.
type lifeBooks struct {
	mu sync.Mutex // guards of
	of map[int64]keptLaws
}

// keptLaws are the laws of a customer's cohorts with the lives they rest on, and what they were fitted to.
type keptLaws struct {
	splices registry.SpliceMark
	at      time.Time
	lives   []cohort.Life
	laws    []cohort.Law
}

// LifeBook returns the laws of the cohorts of a plant's customer, which pools all its plants, with the lives of the plants
// the reader may see.
func (d *Desk) LifeBook(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.LifeBook, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	kept, err := d.laws(ctx, plant.CustomerID, now)
	if err != nil {
		return nil, err
	}
	kinds, err := registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	b := &web.LifeBook{Laws: kept.laws, Fitted: kept.at, Kinds: kinds}
	for _, l := range kept.lives {
		if scope.Holds(plant.CustomerID, l.PlantID) {
			b.Lives = append(b.Lives, l)
		} else {
			b.Elsewhere = true
		}
	}
	return b, nil
}

// laws returns a customer's laws, from memory while none of its splices changed.
func (d *Desk) laws(ctx context.Context, customerID int64, now time.Time) (keptLaws, error) {
	mark, err := registry.SplicesMark(ctx, d.db, customerID)
	if err != nil {
		return keptLaws{}, err
	}
	d.lifeBooks.mu.Lock()
	kept, there := d.lifeBooks.of[customerID]
	d.lifeBooks.mu.Unlock()
	if there && kept.splices == mark && !now.Before(kept.at) && now.Sub(kept.at) < lawsFor {
		return kept, nil
	}
	kept = keptLaws{splices: mark, at: now}
	plants, err := registry.PlantsOf(ctx, d.db, assets.JobScope(), customerID)
	if err != nil {
		return keptLaws{}, err
	}
	for _, p := range plants {
		lives, err := outlook.Lives(ctx, d.db, assets.JobScope(), p.ID, plantdb.AsOf{}, assets.InstantOf(now), "")
		if err != nil {
			return keptLaws{}, err
		}
		kept.lives = append(kept.lives, lives...)
	}
	if kept.laws, err = cohort.Study(cohort.Sort(kept.lives)); err != nil {
		return keptLaws{}, err
	}
	d.lifeBooks.mu.Lock()
	defer d.lifeBooks.mu.Unlock()
	if len(d.lifeBooks.of) >= mostFleets {
		clear(d.lifeBooks.of)
	}
	d.lifeBooks.of[customerID] = kept
	return kept, nil
}

// foresee adds to a plant's standings its forecasts: they are kept together.
func (d *Desk) foresee(ctx context.Context, scope assets.Scope, k *keptFleet, now time.Time) error {
	reg := k.plant.Register
	laws, err := d.laws(ctx, reg.Plant.CustomerID, now)
	if err != nil {
		return err
	}
	model, err := d.model(ctx, scope, k, now)
	if err != nil {
		return err
	}
	model.Laws = laws.laws
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
	return due.LifeModel{Cost: CostIn(reg, kinds), Trends: due.CrossingsOf(k.fleet.Trends), Findings: due.Demands(now, reg, k.plant.Rules, found.Demanding)}, nil
}

// CostIn returns what replacing a splice costs where it is.
func CostIn(reg *assets.Register, kinds []assets.SpliceKind) func(*assets.Splice) (due.Cost, bool) {
	return func(s *assets.Splice) (due.Cost, bool) {
		i := slices.IndexFunc(kinds, func(k assets.SpliceKind) bool { return k.Form == s.Form && k.Bond == s.Bond })
		if i < 0 {
			return due.Cost{}, false
		}
		c, _ := reg.Conveyor(s.ConveyorID)
		return due.CostOf(kinds[i], c, reg.Plant.Currency)
	}
}
