package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/samplefleet"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/workorder"
	"carryside/server/signin"
)

// demoCommand serves three invented plants out of a folder of its own.
type demoCommand struct {
	Listen string `default:"127.0.0.1:8080" placeholder:"ADDR" help:"Loopback address to listen on; port 0 takes a free one."`
	Today  string `placeholder:"DATE" help:"The day the demonstration stands at, YYYY-MM-DD. Without it, today."`
	Keep   string `placeholder:"DIR" help:"Keep the database in this folder instead of one that goes when the program ends."`
}

// Run draws the plants, writes them down and serves them.
func (d *demoCommand) Run(ctx context.Context, p *Program) error {
	if err := loopback(d.Listen); err != nil {
		return err
	}
	now, err := d.clock(p.Now)
	if err != nil {
		return err
	}
	folder, leave, err := d.folder()
	if err != nil {
		return err
	}
	defer leave()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: filepath.Join(folder, "demo.db"), Create: true})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := d.fill(ctx, db, now()); err != nil {
		return err
	}
	if err := d.giveReportsOut(ctx, db, now()); err != nil {
		return err
	}
	hello := "Carryside demonstration: one service company, three invented plants, in " + folder
	return serveOn(ctx, p, db, serving{listen: d.Listen, door: demoDoor, now: now, hello: hello, logFormat: quiet})
}

// demoDoor signs anybody in with one click, on this machine only.
var demoDoor = &door{Options: signin.Options{Demo: true}, loopbackOnly: true}

// clock is the wall clock, or one that stands at 06:40 UTC of --today when the program starts and goes on from there.
func (d *demoCommand) clock(wall func() time.Time) (func() time.Time, error) {
	if d.Today == "" {
		return wall, nil
	}
	day, err := time.Parse(time.DateOnly, d.Today)
	if err != nil || day.Year() < 1960 || day.Year() > 2200 {
		return nil, &UsageError{fmt.Sprintf("--today %s: write a date such as 2026-11-25", d.Today)}
	}
	begun, at := wall(), day.Add(6*time.Hour+40*time.Minute)
	return func() time.Time { return at.Add(wall().Sub(begun)) }, nil
}

// folder makes the folder of the database: a new one each start, or the one to keep.
func (d *demoCommand) folder() (path string, leave func(), err error) {
	if d.Keep == "" {
		path, err = os.MkdirTemp("", "carryside-demo-")
		return path, func() { os.RemoveAll(path) }, err
	}
	if err = os.MkdirAll(d.Keep, 0o755); err != nil {
		return "", nil, fmt.Errorf("--keep %s cannot be made: %w", d.Keep, err)
	}
	return d.Keep, func() {}, nil
}

// fill draws the plants into an empty database; one that was kept stays as it is.
func (d *demoCommand) fill(ctx context.Context, db *plantdb.DB, now time.Time) error {
	demo, err := db.IsDemo(ctx)
	if err != nil {
		return err
	}
	if demo {
		return notBehind(ctx, db, now)
	}
	head, err := db.CompanyPosition(ctx)
	if err != nil {
		return err
	}
	if head > 0 {
		return errors.New("this folder holds a database that is no demonstration; choose another folder with --keep")
	}
	// Written down as of three days ago, evaluated and planned then; the last days' readings follow, so that Today
	// tells of a day and not of ten years.
	then := now.AddDate(0, 0, -3)
	before, after := samplefleet.Demo(now).Split(then)
	if err := fleetdb.Write(ctx, db, before); err != nil {
		return err
	}
	if err := db.MarkDemo(ctx); err != nil {
		return err
	}
	evaluator := jobs.Evaluator(db, slog.New(slog.DiscardHandler))
	if _, err := evaluator.Evaluate(ctx, then); err != nil {
		return err
	}
	if err := placeSome(ctx, db, then.Add(4*time.Hour)); err != nil {
		return err
	}
	if err := stockUp(ctx, db, then.Add(5*time.Hour)); err != nil {
		return err
	}
	if err := fillSheets(ctx, db, then.Add(5*time.Hour)); err != nil {
		return err
	}
	if err := planSome(ctx, db, then.Add(6*time.Hour)); err != nil {
		return err
	}
	if err := layOutStandstills(ctx, db, plantdb.Act{Now: then.Add(6 * time.Hour)}); err != nil {
		return err
	}
	if err := layOutRounds(ctx, db, plantdb.Act{Now: then.Add(6 * time.Hour)}); err != nil {
		return err
	}
	if err := fleetdb.WriteNotes(ctx, db, after); err != nil {
		return err
	}
	_, err = evaluator.Evaluate(ctx, now)
	return err
}

