// Package fleetdb writes a drawn fleet (assets/samplefleet) into an empty database as it stands: numbers and
// times as drawn, one journal entry per chain. It is for the demo, tests and benchmarks; plants come in through
// the importer and the screens.
package fleetdb

import (
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/samplefleet"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"

	"gorm.io/gorm"
)

// Write writes a whole fleet, for the demo and for tests.
func Write(ctx context.Context, db *plantdb.DB, f *samplefleet.Fleet) error {
	if err := WriteHead(ctx, db, f); err != nil {
		return err
	}
	return WritePlants(ctx, db, f)
}

// WriteHead writes what belongs to the company: itself, catalogues, people, company-wide rules.
func WriteHead(ctx context.Context, db *plantdb.DB, f *samplefleet.Fleet) error {
	act := plantdb.Act{Origin: plantdb.Demo, Action: "set up the sample company", Now: f.Today, Company: true}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		ch, err := c.Chain(0)
		if err != nil {
			return err
		}
		w := writer{c: c, ch: ch}
		w.begin("the sample company")
		rows(&w, "companies", []assets.Company{f.Company})
		rows(&w, "specifications", f.Specifications)
		rows(&w, "splice_kinds", f.SpliceKinds)
		rows(&w, "recipes", f.Recipes)
		rows(&w, "people", f.People)
		rows(&w, "grants", f.Grants)
		rows(&w, "qualifications", f.Qualifications)
		rows(&w, "person_qualifications", f.Tickets)
		rows(&w, "crew_members", f.CrewMembers)
		rows(&w, "absences", f.Absences)
		rows(&w, "travel_times", f.Travel)
		rows(&w, "work_templates", f.Templates)
		rows(&w, "rules", of(f.Rules, func(r rules.Rule) bool { return r.CustomerID == 0 && r.PlantID == 0 }))
		return w.err
	})
}

// WritePlants writes the customers of a fleet with their plants and everything of them.
func WritePlants(ctx context.Context, db *plantdb.DB, f *samplefleet.Fleet) error {
	for _, customer := range f.Customers {
		act := plantdb.Act{Origin: plantdb.Demo, Action: "set up a sample plant", Now: f.Today, Company: true}
		err := db.Change(ctx, act, func(c *plantdb.Change) error { return writeCustomer(c, customer, f) })
		if err != nil {
			return fmt.Errorf("write %s: %w", customer.Name, err)
		}
	}
	return nil
}

// writeCustomer writes one customer: its own row in the company's chain, the rest in its own.
func writeCustomer(c *plantdb.Change, customer assets.Customer, f *samplefleet.Fleet) error {
	company, err := c.Chain(0)
	if err != nil {
		return err
	}
	customer.KnownFrom = company.Position
	w := writer{c: c, ch: company}
	w.begin(customer.Name)
	rows(&w, "customers", []assets.Customer{customer})
	if w.err != nil {
		return w.err
	}
	if w.ch, err = c.NewChain(customer.ID); err != nil {
		return err
	}
	mine := map[int64]bool{}
	rows(&w, "plants", of(f.Plants, func(p assets.Plant) bool {
		mine[p.ID] = p.CustomerID == customer.ID
		return mine[p.ID]
	}))
	conveyors := map[int64]bool{}
	rows(&w, "contracts", of(f.Contracts, func(r assets.Contract) bool { return r.CustomerID == customer.ID }))
	rows(&w, "contacts", of(f.Contacts, func(r assets.Contact) bool { return mine[r.PlantID] }))
	rows(&w, "lines", of(f.Lines, func(r assets.Line) bool { return mine[r.PlantID] }))
	rows(&w, "conveyors", of(f.Conveyors, func(r assets.Conveyor) bool { conveyors[r.ID] = mine[r.PlantID]; return mine[r.PlantID] }))
	rows(&w, "belts", of(f.Belts, func(r assets.Belt) bool { return mine[r.PlantID] }))
	rows(&w, "splices", of(f.Splices, func(r assets.Splice) bool { return mine[r.PlantID] }))
	rows(&w, "meters", of(f.Meters, func(r assets.Meter) bool { return mine[r.PlantID] }))
	rows(&w, "held_readings", of(f.Held, func(r assets.HeldReading) bool { return mine[r.PlantID] }))
	rows(&w, "findings", of(f.Findings, func(r assets.Finding) bool { return mine[r.PlantID] }))
	rows(&w, "production_calendars", of(f.Calendars, func(r assets.ProductionCalendar) bool { return mine[r.PlantID] }))
	rows(&w, "stop_windows", of(f.Windows, func(r assets.StopWindow) bool { return mine[r.PlantID] }))
	rows(&w, "stop_recurrences", of(f.Recurrences, func(r assets.StopRecurrence) bool { return mine[r.PlantID] }))
	rows(&w, "isolation_groups", of(f.IsolationGroups, func(r assets.IsolationGroup) bool { return mine[r.PlantID] }))
	rows(&w, "rules", of(f.Rules, func(r rules.Rule) bool { return r.CustomerID == customer.ID || mine[r.PlantID] }))
	rows(&w, "orders", of(f.Orders, func(r workorder.Order) bool { return mine[r.PlantID] }))
	rows(&w, "order_events", of(f.OrderEvents, func(r workorder.Event) bool { return mine[r.PlantID] }))
	rows(&w, "press_records", of(f.PressRecords, func(r assets.PressRecord) bool { return mine[r.PlantID] }))
	w.readings(of(f.Readings, func(r assets.Reading) bool { return conveyors[r.ConveyorID] }))
	return w.err
}

