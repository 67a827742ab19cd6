package jobs_test

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

var (
	ctx   = context.Background()
	quiet = slog.New(slog.DiscardHandler)
)

// skarrow opens a database with the demo's plants; plant 1 is in Oslo's zone.
func skarrow(t *testing.T) (*plantdb.DB, string) {
	t.Helper()
	dsn := plantdbtest.Address(t)
	db := plantdbtest.Again(t, dsn)
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	return db, dsn
}

// addRule keeps a rule of plant 1 that looks at the splices of one conveyor, and returns it with their number.
func addRule(t *testing.T, db *plantdb.DB, name string, trg rules.Trigger, kind workorder.Kind, starts time.Time) (rules.Rule, int) {
	t.Helper()
	reg, err := registry.PlantAsOf(ctx, db, assets.JobScope(), 1, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	conveyor, ok := reg.ConveyorByTag("Q3")
	if !ok {
		t.Fatal("no conveyor Q3")
	}
	rs := []rules.Rule{{CustomerID: reg.Plant.CustomerID, PlantID: 1, Name: name, Scope: rules.Scope{Conveyors: []int64{conveyor.ID}}, Trigger: trg,
		Template: rules.Template{Kind: kind, Title: "look at {target}"}, Class: assets.ClassP, StartsAt: assets.InstantOf(starts)}}
	act := plantdb.Act{Origin: plantdb.Screen, Action: "add a rule", Now: starts, Plants: []int64{1}}
	if err := db.Change(ctx, act, func(c *plantdb.Change) error { return orders.SeedRules(c, rs) }); err != nil {
		t.Fatal(err)
	}
	return rs[0], len(reg.SplicesOn(conveyor.ID))
}

func evaluate(t *testing.T, e *schedule.Evaluator, at string) schedule.Evaluation {
	t.Helper()
	got, err := e.Evaluate(ctx, clock(t, at))
	if err != nil {
		t.Fatalf("evaluate at %s: %v", at, err)
	}
	return got
}

func clock(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// cyclesOf returns a rule's cycles with how many targets each was raised for, and the number of its orders.
func cyclesOf(t *testing.T, db *plantdb.DB, rule int64) (map[string]int, int) {
	t.Helper()
	rows, err := orders.Occurrences(ctx, db, assets.JobScope(), 1, 0)
	if err != nil {
		t.Fatal(err)
	}
	cycles, of := map[string]int{}, map[int64]bool{}
	for _, r := range rows {
		if r.RuleID == rule {
			cycles[r.Cycle]++
			of[r.OrderID] = true
		}
	}
	return cycles, len(of)
}

// wantDaily fails unless every local date from first to last was raised once for each target at a wall time.
func wantDaily(t *testing.T, cycles map[string]int, first, last assets.Day, wall string, targets int) {
	t.Helper()
	n := 0
	for d := first; d <= last; d = d.AddDays(1) {
		n++
		if got := cycles[string(d)+"T"+wall]; got != targets {
			t.Errorf("%s %s: raised for %d splices, want %d", d, wall, got, targets)
		}
	}
	if len(cycles) != n {
		t.Errorf("%d planned times raised, want the %d from %s to %s and no other", len(cycles), n, first, last)
	}
}

// 02:30 does not exist in Oslo on 28 March 2027 and comes twice on 31 October 2027 (EU rule: last Sundays).
func TestAWeekWithoutAServerOverBothClockChanges(t *testing.T) {
	db, _ := skarrow(t)
	rule, targets := addRule(t, db, "look every night", rules.Trigger{Kind: rules.TriggerCron, Cron: "30 2 * * *"}, workorder.KindOther, clock(t, "2027-03-24T12:00:00Z"))
	e := jobs.Evaluator(db, quiet)
	evaluate(t, e, "2027-03-24T12:00:00Z")
	back := evaluate(t, e, "2027-03-31T12:00:00Z")
	cycles, open := cyclesOf(t, db, rule.ID)
	wantDaily(t, cycles, "2027-03-25", "2027-03-31", "02:30", targets)
	if open != targets {
		t.Errorf("%d orders for %d splices: seven missed nights are seven rows and one order each", open, targets)
	}
	if back.Orders == 0 || back.Joined < 6*targets {
		t.Errorf("the evaluation counts %+v, want at least six joined for each of %d splices", back.Raised, targets)
	}
	evaluate(t, jobs.Evaluator(db, quiet), "2027-10-27T12:00:00Z") // a new process, seven months on
	evaluate(t, jobs.Evaluator(db, quiet), "2027-11-03T12:00:00Z")
	again := evaluate(t, jobs.Evaluator(db, quiet), "2027-11-03T12:00:00Z")
	if again.Raised != (schedule.Raised{}) {
		t.Errorf("evaluated twice: %+v raised again", again.Raised)
	}
	cycles, _ = cyclesOf(t, db, rule.ID)
	wantDaily(t, cycles, "2027-03-25", "2027-11-03", "02:30", targets)
}

func TestTwoServersRaiseEachOnce(t *testing.T) {
	db, dsn := skarrow(t)
	start := clock(t, "2027-03-24T12:00:00Z")
	rule, targets := addRule(t, db, "look every night", rules.Trigger{Kind: rules.TriggerCron, Cron: "30 2 * * *"}, workorder.KindOther, start)
	hours, _ := addRule(t, db, "every 40 hours", rules.Trigger{Kind: rules.TriggerHours, Hours: 40, Repeats: true}, workorder.KindRetension, start)
	likely, _ := addRule(t, db, "likely to fail", rules.Trigger{Kind: rules.TriggerLife, Chance: 0.01}, workorder.KindInspection, start)
	best, _ := addRule(t, db, "best age", rules.Trigger{Kind: rules.TriggerLife, BestAge: true}, workorder.KindBeltChange, start)
	servers := []*schedule.Evaluator{jobs.Evaluator(db, quiet), jobs.Evaluator(plantdbtest.Again(t, dsn), quiet)}
	for day := range 12 {
		var both sync.WaitGroup
		for i, s := range servers {
			both.Go(func() {
				if _, err := s.Evaluate(ctx, start.AddDate(0, 0, day).Add(time.Duration(i)*time.Second)); err != nil {
					t.Errorf("server %d on day %d: %v", i, day, err)
				}
			})
		}
		both.Wait()
	}
	cycles, open := cyclesOf(t, db, rule.ID)
	wantDaily(t, cycles, "2027-03-25", "2027-04-04", "02:30", targets)
	if open != targets {
		t.Errorf("%d orders, want one for each of %d splices", open, targets)
	}
	if once, open := cyclesOf(t, db, hours.ID); len(once) == 0 || open != targets {
		t.Errorf("by hours: %d cycles on %d orders, want one order for each splice", len(once), open)
	}
	for _, r := range []rules.Rule{likely, best} {
		once, _ := cyclesOf(t, db, r.ID)
		for cycle, n := range once {
			if n != 1 {
				t.Errorf("%s: %s raised %d times", r.Name, cycle, n)
			}
		}
		if r.ID == likely.ID && len(once) == 0 {
			t.Errorf("%s: nothing raised for %d splices", r.Name, targets)
		}
	}
}

func TestAPlantWithoutChangeIsPassedOver(t *testing.T) {
	db, _ := skarrow(t)
	e := jobs.Evaluator(db, quiet)
	evaluate(t, e, "2026-11-25T12:00:00Z")
	evaluate(t, e, "2026-11-25T12:01:00Z") // what the first one raised changed the plants
	third := evaluate(t, e, "2026-11-25T12:02:00Z")
	if third.Plants != 0 || third.Skipped != 3 {
		t.Fatalf("%+v, want all three plants passed over", third)
	}
	reg, err := registry.PlantAsOf(ctx, db, assets.JobScope(), 2, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	grade := 4
	f := assets.Finding{PlantID: 2, ConveyorID: reg.Conveyors[0].ID, FoundAt: assets.InstantOf(clock(t, "2026-11-25T12:02:30Z")), FoundDay: "2026-11-25", Category: "belt torn", Grade: &grade}
	act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "record a finding", Now: clock(t, "2026-11-25T12:02:30Z"), Plants: []int64{2}}
	if err := db.Change(ctx, act, func(c *plantdb.Change) error { _, err := registry.AddFinding(c, &f); return err }); err != nil {
		t.Fatal(err)
	}
	fourth := evaluate(t, e, "2026-11-25T12:03:00Z")
	if fourth.Plants != 1 || fourth.Orders != 1 {
		t.Errorf("after a finding of grade 4 at plant 2: %+v, want that plant looked at and one order", fourth)
	}
	followed(t, db, e, f.ID)
}

// followed walks the order of a finding: it points to it, withdrawn in error it is raised anew, withdrawn until a
// date only after that.
func followed(t *testing.T, db *plantdb.DB, e *schedule.Evaluator, finding int64) {
	t.Helper()
	orderOf := func() workorder.Order {
		f, err := registry.Finding(ctx, db, assets.JobScope(), finding)
		if err != nil {
			t.Fatal(err)
		}
		o, err := orders.Order(ctx, db, assets.JobScope(), f.FollowUpOrderID)
		if err != nil || o.FindingID != finding {
			t.Fatalf("the finding points to order %d (%+v, %v), want the one raised for it", f.FollowUpOrderID, o, err)
		}
		return o
	}
	withdraw := func(at string, w workorder.Withdrawal) int64 {
		o, now := orderOf(), clock(t, at)
		planner := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RolePlanner}}
		after, event, err := workorder.Withdraw(o, planner, now, now, assets.DayOf(now), w)
		if err != nil {
			t.Fatal(err)
		}
		act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "withdraw", Now: now, Plants: []int64{2}}
		if err := db.Change(ctx, act, func(c *plantdb.Change) error { return orders.Step(c, &after, event) }); err != nil {
			t.Fatal(err)
		}
		return o.ID
	}
	first := withdraw("2026-11-25T13:00:00Z", workorder.Withdrawal{Why: "seen on the wrong conveyor", InError: true})
	evaluate(t, e, "2026-11-25T13:01:00Z")
	second := orderOf()
	if second.ID == first || second.State != workorder.Raised {
		t.Errorf("withdrawn in error: order %d is %s, want another one raised", second.ID, second.State)
	}
	withdraw("2026-11-25T14:00:00Z", workorder.Withdrawal{Why: "cut out on Saturday", HoldsUntil: "2026-11-28"})
	evaluate(t, e, "2026-11-28T12:00:00Z")
	if o := orderOf(); o.ID != second.ID {
		t.Errorf("raised anew as order %d while the withdrawal holds", o.ID)
	}
	evaluate(t, e, "2026-11-29T12:00:00Z")
	if o := orderOf(); o.ID == second.ID || o.State != workorder.Raised {
		t.Errorf("after the withdrawal's date: order %d is %s, want another one raised", o.ID, o.State)
	}
}

