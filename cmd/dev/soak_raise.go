package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/samplefleet"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// raiseSoak kills evaluations of rules at random moments and then looks whether every occurrence was raised once.
//
// Two processes at a time evaluate the sample plants on one database, hour by hour of a played clock, as two servers
// would, and each is killed (the way power fails: no handler runs); the next two go on at one of the hours that were
// interrupted.
type raiseSoak struct {
	program string   // what is run again as the process to be killed
	env     []string // added to its environment
	dir     string   // where the database is made
	kills   int
	seed    uint64
	out     io.Writer
}

// servers is how many processes evaluate at a time.
const servers = 2

// playedStep is how far the played clock goes from one evaluation to the next.
const playedStep = time.Hour

// A process lives at most so many of the times that one evaluation takes here, within bounds: long enough to get
// through some, short enough to be killed inside one.
const (
	livedEvaluations = 2
	shortestLife     = 50 * time.Millisecond
	longestLife      = 600 * time.Millisecond
)

func (s raiseSoak) run(ctx context.Context) error {
	start := fleetdb.Day
	dsn := filepath.Join(s.dir, "killed.db")
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: dsn, Create: true})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := soakPlants(ctx, db, start); err != nil {
		return err
	}
	plants, err := asDrawn(ctx, db, start)
	if err != nil {
		return err
	}
	longest, at, err := s.timeOne(ctx, dsn, start)
	if err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(s.seed, 1))
	end := at
	for killed := 0; killed < s.kills; killed += servers {
		hours, err := s.killBoth(ctx, dsn, at, longest, random)
		if err != nil {
			return err
		}
		at = hours[random.IntN(len(hours))]
		end = slices.MaxFunc(append(hours, end), time.Time.Compare)
	}
	if _, err := jobs.Evaluator(db, slog.New(slog.DiscardHandler)).Evaluate(ctx, end); err != nil {
		return err
	}
	rows, err := checkRaisedOnce(ctx, db, plants, start, end)
	if err != nil {
		return fmt.Errorf("after %d kills (seed %d): %w", s.kills, s.seed, err)
	}
	if end.Sub(start) < 4*playedStep {
		return fmt.Errorf("after %d kills the played clock stands at hour %d: nothing was tried", s.kills, int(end.Sub(start).Hours()))
	}
	fmt.Fprintf(s.out, "%d kills, %d hours played, %d occurrences: each raised once, none lost\n", s.kills, int(end.Sub(start).Hours()), rows)
	return nil
}

// soakPlants writes the sample plants with two rules that fire every few hours.
func soakPlants(ctx context.Context, db *plantdb.DB, start time.Time) error {
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(start)); err != nil {
		return err
	}
	often := []rules.Rule{
		{Name: "every three hours", Trigger: rules.Trigger{Kind: rules.TriggerCron, Cron: "0 */3 * * *"}, Template: rules.Template{Kind: workorder.KindOther}, Class: assets.ClassP},
		{Name: "every five running hours", Trigger: rules.Trigger{Kind: rules.TriggerHours, Hours: 5, Repeats: true}, Template: rules.Template{Kind: workorder.KindRetension}, Class: assets.ClassP},
		{Name: "by rule of thumb", Trigger: rules.Trigger{Kind: rules.TriggerCron, Cron: "30 2 * * *"}, Template: rules.Template{Kind: workorder.KindKitService}, Class: assets.ClassD},
	}
	for i := range often {
		often[i].StartsAt = assets.InstantOf(start)
	}
	act := plantdb.Act{Origin: plantdb.Demo, Action: "add rules that fire often", Now: start, Company: true}
	return db.Change(ctx, act, func(c *plantdb.Change) error { return orders.SeedRules(c, often) })
}

// timeOne returns how long a process may live at most, and the hour it got to: it times the first evaluation of a
// fresh process, once what had gathered is raised.
func (s raiseSoak) timeOne(ctx context.Context, dsn string, at time.Time) (time.Duration, time.Time, error) {
	var took time.Duration
	for range 2 {
		var err error
		if took, at, err = s.timed(ctx, dsn, at); err != nil {
			return 0, at, err
		}
	}
	return min(max(time.Duration(livedEvaluations*float64(took)), shortestLife), longestLife), at, nil
}