// WriteNotes writes the readings, held readings and findings of a fleet whose plants are there already.
func WriteNotes(ctx context.Context, db *plantdb.DB, f *samplefleet.Fleet) error {
	for _, p := range f.Plants {
		act := plantdb.Act{Origin: plantdb.Demo, Action: "note readings and findings", Now: f.Today, Plants: []int64{p.ID}}
		err := db.Change(ctx, act, func(c *plantdb.Change) error {
			ch, err := c.PlantChain(p.ID)
			if err != nil {
				return err
			}
			conveyors := map[int64]bool{}
			for _, v := range f.Conveyors {
				conveyors[v.ID] = v.PlantID == p.ID
			}
			w := writer{c: c, ch: ch}
			w.begin("readings and findings of " + p.Name)
			held := of(f.Held, func(r assets.HeldReading) bool { return r.PlantID == p.ID })
			findings := of(f.Findings, func(r assets.Finding) bool { return r.PlantID == p.ID })
			read := of(f.Readings, func(r assets.Reading) bool { return conveyors[r.ConveyorID] })
			for i := range held {
				held[i].KnownFrom = ch.Position
			}
			for i := range findings {
				findings[i].KnownFrom = ch.Position
			}
			for i := range read {
				read[i].KnownFrom = ch.Position
			}
			rows(&w, "held_readings", held)
			rows(&w, "findings", findings)
			w.readings(read)
			return w.err
		})
		if err != nil {
			return fmt.Errorf("write readings of %s: %w", p.Name, err)
		}
	}
	return nil
}

// writer writes lists of rows under one chain until one fails.
type writer struct {
	c   *plantdb.Change
	ch  *plantdb.Chain
	n   map[string]int
	err error
}

// begin makes the entry a summary: what was written, in counts.
func (w *writer) begin(what string) {
	w.n = map[string]int{}
	w.c.Compact(map[string]any{"sample": what, "rows": w.n})
}

// rows writes one list and moves the counter of its numbers behind the highest.
func rows[T any](w *writer, table string, list []T) {
	if w.err != nil || len(list) == 0 {
		return
	}
	const batch = 400 // orders have 44 columns; SQLite takes 32,766 values in a statement
	tx := w.c.Tx().Session(&gorm.Session{SkipHooks: true})
	if err := tx.CreateInBatches(list, batch).Error; err != nil {
		w.err = fmt.Errorf("write %s: %w", table, err)
		return
	}
	w.n[table] += len(list)
	if w.err = plantdb.WroteRows(w.c, w.ch, list); w.err != nil {
		return
	}
	w.c.Note(w.ch, plantdb.Written{Table: table})
	w.err = w.c.Tx().Exec(`INSERT INTO id_counters (kind, next) SELECT ?, coalesce(max(id), 0) + 1 FROM `+table+` WHERE true
		ON CONFLICT (kind) DO UPDATE SET next = excluded.next WHERE id_counters.next < excluded.next`, table).Error
}

// of keeps the rows of a list that belong.
func of[T any](list []T, belongs func(T) bool) []T {
	var out []T
	for _, r := range list {
		if belongs(r) {
			out = append(out, r)
		}
	}
	return out
}

// perStatement is how many readings go into one INSERT.
const perStatement = 200

// readings writes readings through one prepared statement: a benchmark fleet has ten million.
func (w *writer) readings(list []assets.Reading) {
	if w.err != nil || len(list) == 0 {
		return
	}
	ctx := w.c.Context()
	for len(list) > 0 {
		n := min(perStatement, len(list))
		args := make([]any, 0, 5*n)
		for _, r := range list[:n] {
			args = append(args, r.ConveyorID, int64(r.At), r.KnownFrom, r.ShownH, r.Approximate)
		}
		if _, err := w.c.Tx().Statement.ConnPool.ExecContext(ctx, insertReadings(n, w.c.Tx().Name() == "postgres"), args...); err != nil {
			w.err = fmt.Errorf("write readings: %w", err)
			return
		}
		for _, r := range list[:n] {
			w.c.Wrote(w.ch, "readings", r.ConveyorID, int64(r.At), r.KnownFrom)
		}
		w.n["readings"] += n
		list = list[n:]
	}
	w.c.Note(w.ch, plantdb.Written{Table: "readings"})
}

// insertReadings is the statement for n readings, with the marks of its engine.
func insertReadings(n int, numbered bool) string {
	s := make([]byte, 0, 64*n)
	s = append(s, "INSERT INTO readings (conveyor_id, at, known_from, shown_h, approximate) VALUES "...)
	for i := range n {
		if i > 0 {
			s = append(s, ',')
		}
		s = append(s, '(')
		for k := range 5 {
			if k > 0 {
				s = append(s, ',')
			}
			if numbered {
				s = fmt.Appendf(s, "$%d", 5*i+k+1)
			} else {
				s = append(s, '?')
			}
		}
		s = append(s, ')')
	}
	return string(s)
}

// Day is the moment the fleets of tests stand at.
var Day = time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)
