// Package reporting joins the reports to the database, for the command line and for the screens.
//
//	report, err := entry.Build(ctx, reports.Inputs{Source: reporting.NewSource(db, scope), Built: now}, asOf)
package reporting

import (
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/reports"
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

// Source reads what reports ask for from a database, within a scope.
type Source struct {
	db      *plantdb.DB
	scope   assets.Scope
	knownAt assets.Instant // 0: as known now
}

var _ reports.Source = Source{}

// NewSource returns what a report of everything in the scope is built from.
func NewSource(db *plantdb.DB, scope assets.Scope) Source { return Source{db: db, scope: scope} }

// KnownAt returns the same source as known at an instant: what was entered later is left out.
func (s Source) KnownAt(at time.Time) Source {
	s.knownAt = assets.InstantOf(at)
	return s
}

// Plants lists the plants of the scope in the order of customer and plant.
func (s Source) Plants(ctx context.Context) ([]reports.PlantName, error) {
	customers, err := registry.Customers(ctx, s.db, s.scope)
	if err != nil {
		return nil, err
	}
	plants, err := registry.Plants(ctx, s.db, s.scope)
	if err != nil {
		return nil, err
	}
	return reports.PlantNames(customers, plants), nil
}

// PlantAt reads one plant as of an instant.
func (s Source) PlantAt(ctx context.Context, plantID int64, at time.Time) (reports.Plant, error) {
	instant := assets.InstantOf(at)
	asOf := plantdb.AsOf{Valid: instant}
	if s.knownAt != 0 {
		var err error
		if asOf, err = s.db.KnownAt(ctx, plantID, instant, s.knownAt); err != nil {
			return reports.Plant{}, err
		}
	}
	state, err := outlook.Stand(ctx, s.db, s.scope, plantID, asOf, instant)
	if err != nil {
		return reports.Plant{}, err
	}
	findings, err := registry.LastFindings(ctx, s.db, s.scope, plantID, asOf)
	if err != nil {
		return reports.Plant{}, err
	}
	basis, err := s.basis(ctx, state.Register, asOf)
	return reports.Plant{Register: state.Register, Standings: state.Standings, Findings: findings, Basis: basis}, err
}

// basis says how far the journals reach that the plant was read from, as lines that verify takes as a checkpoint.
func (s Source) basis(ctx context.Context, reg *assets.Register, asOf plantdb.AsOf) ([]reports.Basis, error) {
	company, err := s.chain(ctx, "Journal of the company", 0, asOf.CompanyKnown)
	if err != nil {
		return nil, err
	}
	own, err := s.chain(ctx, "Journal of "+reg.Customer.Name, reg.Customer.ID, asOf.Known)
	return []reports.Basis{company, own}, err
}

func (s Source) chain(ctx context.Context, name string, customerID, position int64) (reports.Basis, error) {
	k, err := s.db.Checkpoint(ctx, customerID, position)
	if k.Position == 0 {
		return reports.Basis{Name: name, Value: "no entry yet"}, err
	}
	return reports.Basis{Name: name, Value: fmt.Sprintf("chain %d entry %d %s", k.ChainID, k.Position, k.Hash)}, err
}