// notBehind refuses to go on with a kept demonstration on a day before its newest record.
func notBehind(ctx context.Context, db *plantdb.DB, now time.Time) error {
	var newest assets.Instant
	if err := db.SQL(ctx).Raw("SELECT coalesce(max(head_at), 0) FROM chains").Scan(&newest).Error; err != nil {
		return err
	}
	if newest > assets.InstantOf(now) {
		return fmt.Errorf("this folder keeps a demonstration with records up to %s; start it on that day or later, or choose another folder with --keep", newest.Time().Format(time.DateOnly))
	}
	return nil
}

// placeSome takes some of the orders just raised a step on, as a planner would have: the earliest are placed in the
// next stop of their line that comes before their latest date, a few are accepted, the rest are as raised.
func placeSome(ctx context.Context, db *plantdb.DB, now time.Time) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	for _, p := range plants {
		if err := placeAt(ctx, db, p, now); err != nil {
			return fmt.Errorf("place orders at %s: %w", p.Name, err)
		}
		if err := moveOne(ctx, db, p, now); err != nil {
			return fmt.Errorf("move a stop at %s: %w", p.Name, err)
		}
	}
	return nil
}

func placeAt(ctx context.Context, db *plantdb.DB, p assets.Plant, now time.Time) error {
	scope := assets.PlantScope(p.ID)
	reg, err := registry.PlantAsOf(ctx, db, scope, p.ID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	open, _, err := orders.List(ctx, db, scope, orders.Filter{PlantID: p.ID, Open: true})
	if err != nil {
		return err
	}
	windows, err := stops.Agreed(ctx, db, scope, p.ID, assets.InstantOf(now), 0)
	if err != nil {
		return err
	}
	people, err := registry.People(ctx, db, assets.JobScope(), true)
	if err != nil {
		return err
	}
	planner := workorder.Actor{Roles: []assets.Role{assets.RolePlanner}}
	var crew []int64
	for _, one := range people {
		switch {
		case one.Role == assets.RolePlanner:
			planner.PersonID = one.ID
		case one.Role == assets.RoleTechnician && len(crew) < 2:
			crew = append(crew, one.ID)
		}
	}
	act := plantdb.Act{PersonID: planner.PersonID, Origin: plantdb.Demo, Action: "place orders", Now: now, Plants: []int64{p.ID}}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		for i, o := range open {
			if i%3 == 2 || o.Kind == workorder.KindInsertPiece {
				continue
			}
			if o, err = take(c, o, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
				return workorder.Accept(o, planner, now, now)
			}); err != nil {
				return err
			}
			conveyor, _ := reg.Conveyor(o.ConveyorID)
			stop, ok := stopFor(windows, conveyor, o.LatestDay, p.Location())
			if !ok || i%4 == 3 {
				continue
			}
			if stop.ID, err = stops.ForWork(c, p.ID, stop.ID); err != nil {
				return err
			}
			placed := workorder.Placement{WindowID: stop.ID, WindowDay: assets.DayOf(stop.End.Time().In(p.Location())), People: crew, Kit: "press, cutter"}
			if _, err = take(c, o, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
				return workorder.Place(o, planner, now, now, placed)
			}); err != nil {
				return err
			}
		}
		return nil
	})
}

// moveOne moves a stop in which nothing is placed by a week, as operations do.
func moveOne(ctx context.Context, db *plantdb.DB, p assets.Plant, now time.Time) error {
	held, err := stops.Held(ctx, db, assets.PlantScope(p.ID), p.ID)
	if err != nil {
		return err
	}
	for _, w := range held.Windows {
		if held.Placed[w.ID] || !w.Agreed() || w.Start < assets.InstantOf(now.AddDate(0, 0, 5)) {
			continue
		}
		start, end := w.Start.Time().In(p.Location()).AddDate(0, 0, 7), w.End.Time().In(p.Location()).AddDate(0, 0, 7)
		w.Start, w.End, w.StartLocal, w.EndLocal = assets.InstantOf(start), assets.InstantOf(end), start.Format("2006-01-02T15:04"), end.Format("2006-01-02T15:04")
		act := plantdb.Act{Origin: plantdb.Demo, Action: "change a stop", Reason: "operations needs the line that day", Now: now, Plants: []int64{p.ID}}
		return db.Change(ctx, act, func(c *plantdb.Change) error { return stops.Save(c, &w) })
	}
	return nil
}

// take writes one step of an order.
func take(c *plantdb.Change, o workorder.Order, step func(workorder.Order) (workorder.Order, workorder.Event, error)) (workorder.Order, error) {
	after, event, err := step(o)
	if err != nil {
		return o, err
	}
	return after, orders.Step(c, &after, event)
}

// stopFor returns the first stop of a conveyor that ends by the latest date.
func stopFor(windows []assets.StopWindow, conveyor assets.Conveyor, latest assets.Day, zone *time.Location) (assets.StopWindow, bool) {
	for _, w := range windows {
		if w.Stops(conveyor) && (latest == "" || assets.DayOf(w.End.Time().In(zone)) <= latest) {
			return w, true
		}
	}
	return assets.StopWindow{}, false
}
