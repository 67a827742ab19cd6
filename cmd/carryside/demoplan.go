package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/planned"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/due"
	"carryside/schedule/horizon"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// demoOrders is how many splices of a plant of the demonstration a planner has ordered remade ahead of their date.
const demoOrders = 3

// demoPlanSteps bounds the search of a plant's plan; three or four orders are proven long before.
const demoPlanSteps = 300

// planSome raises orders for the splices that come due first and have a stop in front of them, and publishes a plan that
// places them: what a planner would have done by the horizon.
func planSome(ctx context.Context, db *plantdb.DB, now time.Time) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	d := desk.New(db, func() time.Time { return now }, nil, "")
	for _, p := range plants {
		if err := planAt(ctx, db, d, p, now); err != nil {
			return fmt.Errorf("plan the stops of %s: %w", p.Name, err)
		}
	}
	return nil
}

func planAt(ctx context.Context, db *plantdb.DB, d *desk.Desk, p assets.Plant, now time.Time) error {
	planner, err := demoPlanner(ctx, db)
	if err != nil {
		return err
	}
	scope := assets.PlantScope(p.ID)
	view, err := d.Horizon(ctx, scope, p.ID, now, 26)
	if err != nil {
		return err
	}
	act := plantdb.Act{PersonID: planner.PersonID, Origin: plantdb.Demo, Action: "order splices remade", Now: now, Plants: []int64{p.ID}}
	err = db.Change(ctx, act, func(c *plantdb.Change) error { return orderAhead(c, view, planner, now) })
	if err != nil {
		return err
	}
	if view, err = d.Horizon(ctx, scope, p.ID, now, 26); err != nil {
		return err
	}
	found, err := plan.Solve(ctx, view.Sheet.Case, plan.Settings{Seed: 7, Steps: demoPlanSteps, Workers: 1, Plain: true})
	if err != nil || found.Status == plan.Infeasible {
		return err
	}
	return publishDemo(ctx, db, view, found, planner, now)
}

func demoPlanner(ctx context.Context, db *plantdb.DB) (workorder.Actor, error) {
	return demoActor(ctx, db, assets.RolePlanner)
}

// demoActor is the first of the demonstration's people in a role.
func demoActor(ctx context.Context, db *plantdb.DB, role assets.Role) (workorder.Actor, error) {
	people, err := registry.People(ctx, db, assets.JobScope(), true)
	if err != nil {
		return workorder.Actor{}, err
	}
	i := slices.IndexFunc(people, func(p assets.Person) bool { return p.Role == role })
	if i < 0 {
		return workorder.Actor{}, fmt.Errorf("the demonstration has no %s", role)
	}
	return workorder.Actor{PersonID: people[i].ID, Roles: []assets.Role{role}}, nil
}

// orderAhead raises and accepts orders for the splices that come due first, where a stop lies before half of such splices have
// come due.
func orderAhead(c *plantdb.Change, view *web.HorizonView, by workorder.Actor, now time.Time) error {
	f := &view.Facts.Plants[0]
	ahead := slices.Clone(f.Forecasts)
	slices.SortStableFunc(ahead, func(a, b due.Forecast) int { return a.Band.At50.Compare(b.Band.At50) })
	raised, taken := 0, map[int64]bool{}
	for _, fc := range ahead {
		s, _ := f.Register.Splice(fc.SpliceID)
		ordered := slices.ContainsFunc(f.Orders, func(o workorder.Order) bool { return o.SpliceID == s.ID })
		conveyor, _ := f.Register.Conveyor(s.ConveyorID)
		if raised == demoOrders || fc.Band.At50.IsZero() || ordered || taken[s.ConveyorID] || !stopBefore(f, conveyor, now, fc.Band.At50) {
			continue
		}
		zone := f.Register.Plant.Location()
		o := workorder.Order{PlantID: f.Register.Plant.ID, Kind: workorder.KindResplice, ConveyorID: s.ConveyorID, BeltID: s.BeltID, SpliceID: s.ID, Title: "remake splice " + s.Number,
			Reason: "half of such splices have come due by " + fc.Band.At50.In(zone).Format("2 Jan 2006"), LatestDay: assets.DayOf(fc.Band.At50.In(zone)), WorkHours: 8, Crew: 2}
		next, _, err := workorder.Raise(o, by, now, now, assets.DayOf(now.In(zone)))
		if err != nil {
			return err
		}
		if err := orders.RaiseByHand(c, &next); err != nil {
			return err
		}
		if _, err := take(c, next, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Accept(o, by, now, now)
		}); err != nil {
			return err
		}
		raised++
		taken[s.ConveyorID] = true
	}
	return nil
}

// stopBefore tells whether an agreed stop that is long enough, for all that is isolated with the conveyor, lies between now and a
// date.
func stopBefore(f *horizon.PlantFacts, c assets.Conveyor, now, by time.Time) bool {
	return slices.ContainsFunc(f.Stops, func(w assets.StopWindow) bool {
		for _, g := range f.Groups {
			if slices.Contains(g.ConveyorIDs, c.ID) && slices.ContainsFunc(g.ConveyorIDs, func(id int64) bool { other, _ := f.Register.Conveyor(id); return !w.Stops(other) }) {
				return false
			}
		}
		start := w.Start.Time()
		return w.Agreed() && w.Stops(c) && start.After(now.AddDate(0, 0, 5)) && w.End.Time().Before(by) && w.End.Time().Sub(start) >= 9*time.Hour
	})
}

// publishDemo publishes the new placings of a plan; what stood before stays as it was.
func publishDemo(ctx context.Context, db *plantdb.DB, view *web.HorizonView, found *plan.Plan, by workorder.Actor, now time.Time) error {
	at := view.Sheet.Placements(found)
	plant := view.Facts.Plants[0].Register.Plant
	row := assets.PublishedPlan{PlantID: plant.ID, Base: view.Base, Cost: int64(found.Cost), Bound: int64(found.Bound), Seed: 7, Steps: int64(found.Steps), CaseDigest: view.Sheet.Digest()}
	var steps []planned.Step
	for _, o := range view.Facts.Plants[0].Orders {
		to, placed := at[o.ID]
		if !placed || o.State != workorder.Accepted {
			continue
		}
		work := workorder.Placement{WindowDay: assets.DayOf(to.Start.Add(view.Sheet.Work(o.ID)).In(plant.Location())), Start: assets.InstantOf(to.Start), Crew: to.Crew, Tools: to.Kit}
		for _, m := range to.Crew {
			work.People = append(work.People, m.PersonID)
		}
		steps = append(steps, planned.Step{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: to.StopID, Do: func(o workorder.Order, stop int64) (workorder.Order, workorder.Event, error) {
			next := work
			next.WindowID = stop
			return workorder.Place(o, by, now, now, next)
		}})
		row.Changes = append(row.Changes, assets.PlanChange{OrderID: o.ID, ToStop: to.StopID})
	}
	if len(steps) == 0 {
		return nil
	}
	act := plantdb.Act{PersonID: by.PersonID, Origin: plantdb.Demo, Action: "publish a plan", Now: now, Plants: []int64{plant.ID}, Company: true}
	return db.Change(ctx, act, func(c *plantdb.Change) error { return planned.Publish(c, &row, steps) })
}
