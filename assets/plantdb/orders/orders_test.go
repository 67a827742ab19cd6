package orders_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

var (
	ctx     = context.Background()
	everyth = assets.JobScope()
	planner = workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RolePlanner}}
	fitter  = workorder.Actor{PersonID: 2, Roles: []assets.Role{assets.RoleTechnician}}
)

// skarrow opens a database with the demo's plants in it.
func skarrow(t *testing.T) *plantdb.DB {
	t.Helper()
	db := plantdbtest.Open(t)
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	return db
}

func change(t *testing.T, db *plantdb.DB, now time.Time, fn func(*plantdb.Change) error) error {
	t.Helper()
	return db.Change(ctx, plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "test", Now: now, Plants: []int64{1}}, fn)
}

// liveSplice returns a running splice of a conveyor.
func liveSplice(t *testing.T, db *plantdb.DB, tag string) assets.Splice {
	t.Helper()
	r, err := registry.PlantAsOf(ctx, db, everyth, 1, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	c, ok := r.ConveyorByTag(tag)
	if !ok {
		t.Fatalf("no conveyor %s", tag)
	}
	return r.SplicesOn(c.ID)[0]
}

func proposal(s assets.Splice, kind workorder.Kind, cycle string, class assets.Class) rules.Proposal {
	return rules.Proposal{Rule: rules.Rule{Version: assets.Version{ID: 77}, Name: "remake by age", Class: class, Template: rules.Template{Kind: kind, Title: "remake {target}"}},
		PlantID: 1, Target: rules.Target{Kind: rules.TargetSplice, ID: s.ID, ConveyorID: s.ConveyorID, BeltID: s.BeltID, SpliceID: s.ID, Words: "splice " + s.Number},
		Cycle: cycle, DueAt: fleetdb.Day, DueDay: "2026-11-25", RaiseAt: fleetdb.Day, LatestDay: "2026-12-09", Why: "364 000 of 364 000 passes"}
}

func TestEvaluatingTwiceRaisesOnceAndSevenMissedDaysAreSevenRowsAndOneOrder(t *testing.T) {
	db := skarrow(t)
	s := liveSplice(t, db, "Q3")
	var week []rules.Proposal
	for _, day := range []string{"18", "19", "20", "21", "22", "23", "24"} {
		week = append(week, proposal(s, workorder.KindOther, "2026-11-"+day+"T06:00", assets.ClassP))
	}
	for i, want := range []orders.Raised{{Orders: 1, Joined: 6}, {Known: 7}} {
		var got orders.Raised
		err := change(t, db, fleetdb.Day, func(c *plantdb.Change) (err error) {
			got, err = orders.Raise(c, 1, week, []int64{77}, assets.InstantOf(fleetdb.Day))
			return err
		})
		if err != nil || got != want {
			t.Fatalf("evaluation %d: %+v, %v; want %+v", i+1, got, err, want)
		}
	}
	open, _, err := orders.List(ctx, db, everyth, orders.Filter{SpliceID: s.ID, Kind: workorder.KindOther, Open: true})
	if err != nil || len(open) != 1 {
		t.Fatalf("%d open orders (%v), want one", len(open), err)
	}
	rows, err := orders.OccurrencesOf(ctx, db, everyth, open[0].ID)
	if err != nil || len(rows) != 7 {
		t.Errorf("%d occurrences point to it (%v), want 7", len(rows), err)
	}
	if p, err := orders.Progress(ctx, db, 1); err != nil || p[77] != assets.InstantOf(fleetdb.Day) {
		t.Errorf("progress %v (%v)", p, err)
	}
}

func TestARuleOfThumbRemindsUntilAPersonMakesItAnOrder(t *testing.T) {
	db := skarrow(t)
	s := liveSplice(t, db, "G1")
	err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error {
		n, err := orders.Raise(c, 1, []rules.Proposal{proposal(s, workorder.KindResplice, "made:1", assets.ClassD)}, nil, 1)
		if n.Reminders != 1 || n.Orders != 0 {
			t.Errorf("raised %+v, want one reminder", n)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	rows, err := orders.Reminders(ctx, db, everyth, 1, "2026-11-25")
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d reminders (%v)", len(rows), err)
	}
	put := func(fn func(*plantdb.Change) error) error { return change(t, db, fleetdb.Day, fn) }
	if err := put(func(c *plantdb.Change) error { return orders.PutOffReminder(c, rows[0].ID, "2026-12-24") }); err != nil {
		t.Fatal(err)
	}
	if later, _ := orders.Reminders(ctx, db, everyth, 1, "2026-12-23"); len(later) != 0 {
		t.Error("a reminder put off still stands on Today")
	}
	order := workorder.Order{Kind: workorder.KindResplice, State: workorder.Raised, SpliceID: s.ID, ConveyorID: s.ConveyorID, RaisedAt: assets.InstantOf(fleetdb.Day)}
	if err := put(func(c *plantdb.Change) error { return orders.MakeOrder(c, rows[0].ID, &order) }); err != nil {
		t.Fatal(err)
	}
	again := order
	again.Version = assets.Version{}
	twin := again
	if err := put(func(c *plantdb.Change) error {
		_, err := orders.Raise(c, 1, []rules.Proposal{proposal(liveSplice(t, db, "G3"), workorder.KindResplice, "made:3", assets.ClassD)}, nil, 2)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	others, _ := orders.Reminders(ctx, db, everyth, 1, "2026-11-25")
	if len(others) != 1 {
		t.Fatalf("%d reminders of another splice, want one", len(others))
	}
	if err := put(func(c *plantdb.Change) error { return orders.MakeOrder(c, others[0].ID, &twin) }); err != nil || twin.ID != order.ID {
		t.Errorf("an order of the same splice and kind is open: joined %d (%v), want %d", twin.ID, err, order.ID)
	}
	var wrong assets.Invalid
	if err := put(func(c *plantdb.Change) error { return orders.MakeOrder(c, rows[0].ID, &again) }); !errors.As(err, &wrong) {
		t.Errorf("a second order of one reminder: %v", err)
	}
}

func TestTwoPlannersAcceptOneOrderAndTheSecondIsTold(t *testing.T) {
	db := skarrow(t)
	s := liveSplice(t, db, "T2")
	o := workorder.Order{PlantID: 1, Kind: workorder.KindOther, Title: "look", SpliceID: s.ID, ConveyorID: s.ConveyorID}
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.RaiseByHand(c, &o) }); err != nil {
		t.Fatal(err)
	}
	after, e, err := workorder.Accept(o, planner, fleetdb.Day, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	second := after
	step := func(o *workorder.Order) error {
		return change(t, db, fleetdb.Day.Add(time.Minute), func(c *plantdb.Change) error { return orders.Step(c, o, e) })
	}
	if err := step(&after); err != nil {
		t.Fatal(err)
	}
	if err := step(&second); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("the second planner: %v, want a conflict", err)
	}
	events, err := orders.Events(ctx, db, everyth, o.ID)
	if err != nil || len(events) != 2 || events[1].What != "accepted" {
		t.Errorf("history %+v (%v), want raised and accepted", events, err)
	}
	if _, err := orders.Order(ctx, db, assets.PlantScope(2), o.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("an order of another plant: %v, want not found", err)
	}
}

func TestClosingARespliceBooksOldAndNewSpliceAndShortensTheLoop(t *testing.T) {
	db := skarrow(t)
	old := liveSplice(t, db, "Q3")
	before, err := registry.Belt(ctx, db, everyth, old.BeltID, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	at := fleetdb.Day.Add(-2 * time.Hour)
	o := workorder.Order{PlantID: 1, Kind: workorder.KindResplice, Title: "remake", SpliceID: old.ID, ConveyorID: old.ConveyorID, BeltID: old.BeltID, RaisedAt: assets.InstantOf(at.Add(-48 * time.Hour))}
	walk(t, db, &o, at)
	after, e, err := workorder.Finish(o, fitter, at, fleetdb.Day, workorder.Work{Hours: 9})
	if err != nil {
		t.Fatal(err)
	}
	zone, _ := time.LoadLocation("Europe/Oslo")
	r := orders.Resplice{OldSpliceID: old.ID, Why: assets.RetiredFailed, FailureMode: "edge torn", ShorteningM: 1.55,
		New: assets.Splice{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: assets.Exactly(at, zone), MadeByID: 2}}
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.CloseResplice(c, &r, &after, e) }); err != nil {
		t.Fatal(err)
	}
	ended, err := registry.Splice(ctx, db, everyth, old.ID, plantdb.AsOf{})
	if err != nil || ended.Ended == nil || *ended.Ended != assets.InstantOf(at) || ended.RetiredWhy != assets.RetiredFailed || ended.RetiredOrderID != o.ID {
		t.Errorf("the old splice: %+v (%v)", ended, err)
	}
	made, err := registry.Splice(ctx, db, everyth, r.New.ID, plantdb.AsOf{})
	if err != nil || made.Number != old.Number || made.MadeOrderID != o.ID || made.Ended != nil {
		t.Errorf("the new splice: %+v (%v)", made, err)
	}
	now, _ := registry.Belt(ctx, db, everyth, old.BeltID, plantdb.AsOf{})
	then, _ := registry.Belt(ctx, db, everyth, old.BeltID, plantdb.AsOf{Valid: assets.InstantOf(at.Add(-time.Hour))})
	if d := before.LoopLengthM - now.LoopLengthM; d < 1.5499 || d > 1.5501 || then.LoopLengthM != before.LoopLengthM {
		t.Errorf("loop %.3f m before, %.3f an hour before the work, %.3f m now; want 1.55 m less from the work on", before.LoopLengthM, then.LoopLengthM, now.LoopLengthM)
	}
	if b, n := *before.TakeUpUsedM, *now.TakeUpUsedM; b-n < 0.7749 || b-n > 0.7751 {
		t.Errorf("take-up travel used %.3f m before, %.3f m after; want half of 1.55 m less", b, n)
	}
	done, err := orders.Order(ctx, db, everyth, o.ID)
	if err != nil || done.State != workorder.Done || done.DoneHours != 9 || done.SpliceID != made.ID {
		t.Errorf("the order: %+v (%v)", done, err)
	}
}

func TestARespliceThatCannotBeBookedLeavesNothingHalf(t *testing.T) {
	db := skarrow(t)
	old := liveSplice(t, db, "Q3")
	head, err := db.HeadPosition(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	zone, _ := time.LoadLocation("Europe/Oslo")
	r := orders.Resplice{OldSpliceID: old.ID, Why: assets.RetiredPlanned, ShorteningM: 101, New: assets.Splice{Made: assets.Exactly(fleetdb.Day, zone)}}
	var wrong assets.Invalid
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.CloseResplice(c, &r, nil, workorder.Event{}) }); !errors.As(err, &wrong) || wrong["shortening_m"] == "" {
		t.Fatalf("101 m cut out: %v", err)
	}
	r.ShorteningM = 2 // all right, but the place is refused at a later step
	r.New.PositionM = new(float64)
	*r.New.PositionM = 1e6
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.CloseResplice(c, &r, nil, workorder.Event{}) }); !errors.As(err, &wrong) {
		t.Fatalf("a splice far off the loop: %v", err)
	}
	if s, _ := registry.Splice(ctx, db, everyth, old.ID, plantdb.AsOf{}); s.Ended != nil {
		t.Error("the old splice is retired although nothing was booked")
	}
	if now, _ := db.HeadPosition(ctx, 1); now != head {
		t.Errorf("the journal moved from %d to %d", head, now)
	}
}

