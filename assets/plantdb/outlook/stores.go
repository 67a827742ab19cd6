package outlook

import (
	"context"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/due"
	"carryside/schedule/kit"
	"carryside/schedule/rules"
	"carryside/schedule/stock"
)

// stores reads what rules about kit rest on; nothing where the plant has no such rule. Stock waits for the failures that life
// figures foresee, see Foresee.
func (l loader) stores(ctx context.Context) error {
	if l.p.asks(func(r rules.Rule) bool { return r.Trigger.Kind == rules.TriggerKit }) {
		return l.kit(ctx)
	}
	return nil
}

// FailuresOf is what forecasts foresee of failures, for the storeroom.
func FailuresOf(forecasts []due.Forecast, now time.Time) stock.Foreseen {
	of := make(map[int64]*due.Forecast, len(forecasts))
	for i := range forecasts {
		of[forecasts[i].SpliceID] = &forecasts[i]
	}
	return func(spliceID int64, days int) (float64, bool) {
		f := of[spliceID]
		if f == nil {
			return 0, false
		}
		return f.FailsBy(now.AddDate(0, 0, days))
	}
}

// kit reads the counters and calibrations of kit at home at the plant, and of kit at home in a depot the counters that reached their limit by a job
// done here: no other plant's rules see those, so that a limit raises one order.
func (l loader) kit(ctx context.Context) error {
	all, err := stores.Kit(ctx, l.db, l.scope, plantdb.AsOf{})
	if err != nil {
		return err
	}
	names, ids, depot := map[int64]string{}, []int64{}, []int64{}
	for _, k := range all {
		switch k.HomePlantID {
		case l.plant:
			names[k.ID], ids = k.Name, append(ids, k.ID)
		case 0:
			names[k.ID], depot = k.Name, append(depot, k.ID)
		}
	}
	counters, err := stores.Counters(ctx, l.db, plantdb.AsOf{}, ids)
	if err != nil {
		return err
	}
	reached, err := l.reachedHere(ctx, depot)
	if err != nil {
		return err
	}
	moved, err := stores.MovedAt(ctx, l.db, slices.Concat(ids, depot))
	if err != nil {
		return err
	}
	in := &l.p.Inputs
	for _, c := range append(counters, reached...) {
		if c.EndedAt != 0 {
			continue
		}
		words := strings.TrimSuffix(names[c.KitID]+", "+c.Part, ", ") + ": " + string(c.Counts)
		in.Wear = append(in.Wear, rules.KitWear{CounterID: c.ID, Words: words, Unit: c.Counts.Unit(), Count: c.Count, Limit: c.Limit, Class: c.Class, FittedAt: c.FittedAt, MovedAt: moved[c.ID]})
	}
	calibrations, err := stores.Calibrations(ctx, l.db, plantdb.AsOf{}, ids)
	for _, id := range ids {
		of := slices.DeleteFunc(slices.Clone(calibrations), func(c assets.Calibration) bool { return c.KitID != id })
		if due := kit.CalibrationDue(of, ""); due.Day != "" {
			in.Calibrated = append(in.Calibrated, rules.KitDue{KitID: id, Words: names[id], Due: due.Day, Class: due.Last.Class})
		}
	}
	return err
}

// reachedHere are the counters of kit at home in a depot whose limit was reached by a job done at the plant.
func (l loader) reachedHere(ctx context.Context, kitIDs []int64) ([]kit.Counter, error) {
	counters, err := stores.Counters(ctx, l.db, plantdb.AsOf{}, kitIDs)
	if err != nil {
		return nil, err
	}
	reached, err := stores.ReachedAt(ctx, l.db, counters)
	return slices.DeleteFunc(counters, func(c kit.Counter) bool { return reached[c.ID].PlantID != l.plant }), err
}

// stock reads the items kept at the plant with their reorder points.
func (l loader) stock(ctx context.Context, foreseen stock.Foreseen) error {
	room, err := stores.Look(ctx, l.db, l.scope, l.p.Register, foreseen, l.now)
	if err != nil {
		return err
	}
	lines, err := stores.LastLines(ctx, l.db, l.plant)
	if err != nil {
		return err
	}
	unit := func(o stock.Outlook, q assets.Quantity) string { return o.Item.Unit.Of(q) }
	for _, o := range room.Outlooks {
		last := lines[o.Item.ID]
		l.p.Inputs.Stock = append(l.p.Inputs.Stock, rules.StockLevel{ItemID: o.Item.ID, Words: o.Item.Name, Have: unit(o, o.OnHand+o.Coming), Point: unit(o, o.Level.Point), Below: o.Below,
			Receipt: last.Receipt, MovedAt: last.At, Class: o.Keeping.Class})
	}
	return nil
}