// timed lets a process evaluate one hour, kills it, and returns how long that took and the last hour it began.
func (s raiseSoak) timed(ctx context.Context, dsn string, at time.Time) (took time.Duration, last time.Time, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	cmd := s.evaluation(ctx, dsn, at)
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return 0, at, err
	}
	if err := cmd.Start(); err != nil {
		return 0, at, fmt.Errorf("start an evaluation: %w", err)
	}
	hours := bufio.NewScanner(pipe)
	began := hours.Scan()
	from := time.Now()
	began = hours.Scan() && began
	took = time.Since(from)
	for more := began; more; more = hours.Scan() {
		stop()
		if hour, bad := time.Parse(time.RFC3339, hours.Text()); bad == nil {
			at = hour
		}
	}
	if err := cmd.Wait(); !began {
		return 0, at, fmt.Errorf("an evaluation left alone ended by itself: %w", err)
	}
	return took, at, nil
}

// evaluation is a process that evaluates until it is killed.
func (s raiseSoak) evaluation(ctx context.Context, dsn string, at time.Time) *exec.Cmd {
	cmd := exec.CommandContext(ctx, s.program, "soak", "raise", "--child", dsn, "--from", at.Format(time.RFC3339))
	cmd.Env = append(os.Environ(), s.env...)
	return cmd
}

// killBoth kills two processes that evaluate at the same time and returns the hours they were at.
func (s raiseSoak) killBoth(ctx context.Context, dsn string, at time.Time, longest time.Duration, random *rand.Rand) ([]time.Time, error) {
	hours, errs := make([]time.Time, servers), make([]error, servers)
	var both sync.WaitGroup
	for i := range servers {
		life := time.Duration(random.Int64N(int64(longest)))
		both.Go(func() { hours[i], errs[i] = s.killOnce(ctx, dsn, at, life) })
	}
	both.Wait()
	return hours, errors.Join(errs...)
}

// killOnce starts a process at an hour of the played clock, kills it after its life, and returns the hour it was at.
func (s raiseSoak) killOnce(ctx context.Context, dsn string, at time.Time, life time.Duration) (time.Time, error) {
	cmd := s.evaluation(ctx, dsn, at)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return at, err
	}
	if err := cmd.Start(); err != nil {
		return at, fmt.Errorf("start an evaluation: %w", err)
	}
	hours := bufio.NewScanner(pipe)
	if !hours.Scan() {
		return at, errors.Join(fmt.Errorf("the evaluation ended by itself: %s", stderr.String()), cmd.Wait())
	}
	at, err = time.Parse(time.RFC3339, hours.Text())
	killer := time.AfterFunc(life, func() { _ = cmd.Process.Kill() })
	defer killer.Stop()
	for err == nil && hours.Scan() {
		// The last line may be cut off by the kill; then the hour before it is evaluated again.
		if next, bad := time.Parse(time.RFC3339, hours.Text()); bad == nil {
			at = next
		}
	}
	if failed := cmd.Wait(); failed == nil || stderr.Len() > 0 {
		return at, fmt.Errorf("the evaluation was not killed but ended: %s", stderr.String())
	}
	return at, err
}

// evaluateUntilKilled is the process to be killed: it says each hour before it evaluates it.
func evaluateUntilKilled(ctx context.Context, env environment, dsn string, at time.Time) error {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: dsn})
	if err != nil {
		return err
	}
	defer db.Close()
	e := jobs.Evaluator(db, slog.New(slog.DiscardHandler))
	for ; ; at = at.Add(playedStep) {
		fmt.Fprintln(env.stdout, at.Format(time.RFC3339))
		if _, err := e.Evaluate(ctx, at); err != nil {
			return err
		}
	}
}

