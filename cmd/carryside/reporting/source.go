// Package reporting joins the reports to the database, for the command line and for the screens: what they are built
// from, and how they are issued, proved and built again.
//
//	err := db.InSnapshot(ctx, func(tx *plantdb.DB) error {
//		report, err := entry.Build(ctx, reports.Inputs{Source: reporting.NewSource(tx, scope), Built: now}, asOf)
//		...
//	})
package reporting

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/reports"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
)

// CompanyZone returns the zone in which a moment over several plants is told.
func CompanyZone(ctx context.Context, db *plantdb.DB) (*time.Location, error) {
	company, err := registry.Company(ctx, db, plantdb.AsOf{})
	if errors.Is(err, assets.ErrNotFound) {
		return time.UTC, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the company: %w", err)
	}
	return assets.Plant{Zone: company.Zone}.Location(), nil
}

// Source reads what reports ask for from a database, within a scope. All of a report is of one moment when the database is
// a snapshot of it.
type Source struct {
	db      *plantdb.DB
	scope   assets.Scope
	knownAt assets.Instant  // 0: as known now
	places  map[int64]int64 // by chain, how far it is read; nil: as far as knownAt says
	nowAt   map[int64]int64 // by chain, how far now reaches; nil: to its end

	laws *lawsRead
}

// lawsRead keeps the lives of the customer read last: a report goes through its plants one after the other.
type lawsRead struct {
	customer int64
	asOf     plantdb.AsOf
	laws     func() ([]cohort.Law, error) // fits them when they are first asked for
}

var _ reports.Source = Source{}

// NewSource returns what a report of everything in the scope is built from.
func NewSource(db *plantdb.DB, scope assets.Scope) Source {
	return Source{db: db, scope: scope, laws: &lawsRead{}}
}

// KnownAt returns the same source as known at an instant: what was entered later is left out.
func (s Source) KnownAt(at time.Time) Source {
	s.knownAt = assets.InstantOf(at)
	return s
}

// At returns the same source as known at places of the chains. A chain that is not among them had no entry yet.
func (s Source) At(chains []reports.ChainRead) Source {
	s.places = map[int64]int64{}
	for _, c := range chains {
		s.places[c.Chain] = c.Entry
	}
	return s
}

// position returns how far the chain of a customer is read, 0 for the company's: as AsOf wants it.
func (s Source) position(ctx context.Context, customerID int64) (int64, error) {
	switch {
	case s.places != nil:
		k, err := s.db.Checkpoint(ctx, customerID, 0)
		if entry := s.places[k.ChainID]; entry > 0 {
			return entry, err
		}
		return -1, err
	case s.knownAt != 0:
		return s.db.PositionAt(ctx, customerID, s.knownAt)
	}
	return 0, nil
}

// asOf is what is read of a customer at an instant, 0: now.
func (s Source) asOf(ctx context.Context, customerID int64, valid assets.Instant) (a plantdb.AsOf, err error) {
	a.Valid = valid
	if a.Known, err = s.position(ctx, customerID); err != nil || customerID == 0 {
		return a, err
	}
	a.CompanyKnown, err = s.position(ctx, 0)
	return a, err
}

// Plants lists the plants of the scope in the order of customer and plant.
func (s Source) Plants(ctx context.Context) ([]reports.PlantName, error) {
	places := map[int64]plantdb.AsOf{} // a customer has several plants
	owned, err := registry.OwnersAsOf(ctx, s.db, s.scope, func(customerID int64) (plantdb.AsOf, error) {
		if known, ok := places[customerID]; ok {
			return known, nil
		}
		known, err := s.asOf(ctx, customerID, 0)
		places[customerID] = known
		return known, err
	})
	if err != nil {
		return nil, err
	}
	return reports.PlantNames(owned.Customers, owned.Plants), nil
}