// An edit raises nothing planned before it; what the version before it had planned until then is raised, also when
// the edit switched the rule off.
func TestAnEditedRuleKeepsWhatItsOldVersionPlanned(t *testing.T) {
	tests := []struct {
		name string
		edit func(*rules.Rule)
		want []string
	}{
		{"mornings instead of nights", func(r *rules.Rule) { r.Trigger.Cron = "0 6 * * *" },
			[]string{"2027-05-04T02:30", "2027-05-05T02:30", "2027-05-06T02:30", "2027-05-07T06:00", "2027-05-08T06:00"}},
		{"switched off", func(r *rules.Rule) { r.Off = true }, []string{"2027-05-04T02:30", "2027-05-05T02:30", "2027-05-06T02:30"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			db, _ := skarrow(t)
			rule, targets := addRule(t, db, "look every night", rules.Trigger{Kind: rules.TriggerCron, Cron: "30 2 * * *"}, workorder.KindOther, clock(t, "2027-05-03T12:00:00Z"))
			evaluate(t, jobs.Evaluator(db, quiet), "2027-05-04T12:00:00Z")
			edited := rule
			tt.edit(&edited)
			act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "edit a rule", Now: clock(t, "2027-05-06T12:00:00Z"), Plants: []int64{1}}
			if err := db.Change(ctx, act, func(c *plantdb.Change) error { return orders.SaveRule(c, &edited) }); err != nil {
				t.Fatal(err)
			}
			evaluate(t, jobs.Evaluator(db, quiet), "2027-05-08T12:00:00Z")
			if again := evaluate(t, jobs.Evaluator(db, quiet), "2027-05-08T12:05:00Z"); again.Raised != (schedule.Raised{}) {
				t.Errorf("evaluated again: %+v", again.Raised)
			}
			cycles, _ := cyclesOf(t, db, rule.ID)
			got := slices.Sorted(maps.Keys(cycles))
			if !slices.Equal(got, tt.want) {
				t.Errorf("%v, want %v", got, tt.want)
			}
			for c, n := range cycles {
				if n != targets {
					t.Errorf("%s: raised for %d splices, want %d", c, n, targets)
				}
			}
		})
	}
}

