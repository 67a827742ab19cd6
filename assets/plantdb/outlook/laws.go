package outlook

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// lawsFor is how long the laws of a customer stand though none of its splices changed: what runs on only grows older, and
// each night they are fitted anew for whom anything was written.
const lawsFor = 25 * time.Hour

// mostLaws bounds the customers whose laws are kept.
const mostLaws = 24

// LawBook keeps the laws of customers looked at. Its zero value is empty. It is safe for use by several at once.
type LawBook struct {
	mu sync.Mutex // guards of
	of map[int64]CustomerLaws
}

// CustomerLaws are the laws of a customer's cohorts with the lives they rest on. They are shared: nobody changes them.
type CustomerLaws struct {
	At    time.Time // when they were fitted
	Lives []cohort.Life
	Laws  []cohort.Law

	splices registry.SpliceMark
	plants  int64 // their mark: since when failures are on record stands with them
}

// Laws returns a customer's laws, from memory while none of its splices changed.
func (b *LawBook) Laws(ctx context.Context, db *plantdb.DB, customerID int64, now time.Time) (CustomerLaws, error) {
	mark, plants, err := lawMarks(ctx, db, customerID)
	if err != nil {
		return CustomerLaws{}, err
	}
	b.mu.Lock()
	kept, there := b.of[customerID]
	b.mu.Unlock()
	if there && kept.splices == mark && kept.plants == plants && !now.Before(kept.At) && now.Sub(kept.At) < lawsFor {
		return kept, nil
	}
	return b.Renew(ctx, db, customerID, now)
}

// Renew fits a customer's laws anew and keeps them.
func (b *LawBook) Renew(ctx context.Context, db *plantdb.DB, customerID int64, now time.Time) (CustomerLaws, error) {
	mark, plants, err := lawMarks(ctx, db, customerID) // before the fit: what is written meanwhile asks for another
	if err != nil {
		return CustomerLaws{}, err
	}
	fitted, err := StudyCustomer(ctx, db, customerID, plantdb.AsOf{}, now)
	if err != nil {
		return CustomerLaws{}, err
	}
	fitted.splices, fitted.plants = mark, plants
	b.mu.Lock()
	defer b.mu.Unlock()
	b.makeRoom(customerID)
	b.of[customerID] = fitted
	return fitted, nil
}

// makeRoom lets the laws fitted longest ago go where there are too many for another customer's.
func (b *LawBook) makeRoom(customerID int64) {
	if b.of == nil {
		b.of = map[int64]CustomerLaws{}
	}
	if _, there := b.of[customerID]; there || len(b.of) < mostLaws {
		return
	}
	oldest := int64(0)
	for id, l := range b.of {
		if oldest == 0 || l.At.Before(b.of[oldest].At) {
			oldest = id
		}
	}
	delete(b.of, oldest)
}

// lawMarks tell whether laws kept of a customer still rest on all that is written of its splices and plants.
func lawMarks(ctx context.Context, db *plantdb.DB, customerID int64) (splices registry.SpliceMark, plants int64, err error) {
	if splices, err = registry.SplicesMark(ctx, db, customerID); err != nil {
		return splices, 0, err
	}
	plants, err = registry.PlantsMark(ctx, db, customerID)
	return splices, plants, err
}

// StudyCustomer fits the laws of a customer's cohorts to the lives of all its plants as of an instant (asOf.Valid 0: now) and as known at
// its position.
func StudyCustomer(ctx context.Context, db *plantdb.DB, customerID int64, asOf plantdb.AsOf, now time.Time) (CustomerLaws, error) {
	l, err := CustomerLives(ctx, db, customerID, asOf, now)
	if err == nil {
		l.Laws, err = cohort.Study(cohort.Sort(l.Lives))
	}
	return l, err
}

// CustomerLives reads what StudyCustomer fits its laws to, and leaves the laws out.
func CustomerLives(ctx context.Context, db *plantdb.DB, customerID int64, asOf plantdb.AsOf, now time.Time) (l CustomerLaws, err error) {
	l.At = now
	plants, err := registry.PlantsOf(ctx, db, assets.JobScope(), customerID)
	if err != nil {
		return l, err
	}
	for _, p := range plants {
		lives, err := Lives(ctx, db, assets.JobScope(), p.ID, asOf, assets.InstantOf(now), "")
		if errors.Is(err, assets.ErrNotFound) {
			continue // the plant was not in the register yet
		}
		if err != nil {
			return l, err
		}
		l.Lives = append(l.Lives, lives...)
	}
	return l, nil
}

// AsksLife tells whether any rule of the plant rests on lives: one about life, or one about stock, whose reorder points count the failures
// that are foreseen.
func (p *Plant) AsksLife() bool { return p.asks(rules.TriggerLife) || p.asks(rules.TriggerStock) }

// asks tells whether any rule of the plant has a trigger.
func (p *Plant) asks(kind rules.TriggerKind) bool {
	has := func(r rules.Rule) bool { return r.Trigger.Kind == kind }
	return slices.ContainsFunc(p.Inputs.Rules, has) || slices.ContainsFunc(p.Before, has)
}

// Foresee adds what rules about life ask for: the laws of the plant's customer applied to its splices, and its stops; and lets reorder points
// count the failures they foresee.
func (p *Plant) Foresee(ctx context.Context, db *plantdb.DB, book *LawBook, now time.Time) error {
	reg := p.Register
	laws, err := book.Laws(ctx, db, reg.Plant.CustomerID, now)
	if err != nil {
		return err
	}
	kinds, err := registry.SpliceKinds(ctx, db, plantdb.AsOf{})
	if err != nil {
		return err
	}
	from := assets.InstantOf(now.AddDate(-1, 0, -7))
	if p.Inputs.Windows, err = stops.Agreed(ctx, db, assets.PlantScope(reg.Plant.ID), reg.Plant.ID, from, assets.InstantOf(now.AddDate(3, 0, 0))); err != nil {
		return err
	}
	p.Inputs.Lives = due.RuleLives(now, reg, p.Clocks, due.LifeModel{Laws: laws.Laws, Cost: due.CostIn(reg, kinds)})
	if !p.asks(rules.TriggerStock) {
		return nil
	}
	l := loader{db: db, scope: assets.PlantScope(reg.Plant.ID), plant: reg.Plant.ID, now: now, p: p}
	return l.stock(ctx, FailuresOf(due.Forecasts(now, reg, nil, p.Clocks, due.LifeModel{Laws: laws.Laws}), now))
}