// asDrawn reads the sample plants before anything is raised.
func asDrawn(ctx context.Context, db *plantdb.DB, start time.Time) (plants []*outlook.Plant, err error) {
	marks, err := outlook.Marks(ctx, db)
	for _, m := range marks {
		p, err := outlook.Load(ctx, db, assets.JobScope(), m.PlantID, start)
		if err != nil {
			return nil, err
		}
		plants = append(plants, p)
	}
	return plants, err
}

// checkRaisedOnce compares what stands in the database with what the rules propose when each is asked once for
// the whole time, and looks whether rows, orders and their events fit together. It returns how many rows fit.
func checkRaisedOnce(ctx context.Context, db *plantdb.DB, plants []*outlook.Plant, start, end time.Time) (int, error) {
	fit := 0
	for _, p := range plants {
		plant := p.Inputs.Plant.ID
		rows, err := orders.Occurrences(ctx, db, assets.JobScope(), plant, assets.InstantOf(start))
		if err != nil {
			return fit, err
		}
		n, err := compareWhole(p, rows, start, end)
		fit += n
		if err == nil {
			err = checkOrders(ctx, db, plant, rows, assets.InstantOf(start))
		}
		if err != nil {
			return fit, fmt.Errorf("plant %d: %w", plant, err)
		}
	}
	return fit, nil
}

func compareWhole(p *outlook.Plant, rows []rules.Occurrence, start, end time.Time) (int, error) {
	raised := map[rules.Key]int{}
	for _, r := range rows {
		raised[r.Key()]++
	}
	in := p.Inputs
	in.Occurrences, in.Orders = nil, nil
	look := rules.NewOutlook(in)
	wanted := map[rules.Key]bool{}
	for _, r := range in.Rules {
		for _, q := range look.Propose(r, r.Since(time.Time{}, start), end) {
			wanted[q.Key()] = true
			if raised[q.Key()] != 1 {
				return 0, fmt.Errorf("%s, %s, %s: raised %d times, want once", r.Name, q.Target.Name(), q.Cycle, raised[q.Key()])
			}
		}
	}
	for k, n := range raised {
		if n != 1 {
			return 0, fmt.Errorf("rule %d, target %d, %s: raised %d times, want once", k.RuleID, k.TargetID, k.Cycle, n)
		}
		// A rule of life asks for the chance of the hour at which it looks, so asking once for the whole time says nothing of it.
		if !wanted[k] && !ofLife(in.Rules, k.RuleID) {
			return 0, fmt.Errorf("rule %d, target %d, %s: raised and never due", k.RuleID, k.TargetID, k.Cycle)
		}
	}
	return len(raised), nil
}

// ofLife tells whether a rule looks at the chance of failing.
func ofLife(all []rules.Rule, id int64) bool {
	return slices.ContainsFunc(all, func(r rules.Rule) bool { return r.ID == id && r.Trigger.Kind == rules.TriggerLife })
}

// checkOrders looks whether each order of a rule has one row that raised it and one event that says so.
func checkOrders(ctx context.Context, db *plantdb.DB, plant int64, rows []rules.Occurrence, since assets.Instant) error {
	raisedBy := map[int64]int{}
	for _, r := range rows {
		if r.OrderID != 0 && !r.Joined {
			raisedBy[r.OrderID]++
		}
	}
	all, _, err := orders.List(ctx, db, assets.JobScope(), orders.Filter{PlantID: plant})
	if err != nil {
		return err
	}
	for _, o := range all {
		if o.RuleID == 0 || o.RaisedAt < since {
			continue
		}
		events, err := orders.Events(ctx, db, assets.JobScope(), o.ID)
		if err != nil {
			return err
		}
		if raisedBy[o.ID] != 1 || len(events) != 1 || events[0].What != "raised" {
			return fmt.Errorf("order %d: %d rows raised it, its events are %v; want one of each", o.Number, raisedBy[o.ID], events)
		}
		delete(raisedBy, o.ID)
	}
	if len(raisedBy) > 0 {
		return fmt.Errorf("rows point to orders that are not there: %v", raisedBy)
	}
	return nil
}
