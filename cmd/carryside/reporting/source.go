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
	db    *plantdb.DB
	scope assets.Scope
}

var _ reports.Source = Source{}

// NewSource returns what a report of everything in the scope is built from.
func NewSource(db *plantdb.DB, scope assets.Scope) Source { return Source{db, scope} }

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
	state, err := outlook.Stand(ctx, s.db, s.scope, plantID, plantdb.AsOf{Valid: instant}, instant)
	if err != nil {
		return reports.Plant{}, err
	}
	findings, err := registry.LastFindings(ctx, s.db, s.scope, plantID, instant)
	if err != nil {
		return reports.Plant{}, err
	}
	basis, err := s.basis(ctx, state.Register)
	return reports.Plant{Register: state.Register, Standings: state.Standings, Findings: findings, Basis: basis}, err
}

// basis says how far the journals reach that the plant was read from.
func (s Source) basis(ctx context.Context, reg *assets.Register) ([]reports.Basis, error) {
	own, err := s.db.HeadPosition(ctx, reg.Plant.ID)
	if err != nil {
		return nil, err
	}
	company, err := s.db.CompanyPosition(ctx)
	if err != nil {
		return nil, err
	}
	return []reports.Basis{
		{Name: "Journal of the company", Value: fmt.Sprintf("to entry %d", company)},
		{Name: "Journal of " + reg.Customer.Name, Value: fmt.Sprintf("to entry %d", own)},
	}, nil
}
