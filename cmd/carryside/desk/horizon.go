package desk

import (
	"context"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/planned"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/server/web"
)

// sheets keeps the horizons of plants looked at until something of a plant changes or some minutes have passed.
type sheets struct {
	mu   sync.Mutex // guards kept
	kept map[sheetKey]keptSheet
}

type sheetKey struct {
	plant int64
	weeks int
}

type keptSheet struct {
	position position
	at       time.Time
	view     *web.HorizonView
}

// settleFor is how long a page may wait for what hands left open in stops with much in them.
const settleFor = 2 * time.Second

// mostSheets bounds the memory kept.
const mostSheets = 24

// Horizon lays a plant's orders against its stops.
func (d *Desk) Horizon(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, weeks int) (*web.HorizonView, error) {
	at, err := d.position(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	key := sheetKey{plantID, weeks}
	d.sheets.mu.Lock()
	k, ok := d.sheets.kept[key]
	d.sheets.mu.Unlock()
	if ok && k.position == at && !now.Before(k.at) && now.Sub(k.at) < keepFor {
		return k.view, nil
	}
	view, err := d.layHorizon(ctx, scope, []int64{plantID}, now, weeks, nil)
	if err != nil {
		return nil, err
	}
	view.Base = at.customer
	d.sheets.mu.Lock()
	defer d.sheets.mu.Unlock()
	if len(d.sheets.kept) >= mostSheets || d.sheets.kept == nil {
		d.sheets.kept = map[sheetKey]keptSheet{}
	}
	d.sheets.kept[key] = keptSheet{position: at, at: now, view: view}
	return view, nil
}

// Horizons lays the orders of several plants on one sheet, with the crews and the kit they share.
func (d *Desk) Horizons(ctx context.Context, scope assets.Scope, plants []int64, now time.Time, weeks int, tell func(read int)) (*web.HorizonView, error) {
	return d.layHorizon(ctx, scope, plants, now, weeks, tell)
}

// layHorizon lays the sheet. Of each plant only the forecasts of splices with open orders are kept, so that a sheet of four hundred
// plants holds their registers and little else; plants of one sheet among many take no room of those being looked at.
func (d *Desk) layHorizon(ctx context.Context, scope assets.Scope, plants []int64, now time.Time, weeks int, tell func(read int)) (*web.HorizonView, error) {
	var registers []*assets.Register
	var fleets []*web.Fleet
	for i, id := range plants {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		fl, err := d.fleetAmong(ctx, scope, id, len(plants), now)
		if err != nil {
			return nil, err
		}
		registers, fleets = append(registers, fl.Register), append(fleets, fl)
		if tell != nil {
			tell(i + 1)
		}
	}
	f, err := planned.Facts(ctx, d.db, scope, registers, now, now.AddDate(0, 0, 7*weeks))
	if err != nil {
		return nil, err
	}
	for i := range f.Plants {
		f.Plants[i].Forecasts, f.Plants[i].Standings = fleets[i].Forecasts, fleets[i].Standings
	}
	if err := d.hands(ctx, f, now); err != nil {
		return nil, err
	}
	in := f.Inputs()
	v := &web.HorizonView{Facts: f, Sheet: horizon.Lay(in), People: in.People, Kit: in.Kit, Money: in.Money}
	settling, done := context.WithTimeout(ctx, settleFor)
	defer done()
	v.At, v.Broken = v.Sheet.Settle(settling, v.Sheet.Standing())
	return v, nil
}

// fleetAmong is a plant's register and forecasts for a sheet of so many plants.
func (d *Desk) fleetAmong(ctx context.Context, scope assets.Scope, plantID int64, of int, now time.Time) (*web.Fleet, error) {
	if of <= mostFleets/2 {
		return d.Fleet(ctx, scope, plantID, now)
	}
	k, err := d.look(ctx, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	open, _, err := orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, Open: true})
	if err != nil {
		return nil, err
	}
	wanted := map[int64]bool{}
	for _, o := range open {
		wanted[o.SpliceID] = true
	}
	slim := &web.Fleet{Register: k.fleet.Register}
	for _, f := range k.fleet.Forecasts {
		if wanted[f.SpliceID] {
			slim.Forecasts = append(slim.Forecasts, f)
		}
	}
	for _, s := range k.fleet.Standings {
		if wanted[s.SpliceID] {
			slim.Standings = append(slim.Standings, s)
		}
	}
	return slim, nil
}

