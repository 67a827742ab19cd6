package reporting

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/reports"
	"carryside/schedule/workorder"
)

var _ reports.PackageSource = Source{}

// PackagesAt reads the stops of a plant with the orders placed in them at an instant.
func (s Source) PackagesAt(ctx context.Context, plantID int64, at time.Time) (out []reports.WindowFacts, chains []reports.ChainRead, err error) {
	err = s.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		s.db = tx
		out, chains, err = s.packagesAt(ctx, plantID, assets.InstantOf(at))
		return err
	})
	return out, chains, err
}

func (s Source) packagesAt(ctx context.Context, plantID int64, at assets.Instant) ([]reports.WindowFacts, []reports.ChainRead, error) {
	if err := s.db.Reach(ctx, s.scope, plantID); err != nil {
		return nil, nil, err
	}
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, nil, err
	}
	asOf, err := s.asOf(ctx, customer, at)
	if err != nil {
		return nil, nil, err
	}
	here := assets.PlantScope(plantID)
	work, err := orders.ListAsOf(ctx, s.db, here, orders.Filter{PlantID: plantID, States: []workorder.State{workorder.Placed, workorder.Started, workorder.Done}}, asOf)
	if err != nil {
		return nil, nil, err
	}
	work = slices.DeleteFunc(work, func(o workorder.Order) bool { return o.WindowID == 0 })
	reg, err := registry.PlantAsOf(ctx, s.db, here, plantID, asOf)
	if err != nil {
		return nil, nil, err
	}
	chains, err := s.chains(ctx, reg, asOf)
	if err != nil || len(work) == 0 {
		return nil, chains, err
	}
	shared, err := s.packageFacts(ctx, reg, work, asOf)
	if err != nil {
		return nil, nil, err
	}
	out, err := s.packed(ctx, shared, work, asOf)
	return out, chains, err
}

// packed gives each stop with work its package's facts, by when it begins.
func (s Source) packed(ctx context.Context, shared reports.WindowFacts, work []workorder.Order, asOf plantdb.AsOf) ([]reports.WindowFacts, error) {
	of := map[int64][]workorder.Order{}
	var ids []int64
	for _, o := range work {
		if of[o.WindowID] == nil {
			ids = append(ids, o.WindowID)
		}
		of[o.WindowID] = append(of[o.WindowID], o)
	}
	var out []reports.WindowFacts
	for some := range slices.Chunk(ids, 500) {
		windows, err := plantdb.Rows[assets.StopWindow](s.db.SQL(ctx).Scopes(asOf.Rows).Where("plant_id = ? AND id IN ?", shared.Register.Plant.ID, some))
		if err != nil {
			return nil, err
		}
		for _, w := range windows {
			f := shared
			f.Window, f.Orders = w, of[w.ID]
			out = append(out, f)
		}
	}
	slices.SortFunc(out, func(a, b reports.WindowFacts) int {
		if a.Window.Start != b.Window.Start {
			return int(min(max(a.Window.Start-b.Window.Start, -1), 1))
		}
		return int(min(max(a.Window.ID-b.Window.ID, -1), 1))
	})
	return out, nil
}

// packageFacts reads what all packages of a plant share: its customer's as known in the customer's chain, the company's in the company's.
func (s Source) packageFacts(ctx context.Context, reg *assets.Register, work []workorder.Order, asOf plantdb.AsOf) (f reports.WindowFacts, err error) {
	f.Register = reg
	customer, company := reg.Customer.ID, asOf.OfCompany()
	if f.Groups, err = plantdb.Rows[assets.IsolationGroup](s.db.SQL(ctx).Scopes(asOf.Rows).Where("plant_id = ?", reg.Plant.ID).Order("name, id")); err != nil {
		return f, err
	}
	if f.Roster.Qualifications, err = crew.Qualifications(ctx, s.db, company); err != nil {
		return f, err
	}
	if f.Roster.Tickets, err = ofBoth[assets.PersonQualification](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Roster.Absences, err = ofBoth[assets.Absence](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Roster.Members, err = ofBoth[assets.CrewMember](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Templates, err = ofBoth[assets.WorkTemplate](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Kit, err = ofBoth[assets.Kit](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Items, err = stores.Items(ctx, s.db, assets.PlantScope(reg.Plant.ID), company); err != nil {
		return f, err
	}
	if f.Lots, err = stores.Lots(ctx, s.db, assets.PlantScope(reg.Plant.ID), asOf, false); err != nil {
		return f, err
	}
	if f.Checked, err = ofBoth[assets.Calibration](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	if f.Aways, err = ofBoth[assets.KitAway](ctx, s, customer, asOf); err != nil {
		return f, err
	}
	var people []int64
	for _, o := range work {
		people = append(people, o.PlacedPeople...)
	}
	f.Names, err = registry.Names(ctx, s.db, people)
	return f, err
}

// ofBoth reads rows of a customer and of the company, each as known in its own chain, by their numbers.
func ofBoth[T any](ctx context.Context, s Source, customer int64, asOf plantdb.AsOf) ([]T, error) {
	own, err := plantdb.Rows[T](s.db.SQL(ctx).Scopes(asOf.Rows).Where("customer_id = ? AND customer_id <> 0", customer).Order("id"))
	if err != nil {
		return nil, err
	}
	shared, err := plantdb.Rows[T](s.db.SQL(ctx).Scopes(asOf.OfCompany().Rows).Where("customer_id = 0").Order("id"))
	return append(own, shared...), err
}
