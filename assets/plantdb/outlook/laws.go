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
// each night they are fitted anew for whom anything was written, of the others once a week.
const lawsFor = unchangedFor + time.Hour

const (
	// mostLaws bounds the customers whose laws are kept: some 25 kB each.
	mostLaws = 4000
	// mostLives bounds the lives kept beside them, of all customers: some 450 bytes each. Only the page that lists a cohort's
	// lives asks for them, so those fitted longest ago go first.
	mostLives = 50_000
)

// LawBook keeps the laws of customers: what the night fitted of a fleet stays for all of it. Its zero value is empty. It is
// safe for use by several at once.
type LawBook struct {
	mu    sync.Mutex // guards the rest
	of    map[int64]CustomerLaws
	lives int // kept in all
}

// CustomerLaws are the laws of a customer's cohorts. They are shared: nobody changes them.
type CustomerLaws struct {
	At    time.Time     // when they were fitted
	Lives []cohort.Life // what they rest on; nil where the book let them go, see WithLives
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
	b.keep(customerID, fitted)
	return fitted, nil
}

// WithLives returns a customer's laws with the lives they rest on, read again as of the fit where the book let them go.
func (b *LawBook) WithLives(ctx context.Context, db *plantdb.DB, customerID int64, now time.Time) (CustomerLaws, error) {
	l, err := b.Laws(ctx, db, customerID, now)
	if err != nil || l.Lives != nil {
		return l, err
	}
	again, err := CustomerLives(ctx, db, customerID, plantdb.AsOf{}, l.At)
	l.Lives = again.Lives
	return l, err
}

// keep keeps a customer's laws. Where there are too many, those fitted longest ago go; where there are too many lives,
// theirs.
func (b *LawBook) keep(customerID int64, fitted CustomerLaws) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.of == nil {
		b.of = map[int64]CustomerLaws{}
	}
	if _, there := b.of[customerID]; !there && len(b.of) >= mostLaws {
		if oldest := b.oldest(func(CustomerLaws) bool { return true }); oldest != 0 {
			b.lives -= len(b.of[oldest].Lives)
			delete(b.of, oldest)
		}
	}
	b.lives += len(fitted.Lives) - len(b.of[customerID].Lives)
	b.of[customerID] = fitted
	for b.lives > mostLives {
		id := b.oldest(func(l CustomerLaws) bool { return len(l.Lives) > 0 })
		l := b.of[id]
		b.lives -= len(l.Lives)
		l.Lives = nil
		b.of[id] = l
	}
}

// oldest is the customer whose laws were fitted longest ago, of those asked for; of several the first. 0: there is none.
func (b *LawBook) oldest(among func(CustomerLaws) bool) (oldest int64) {
	for id, l := range b.of {
		if !among(l) {
			continue
		}
		if first := b.of[oldest]; oldest == 0 || l.At.Before(first.At) || l.At.Equal(first.At) && id < oldest {
			oldest = id
		}
	}
	return oldest
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
		lives, err := Lives(ctx, db, assets.JobScope(), p.ID, asOf, assets.InstantOf(now))
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

// asks tells whether any rule of the plant is such.
func (p *Plant) asks(such func(rules.Rule) bool) bool {
	return slices.ContainsFunc(p.Inputs.Rules, such) || slices.ContainsFunc(p.Before, such)
}

// Foresee adds what rules about life, life used and trends may ask for: the laws of the plant's customer applied to its
// splices, its stops, and where what was measured meets its limit; and lets reorder points count the failures they foresee.
func (p *Plant) Foresee(ctx context.Context, db *plantdb.DB, book *LawBook, now time.Time) error {
	if err := p.foreseeLives(ctx, db, book, now); err != nil {
		return err
	}
	return p.foreseeTrends(ctx, db, now)
}

// ForeseeAsked adds of that what the rules of the plant do ask for.
func (p *Plant) ForeseeAsked(ctx context.Context, db *plantdb.DB, book *LawBook, now time.Time) error {
	if p.asks(func(r rules.Rule) bool {
		return r.Trigger.Kind == rules.TriggerLife || r.Trigger.Kind == rules.TriggerStock || r.Scope.UsedFrom > 0
	}) {
		if err := p.foreseeLives(ctx, db, book, now); err != nil {
			return err
		}
	}
	if p.asks(func(r rules.Rule) bool { return r.Trigger.Kind == rules.TriggerTrend }) {
		return p.foreseeTrends(ctx, db, now)
	}
	return nil
}

func (p *Plant) foreseeTrends(ctx context.Context, db *plantdb.DB, now time.Time) error {
	reg := p.Register
	kinds, err := registry.SpliceKinds(ctx, db, plantdb.AsOf{})
	if err != nil {
		return err
	}
	found, err := ReadLifeFindings(ctx, db, assets.PlantScope(reg.Plant.ID), reg.Plant.ID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	trends := append(due.Trends(now, reg, kinds, found.Measured), due.BeltTrends(now, reg, found.Measured)...)
	p.Inputs.Trends = due.RuleTrends(trends, reg.Plant.UnitSystem)
	return nil
}

func (p *Plant) foreseeLives(ctx context.Context, db *plantdb.DB, book *LawBook, now time.Time) error {
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
	if !p.asks(func(r rules.Rule) bool { return r.Trigger.Kind == rules.TriggerStock }) {
		return nil
	}
	l := loader{db: db, scope: assets.PlantScope(reg.Plant.ID), plant: reg.Plant.ID, now: now, p: p}
	return l.stock(ctx, FailuresOf(due.Forecasts(now, reg, nil, p.Clocks, due.LifeModel{Laws: laws.Laws}), now))
}
