package machine

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/api"
	"carryside/server/web"
)

// plantThen is a plant at one moment.
type plantThen struct {
	m       *Machine
	scope   assets.Scope
	plantID int64
	now     time.Time
	at      time.Time // zero: now
	source  reporting.Source
	asOf    plantdb.AsOf // zero: as it is and is known now
}

var _ api.PlantThen = plantThen{}

// PlantThen returns a plant as it was at an instant as known at another; zero instants are now.
func (m *Machine) PlantThen(ctx context.Context, scope assets.Scope, plantID int64, at, known, now time.Time) (api.PlantThen, error) {
	p := plantThen{m: m, scope: scope, plantID: plantID, now: now, at: at, source: reporting.NewSource(m.db, scope)}
	if at.IsZero() && known.IsZero() {
		return p, nil
	}
	if p.at.IsZero() {
		p.at = now
	}
	if !known.IsZero() {
		p.source = p.source.KnownAt(known)
	}
	var err error
	p.asOf, err = p.source.AsOf(ctx, plantID, p.at)
	return p, err
}

// past tells whether the plant is looked at as of a moment rather than as it is.
func (p plantThen) past() bool { return p.asOf != plantdb.AsOf{} }

// Fleet returns the plant's register and where its splices stand.
func (p plantThen) Fleet(ctx context.Context) (*web.Fleet, error) {
	if !p.past() {
		return p.m.Desk.Fleet(ctx, p.scope, p.plantID, p.now)
	}
	state, _, err := p.source.StandAt(ctx, p.plantID, p.at)
	if err != nil {
		return nil, err
	}
	return &web.Fleet{Register: state.Register, Standings: state.Standings}, nil
}

// Past returns the belts and splices there have been on a conveyor up to the moment.
func (p plantThen) Past(ctx context.Context, conveyorID int64) (*web.Past, error) {
	if !p.past() {
		return p.m.Desk.Past(ctx, p.scope, p.plantID, conveyorID)
	}
	if _, err := p.Conveyor(ctx, conveyorID); err != nil {
		return nil, err
	}
	past := &web.Past{}
	var err error
	if past.Belts, err = registry.BeltHistory(ctx, p.m.db, p.scope, conveyorID, p.asOf); err != nil {
		return nil, err
	}
	of := registry.Target{ConveyorID: conveyorID}
	if past.Splices, err = registry.SpliceHistory(ctx, p.m.db, p.scope, of, p.asOf); err != nil {
		return nil, err
	}
	if past.Findings, err = registry.FindingsOf(ctx, p.m.db, p.scope, of, p.asOf, 0); err != nil {
		return nil, err
	}
	past.Belts = slices.DeleteFunc(past.Belts, func(b assets.Belt) bool { return b.Fitted.At > p.asOf.Valid })
	past.Splices = slices.DeleteFunc(past.Splices, func(s assets.Splice) bool { return s.Made.At > p.asOf.Valid })
	past.Findings = slices.DeleteFunc(past.Findings, func(f assets.Finding) bool { return f.FoundAt > p.asOf.Valid })
	return past, nil
}

// here refuses what is another plant's, or had not begun by the moment.
func (p plantThen) here(plantID int64, began assets.Instant, err error) error {
	if err == nil && (plantID != p.plantID || p.asOf.Valid != 0 && began > p.asOf.Valid) {
		err = fmt.Errorf("plant %d: %w", p.plantID, assets.ErrNotFound)
	}
	return err
}

// Conveyor returns a conveyor of the plant, in use or not.
func (p plantThen) Conveyor(ctx context.Context, id int64) (assets.Conveyor, error) {
	c, err := registry.Conveyor(ctx, p.m.db, p.scope, id, p.asOf)
	return c, p.here(c.PlantID, 0, err)
}

// Retired returns the conveyors of the plant that are out of use.
func (p plantThen) Retired(ctx context.Context) ([]assets.Conveyor, error) {
	if !p.past() {
		return p.m.Desk.Retired(ctx, p.scope, p.plantID)
	}
	reg, err := registry.PlantHistoryAsOf(ctx, p.m.db, p.scope, p.plantID, p.asOf, p.asOf.Valid)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(reg.Conveyors, func(c assets.Conveyor) bool { return c.Status != assets.ConveyorRetired }), nil
}