// A reading entered late moves a due date behind the mark; the occurrence is raised all the same.
func TestHoursReadLateAreNotLost(t *testing.T) {
	db, _ := skarrow(t)
	start := clock(t, "2026-11-25T12:00:00Z")
	rule, targets := addRule(t, db, "after 60 hours", rules.Trigger{Kind: rules.TriggerHours, Hours: 60, Repeats: true}, workorder.KindRetension, start)
	for _, at := range []string{"2026-11-25T12:00:00Z", "2026-12-02T12:00:00Z", "2026-12-30T12:00:00Z"} {
		evaluate(t, jobs.Evaluator(db, quiet), at)
	}
	p, err := outlook.Load(ctx, db, assets.JobScope(), 1, clock(t, "2026-12-30T12:00:00Z"))
	if err != nil {
		t.Fatal(err)
	}
	in := p.Inputs
	in.Occurrences = nil
	fresh := rules.NewOutlook(in).Propose(rule, start.Add(-time.Microsecond), in.Now)
	cycles, _ := cyclesOf(t, db, rule.ID)
	for _, q := range fresh {
		if cycles[q.Cycle] != 1 {
			t.Errorf("%s: raised %d times, want once", q.Cycle, cycles[q.Cycle])
		}
	}
	if len(fresh) < targets || len(cycles) != len(fresh) {
		t.Errorf("%d cycles raised in pieces, %d whole", len(cycles), len(fresh))
	}
}

