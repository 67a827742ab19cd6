package web

import (
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

// Horizon lays the fake plant's orders against its stops, as the desk does from the database.
func (f *fakePlant) Horizon(ctx context.Context, scope assets.Scope, id int64, now time.Time, weeks int) (*HorizonView, error) {
	if _, err := f.PlantFrame(ctx, scope, id); err != nil {
		return nil, err
	}
	facts := &horizon.Facts{Now: now, From: now, Until: now.AddDate(0, 0, 7*weeks), Names: map[int64]string{}}
	open, err := f.OpenOrders(ctx, scope, id)
	if err != nil {
		return nil, err
	}
	facts.Plants = []horizon.PlantFacts{{Register: f.fleet.Register, Stops: f.stops, Orders: open, Forecasts: f.fleet.Forecasts, Standings: f.fleet.Standings}}
	for _, p := range f.staff {
		facts.Names[p.ID] = p.Name
		facts.Hands = append(facts.Hands, p.ID)
	}
	facts.Kit = []assets.Kit{{Version: assets.Version{ID: 61}, Name: "Press 1", Class: assets.KitPress, WorkingWidthM: 1.4, HomePlantID: 3, Mobile: true}}
	in := facts.Inputs()
	v := &HorizonView{Facts: facts, Sheet: horizon.Lay(in), People: in.People, Kit: in.Kit, Money: in.Money}
	v.At, v.Broken = v.Sheet.Settle(context.Background(), v.Sheet.Standing())
	return v, nil
}

func (f *fakePlant) Horizons(ctx context.Context, scope assets.Scope, plants []int64, now time.Time, weeks int, tell func(int)) (*HorizonView, error) {
	for _, id := range plants {
		if _, err := f.PlantFrame(ctx, scope, id); err != nil {
			return nil, err
		}
	}
	if tell != nil {
		tell(len(plants))
	}
	return f.Horizon(ctx, scope, plants[0], now, weeks)
}

func (f *fakePlant) Draft(_ context.Context, _ assets.Scope, personID, plantID int64) (assets.PlanDraft, error) {
	d := f.draft
	d.PersonID, d.PlantID = personID, plantID
	return d, nil
}

func (f *fakePlant) SaveDraft(_ context.Context, _ assets.Scope, d *assets.PlanDraft) error {
	f.draft = *d
	return nil
}

func (f *fakePlant) PublishPlan(_ context.Context, _ assets.Scope, a Act, p *assets.PublishedPlan, steps []PlanStep) error {
	for _, s := range steps {
		for i := range f.orders {
			if f.orders[i].ID != s.OrderID {
				continue
			}
			if f.orders[i].EditVersion != s.EditVersion {
				return fmt.Errorf("order %d: %w", f.orders[i].Number, assets.ErrConflict)
			}
			after, _, err := s.Do(f.orders[i], s.ToStop)
			if err != nil {
				return err
			}
			after.EditVersion++
			f.orders[i] = after
		}
	}
	p.PublishedBy, p.PublishedAt = a.PersonID, assets.InstantOf(a.Now)
	f.plans = append(f.plans, *p)
	return nil
}

func (f *fakePlant) PublishedPlans(context.Context, assets.Scope, int64, int) ([]assets.PublishedPlan, error) {
	return f.plans, nil
}

func (f *fakePlant) LastChanges(ctx context.Context, scope assets.Scope, plantID int64, ids []int64) ([]LastChange, error) {
	var out []LastChange
	for _, o := range f.orders {
		if slices.Contains(ids, o.ID) {
			out = append(out, LastChange{Order: o, Event: workorder.Event{What: "placed", EnteredAt: assets.InstantOf(time.Date(2026, 11, 25, 5, 0, 0, 0, time.UTC))}, By: "S. Ilveth"})
		}
	}
	return out, nil
}