// hands names the people who may do a job, for plants that keep nobody as crew.
func (d *Desk) hands(ctx context.Context, f *horizon.Facts, now time.Time) error {
	if len(f.Members) > 0 {
		return nil
	}
	grants, err := registry.GrantsByPerson(ctx, d.db, assets.InstantOf(now))
	if err != nil {
		return err
	}
	all, err := registry.People(ctx, d.db, assets.JobScope(), true)
	if err != nil {
		return err
	}
	for _, p := range all {
		if slices.ContainsFunc(f.Plants, func(pf horizon.PlantFacts) bool {
			return people.MayAt(grants[p.ID], pf.Register.Plant.CustomerID, pf.Register.Plant.ID, people.DoJob)
		}) {
			f.Hands = append(f.Hands, p.ID)
			f.Names[p.ID] = p.Name
		}
	}
	return nil
}

// Draft returns what somebody has moved at a plant, or over many plants (0), and not published.
func (d *Desk) Draft(ctx context.Context, scope assets.Scope, personID, plantID int64) (assets.PlanDraft, error) {
	if err := d.reachPlan(ctx, scope, plantID); err != nil {
		return assets.PlanDraft{}, err
	}
	return planned.Draft(ctx, d.db, personID, plantID)
}

// SaveDraft keeps what somebody has moved.
func (d *Desk) SaveDraft(ctx context.Context, scope assets.Scope, draft *assets.PlanDraft) error {
	if err := d.reachPlan(ctx, scope, draft.PlantID); err != nil {
		return err
	}
	return planned.SaveDraft(ctx, d.db, draft)
}

// reachPlan lets a draft over many plants be its person's own: which of its plants may be seen is asked when it is read.
func (d *Desk) reachPlan(ctx context.Context, scope assets.Scope, plantID int64) error {
	if plantID == 0 {
		return nil
	}
	return d.db.Reach(ctx, scope, plantID)
}

// PublishPlan places the orders of a plan.
func (d *Desk) PublishPlan(ctx context.Context, scope assets.Scope, a web.Act, plan *assets.PublishedPlan, steps []web.PlanStep) error {
	list := make([]planned.Step, len(steps))
	for i, s := range steps {
		list[i] = planned.Step{OrderID: s.OrderID, EditVersion: s.EditVersion, ToStop: s.ToStop, Takes: s.Takes, Do: s.Do}
	}
	if err := d.db.Reach(ctx, scope, plan.PlantID); err != nil {
		return err
	}
	act := act(a, plan.PlantID)
	act.Company = true // crews and kit are shared: of two plants that publish at once the second sees what the first took
	return d.db.Change(ctx, act, func(c *plantdb.Change) error { return planned.Publish(c, plan, list) })
}

// PublishedPlans lists what was published for a plant, newest first.
func (d *Desk) PublishedPlans(ctx context.Context, scope assets.Scope, plantID int64, most int) ([]assets.PublishedPlan, error) {
	return planned.Plans(ctx, d.db, scope, plantID, most)
}

// LastChanges returns what was done last to some orders of a plant, and by whom.
func (d *Desk) LastChanges(ctx context.Context, scope assets.Scope, plantID int64, orderIDs []int64) ([]web.LastChange, error) {
	if len(orderIDs) == 0 {
		return nil, nil
	}
	list, _, err := orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, IDs: orderIDs})
	if err != nil {
		return nil, err
	}
	last, err := orders.LastEvents(ctx, d.db, scope, orderIDs)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, e := range last {
		ids = append(ids, e.PersonID)
	}
	names, err := registry.Names(ctx, d.db, ids)
	out := make([]web.LastChange, len(list))
	for i, o := range list {
		out[i] = web.LastChange{Order: o, Event: last[o.ID], By: names[last[o.ID].PersonID]}
	}
	return out, err
}