func TestRunsAreClaimedByOneServerAndKept(t *testing.T) {
	db, dsn := skarrow(t)
	now := clock(t, "2026-11-25T12:00:20Z")
	other := plantdbtest.Again(t, dsn)
	for _, db := range []*plantdb.DB{db, other} {
		job := schedule.EvaluationJob(jobs.Evaluator(db, quiet), jobs.NewStore(db), func() time.Time { return now.Add(3 * time.Second) })
		if err := job.Do(ctx, now); err != nil {
			t.Fatal(err)
		}
	}
	runs, err := orders.Runs(ctx, db, "raise", 10)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs kept (%v), want one for the tick", len(runs), err)
	}
	r := runs[0]
	if r.Plants != 3 || r.Raised == 0 || r.Error != "" || r.StartedAt.Time() != now || r.EndedAt.Time() != now.Add(3*time.Second) {
		t.Errorf("run %+v, want three plants, its orders and its times", r)
	}
}

func TestOldRunsThatRaisedNothingAreDropped(t *testing.T) {
	db := plantdbtest.Open(t)
	store := jobs.NewStore(db)
	run := func(at string, orders int) {
		r := schedule.Run{Job: "raise", DueAt: clock(t, at), Started: clock(t, at), Ended: clock(t, at).Add(time.Second), Raised: schedule.Raised{Orders: orders}}
		id, claimed, err := store.StartRun(ctx, r)
		if err != nil || !claimed {
			t.Fatalf("start at %s: %v %v", at, claimed, err)
		}
		r.ID = id
		if err := store.EndRun(ctx, r); err != nil {
			t.Fatal(err)
		}
	}
	run("2026-11-10T09:17:00Z", 0)
	run("2026-11-10T09:18:00Z", 3)
	run("2026-11-25T09:17:00Z", 0)
	run("2026-11-25T10:00:00Z", 0)
	kept, err := orders.Runs(ctx, db, "raise", 10)
	if err != nil || len(kept) != 3 || kept[2].Raised != 3 {
		t.Errorf("kept %+v (%v), want the two of today and the one that raised orders", kept, err)
	}
}

