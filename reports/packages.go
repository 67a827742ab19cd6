package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// The report of window packages answers, to whoever drives out to a stop: what is done in it, in which order, by whom, with what, isolated
// where? One row per job, isolation point, person, belt, kit and item of stock, and per point to look at first.
var windowPackages = Entry{
	Slug:     "window-package",
	Title:    "Window packages",
	Question: "What is done in each stop, in which order, by whom, with what, isolated where?",
	Columns:  windowPackageColumns,
	tallied:  "list",
	says:     packageLists,
	key:      []string{"from", "list", "what", "orders"},
	deed:     people.ReadStores,
	stops:    true,
	rows:     Inputs.windowPackageRows,
	notes: slices.Concat(cautionsOfStops, []string{
		"Work stands as it was placed at the as-of moment, in stops of the twelve weeks after it, or in the one stop asked for. Before anything is done at the conveyor, the site's own rules and qualified people decide.",
	}),
}

// packageLists are what a row of the report may be of, in order.
var packageLists = []string{"rules", "look", "job", "isolation", "person", "belt", "kit", "stock"}

// listOf names the list of a section.
var listOf = map[string]string{"Order of jobs": "job", "Isolation points": "isolation", "People": "person", "Belts to cut": "belt", "Kit": "kit", "Stock to pick": "stock"}

var windowPackageColumns = []Column{
	{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "who owns the plant", OffPaper: true},
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 15, Wrap: true, Meaning: "where the stop is"},
	{Key: "from", Heading: "Stop from", Kind: KindInstant, WidthCh: 16, Meaning: "the stop begins, in the plant's time"},
	{Key: "to", Heading: "Stop to", Kind: KindInstant, WidthCh: 16, Meaning: "it ends", OffPaper: true},
	{Key: "where", Heading: "Stands still", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "line or conveyors of the stop"},
	{Key: "list", Heading: "List", Kind: KindText, WidthCh: 9, Meaning: "rules: of the site, before all else; look: not known or does not fit; job, isolation, person, belt, kit, stock"},
	{Key: "turn", Heading: "Turn", Kind: KindInteger, WidthCh: 5, Meaning: "of jobs, in their order"},
	{Key: "orders", Heading: "Orders", Kind: KindText, WidthCh: 9, Wrap: true, Meaning: "numbers of the orders concerned"},
	{Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 10, Wrap: true, Meaning: "of a job or a belt; all that are isolated together"},
	{Key: "what", Heading: "What", Kind: KindText, WidthCh: 26, Wrap: true, Meaning: "the work, the group, the person, the belt, the piece of kit, the item, or what to look at"},
	{Key: "with", Heading: "With", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "people of a job, tickets that hold that day, width of a belt, class of kit, lots to take stock from"},
	{Key: "begins", Heading: "From", Kind: KindInstant, WidthCh: 16, Meaning: "a job begins, or work at an isolated group may begin"},
	{Key: "over", Heading: "Over by", Kind: KindInstant, WidthCh: 16, Meaning: "work at an isolated group is over", OffPaper: true},
	{Key: "quantity", Heading: "Quantity", Kind: KindNumber, Decimals: 3, WidthCh: 9, Meaning: "hours of a job, loop length of a belt, stock to pick"},
	{Key: "unit", Heading: "Unit", Kind: KindText, WidthCh: 6, Meaning: "of the quantity; lengths of belts in the units of the plant, stock in its own"},
	{Key: "note", Heading: "Note", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "where it is isolated, what is wrong with a ticket, number of a piece of kit"},
}

// PackageSource is a source that also knows stops with their work.
type PackageSource interface {
	Source
	// PackagesAt reads the stops of a plant with the orders placed in them as they stood at an instant, with what is known of these then.
	PackagesAt(ctx context.Context, plantID int64, at time.Time) ([]WindowFacts, []ChainRead, error)
}