// Belt returns a belt of the plant, on a conveyor or off.
func (p plantThen) Belt(ctx context.Context, id int64) (assets.Belt, error) {
	b, err := registry.Belt(ctx, p.m.db, p.scope, id, p.asOf)
	return b, p.here(b.PlantID, b.Fitted.At, err)
}

// Splice returns a splice of the plant, running or ended.
func (p plantThen) Splice(ctx context.Context, id int64) (assets.Splice, error) {
	s, err := registry.Splice(ctx, p.m.db, p.scope, id, p.asOf)
	return s, p.here(s.PlantID, s.Made.At, err)
}

// Finding returns a finding of the plant.
func (p plantThen) Finding(ctx context.Context, id int64) (assets.Finding, error) {
	f, err := registry.FindingAsOf(ctx, p.m.db, p.scope, id, p.asOf)
	return f, p.here(f.PlantID, f.FoundAt, err)
}

// FindingsSince returns what was found at the plant since an instant, newest first.
func (p plantThen) FindingsSince(ctx context.Context, since assets.Instant) ([]assets.Finding, error) {
	list, err := registry.FindingsOfPlant(ctx, p.m.db, p.scope, p.plantID, since, p.asOf, 0)
	return slices.DeleteFunc(list, func(f assets.Finding) bool { return p.asOf.Valid != 0 && f.FoundAt > p.asOf.Valid }), err
}

// Meters returns the newest accepted reading and the stretches of each conveyor's hour meter.
func (p plantThen) Meters(ctx context.Context, conveyors []assets.Conveyor) (last map[int64]assets.Reading, meters map[int64][]assets.Meter, err error) {
	if last, err = clocks.LastAsOf(ctx, p.m.db, p.scope, p.plantID, conveyors, p.asOf); err != nil {
		return nil, nil, err
	}
	meters, err = clocks.MetersOfPlant(ctx, p.m.db, p.scope, p.plantID, p.asOf)
	for id := range meters {
		meters[id] = p.begun(meters[id])
	}
	return last, meters, err
}

// MetersOf returns the stretches of a conveyor's hour meter.
func (p plantThen) MetersOf(ctx context.Context, conveyorID int64) ([]assets.Meter, error) {
	meters, err := clocks.Meters(ctx, p.m.db, p.scope, conveyorID, p.asOf)
	return p.begun(meters), err
}

func (p plantThen) begun(list []assets.Meter) []assets.Meter {
	return slices.DeleteFunc(list, func(m assets.Meter) bool { return p.asOf.Valid != 0 && m.FromAt > p.asOf.Valid })
}

// ReadingsBetween returns a conveyor's accepted readings of a stretch of time.
func (p plantThen) ReadingsBetween(ctx context.Context, conveyorID int64, from, to assets.Instant) ([]assets.Reading, error) {
	if p.asOf.Valid != 0 && (to == 0 || to > p.asOf.Valid) {
		to = p.asOf.Valid + 1
	}
	return clocks.Readings(ctx, p.m.db, p.scope, conveyorID, clocks.Span{From: from, To: to}, p.asOf)
}

// WaitingReadings returns the held readings that waited for a person.
func (p plantThen) WaitingReadings(ctx context.Context) ([]assets.HeldReading, error) {
	return clocks.HeldAsOf(ctx, p.m.db, p.scope, p.plantID, p.asOf)
}

// Orders returns orders of the plant.
func (p plantThen) Orders(ctx context.Context, f web.OrderFilter) ([]workorder.Order, error) {
	return orders.ListAsOf(ctx, p.m.db, p.scope, orders.Filter{PlantID: p.plantID, ConveyorID: f.ConveyorID, SpliceID: f.SpliceID, Kind: f.Kind, Open: f.Open, Closed: f.Closed,
		Since: assets.InstantOf(f.Since)}, p.asOf)
}

// Order returns an order with its history.
func (p plantThen) Order(ctx context.Context, number int64) (*web.OrderFile, error) {
	if !p.past() {
		return p.m.Desk.Order(ctx, p.scope, p.plantID, number)
	}
	list, err := orders.ListAsOf(ctx, p.m.db, p.scope, orders.Filter{PlantID: p.plantID, Text: fmt.Sprint(number)}, p.asOf)
	if err == nil && len(list) == 0 {
		err = fmt.Errorf("order %d: %w", number, assets.ErrNotFound)
	}
	if err != nil {
		return nil, err
	}
	f := &web.OrderFile{Order: list[0]}
	if f.Events, err = orders.EventsAsOf(ctx, p.m.db, p.scope, f.Order.ID, p.asOf); err != nil {
		return nil, err
	}
	ids := make([]int64, len(f.Events))
	for i, e := range f.Events {
		ids[i] = e.PersonID
	}
	f.People, err = registry.Names(ctx, p.m.db, ids)
	return f, err
}

