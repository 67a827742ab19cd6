package intakedb

import (
	"context"
	"errors"
	"fmt"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// Apply writes everything an import brings in, in one transaction with one entry in the journal of each customer
// touched, or nothing. assets.ErrConflict when the register changed after it was judged.
func (r *Registry) Apply(ctx context.Context, ch *intake.Changes) error {
	act := plantdb.Act{PersonID: r.PersonID, Origin: plantdb.Import, Action: "bring in " + ch.File, Reason: r.By, Now: ch.Now}
	if r.Origin != "" {
		act.Origin = r.Origin
	}
	for _, p := range ch.Plants {
		if p.ID == 0 {
			act.Company = true // a created plant may need its customer, which the company's journal keeps
			continue
		}
		act.Plants = append(act.Plants, p.ID)
	}
	customer, err := r.customerOf(ctx, ch)
	if err != nil {
		return err
	}
	if customer != 0 {
		act.Customers = []int64{customer}
	}
	err = r.DB.Change(ctx, act, func(c *plantdb.Change) error { return r.write(c, ch, customer) })
	switch {
	case plantdb.IsDuplicate(err):
		return fmt.Errorf("the list makes two things of one name, tag or mark: %w", assets.ErrConflict)
	case errors.Is(err, assets.ErrConflict):
		return fmt.Errorf("the register was changed while the list was judged; import it again: %w", err)
	}
	return err
}

// customerOf returns the customer that created plants belong to; 0 where one is to be made.
func (r *Registry) customerOf(ctx context.Context, ch *intake.Changes) (int64, error) {
	creates := false
	for _, p := range ch.Plants {
		creates = creates || p.ID == 0
	}
	if !creates {
		return 0, nil
	}
	customers, err := registry.Customers(ctx, r.DB, r.Scope)
	if err != nil {
		return 0, err
	}
	for _, c := range customers {
		if ch.Customer != "" && c.NameKey == assets.NameKey(ch.Customer) || ch.Customer == "" && len(customers) == 1 {
			return c.ID, nil
		}
	}
	return 0, nil
}

func (r *Registry) write(c *plantdb.Change, ch *intake.Changes, customer int64) error {
	c.Compact(map[string]any{"file": ch.File, "sha256": ch.SHA256, "counts": ch.Counts, "refused": len(ch.Refused)})
	var first *plantWriter
	for _, p := range ch.Plants {
		w := &plantWriter{r: r, c: c, all: ch, change: p, people: map[string]int64{}}
		if err := w.write(&customer); err != nil {
			return fmt.Errorf("write %s: %w", p.Name, err)
		}
		if first == nil {
			first = w
		}
	}
	if first == nil {
		return nil
	}
	return keepImport(c, first.ch, ch, first.plant, len(ch.Plants) == 1)
}

// plantWriter writes the changes of one plant.
type plantWriter struct {
	r       *Registry
	c       *plantdb.Change
	ch      *plantdb.Chain
	all     *intake.Changes
	change  *intake.PlantChange
	plant   assets.Plant
	lines   map[string]int64 // by name key
	specs   map[string]int64 // by name key
	people  map[string]int64 // by name key
	meters  map[int64][]assets.Meter
	splices map[int64][]assets.Splice // by conveyor, for findings
}

// write works in the order in which things need each other's numbers; what changes comes before what is new, so
// that a belt or splice that ends makes room for the one that takes its place.
func (w *plantWriter) write(customer *int64) error {
	steps := []func() error{
		func() error { return w.findPlant(customer) },
		w.writeLines, w.readCatalogue, w.changeConveyors, w.createConveyors, w.changeBelts, w.changeSplices,
		w.createBelts, w.createSplices, w.readMeters, w.writeClocks, w.writeFindings,
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// findPlant reads the plant or makes it, with its customer where that is new.
func (w *plantWriter) findPlant(customer *int64) (err error) {
	if w.change.ID != 0 {
		if w.plant, err = plantdb.ReadRow[assets.Plant](w.c, w.change.ID); err == nil {
			w.ch, err = w.c.PlantChain(w.plant.ID)
		}
		return err
	}
	owner := *customer
	if owner == 0 {
		name := w.all.Customer
		if name == "" {
			name = w.change.Name
		}
		made := assets.Customer{Name: name}
		if err := registry.AddCustomer(w.c, &made); err != nil {
			return err
		}
		if owner = made.ID; w.all.Customer != "" {
			*customer = owner // the next created plant belongs to it as well
		}
	}
	return w.createPlant(owner)
}

// createPlant takes what the list does not say from the company, and lets Today ask until a person confirms.
func (w *plantWriter) createPlant(owner int64) (err error) {
	w.plant = assets.Plant{CustomerID: owner, Name: w.change.Name, NameKey: assets.NameKey(w.change.Name),
		Zone: w.r.hostZone(), UnitSystem: assets.UnitsSI, Currency: "EUR", SettingsAsked: true}
	company, err := registry.Company(w.c.Context(), w.c.DB, plantdb.AsOf{})
	switch {
	case err == nil:
		w.plant.Zone, w.plant.UnitSystem, w.plant.Currency = company.Zone, company.UnitSystem, company.Currency
	case !errors.Is(err, assets.ErrNotFound):
		return err
	}
	if w.all.Zone != "" {
		w.plant.Zone = w.all.Zone
	}
	if w.ch, err = w.c.Chain(owner); err != nil {
		return err
	}
	if err := plantdb.Create(w.c, w.ch, &w.plant); err != nil {
		return err
	}
	w.change.ID = w.plant.ID
	w.c.Made(w.plant.ID, owner)
	return nil
}

func (w *plantWriter) writeLines() error {
	held, err := registry.Lines(w.c.Context(), w.c.DB, assets.PlantScope(w.plant.ID), w.plant.ID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	last := 0
	w.lines = map[string]int64{}
	for _, l := range held {
		w.lines[l.NameKey] = l.ID
		last = max(last, l.Position)
	}
	made := make([]assets.Line, len(w.change.Lines))
	for i, name := range w.change.Lines {
		made[i] = assets.Line{PlantID: w.plant.ID, Name: name, NameKey: assets.NameKey(name), Position: last + 1 + i}
	}
	if err := plantdb.CreateMany(w.c, w.ch, made); err != nil {
		return err
	}
	for _, l := range made {
		w.lines[l.NameKey] = l.ID
	}
	return nil
}

func (w *plantWriter) readCatalogue() error {
	specs, err := registry.Specifications(w.c.Context(), w.c.DB, plantdb.AsOf{})
	w.specs = make(map[string]int64, len(specs))
	for _, s := range specs {
		w.specs[s.NameKey] = s.ID
	}
	return err
}

func (w *plantWriter) readMeters() (err error) {
	for _, c := range w.change.Conveyors {
		if len(c.Meters) > 0 {
			w.meters, err = metersOf(w.c, w.plant.ID)
			return err
		}
	}
	return nil
}

// person returns the number of somebody a list names.
func (w *plantWriter) person(name string) (id int64, err error) {
	key := assets.NameKey(name)
	id, ok := w.people[key]
	if ok || key == "" {
		return id, nil
	}
	if id, err = registry.PersonNamed(w.c, w.plant.CustomerID, name); err == nil {
		w.people[key] = id
	}
	return id, err
}
