package reporting

import (
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/reports"
	"carryside/schedule/kit"
)

var _ reports.StoresSource = Source{}

// StoresAt reads the stores of a plant and the kit at home there at an instant.
func (s Source) StoresAt(ctx context.Context, plantID int64, at time.Time) (out reports.Stores, err error) {
	err = s.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		s.db = tx
		out, err = s.storesAt(ctx, plantID, assets.InstantOf(at))
		return err
	})
	return out, err
}

func (s Source) storesAt(ctx context.Context, plantID int64, at assets.Instant) (out reports.Stores, err error) {
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
	if out.Items, err = stores.Items(ctx, s.db, here, asOf.OfCompany()); err != nil {
		return out, err
	}
	if out.Lots, err = stores.Lots(ctx, s.db, here, asOf, false); err != nil {
		return out, err
	}
	if out.Supplies, err = stores.SupplyOrders(ctx, s.db, here, asOf, true); err != nil {
		return out, err
	}
	if err := s.kitAt(ctx, &out, plantID, asOf); err != nil {
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

// kitAt reads the kit at home at a plant: that of its customer as known in the customer's chain, the company's as known in
// the company's.
func (s Source) kitAt(ctx context.Context, out *reports.Stores, plantID int64, asOf plantdb.AsOf) error {
	for _, shared := range []bool{false, true} {
		known := asOf
		if shared {
			known = asOf.OfCompany()
		}
		all, err := stores.Kit(ctx, s.db, assets.PlantScope(plantID), known)
		if err != nil {
			return err
		}
		var ids []int64
		for _, k := range all {
			if k.HomePlantID == plantID && (k.CustomerID == 0) == shared {
				out.Kit, ids = append(out.Kit, k), append(ids, k.ID)
			}
		}
		counters, err := stores.Counters(ctx, s.db, known, ids)
		if err != nil {
			return err
		}
		out.Counters = append(out.Counters, slices.DeleteFunc(counters, func(c kit.Counter) bool { return c.EndedAt != 0 })...)
		calibrations, err := stores.Calibrations(ctx, s.db, known, ids)
		if err != nil {
			return err
		}
		out.Calibrations = append(out.Calibrations, calibrations...)
	}
	return nil
}