// Reminders returns the reminders of the plant that had no order.
func (p plantThen) Reminders(ctx context.Context, today assets.Day) ([]rules.Occurrence, error) {
	if !p.past() {
		return p.m.Desk.Reminders(ctx, p.scope, p.plantID, today)
	}
	return orders.RemindersAsOf(ctx, p.m.db, p.scope, p.plantID, p.asOf)
}

// Stores returns the storeroom of the plant and the kit at home there.
func (p plantThen) Stores(ctx context.Context) (reports.Stores, error) {
	at := p.at
	if at.IsZero() {
		at = p.now
	}
	return p.source.StoresAt(ctx, p.plantID, at)
}

// FindingKinds returns the kinds of finding with what each grade meant.
func (p plantThen) FindingKinds(ctx context.Context) (assets.FindingKinds, error) {
	return registry.FindingKinds(ctx, p.m.db, p.asOf)
}

// Movements returns lines of the ledger of the plant's storeroom.
func (p plantThen) Movements(ctx context.Context, itemID int64, since assets.Instant) ([]assets.StockMovement, []assets.StockItem, error) {
	if err := p.m.db.Reach(ctx, p.scope, p.plantID); err != nil {
		return nil, nil, err
	}
	here, f := assets.PlantScope(p.plantID), stores.MovementFilter{ItemID: itemID, From: since}
	if p.asOf.Valid != 0 {
		f.To = p.asOf.Valid + 1
	}
	lines, err := stores.Movements(ctx, p.m.db, here, p.asOf, f)
	if err != nil {
		return nil, nil, err
	}
	items, err := stores.Items(ctx, p.m.db, here, plantdb.AsOf{}) // an item keeps its unit
	return lines, items, err
}

// Standstills returns how conveyors of the plant stood by failures.
func (p plantThen) Standstills(ctx context.Context, since assets.Instant) ([]assets.Standstill, error) {
	return stops.Standstills(ctx, p.m.db, p.scope, p.plantID, since, p.asOf)
}

// PlantsThen returns the plants of a scope with their counts, as they were at a moment. A plant that was not known then is left out.
func (m *Machine) PlantsThen(ctx context.Context, scope assets.Scope, moment func(assets.Plant) (at, known time.Time, err error), now time.Time) ([]web.PlantSummary, error) {
	all, err := m.PlantList(ctx, scope)
	if err != nil {
		return nil, err
	}
	var out []web.PlantSummary
	for _, p := range all {
		at, known, err := moment(p.Plant)
		if err != nil {
			return nil, err
		}
		then, err := m.summary(ctx, p, at, known, now)
		switch {
		case errors.Is(err, assets.ErrNotFound):
		case err != nil:
			return nil, err
		default:
			out = append(out, then)
		}
	}
	return out, nil
}

func (m *Machine) summary(ctx context.Context, p web.PlantSummary, at, known, now time.Time) (web.PlantSummary, error) {
	if at.IsZero() && known.IsZero() {
		return p, nil
	}
	view, err := m.PlantThen(ctx, assets.PlantScope(p.Plant.ID), p.Plant.ID, at, known, now)
	if err != nil {
		return p, err
	}
	then := view.(plantThen)
	reg, err := registry.PlantAsOf(ctx, m.db, then.scope, p.Plant.ID, then.asOf)
	if err != nil {
		return p, err
	}
	open, err := then.Orders(ctx, web.OrderFilter{Open: true})
	if err != nil {
		return p, err
	}
	held, err := then.WaitingReadings(ctx)
	if err != nil {
		return p, err
	}
	last, _, err := then.Meters(ctx, reg.Conveyors)
	out := web.PlantSummary{Plant: reg.Plant, Customer: reg.Customer.Name, Conveyors: len(reg.Conveyors), Splices: len(reg.Splices), Open: len(open), Held: len(held)}
	today := assets.DayOf(then.at.In(reg.Plant.Location()))
	for _, o := range open {
		if o.LatestDay != "" && o.LatestDay < today {
			out.Overdue++
		}
	}
	for _, r := range last {
		out.ReadTo = max(out.ReadTo, r.At)
	}
	return out, err
}
