package planned

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

// everybody reads what is shared between plants; what comes of it names nobody's work elsewhere.
var everybody = assets.JobScope()

// Facts reads what a plan of some plants is made of, all of it of one moment. The registers are given; what is foreseen of their
// splices is whoever asks to fill in. assets.ErrNotFound when a plant is not within the scope.
func Facts(ctx context.Context, db *plantdb.DB, scope assets.Scope, registers []*assets.Register, now, until time.Time) (*horizon.Facts, error) {
	f := &horizon.Facts{Now: now, From: now, Until: until}
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		for _, reg := range registers {
			if err := tx.Reach(ctx, scope, reg.Plant.ID); err != nil {
				return err
			}
			p, err := plantFacts(ctx, tx, reg, now, until)
			if err != nil {
				return err
			}
			f.Plants = append(f.Plants, p)
		}
		r := &reader{ctx: ctx, db: tx, f: f}
		return r.read()
	})
	if err != nil {
		return nil, fmt.Errorf("read what a plan is made of: %w", err)
	}
	return f, nil
}

func plantFacts(ctx context.Context, tx *plantdb.DB, reg *assets.Register, now, until time.Time) (p horizon.PlantFacts, err error) {
	id := reg.Plant.ID
	scope := assets.PlantScope(id)
	p.Register = reg
	if p.Stops, err = stops.Windows(ctx, tx, scope, id, assets.InstantOf(now), assets.InstantOf(until)); err != nil {
		return p, err
	}
	if p.Groups, err = stops.Groups(ctx, tx, scope, id); err != nil {
		return p, err
	}
	if p.Orders, _, err = orders.List(ctx, tx, scope, orders.Filter{PlantID: id, Open: true}); err != nil {
		return p, err
	}
	var waited []int64
	for _, o := range p.Orders {
		after, _ := o.WaitsFor()
		if after != 0 && !slices.ContainsFunc(p.Orders, func(x workorder.Order) bool { return x.ID == after }) {
			waited = append(waited, after)
		}
	}
	if len(waited) > 0 {
		p.Waited, _, err = orders.List(ctx, tx, scope, orders.Filter{PlantID: id, IDs: waited})
	}
	return p, err
}

// reader reads what plants share.
type reader struct {
	ctx context.Context
	db  *plantdb.DB
	f   *horizon.Facts
}

func (r *reader) read() (err error) {
	f, today := r.f, assets.DayOf(r.f.Now.UTC().AddDate(0, 0, -1))
	if f.Company, err = registry.Company(r.ctx, r.db, plantdb.AsOf{}); err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err // a plant that keeps its own belts has set up no company
	}
	if err = r.people(today); err != nil {
		return err
	}
	if f.Ways, err = crew.Travel(r.ctx, r.db, everybody); err != nil {
		return err
	}
	if f.Templates, err = crew.Templates(r.ctx, r.db, everybody); err != nil {
		return err
	}
	if err = r.kit(); err != nil {
		return err
	}
	if err = r.stock(); err != nil {
		return err
	}
	return r.elsewhere()
}

// ours tells whether something of a customer may be sent to the plants of the sheet: the service company's to all.
func (r *reader) ours(customer int64) bool {
	return customer == 0 || slices.ContainsFunc(r.f.Plants, func(p horizon.PlantFacts) bool { return p.Register.Plant.CustomerID == customer })
}

func (r *reader) people(today assets.Day) (err error) {
	f := r.f
	if f.Members, err = crew.Members(r.ctx, r.db, everybody); err != nil {
		return err
	}
	// A customer's own people are told of with their home plant only.
	f.Members = slices.DeleteFunc(f.Members, func(m assets.CrewMember) bool {
		return m.CustomerID != 0 && !slices.ContainsFunc(f.Plants, func(p horizon.PlantFacts) bool { return p.Register.Plant.ID == m.HomePlantID })
	})
	if f.Absences, err = crew.Absences(r.ctx, r.db, everybody, today); err != nil {
		return err
	}
	if f.Catalogue, err = crew.Qualifications(r.ctx, r.db, plantdb.AsOf{}); err != nil {
		return err
	}
	if f.Tickets, err = crew.Tickets(r.ctx, r.db, everybody); err != nil {
		return err
	}
	var ids []int64
	for _, m := range f.Members {
		ids = append(ids, m.PersonID)
	}
	f.Names, err = registry.Names(r.ctx, r.db, ids)
	return err
}

