// Package desk joins the screens to the database. It decides nothing: each of its methods is a few statements of
// plantdb and a pure function.
package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule"
	"carryside/server/web"
)

// Desk joins the screens to the database. It keeps the standings of plants looked at until something of the
// plant changes or a few minutes have passed, so that a page costs its own plant's size once, not each time.
type Desk struct {
	*accounts.Door

	db        *plantdb.DB
	now       func() time.Time
	evaluator *schedule.Evaluator // asked before a rule is edited
	version   string              // of the program, for the cover of a report

	mu     sync.Mutex // guards fleets and doubts
	fleets map[int64]*keptFleet
	doubts map[int64]keptDoubts
	facts  facts

	laws   *outlook.LawBook
	proofs proofs
	sheets sheets
}

// keptFleet is a plant's register with its standings, and what they were computed from.
type keptFleet struct {
	position position
	at       time.Time
	used     time.Time
	fleet    *web.Fleet
	plant    *outlook.Standings
}

const (
	// keepFor is how long standings stand though nothing was entered: projected hours move with the clock.
	keepFor = 5 * time.Minute
	// mostFleets bounds the memory kept; the plant not looked at for longest goes.
	mostFleets = 24
)

// New returns a desk that has looked at nothing yet.
func New(db *plantdb.DB, now func() time.Time, e *schedule.Evaluator, version string) *Desk {
	return &Desk{Door: &accounts.Door{DB: db, Now: now}, db: db, now: now, evaluator: e, version: version, fleets: map[int64]*keptFleet{}, doubts: map[int64]keptDoubts{},
		facts: facts{plants: map[int64]*plantFacts{}}, laws: new(outlook.LawBook)}
}

// ShareLaws lets the desk look into a book of laws that others fit too. It is called before anybody looks at the desk.
func (d *Desk) ShareLaws(book *outlook.LawBook) { d.laws = book }

// Sources is the desk as the screens ask for it.
func (d *Desk) Sources() web.Sources {
	n := naming{d}
	return web.Sources{Plants: d, Fleets: d, Orders: n, Days: n, Finds: n, Registers: d, Meters: d, RuleBook: d,
		Owners: d, StopBook: d, CrewBook: d, WeekBook: n, StoreBook: d, Reporting: d, Auditing: d, Catalogues: d, Calendars: d, Importing: d, Attachments: d, Lives: d, Horizons: d, Pressing: d, Worksheets: d, RoundBook: d, Standing: d}
}

