package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/web"
)

// plant is a plant with its counts.
type plant struct {
	ID         int64      `json:"id"`
	Name       string     `json:"name"`
	CustomerID int64      `json:"customer_id"`
	Customer   string     `json:"customer"`
	Zone       string     `json:"zone" doc:"IANA name of the time zone its days are told in"`
	Units      string     `json:"unit_system" doc:"what its people read and type: si or us; this interface is SI"`
	Currency   string     `json:"currency,omitempty" doc:"ISO 4217"`
	Conveyors  int        `json:"conveyors" doc:"in use"`
	Splices    int        `json:"splices" doc:"running"`
	Open       int        `json:"open_orders" doc:"raised to started"`
	Overdue    int        `json:"overdue_orders" doc:"of them past their latest date"`
	Held       int        `json:"held_readings" doc:"readings that wait for a person"`
	ReadTo     *time.Time `json:"hours_read_to,omitempty" doc:"newest accepted reading; told for up to 50 plants at once"`
}

func tellPlant(p web.PlantSummary) plant {
	return plant{ID: p.Plant.ID, Name: p.Plant.Name, CustomerID: p.Plant.CustomerID, Customer: p.Customer, Zone: p.Plant.Zone, Units: string(p.Plant.UnitSystem),
		Currency: p.Plant.Currency, Conveyors: p.Conveyors, Splices: p.Splices, Open: p.Open, Overdue: p.Overdue, Held: p.Held, ReadTo: instant(p.ReadTo)}
}

// line is a stretch of a plant that stands still together.
type line struct {
	ID       int64  `json:"id"`
	Name     string `json:"name"`
	Position int    `json:"position" doc:"order in which material flows"`
}

func (s *service) plants(a huma.API) {
	huma.Register(a, read("list-plants", "/plants", "Registry", "The plants the token reaches", ""), answer(s, s.listPlants))
	huma.Register(a, read("get-plant", "/plants/{plant}", "Registry", "One plant with its counts", ""), answer(s, s.getPlant))
	huma.Register(a, read("list-lines", "/plants/{plant}/lines", "Registry", "The lines of a plant", ""), answer(s, s.listLines))
}

func (s *service) listPlants(ctx context.Context, in *Paging) (*listed[plant], error) {
	a := asking(ctx)
	all, err := s.PlantList(ctx, a.Scope())
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(p web.PlantSummary) bool { return !a.Who.May(people.Read, p.Plant.CustomerID, p.Plant.ID) })
	slices.SortFunc(all, func(x, y web.PlantSummary) int { return int(x.Plant.ID - y.Plant.ID) })
	return pageOf(all, func(p web.PlantSummary) string { return rising(p.Plant.ID) }, *in, tellPlant)
}

func (s *service) getPlant(ctx context.Context, in *InPlant) (*single[plant], error) {
	if _, _, err := s.plantOf(ctx, in.Plant); err != nil {
		return nil, err
	}
	all, err := s.PlantList(ctx, assets.PlantScope(in.Plant))
	if err != nil {
		return nil, err
	}
	if len(all) != 1 {
		return nil, assets.ErrNotFound
	}
	return one(tellPlant(all[0])), nil
}

func (s *service) listLines(ctx context.Context, in *ListOf) (*listed[line], error) {
	v, err := s.look(ctx, in.Plant)
	if err != nil {
		return nil, err
	}
	lines := byID(v.Register.Lines, func(l assets.Line) int64 { return l.ID })
	return pageOf(lines, func(l assets.Line) string { return rising(l.ID) }, in.Paging, func(l assets.Line) line {
		return line{ID: l.ID, Name: l.Name, Position: l.Position}
	})
}

// view is a plant as it stands now.
type view struct {
	*web.Fleet
	asker *asker
	plant assets.Plant
}

// look reads a plant that the asker reaches.
func (s *service) look(ctx context.Context, plantID int64) (*view, error) {
	a, p, err := s.plantOf(ctx, plantID)
	if err != nil {
		return nil, err
	}
	f, err := s.Fleet(ctx, a.Scope(), plantID, a.now)
	if err != nil {
		return nil, err
	}
	return &view{Fleet: f, asker: a, plant: p}, nil
}

// today is the day at the plant.
func (v *view) today() assets.Day { return assets.DayOf(v.asker.now.In(v.plant.Location())) }

// byID returns a list in the order of numbers; the list itself may be shared and stays as it is.
func byID[T any](list []T, id func(T) int64) []T {
	out := slices.Clone(list)
	slices.SortFunc(out, func(a, b T) int { return int(min(max(id(a)-id(b), -1), 1)) })
	return out
}