// walk takes an order from raised to started by then.
func walk(t *testing.T, db *plantdb.DB, o *workorder.Order, at time.Time) {
	t.Helper()
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.RaiseByHand(c, o) }); err != nil {
		t.Fatal(err)
	}
	for _, step := range []func(workorder.Order) (workorder.Order, workorder.Event, error){
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Accept(o, planner, at.Add(-24*time.Hour), fleetdb.Day)
		},
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Place(o, planner, at.Add(-23*time.Hour), fleetdb.Day, workorder.Placement{Where: "Saturday's stop", WindowDay: "2026-11-25", People: []int64{2}})
		},
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Start(o, fitter, at.Add(-9*time.Hour), fleetdb.Day)
		},
	} {
		after, e, err := step(*o)
		if err != nil {
			t.Fatal(err)
		}
		if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.Step(c, &after, e) }); err != nil {
			t.Fatal(err)
		}
		*o = after
	}
}

func TestAFindingThatJoinsAnOpenOrderBringsItsLatestDateForward(t *testing.T) {
	db := skarrow(t)
	s := liveSplice(t, db, "Q3")
	byAge, byFinding := proposal(s, workorder.KindOther, "made:1", assets.ClassP), proposal(s, workorder.KindOther, "finding:9", assets.ClassP)
	byFinding.LatestDay, byFinding.Why = "2026-11-28", "finding of grade 3"
	for _, p := range []rules.Proposal{byAge, byFinding} {
		if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error {
			_, err := orders.Raise(c, 1, []rules.Proposal{p}, nil, 1)
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	open, _, err := orders.List(ctx, db, everyth, orders.Filter{SpliceID: s.ID, Kind: workorder.KindOther, Open: true})
	if err != nil || len(open) != 1 || open[0].LatestDay != "2026-11-28" {
		t.Fatalf("open orders %+v (%v), want one with the finding's latest date", open, err)
	}
	events, err := orders.Events(ctx, db, everyth, open[0].ID)
	if err != nil || len(events) != 2 || events[1].What != "changed" {
		t.Errorf("history %+v (%v), want raised and changed", events, err)
	}
}

func TestACutThatNoRespliceMakesIsRefused(t *testing.T) {
	db := skarrow(t)
	old := liveSplice(t, db, "Q3")
	zone, _ := time.LoadLocation("Europe/Oslo")
	r := orders.Resplice{OldSpliceID: old.ID, Why: assets.RetiredPlanned, ShorteningM: 60, New: assets.Splice{Made: assets.Exactly(fleetdb.Day.Add(-time.Hour), zone)}}
	var wrong assets.Invalid
	if err := change(t, db, fleetdb.Day, func(c *plantdb.Change) error { return orders.CloseResplice(c, &r, nil, workorder.Event{}) }); !errors.As(err, &wrong) || wrong["shortening_m"] == "" {
		t.Errorf("60 m cut out of a loop of about 250 m: %v, want a sentence at the length", err)
	}
}