// kept returns a plant's state and standings at now, from memory where nothing has changed.
func (d *Desk) kept(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*keptFleet, error) {
	k, err := d.look(ctx, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	k.used = now
	d.fleets[plantID] = k
	d.makeRoom()
	d.mu.Unlock()
	return k, nil
}

// look is kept for a plant that is looked at once: it takes no other's room.
func (d *Desk) look(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*keptFleet, error) {
	at, err := d.position(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	k := d.fleets[plantID]
	d.mu.Unlock()
	if k != nil && k.position == at && !now.Before(k.at) && now.Sub(k.at) < keepFor {
		return k, nil
	}
	p, err := outlook.Stand(ctx, d.db, assets.PlantScope(plantID), plantID, plantdb.AsOf{}, assets.InstantOf(now))
	if err != nil {
		return nil, err
	}
	k = &keptFleet{position: at, at: now, used: now, plant: p, fleet: &web.Fleet{Register: p.Register}}
	return k, d.foresee(ctx, assets.PlantScope(plantID), k, now)
}

// makeRoom forgets the plant not looked at for longest. The caller holds the lock.
func (d *Desk) makeRoom() {
	for len(d.fleets) > mostFleets {
		oldest, first := int64(0), true
		for id, k := range d.fleets {
			if first || k.used.Before(d.fleets[oldest].used) {
				oldest, first = id, false
			}
		}
		delete(d.fleets, oldest)
	}
}

// Fleet returns a plant's register and standings.
func (d *Desk) Fleet(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.Fleet, error) {
	k, err := d.kept(ctx, scope, plantID, now)
	if err != nil {
		return nil, err
	}
	return k.fleet, nil
}

// Retired returns the conveyors of a plant that are out of use.
func (d *Desk) Retired(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Conveyor, error) {
	return registry.RetiredConveyors(ctx, d.db, scope, plantID)
}

// Past returns everything there has been on a conveyor.
func (d *Desk) Past(ctx context.Context, scope assets.Scope, plantID, conveyorID int64) (*web.Past, error) {
	now := plantdb.AsOf{}
	c, err := registry.Conveyor(ctx, d.db, scope, conveyorID, now)
	if err != nil {
		return nil, err
	}
	if c.PlantID != plantID {
		return nil, fmt.Errorf("conveyor %d: %w", conveyorID, assets.ErrNotFound)
	}
	var p web.Past
	if p.Belts, err = registry.BeltHistory(ctx, d.db, scope, conveyorID, now); err != nil {
		return nil, err
	}
	of := registry.Target{ConveyorID: conveyorID}
	if p.Splices, err = registry.SpliceHistory(ctx, d.db, scope, of, now); err != nil {
		return nil, err
	}
	slices.SortStableFunc(p.Belts, func(a, b assets.Belt) int { return int(min(max(a.Fitted.At-b.Fitted.At, -1), 1)) })
	slices.SortStableFunc(p.Splices, func(a, b assets.Splice) int { return int(min(max(a.Made.At-b.Made.At, -1), 1)) })
	if p.Meters, err = clocks.Meters(ctx, d.db, scope, conveyorID, now); err != nil {
		return nil, err
	}
	if p.Findings, err = registry.FindingsOf(ctx, d.db, scope, of, now, 500); err != nil {
		return nil, err
	}
	var ids []int64
	for _, f := range p.Findings {
		ids = append(ids, f.FoundByID, f.RefusedBy)
	}
	p.People, err = registry.Names(ctx, d.db, ids)
	return &p, err
}

// PlantFrame returns a plant with its counts.
func (d *Desk) PlantFrame(ctx context.Context, scope assets.Scope, plantID int64) (web.PlantFrame, error) {
	f, err := fact(ctx, d, scope, plantID, "frame", func() (f web.PlantFrame, err error) {
		if f.Plant, err = registry.Plant(ctx, d.db, scope, plantID); err != nil {
			return f, err
		}
		sizes, err := registry.Sizes(ctx, d.db, scope, plantID)
		if err != nil {
			return f, err
		}
		for _, s := range sizes {
			f.Conveyors, f.Splices = s.Conveyors, s.Splices
		}
		if f.HoursReadTo, err = clocks.ReadThrough(ctx, d.db, scope, plantID); err != nil {
			return f, err
		}
		f.Records, err = d.db.HeadPosition(ctx, plantID)
		return f, err
	})
	if all, customers, _ := scope.Reaches(); !all && !slices.Contains(customers, f.Plant.CustomerID) {
		f.Records = 0 // it counts what the customer's other plants did, too
	}
	return f, err
}

// PlantList returns the plants of a scope by customer and name.
func (d *Desk) PlantList(ctx context.Context, scope assets.Scope) ([]web.PlantSummary, error) {
	plants, err := registry.Plants(ctx, d.db, scope)
	if err != nil {
		return nil, err
	}
	customers, err := registry.Customers(ctx, d.db, scope)
	if err != nil {
		return nil, err
	}
	sizes, err := registry.Sizes(ctx, d.db, scope, 0)
	if err != nil {
		return nil, err
	}
	name, size := map[int64]string{}, map[int64]registry.PlantSize{}
	for _, c := range customers {
		name[c.ID] = c.Name
	}
	for _, s := range sizes {
		size[s.PlantID] = s
	}
	overdue, err := orders.OverdueByPlant(ctx, d.db, scope, d.now())
	if err != nil {
		return nil, err
	}
	out := make([]web.PlantSummary, len(plants))
	for i, p := range plants {
		s := size[p.ID]
		out[i] = web.PlantSummary{Plant: p, Customer: name[p.CustomerID], Conveyors: s.Conveyors, Splices: s.Splices, Open: s.OpenOrders, Held: s.Held, Overdue: overdue[p.ID]}
		if len(plants) <= 50 { // a step down the index for each conveyor: not for four hundred plants at once
			if out[i].ReadTo, err = clocks.ReadThrough(ctx, d.db, scope, p.ID); err != nil {
				return nil, err
			}
		}
	}
	slices.SortStableFunc(out, func(a, b web.PlantSummary) int {
		return strings.Compare(a.Customer+"\x00"+a.Plant.NameKey, b.Customer+"\x00"+b.Plant.NameKey)
	})
	return out, nil
}

// Find searches a plant.
func (d *Desk) Find(ctx context.Context, scope assets.Scope, plantID int64, text string) ([]web.Hit, error) {
	hits, err := registry.Search(ctx, d.db, scope, plantID, text, 30)
	out := make([]web.Hit, len(hits))
	for i, h := range hits {
		out[i] = web.Hit{ConveyorID: h.ConveyorID, SpliceID: h.SpliceID, OrderID: h.OrderID, Order: h.OrderNumber}
		switch h.Kind {
		case registry.HitOrder:
			out[i].Word, out[i].Says = fmt.Sprintf("order %d", h.OrderNumber), h.Title
		case registry.HitSplice:
			out[i].Word, out[i].Says = h.Tag+" splice "+h.SpliceNumber, h.Name
		default:
			out[i].Word, out[i].Says = h.Tag, h.Name
		}
	}
	return out, err
}

// act turns a screen's act into the database's, for one plant.
func act(a web.Act, plantID int64) plantdb.Act {
	return plantdb.Act{PersonID: a.PersonID, Origin: plantdb.Screen, Action: a.Action, Reason: a.Reason, Now: a.Now, Plants: []int64{plantID}}
}