func TestTheRunnerStartsAtOnceAndStops(t *testing.T) {
	began := make(chan time.Time, 4)
	at := clock(t, "2026-11-25T12:00:00Z")
	job := schedule.Job{Name: "look", Spec: "@every 1h", Do: func(_ context.Context, now time.Time) error {
		began <- now
		panic(fmt.Sprintf("at %v", now))
	}}
	ctx, stop := context.WithCancel(ctx)
	ended := make(chan error)
	go func() { ended <- schedule.NewRunner(quiet, func() time.Time { return at }, job).Run(ctx) }()
	if now := <-began; !now.Equal(at) {
		t.Errorf("started with %v, want the clock's %v", now, at)
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("a job that panics stops the runner: %v", err)
	}
	bad := schedule.Job{Name: "never", Spec: "not a tick", Do: job.Do}
	if err := schedule.NewRunner(quiet, func() time.Time { return at }, bad).Run(ctx); err == nil {
		t.Error("a tick that cannot be read is taken")
	}
}

// What a screen shows as due and what the rules raise are worked out apart (schedule/due, schedule/rules); for every
// splice of the demo they name the same day.
func TestRulesRaiseOnTheDayThatScreensShow(t *testing.T) {
	db, _ := skarrow(t)
	now := clock(t, "2026-11-25T12:00:00Z")
	compared := 0
	for plant := int64(1); plant <= 3; plant++ {
		p, err := outlook.Load(ctx, db, assets.JobScope(), plant, now)
		if err != nil {
			t.Fatal(err)
		}
		first := map[int64]assets.Day{}
		look := rules.NewOutlook(p.Inputs)
		for _, r := range p.Inputs.Rules {
			if r.Template.Kind != workorder.KindResplice || !r.Class.RaisesOrders() { // a rule of thumb sets no date
				continue
			}
			for _, q := range look.Propose(r, r.StartsAt.Time().Add(-time.Microsecond), now.AddDate(30, 0, 0)) {
				if d, known := first[q.Target.SpliceID]; !known || q.DueDay < d {
					first[q.Target.SpliceID] = q.DueDay
				}
			}
		}
		for _, st := range due.Plant(now, p.Register, p.Inputs.Rules, p.Clocks) {
			if st.Limit == nil || st.DueDay == "" || st.DueDay > "2056" || !st.Age.Known {
				continue
			}
			compared++
			if first[st.SpliceID] != st.DueDay {
				t.Errorf("plant %d, splice %d: rules say %s, the standing says %s (%s)", plant, st.SpliceID, first[st.SpliceID], st.DueDay, st.Reason)
			}
		}
	}
	if compared < 40 {
		t.Errorf("only %d splices compared", compared)
	}
}