// PlantAt reads one plant as of an instant, with its forecasts.
func (s Source) PlantAt(ctx context.Context, plantID int64, at time.Time) (p reports.Plant, err error) {
	err = s.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		s.db = tx
		p, err = s.plantAt(ctx, plantID, assets.InstantOf(at))
		return err
	})
	return p, err
}

func (s Source) plantAt(ctx context.Context, plantID int64, at assets.Instant) (reports.Plant, error) {
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return reports.Plant{}, err
	}
	asOf, err := s.asOf(ctx, customer, at)
	if err != nil {
		return reports.Plant{}, err
	}
	state, err := outlook.StandByAge(ctx, s.db, s.scope, plantID, asOf, at)
	if err != nil {
		return reports.Plant{}, err
	}
	splices := make([]int64, len(state.Register.Splices))
	for i, s := range state.Register.Splices {
		splices[i] = s.ID
	}
	findings, err := registry.LastFindings(ctx, s.db, s.scope, plantID, splices, asOf)
	if err != nil {
		return reports.Plant{}, err
	}
	forecasts, err := s.forecasts(ctx, state, asOf, at)
	if err != nil {
		return reports.Plant{}, err
	}
	chains, err := s.chains(ctx, state.Register, asOf)
	foresee := func(p *reports.Plant) (err error) {
		if p.Forecasts, err = forecasts(); err == nil {
			p.Standings = due.Together(at.Time(), p.Register.Plant, state.Standings, p.Forecasts)
		}
		return err
	}
	return reports.Plant{Register: state.Register, Foresee: foresee, Findings: findings, Chains: chains}, err
}

// forecasts reads what the forecasts of then rest on, the lives of the customer's splices and the findings known, and
// returns what works them out.
func (s Source) forecasts(ctx context.Context, state *outlook.Standings, asOf plantdb.AsOf, at assets.Instant) (func() ([]due.Forecast, error), error) {
	reg := state.Register
	if s.laws.customer != reg.Plant.CustomerID || s.laws.asOf != asOf || s.laws.laws == nil {
		study, err := outlook.CustomerLives(ctx, s.db, reg.Plant.CustomerID, asOf, at.Time())
		if err != nil {
			return nil, err
		}
		fit := sync.OnceValues(func() ([]cohort.Law, error) { return cohort.Study(cohort.Sort(study.Lives)) })
		*s.laws = lawsRead{customer: reg.Plant.CustomerID, asOf: asOf, laws: fit}
	}
	fit := s.laws.laws
	kinds, err := registry.SpliceKinds(ctx, s.db, asOf)
	if err != nil {
		return nil, err
	}
	found, err := outlook.ReadLifeFindings(ctx, s.db, s.scope, reg.Plant.ID, asOf)
	if err != nil {
		return nil, err
	}
	return func() ([]due.Forecast, error) {
		laws, err := fit()
		if err != nil {
			return nil, err
		}
		now := at.Time()
		model := due.LifeModel{Laws: laws, Cost: due.CostIn(reg, kinds), Trends: due.CrossingsOf(due.Trends(now, reg, kinds, found.Measured)),
			Findings: due.Demands(now, reg, state.Rules, found.Demanding)}
		return due.Forecasts(now, reg, state.Rules, state.Clocks, model), nil
	}, nil
}

// chains says how far the journals reach that the plant was read from, as verify takes them for checkpoints.
func (s Source) chains(ctx context.Context, reg *assets.Register, asOf plantdb.AsOf) ([]reports.ChainRead, error) {
	company, err := s.chain(ctx, "Journal of the company", 0, asOf.CompanyKnown)
	if err != nil {
		return nil, err
	}
	own, err := s.chain(ctx, "Journal of "+reg.Customer.Name, reg.Customer.ID, asOf.Known)
	return []reports.ChainRead{company, own}, err
}

func (s Source) chain(ctx context.Context, name string, customerID, position int64) (reports.ChainRead, error) {
	k, err := s.db.Checkpoint(ctx, customerID, position)
	return reports.ChainRead{Name: name, Chain: k.ChainID, Entry: k.Position, Hash: k.Hash}, err
}
