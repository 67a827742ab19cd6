package reports

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Entry is a report of the catalogue. Menu, page, workbook, CSV and command line all read it.
type Entry struct {
	Slug     string // its name in addresses and on the command line
	Title    string
	Question string // the question it answers
	Columns  []Column
	notes    []string
	tallied  string   // key of the column that sums it up
	says     []string // what that column may say, in order
	key      []string // columns that tell its rows apart, beside customer, plant, conveyor and splice
	deed     people.Deed
	periodic bool
	stops    bool // it can be of one stop
	rows     func(in Inputs, ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error
}

// Deed is what whoever asks for the report must be allowed, at each plant it covers.
func (e Entry) Deed() people.Deed { return cmp.Or(e.deed, people.Read) }

// OfStops tells whether the report can be of one stop.
func (e Entry) OfStops() bool { return e.stops }

// Periodic tells whether the report covers a period and not only the state of a day.
func (e Entry) Periodic() bool { return e.periodic }

// Build prepares the report as of a day, "" for the moment of building. Its rows are computed while they
// are written. A day or a scope that does not exist gives assets.Invalid.
func (e Entry) Build(ctx context.Context, in Inputs, day assets.Day) (*Report, error) {
	asOf, err := NewAsOf(day, in.Built)
	if err == nil {
		err = e.covers(in.Period)
	}
	if err == nil && in.Filter.Stop != "" {
		err = e.ofStop(in.Filter.Stop)
	}
	if err != nil {
		return nil, err
	}
	plants, err := in.plants(ctx)
	if err != nil {
		return nil, err
	}
	in.Zone = cmp.Or(in.Zone, time.UTC)
	zones := in.zones(plants)
	if err := in.inTime(asOf, string(day), zones); err != nil {
		return nil, err
	}
	basis := in.basis(zones)
	r := &Report{
		Slug: e.Slug, Title: e.Title, Question: e.Question, Columns: e.Columns, Notes: e.notes, tallied: e.tallied, says: e.says,
		key: e.key, AsOf: asOf, Scope: in.scopeWords(plants), By: in.By, Zone: in.zone(plants), Basis: basis,
		Plants: plants, stops: e.stops, asked: in, askedDay: string(day),
	}
	r.rows = func(ctx context.Context, yield func([]Cell) error) error {
		r.Basis, r.Chains = slices.Clone(basis), nil
		return e.rows(in, ctx, r, plants, yield)
	}
	r.again = func(ctx context.Context, source Source) (*Report, error) {
		other := in
		other.Source, other.Known, other.Corrections = source, KnownAt{}, NotTold
		return e.Build(ctx, other, day)
	}
	return r, nil
}

// covers refuses a period for a report that has none, and one that cannot be.
func (e Entry) covers(p Period) error {
	if p != (Period{}) && !e.periodic {
		name := "from"
		if p.From == "" {
			name = "to"
		}
		return assets.Invalid{name: "this report looks at one day and covers no period; leave from and to out and give its day"}
	}
	return p.check()
}

// ofStop refuses a stop for a report that is of none, and one that cannot be.
func (e Entry) ofStop(start string) error {
	if !e.stops {
		return assets.Invalid{"stop": "this report is of no stop; leave it out"}
	}
	if at, err := time.Parse(StopLayout, start); err != nil || at.Format(StopLayout) != start {
		return assets.Invalid{"stop": fmt.Sprintf("%s is no beginning of a stop; write it in the plant's time, such as 2026-12-12T06:00", start)}
	}
	return nil
}

// scopeWords says what is covered: the plants, and the period where there is one.
func (in Inputs) scopeWords(plants []PlantName) string {
	words := in.Filter.Words(everyPlant(plants))
	if in.Period == (Period{}) {
		return words
	}
	return words + ", " + in.Period.Words()
}

// Catalogue lists the reports.
var Catalogue = []Entry{spliceAge, keyFigures, audit, kitAndStock, windowPackages}

// Find returns the report of a slug.
func Find(slug string) (Entry, error) {
	var known []string
	for _, e := range Catalogue {
		if e.Slug == slug {
			return e, nil
		}
		known = append(known, e.Slug)
	}
	return Entry{}, fmt.Errorf("there is no report %q; there are: %s: %w", slug, strings.Join(known, ", "), assets.ErrNotFound)
}

// Inputs is what a report is built from.
type Inputs struct {
	Source Source
	Filter Filter
	Period Period         // of a report that covers one
	Built  time.Time      // the moment of building
	Zone   *time.Location // the company's zone, for the moment of building; nil: UTC
	Known  KnownAt        // what the source was asked for; zero: as known now
	// Corrections is what is told of those made since Known; the source must be a SinceSource.
	Corrections Corrections
	By          string // who has it made
	Right       string // by what right, where it is not by a grant; "": by grants, or no right is needed
	Version     string // of the program
	PlantID     int64  // the only plant the source shows; 0: whatever the filter says
}

// Source is what the reports ask of the registry.
type Source interface {
	// Plants lists the plants whoever asks may see, in the order of customer and plant.
	Plants(ctx context.Context) ([]PlantName, error)
	// PlantAt returns one plant as its register has it at an instant, as known now, with the standings of then; with
	// its forecasts where they are asked for, which cost more than all the rest.
	PlantAt(ctx context.Context, plantID int64, at time.Time) (Plant, error)
}

// PlantName is a plant to be reported on.
type PlantName struct {
	ID         int64
	Name       string
	CustomerID int64
	Customer   string
	Zone       *time.Location
}

// PlantNames names plants with their customers, in the order of customer and plant. A customer who is not
// there leaves the name empty.
func PlantNames(customers []assets.Customer, plants []assets.Plant) []PlantName {
	owner := make(map[int64]string, len(customers))
	for _, c := range customers {
		owner[c.ID] = c.Name
	}
	out := make([]PlantName, 0, len(plants))
	for _, p := range plants {
		out = append(out, PlantName{ID: p.ID, Name: p.Name, CustomerID: p.CustomerID, Customer: owner[p.CustomerID], Zone: p.Location()})
	}
	slices.SortStableFunc(out, func(a, b PlantName) int {
		return cmp.Or(assets.CompareTags(a.Customer, b.Customer), assets.CompareTags(a.Name, b.Name), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// nothingOf says that nothing has the names of the filter; of what was known then, that it may have been entered later.
func (in Inputs) nothingOf() error {
	if !in.Known.At.IsZero() {
		return assets.Invalid{"known-at": fmt.Sprintf("nothing you may see was called %s in what was known then; give a later moment, or check the names", in.Filter.Words(""))}
	}
	return assets.Invalid{"scope": fmt.Sprintf("nothing you may see is called %s; check the names", in.Filter.Words(""))}
}

// plants returns the plants in the filter; a name that is nobody's is said.
func (in Inputs) plants(ctx context.Context) ([]PlantName, error) {
	all, err := in.Source.Plants(ctx)
	if err != nil {
		return nil, fmt.Errorf("list the plants: %w", err)
	}
	some := slices.DeleteFunc(slices.Clone(all), func(p PlantName) bool { return !in.Filter.plant(p) })
	if len(some) == 0 && in.Filter != (Filter{}) {
		return nil, in.nothingOf()
	}
	return some, nil
}

// Covered lists the plants that a report would cover.
func (in Inputs) Covered(ctx context.Context) ([]PlantName, error) { return in.plants(ctx) }

// everyPlant is what a scope without a filter is called.
func everyPlant(plants []PlantName) string {
	if len(plants) == 1 {
		return plants[0].Name
	}
	return fmt.Sprintf("all %d plants", len(plants))
}

// zone is where the moment of building is told: the one plant's, else the company's.
func (in Inputs) zone(plants []PlantName) *time.Location {
	switch {
	case len(plants) == 1 && plants[0].Zone != nil:
		return plants[0].Zone
	case in.Zone != nil:
		return in.Zone
	}
	return time.UTC
}
