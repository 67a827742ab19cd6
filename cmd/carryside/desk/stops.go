package desk

import (
	"context"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/reports"
	"carryside/schedule/window"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Stops returns a plant's stops that end after from, whatever the plant answered, with the names in the answers.
func (d *Desk) Stops(ctx context.Context, scope assets.Scope, plantID int64, from time.Time) (*web.StopList, error) {
	l := &web.StopList{Contacts: map[int64]string{}}
	var err error
	if l.Windows, err = stops.Windows(ctx, d.db, scope, plantID, assets.InstantOf(from), 0); err != nil {
		return nil, err
	}
	if l.Series, err = stops.Recurrences(ctx, d.db, scope, plantID); err != nil {
		return nil, err
	}
	contacts, err := registry.Contacts(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, w := range l.Windows {
		ids = append(ids, w.Answer.ByID)
	}
	for _, q := range l.Series {
		ids = append(ids, q.Answer.ByID)
	}
	for _, c := range contacts {
		ids = append(ids, c.PersonID)
	}
	if l.People, err = registry.Names(ctx, d.db, ids); err != nil {
		return nil, err
	}
	for _, c := range contacts {
		l.Contacts[c.ID] = strings.TrimSuffix(l.People[c.PersonID]+", "+c.Duty, ", ")
	}
	return l, nil
}

// StopOf returns one stop window.
func (d *Desk) StopOf(ctx context.Context, scope assets.Scope, id int64) (assets.StopWindow, error) {
	return stops.Window(ctx, d.db, scope, id)
}

// SaveStop adds a stop or changes it.
func (d *Desk) SaveStop(ctx context.Context, scope assets.Scope, a web.Act, w *assets.StopWindow) error {
	return d.write(ctx, scope, a, w.PlantID, func(c *plantdb.Change) error { return stops.Save(c, w) })
}

// WithdrawStop withdraws a stop.
func (d *Desk) WithdrawStop(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, why string) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return stops.Withdraw(c, id, rowID, why) })
}

// StopPast returns how a stop came to be as it is.
func (d *Desk) StopPast(ctx context.Context, scope assets.Scope, plantID, id int64, since time.Time) ([]web.StopPast, error) {
	past, err := stops.History(ctx, d.db, scope, plantID, id, assets.InstantOf(since), 20)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, c := range past {
		ids = append(ids, c.PersonID)
	}
	names, err := registry.Names(ctx, d.db, ids)
	out := make([]web.StopPast, len(past))
	for i, c := range past {
		out[i] = web.StopPast{At: c.At, By: names[c.PersonID], Action: c.Action, Reason: c.Reason, Before: c.Before, After: c.After}
	}
	return out, err
}

// SaveSeries adds a recurring stop or changes it.
func (d *Desk) SaveSeries(ctx context.Context, scope assets.Scope, a web.Act, q *assets.StopRecurrence) error {
	return d.write(ctx, scope, a, q.PlantID, func(c *plantdb.Change) error { return stops.SaveRecurrence(c, q) })
}

// WithdrawSeries withdraws a recurring stop.
func (d *Desk) WithdrawSeries(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, why string) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return stops.WithdrawRecurrence(c, id, rowID, why) })
}

// StopsHeld returns what a calendar file is compared with.
func (d *Desk) StopsHeld(ctx context.Context, scope assets.Scope, plantID int64) (window.Held, error) {
	return stops.Held(ctx, d.db, scope, plantID)
}

// TakeStopsIn does what a calendar file does.
func (d *Desk) TakeStopsIn(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, changes []window.Change) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return stops.TakeIn(c, changes) })
}

// IsolationGroups lists a plant's isolation groups.
func (d *Desk) IsolationGroups(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.IsolationGroup, error) {
	return stops.Groups(ctx, d.db, scope, plantID)
}

// SaveIsolationGroup adds an isolation group or changes it.
func (d *Desk) SaveIsolationGroup(ctx context.Context, scope assets.Scope, a web.Act, g *assets.IsolationGroup) error {
	return d.write(ctx, scope, a, g.PlantID, func(c *plantdb.Change) error { return stops.SaveGroup(c, g) })
}

// EndIsolationGroup lets an isolation group be no more.
func (d *Desk) EndIsolationGroup(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return stops.EndGroup(c, id, rowID) })
}

// WindowFacts returns what the work package of a stop is made of.
func (d *Desk) WindowFacts(ctx context.Context, scope assets.Scope, plantID, id int64, withStores bool, now time.Time) (reports.WindowFacts, error) {
	f := reports.WindowFacts{Built: now, WithStores: withStores}
	var err error
	if f.Window, err = stops.Window(ctx, d.db, scope, id); err != nil {
		return f, err
	}
	fleet, err := d.Fleet(ctx, scope, plantID, now)
	if err != nil {
		return f, err
	}
	f.Register = fleet.Register
	if f.Window.ID > 0 { // of an occurrence without a row nothing is placed
		if f.Orders, _, err = orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, WindowID: f.Window.ID, States: []workorder.State{workorder.Placed, workorder.Started, workorder.Done}}); err != nil {
			return f, err
		}
	}
	if f.Groups, err = stops.Groups(ctx, d.db, scope, plantID); err != nil {
		return f, err
	}
	list, err := d.CrewOf(ctx, scope, plantID, now)
	if err != nil {
		return f, err
	}
	f.Roster, f.Templates = list.Roster, list.Templates
	var people []int64
	for _, o := range f.Orders {
		people = append(people, o.PlacedPeople...)
	}
	if f.Names, err = registry.Names(ctx, d.db, people); err != nil || !withStores {
		return f, err
	}
	if f.Kit, err = stores.Kit(ctx, d.db, scope, plantdb.AsOf{}); err != nil {
		return f, err
	}
	if f.Items, err = stores.Items(ctx, d.db, scope, plantdb.AsOf{}); err != nil {
		return f, err
	}
	if f.Lots, err = stores.Lots(ctx, d.db, assets.PlantScope(plantID), plantdb.AsOf{}, false); err != nil {
		return f, err
	}
	var kit []int64
	for _, k := range f.Kit {
		kit = append(kit, k.ID)
	}
	if f.Checked, err = stores.Calibrations(ctx, d.db, plantdb.AsOf{}, kit); err != nil {
		return f, err
	}
	f.Aways, err = stores.Aways(ctx, d.db, plantdb.AsOf{}, kit, f.Window.Start, f.Window.End)
	return f, err
}
