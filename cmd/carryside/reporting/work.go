package reporting

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/reports"
	"carryside/schedule/keyfigures"
)

var _ reports.WorkSource = Source{}

// WorkAt reads the orders of a plant at an instant.
func (s Source) WorkAt(ctx context.Context, plantID int64, at time.Time) (out reports.Work, err error) {
	err = s.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		s.db = tx
		out, err = s.workAt(ctx, plantID, assets.InstantOf(at))
		return err
	})
	return out, err
}

func (s Source) workAt(ctx context.Context, plantID int64, at assets.Instant) (out reports.Work, err error) {
	if err := s.db.Reach(ctx, s.scope, plantID); err != nil {
		return out, err
	}
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return out, err
	}
	asOf, err := s.asOf(ctx, customer, at)
	if err != nil {
		return out, err
	}
	here := assets.PlantScope(plantID)
	work, err := orders.WorkAsOf(ctx, s.db, here, plantID, asOf)
	if err != nil {
		return out, err
	}
	out = reports.Work{Orders: work.Orders, Windows: work.Windows, Failures: work.Failures}
	all, err := plantdb.Rows[assets.Conveyor](s.db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(here, "plant_id")).Where("plant_id = ?", plantID).Order("tag_key, id"))
	if err != nil {
		return out, err
	}
	out.Conveyors = slices.DeleteFunc(all, func(c assets.Conveyor) bool { return c.Status == assets.ConveyorRetired })
	if out.Calendars, err = clocks.Calendars(ctx, s.db, here, plantID, asOf); err != nil {
		return out, err
	}
	if out.Standstills, err = stops.Standstills(ctx, s.db, here, plantID, 0, asOf); err != nil {
		return out, err
	}
	if err := s.intervals(ctx, plantID, asOf, &out); err != nil {
		return out, err
	}
	if out.Crew, err = s.crewAtHome(ctx, customer, plantID, asOf); err != nil {
		return out, err
	}
	owned, err := registry.OwnersAsOf(ctx, s.db, here, func(int64) (plantdb.AsOf, error) { return asOf, nil })
	if err != nil {
		return out, err
	}
	reg := &assets.Register{}
	if len(owned.Customers) > 0 {
		reg.Customer = owned.Customers[0]
	}
	out.Chains, err = s.chains(ctx, reg, asOf)
	return out, err
}

// intervals says of each order how long its rule leaves between two.
func (s Source) intervals(ctx context.Context, plantID int64, asOf plantdb.AsOf, w *reports.Work) error {
	all, err := orders.RulesOf(ctx, s.db, assets.PlantScope(plantID), plantID, asOf)
	if err != nil {
		return err
	}
	of := map[int64]time.Duration{}
	for _, r := range all {
		of[r.ID] = r.Trigger.Between()
	}
	w.Intervals = map[int64]time.Duration{}
	for _, o := range w.Orders {
		if between := of[o.RuleID]; between > 0 {
			w.Intervals[o.ID] = between
		}
	}
	return nil
}

// crewAtHome adds up the working weeks of the people at home at a plant. Whoever has none works at any time, and is in no sum.
func (s Source) crewAtHome(ctx context.Context, customer, plantID int64, asOf plantdb.AsOf) (keyfigures.Crew, error) {
	members, err := ofBoth[assets.CrewMember](ctx, s, customer, asOf)
	if err != nil {
		return keyfigures.Crew{}, err
	}
	people, hours := 0.0, 0.0
	for _, m := range members {
		if m.HomePlantID == plantID && len(m.WorkingWeek) > 0 {
			people++
			for _, shift := range m.WorkingWeek {
				hours += shift.Hours()
			}
		}
	}
	if people == 0 {
		return keyfigures.Crew{}, nil
	}
	return keyfigures.Crew{People: people, HoursPerWeek: hours / people, AvailableShare: 1}, nil
}
