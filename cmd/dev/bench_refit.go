package main

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
)

// refit measures the laws of every customer fitted anew and every live splice forecast by them, on two cores, and the same for
// one customer alone: what a change of its splices asks for.
func (b *bench) refit() error {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	now, err := fleetNow(b.ctx, db)
	if err != nil {
		return err
	}
	customers, err := registry.Customers(b.ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	b.table.head("laws fitted anew and every splice forecast", "CPU", "wall", "customers", "splices")
	for _, part := range []struct {
		name string
		of   []assets.Customer
		aim  string
	}{{"the whole fleet", customers, "under 20 s wall"}, {"one customer, after its splices changed", customers[:min(1, len(customers))], ""}} {
		var splices atomic.Int64
		before, began := cpuOfSelf(), time.Now()
		if err := twoAtATime(part.of, func(c assets.Customer) error { return refitCustomer(b.ctx, db, c, now, &splices) }); err != nil {
			return err
		}
		b.table.line(benchLine{part.name, seconds(cpuOfSelf() - before), seconds(time.Since(began)), fmt.Sprint(len(part.of)), fmt.Sprint(splices.Load()), part.aim})
	}
	return nil
}

// refitCustomer fits the laws of one customer and forecasts the splices of its plants.
func refitCustomer(ctx context.Context, db *plantdb.DB, c assets.Customer, now time.Time, splices *atomic.Int64) error {
	study, err := outlook.StudyCustomer(ctx, db, c.ID, plantdb.AsOf{}, now)
	if err != nil {
		return err
	}
	kinds, err := registry.SpliceKinds(ctx, db, plantdb.AsOf{})
	if err != nil {
		return err
	}
	plants, err := registry.PlantsOf(ctx, db, assets.JobScope(), c.ID)
	if err != nil {
		return err
	}
	for _, p := range plants {
		state, err := outlook.Stand(ctx, db, assets.JobScope(), p.ID, plantdb.AsOf{}, assets.InstantOf(now))
		if errors.Is(err, assets.ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		model := due.LifeModel{Laws: study.Laws, Cost: due.CostIn(state.Register, kinds)}
		splices.Add(int64(len(due.Forecasts(now, state.Register, state.Rules, state.Clocks, model))))
	}
	return nil
}

// twoAtATime does something for every customer, two of them beside each other.
func twoAtATime(all []assets.Customer, do func(assets.Customer) error) error {
	next := make(chan assets.Customer)
	var work sync.WaitGroup
	errs := make([]error, 2)
	for i := range errs {
		work.Go(func() {
			for c := range next {
				errs[i] = errors.Join(errs[i], do(c))
			}
		})
	}
	for _, c := range all {
		next <- c
	}
	close(next)
	work.Wait()
	return errors.Join(errs...)
}
