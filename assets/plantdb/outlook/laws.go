package outlook

import (
	"context"
	"errors"
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

// lawsFor is how long the laws of a customer stand though none of its splices changed: what runs on only grows older.
const lawsFor = time.Hour

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
	mark, err := registry.SplicesMark(ctx, db, customerID)
	if err != nil {
		return CustomerLaws{}, err
	}
	plants, err := registry.PlantsMark(ctx, db, customerID)
	if err != nil {
		return CustomerLaws{}, err
	}
	b.mu.Lock()
	kept, there := b.of[customerID]
	b.mu.Unlock()
	if there && kept.splices == mark && kept.plants == plants && !now.Before(kept.At) && now.Sub(kept.At) < lawsFor {
		return kept, nil
	}
	if kept, err = StudyCustomer(ctx, db, customerID, plantdb.AsOf{}, now); err != nil {
		return CustomerLaws{}, err
	}
	kept.splices, kept.plants = mark, plants
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.of == nil || len(b.of) >= mostLaws {
		b.of = map[int64]CustomerLaws{}
	}
	b.of[customerID] = kept
	return kept, nil
}

// StudyCustomer fits the laws of a customer's cohorts to the lives of all its plants as of an instant (asOf.Valid 0: now) and as known at
// its position.
func StudyCustomer(ctx context.Context, db *plantdb.DB, customerID int64, asOf plantdb.AsOf, now time.Time) (l CustomerLaws, err error) {
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
	l.Laws, err = cohort.Study(cohort.Sort(l.Lives))
	return l, err
}

// AsksLife tells whether any rule of the plant looks at life.
func (p *Plant) AsksLife() bool {
	for _, r := range p.Inputs.Rules {
		if r.Trigger.Kind == rules.TriggerLife {
			return true
		}
	}
	for _, r := range p.Before {
		if r.Trigger.Kind == rules.TriggerLife {
			return true
		}
	}
	return false
}

// Foresee adds what rules about life ask for: the laws of the plant's customer applied to its splices, and its stops.
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
	return nil
}
