package api

import (
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/due"
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

// plantQuery is a list of plants.
type plantQuery struct {
	Paging
	Then
}

// plantThen is one plant.
type plantThen struct {
	InPlant
	Then
}

// listOf lists the plants of a scope as of a moment.
func (s *service) listOf(ctx context.Context, scope assets.Scope, then Then) ([]web.PlantSummary, error) {
	a := asking(ctx)
	if then.now() {
		return s.PlantList(ctx, scope)
	}
	zone, err := s.ReportZone(ctx)
	if err != nil {
		return nil, err
	}
	if _, _, err := reports.Moment(then.AsOf, then.Known, a.now, ahead, zone); err != nil { // also where there is no plant
		return nil, inQuery(err)
	}
	all, err := s.PlantsThen(ctx, scope, func(p assets.Plant) (time.Time, time.Time, error) {
		return reports.Moment(then.AsOf, then.Known, a.now, p.Location(), zone)
	}, a.now)
	return all, inQuery(err)
}

// ahead is the zone in which a day begins first on earth.
var ahead = time.FixedZone("", 14*60*60)

func (s *service) listPlants(ctx context.Context, in *plantQuery) (*listed[plant], error) {
	a := asking(ctx)
	all, err := s.listOf(ctx, a.Scope(), in.Then)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(p web.PlantSummary) bool { return !a.Who.May(people.Read, p.Plant.CustomerID, p.Plant.ID) })
	slices.SortFunc(all, func(x, y web.PlantSummary) int { return int(x.Plant.ID - y.Plant.ID) })
	return pageOf(all, func(p web.PlantSummary) string { return rising(p.Plant.ID) }, in.Paging, tellPlant)
}

func (s *service) getPlant(ctx context.Context, in *plantThen) (*single[plant], error) {
	if _, _, err := s.plantOf(ctx, in.Plant); err != nil {
		return nil, err
	}
	all, err := s.listOf(ctx, assets.PlantScope(in.Plant), in.Then)
	if err != nil {
		return nil, err
	}
	if len(all) != 1 {
		return nil, assets.ErrNotFound
	}
	return one(tellPlant(all[0])), nil
}

func (s *service) listLines(ctx context.Context, in *ListOf) (*listed[line], error) {
	v, err := s.look(ctx, in.Plant, in.Then)
	if err != nil {
		return nil, err
	}
	lines := byID(v.Register.Lines, func(l assets.Line) int64 { return l.ID })
	return pageOf(lines, func(l assets.Line) string { return rising(l.ID) }, in.Paging, func(l assets.Line) line {
		return line{ID: l.ID, Name: l.Name, Position: l.Position}
	})
}

// plantSeen is a plant at one moment, to be asked for its things.
type plantSeen struct {
	PlantThen
	asker *asker
	plant assets.Plant // as it is now
	at    time.Time
}

// view is a plant at one moment with its register and standings.
type view struct {
	plantSeen
	Register  *assets.Register
	Standings []due.Standing
}

// at returns a plant that the asker reaches as of a moment.
func (s *service) at(ctx context.Context, plantID int64, then Then) (m plantSeen, err error) {
	if m.asker, m.plant, err = s.plantOf(ctx, plantID); err != nil {
		return m, err
	}
	var at, known time.Time
	if !then.now() {
		zone, err := s.ReportZone(ctx)
		if err != nil {
			return m, err
		}
		if at, known, err = reports.Moment(then.AsOf, then.Known, m.asker.now, m.plant.Location(), zone); err != nil {
			return m, inQuery(err)
		}
	}
	if m.at = at; at.IsZero() {
		m.at = m.asker.now
	}
	m.PlantThen, err = s.PlantThen(ctx, m.asker.Scope(), plantID, at, known, m.asker.now)
	return m, err
}

// look reads a plant that the asker reaches as of a moment.
func (s *service) look(ctx context.Context, plantID int64, then Then) (*view, error) {
	m, err := s.at(ctx, plantID, then)
	if err != nil {
		return nil, err
	}
	f, err := m.Fleet(ctx)
	if err != nil {
		return nil, err
	}
	return &view{plantSeen: m, Register: f.Register, Standings: f.Standings}, nil
}

// today is the day at the plant.
func (m plantSeen) today() assets.Day { return assets.DayOf(m.at.In(m.plant.Location())) }

// byID returns a list in the order of numbers; the list itself may be shared and stays as it is.
func byID[T any](list []T, id func(T) int64) []T {
	out := slices.Clone(list)
	slices.SortFunc(out, func(a, b T) int { return int(min(max(id(a)-id(b), -1), 1)) })
	return out
}