func (r *reader) kit() (err error) {
	f := r.f
	if f.Kit, err = stores.Kit(r.ctx, r.db, everybody, plantdb.AsOf{}); err != nil {
		return err
	}
	f.Kit = slices.DeleteFunc(f.Kit, func(k assets.Kit) bool { return !r.ours(k.CustomerID) })
	var ids []int64
	for _, k := range f.Kit {
		ids = append(ids, k.ID)
	}
	if f.Calibrations, err = stores.Calibrations(r.ctx, r.db, plantdb.AsOf{}, ids); err != nil {
		return err
	}
	f.Aways, err = stores.Aways(r.ctx, r.db, plantdb.AsOf{}, ids, assets.InstantOf(f.From), assets.InstantOf(f.Until))
	return err
}

func (r *reader) stock() (err error) {
	f := r.f
	if f.Items, err = stores.Items(r.ctx, r.db, everybody, plantdb.AsOf{}); err != nil {
		return err
	}
	f.Items = slices.DeleteFunc(f.Items, func(i assets.StockItem) bool { return !r.ours(i.CustomerID) })
	if len(f.Items) == 0 {
		return nil
	}
	if f.Lots, err = stores.Lots(r.ctx, r.db, everybody, plantdb.AsOf{}, false); err != nil {
		return err
	}
	f.Supply, err = stores.SupplyOrders(r.ctx, r.db, everybody, plantdb.AsOf{}, true)
	return err
}

// elsewhere reads when the crews and the kit of the sheet are at work at other plants.
func (r *reader) elsewhere() error {
	if len(r.f.Members) == 0 && len(r.f.Kit) == 0 {
		return nil
	}
	var mine []int64
	for _, p := range r.f.Plants {
		mine = append(mine, p.Register.Plant.ID)
	}
	return r.outside(mine)
}

// outside reads what is placed at plants other than some.
func (r *reader) outside(mine []int64) error {
	rows, err := plantdb.Rows[workorder.Order](r.db.SQL(r.ctx).Model(&workorder.Order{}).Scopes(plantdb.AsOf{}.Rows).
		Where("state IN ('placed', 'started') AND window_id > 0 AND plant_id NOT IN ?", mine))
	if err != nil || len(rows) == 0 {
		return err
	}
	windows, err := r.windows(rows)
	if err != nil {
		return err
	}
	for _, o := range rows {
		if w, ok := windows[o.WindowID]; ok && w.End > assets.InstantOf(r.f.From) {
			r.taken(o, w)
		}
	}
	return nil
}

func (r *reader) windows(rows []workorder.Order) (map[int64]assets.StopWindow, error) {
	of := map[int64]assets.StopWindow{}
	var ids []int64
	for _, o := range rows {
		ids = append(ids, o.WindowID)
	}
	slices.Sort(ids)
	for some := range slices.Chunk(slices.Compact(ids), 1000) {
		list, err := plantdb.Rows[assets.StopWindow](r.db.SQL(r.ctx).Scopes(plantdb.AsOf{}.Rows).Where("id IN ?", some))
		if err != nil {
			return nil, err
		}
		for _, w := range list {
			of[w.ID] = w
		}
	}
	return of, nil
}

// taken notes the stretch an order elsewhere holds its people and kit: its work where the start is said, else the whole stop.
func (r *reader) taken(o workorder.Order, w assets.StopWindow) {
	span := horizon.Span{From: w.Start.Time(), To: w.End.Time()}
	if o.PlacedStart != nil && o.WorkHours > 0 && o.State == workorder.Placed {
		span.From = o.PlacedStart.Time()
		span.To = span.From.Add(time.Duration(o.WorkHours * float64(time.Hour)))
	}
	for _, id := range o.PlacedPeople {
		r.f.Elsewhere = append(r.f.Elsewhere, horizon.Taken{PersonID: id, PlantID: o.PlantID, Span: span})
	}
	for _, id := range o.PlacedTools {
		r.f.Elsewhere = append(r.f.Elsewhere, horizon.Taken{KitID: id, PlantID: o.PlantID, Span: span})
	}
}
