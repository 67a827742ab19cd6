package intakedb

import (
	"context"
	"errors"
	"slices"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// Registry answers the importer on behalf of one person.
type Registry struct {
	DB       *plantdb.DB
	Scope    assets.Scope
	PersonID int64          // who imports; 0: the operator's command
	Origin   plantdb.Origin // "": an import
	By       string         // who imports, in words, where no person signs in ("operator at HOST")
	HostZone string         // zone of a created plant where neither the options nor the company give one
}

// NewPlant returns the company's zone for created plants, the host's before there is a company.
func (r *Registry) NewPlant(ctx context.Context) (intake.PlantSettings, error) {
	company, err := registry.Company(ctx, r.DB, plantdb.AsOf{})
	if errors.Is(err, assets.ErrNotFound) {
		return intake.PlantSettings{Zone: r.hostZone()}, nil
	}
	return intake.PlantSettings{Zone: company.Zone}, err
}

func (r *Registry) hostZone() string {
	if r.HostZone == "" {
		return "UTC"
	}
	return r.HostZone
}

// FindPlants returns the plants of a name within the scope, over all customers.
func (r *Registry) FindPlants(ctx context.Context, nameKey string) ([]intake.PlantRef, error) {
	plants, err := registry.PlantsByName(ctx, r.DB, r.Scope, nameKey)
	if err != nil {
		return nil, err
	}
	refs := make([]intake.PlantRef, 0, len(plants))
	for _, p := range plants {
		customer, err := registry.Customer(ctx, r.DB, r.Scope, p.CustomerID)
		if err != nil {
			return nil, err
		}
		refs = append(refs, intake.PlantRef{ID: p.ID, Name: p.Name, Customer: customer.Name, Zone: p.Zone})
	}
	return refs, nil
}

// Load returns a plant's register as it is known now, all of one moment, in a fixed number of queries.
func (r *Registry) Load(ctx context.Context, plantID int64, want intake.Want) (*intake.Snapshot, error) {
	s := &intake.Snapshot{}
	err := r.DB.InSnapshot(ctx, func(tx *plantdb.DB) error {
		reg, err := registry.PlantHistoryAsOf(ctx, tx, r.Scope, plantID, plantdb.AsOf{}, 0)
		if err != nil {
			return err
		}
		for _, l := range reg.Lines {
			s.Lines = append(s.Lines, l.Name)
		}
		for _, c := range reg.Conveyors {
			s.Conveyors = append(s.Conveyors, intake.ConveyorState{Conveyor: c, Line: reg.LineName(c), Belts: reg.BeltsOf(c.ID), Splices: reg.SplicesOn(c.ID)})
		}
		return r.hang(ctx, tx, plantID, want, s)
	})
	return s, err
}

// hang adds what hangs on the conveyors beside belts and splices.
func (r *Registry) hang(ctx context.Context, tx *plantdb.DB, plantID int64, want intake.Want, s *intake.Snapshot) error {
	at := make(map[int64]*intake.ConveyorState, len(s.Conveyors))
	for i := range s.Conveyors {
		at[s.Conveyors[i].Conveyor.ID] = &s.Conveyors[i]
	}
	if want.Readings {
		if err := hangClocks(ctx, tx, r.Scope, plantID, at); err != nil {
			return err
		}
	}
	if !want.Findings {
		return nil
	}
	found, err := registry.FindingsOfPlant(ctx, tx, r.Scope, plantID, 0, plantdb.AsOf{}, 0)
	slices.Reverse(found)
	for _, f := range found {
		if c := at[f.ConveyorID]; c != nil {
			c.Findings = append(c.Findings, f)
		}
	}
	return err
}
