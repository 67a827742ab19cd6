package outlook

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
)

// Nightly refits the laws of all customers and forecasts the splices of their plants, night by night: of those of whom anything
// was written since it last did, and of the others once a week, since what runs on grows older. Its zero value has seen nothing.
type Nightly struct {
	// Book keeps the laws for those who forecast later; nil: they go to Keep alone.
	Book *LawBook
	// Keep takes the forecasts of a plant with what they rest on; it is called by two at once. nil: none are made.
	Keep func(laws CustomerLaws, plant *Standings, forecasts []due.Forecast)

	seen map[int64]seen
}

// seen is how far the journals reached when a customer was last looked at.
type seen struct {
	customer, company int64
	at                time.Time
}

// unchangedFor is how long forecasts stand of whom nothing is written.
const unchangedFor = 7 * 24 * time.Hour

// Night is what a night did.
type Night struct {
	Customers, Refitted, Plants, Splices int // customers there are, those looked at, and their plants and live splices
}

// Run does a night's work as of now, two customers at a time. A customer that fails is tried again the next night.
func (n *Nightly) Run(ctx context.Context, db *plantdb.DB, now time.Time) (Night, error) {
	customers, err := registry.Customers(ctx, db, assets.JobScope())
	if err != nil {
		return Night{}, err
	}
	marks, err := customerMarks(ctx, db)
	if err != nil {
		return Night{}, err
	}
	done := Night{Customers: len(customers)}
	var changed []int64
	for _, c := range customers {
		if !n.unchanged(c.ID, marks[c.ID], now) {
			changed = append(changed, c.ID)
		}
	}
	var mu sync.Mutex // guards done and n.seen
	err = twoAtATime(changed, func(id int64) error {
		one, err := n.customer(ctx, db, id, now)
		if err != nil {
			return fmt.Errorf("refit the laws of customer %d: %w", id, err)
		}
		mu.Lock()
		defer mu.Unlock()
		done.Refitted, done.Plants, done.Splices = done.Refitted+1, done.Plants+one.Plants, done.Splices+one.Splices
		if n.seen == nil {
			n.seen = map[int64]seen{}
		}
		m := marks[id]
		n.seen[id] = seen{m.Customer, m.Company, now}
		return nil
	})
	return done, err
}

// unchanged tells whether nothing was written since a customer was last looked at, not long ago.
func (n *Nightly) unchanged(id int64, m Mark, now time.Time) bool {
	s, looked := n.seen[id]
	return looked && s.customer == m.Customer && s.company == m.Company && !now.Before(s.at) && now.Sub(s.at) < unchangedFor
}

// customerMarks are the marks by customer.
func customerMarks(ctx context.Context, db *plantdb.DB) (map[int64]Mark, error) {
	company, err := db.CompanyPosition(ctx)
	if err != nil {
		return nil, err
	}
	var rows []struct{ ID, Head int64 }
	if err := db.SQL(ctx).Raw("SELECT customer_id AS id, head_position AS head FROM chains WHERE customer_id <> 0").Scan(&rows).Error; err != nil {
		return nil, fmt.Errorf("see whose journal has grown: %w", err)
	}
	marks := make(map[int64]Mark, len(rows))
	for _, r := range rows {
		marks[r.ID] = Mark{Customer: r.Head, Company: company}
	}
	return marks, nil
}

// customer refits one customer's laws and forecasts the splices of its plants.
func (n *Nightly) customer(ctx context.Context, db *plantdb.DB, id int64, now time.Time) (one Night, err error) {
	book := n.Book
	if book == nil {
		book = new(LawBook)
	}
	laws, err := book.Renew(ctx, db, id, now)
	if err != nil {
		return one, err
	}
	plants, err := registry.PlantsOf(ctx, db, assets.JobScope(), id)
	if err != nil {
		return one, err
	}
	if n.Keep == nil {
		one.Plants = len(plants)
		return one, nil
	}
	for _, p := range plants {
		plant, forecasts, err := foresee(ctx, db, p.ID, laws, now)
		if errors.Is(err, assets.ErrNotFound) {
			continue // the plant begins later
		}
		if err != nil {
			return one, err
		}
		one.Plants, one.Splices = one.Plants+1, one.Splices+len(forecasts)
		n.Keep(laws, plant, forecasts)
	}
	return one, nil
}

// foresee forecasts the splices of a plant by all that is known of them.
func foresee(ctx context.Context, db *plantdb.DB, plantID int64, laws CustomerLaws, now time.Time) (p *Standings, forecasts []due.Forecast, err error) {
	scope := assets.PlantScope(plantID)
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		if p, err = Stand(ctx, tx, scope, plantID, plantdb.AsOf{}, assets.InstantOf(now)); err != nil {
			return err
		}
		kinds, err := registry.SpliceKinds(ctx, tx, plantdb.AsOf{})
		if err != nil {
			return err
		}
		found, err := ReadLifeFindings(ctx, tx, scope, plantID, plantdb.AsOf{})
		if err != nil {
			return err
		}
		model := due.LifeModel{Laws: laws.Laws, Cost: due.CostIn(p.Register, kinds), Trends: due.CrossingsOf(due.Trends(now, p.Register, kinds, found.Measured)),
			Findings: due.Demands(now, p.Register, p.Rules, found.Demanding)}
		forecasts = due.Forecasts(now, p.Register, p.Rules, p.Clocks, model)
		return nil
	})
	return p, forecasts, err
}

// twoAtATime does something for each of many, two of them beside each other.
func twoAtATime(all []int64, do func(int64) error) error {
	next := make(chan int64)
	var work sync.WaitGroup
	errs := make([]error, 2)
	for i := range errs {
		work.Go(func() {
			for id := range next {
				errs[i] = errors.Join(errs[i], do(id))
			}
		})
	}
	for _, id := range all {
		next <- id
	}
	close(next)
	work.Wait()
	return errors.Join(errs...)
}