// packageAhead is how far ahead of the as-of moment stops are told of.
const packageAhead = 12 * 7 * 24 * time.Hour

func (in Inputs) windowPackageRows(ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error {
	source, able := in.Source.(PackageSource)
	if !able {
		return errors.New("this source keeps no stops")
	}
	if in.Filter.Conveyor != "" {
		return assets.Invalid{"scope": "a window package is of a whole stop; leave the conveyor out"}
	}
	for _, name := range plants {
		at := r.AsOf.Now(cmp.Or(name.Zone, time.UTC))
		all, chains, err := source.PackagesAt(ctx, name.ID, at)
		if errors.Is(err, assets.ErrNotFound) {
			continue
		}
		if err != nil {
			return fmt.Errorf("read the stops of %s: %w", name.Name, err)
		}
		r.rests(chains)
		for i := range all {
			f := &all[i]
			if !in.packed(f, at) {
				continue
			}
			f.WithStores, f.Built = true, r.AsOf.Built
			made := NewWindowPackage(*f)
			if r.packed != nil {
				if err := r.packed(name, made); err != nil {
					return err
				}
			}
			for _, row := range packageRows(name, made) {
				if err := yield(row); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// packed tells whether a stop is of the report: the one asked for, else what begins in the weeks ahead.
func (in Inputs) packed(f *WindowFacts, at time.Time) bool {
	start, line := f.Window.Start.Time(), ""
	if l, ok := f.Register.Line(f.Window.LineID); ok {
		line = l.Name
	}
	if !sameName(in.Filter.Line, line) {
		return false
	}
	if in.Filter.Stop != "" {
		return start.In(f.Register.Plant.Location()).Format(StopLayout) == in.Filter.Stop
	}
	return f.Window.End.Time().After(at) && start.Before(at.Add(packageAhead))
}

// packageRows lays the lists of a package one below the other.
func packageRows(name PlantName, p *WindowPackage) [][]Cell {
	head := func(list string) map[string]Cell {
		return map[string]Cell{"customer": Text(name.Customer), "plant": Text(name.Name), "from": Instant(p.Start, p.Zone), "to": Instant(p.End, p.Zone), "where": Text(p.Where), "list": Text(list)}
	}
	var rows [][]Cell
	add := func(cells map[string]Cell) {
		row := make([]Cell, len(windowPackageColumns))
		for i, c := range windowPackageColumns {
			row[i] = cells[c.Key]
		}
		rows = append(rows, row)
	}
	if p.SiteRules != "" {
		cells := head("rules")
		cells["what"] = Text(p.SiteRules)
		add(cells)
	}
	for _, lack := range p.Lacks {
		cells := head("look")
		cells["what"] = Text(lack)
		add(cells)
	}
	for _, s := range p.Sections {
		for _, row := range s.Rows {
			cells := head(listOf[s.Name])
			for i, c := range s.Columns {
				flatten(cells, c, row[i])
			}
			add(cells)
		}
	}
	return rows
}

// flatAs is the column of the report that a column of a list stands in.
var flatAs = map[string]string{"turn": "turn", "order": "orders", "orders": "orders", "conveyor": "conveyor", "conveyors": "conveyor", "work": "what", "group": "what", "person": "what", "specification": "what", "kit": "what", "item": "what",
	"people": "with", "tickets": "with", "class": "with", "width": "with", "from": "begins", "until": "over", "hours": "quantity", "length": "quantity", "quantity": "quantity", "take": "with", "unit": "unit", "isolated": "note", "point": "note", "look": "note", "note": "note"}

// flatten sets a cell of a list into a row of the report.
func flatten(cells map[string]Cell, c Column, v Cell) {
	key := flatAs[c.Key]
	switch c.Key {
	case "order":
		v = Text(v.Plain())
	case "width":
		v = Text(v.Shown() + " " + c.Unit)
	case "hours", "length":
		cells["unit"] = Text(c.Unit)
	}
	cells[key] = v
}
