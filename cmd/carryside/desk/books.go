package desk

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/reporting"
	"carryside/server/web"
)

// Calendars lists a plant's production calendars.
func (d *Desk) Calendars(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.ProductionCalendar, error) {
	return clocks.Calendars(ctx, d.db, scope, plantID, plantdb.AsOf{})
}

// SaveCalendar adds, changes or corrects a production calendar.
func (d *Desk) SaveCalendar(ctx context.Context, scope assets.Scope, a web.Act, next *assets.ProductionCalendar, from assets.Instant) error {
	return d.write(ctx, scope, a, next.PlantID, func(c *plantdb.Change) error { return clocks.SaveCalendar(c, next, from) })
}

// EndCalendar lets a line run as its plant from an instant on.
func (d *Desk) EndCalendar(ctx context.Context, scope assets.Scope, a web.Act, plantID, id int64, from assets.Instant) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return clocks.EndCalendar(c, id, from) })
}

// Specifications lists the belt specifications of the catalogue.
func (d *Desk) Specifications(ctx context.Context) ([]assets.Specification, error) {
	return registry.Specifications(ctx, d.db, plantdb.AsOf{})
}

// SpliceKinds lists the splice kinds of the catalogue.
func (d *Desk) SpliceKinds(ctx context.Context) ([]assets.SpliceKind, error) {
	return registry.SpliceKinds(ctx, d.db, plantdb.AsOf{})
}

// SaveSpecification adds, changes or corrects a belt specification.
func (d *Desk) SaveSpecification(ctx context.Context, a web.Act, s *assets.Specification, from assets.Instant) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return registry.SaveSpecification(c, s, from) })
}

// SaveSpliceKind adds, changes or corrects a splice kind.
func (d *Desk) SaveSpliceKind(ctx context.Context, a web.Act, k *assets.SpliceKind, from assets.Instant) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return registry.SaveSpliceKind(c, k, from) })
}

// ReportZone returns the company's zone.
func (d *Desk) ReportZone(ctx context.Context) (*time.Location, error) {
	return reporting.CompanyZone(ctx, d.db)
}

// ReportVersion names the program.
func (d *Desk) ReportVersion() string { return d.version }

// ImportRegistry returns the register as the importer sees it, on behalf of whoever acts.
func (d *Desk) ImportRegistry(scope assets.Scope, a web.Act) intake.Registry {
	return &intakedb.Registry{DB: d.db, Scope: scope, PersonID: a.PersonID, Origin: plantdb.Import}
}

// ListsBroughtIn returns what was brought in at a plant, newest first.
func (d *Desk) ListsBroughtIn(ctx context.Context, scope assets.Scope, plantID int64, limit int) ([]web.ListBroughtIn, error) {
	rows, err := intakedb.Imports(ctx, d.db, scope, plantID, limit)
	out := make([]web.ListBroughtIn, len(rows))
	for i, r := range rows {
		out[i] = web.ListBroughtIn{File: r.FileName, At: r.At, ByID: r.ByID, Counts: words(r.Counts), Refused: words(r.Refused)}
	}
	return out, err
}

// KeptHeadings lists what is kept for the lists of a customer, by name.
func (d *Desk) KeptHeadings(ctx context.Context, scope assets.Scope, customerID int64) ([]web.KeptHeadings, error) {
	rows, err := intakedb.Mappings(ctx, d.db, scope)
	var out []web.KeptHeadings
	for _, m := range rows {
		if m.CustomerID == customerID || m.CustomerID == 0 {
			out = append(out, web.KeptHeadings{ID: m.ID, Own: m.CustomerID == customerID, Name: m.Name, Mapping: m.Mapping, At: m.SavedAt, ByID: m.SavedBy})
		}
	}
	return out, err
}

// KeepHeadings keeps how a list was read under a name.
func (d *Desk) KeepHeadings(ctx context.Context, scope assets.Scope, a web.Act, plant assets.Plant, name, mapping string, replace bool) error {
	return d.write(ctx, scope, a, plant.ID, func(c *plantdb.Change) error {
		taken, err := intakedb.NameTaken(c, plant.CustomerID, name)
		if err != nil {
			return err
		}
		if taken && !replace {
			return assets.Invalid{"name": "headings are kept under this name already; choose another one, or tick that these take their place"}
		}
		return intakedb.SaveMapping(c, &intakedb.ImportMapping{CustomerID: plant.CustomerID, Name: name, Mapping: mapping})
	})
}

// RenameHeadings gives kept headings another name.
func (d *Desk) RenameHeadings(ctx context.Context, scope assets.Scope, a web.Act, plant assets.Plant, id int64, name string) error {
	return d.write(ctx, scope, a, plant.ID, func(c *plantdb.Change) error {
		return intakedb.RenameMapping(c, plant.CustomerID, id, name)
	})
}

// RemoveHeadings removes kept headings.
func (d *Desk) RemoveHeadings(ctx context.Context, scope assets.Scope, a web.Act, plant assets.Plant, id int64) error {
	return d.write(ctx, scope, a, plant.ID, func(c *plantdb.Change) error { return intakedb.RemoveMapping(c, plant.CustomerID, id) })
}

// words is the text of a column that may be empty.
func words(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}
