package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/tokens"
)

// crashSoak kills what works on one database at random moments: servers that readings are sent to, a clerk who records
// findings and takes orders on while rules are evaluated, imports. In the end every write that was answered must be
// there, the journal whole and no order half.
//
// control is the same with a server that answers before it has written: it must lose, or the soak could not find a loss.
type crashSoak struct {
	program string // the built program
	self    string // what is run again as the clerk
	selfEnv []string
	dir     string
	dsn     string
	servers int
	kills   int
	seed    uint64
	out     io.Writer

	plant    string // name of the plant that lists are brought in for
	tokens   []string
	asked    atomic.Int64
	round    meterRound
	promised *promises
	killed   atomic.Int64

	mu sync.Mutex
	at time.Time // of the played clock of the clerk
}

// Lives are short enough that many end while something is being written, and long enough that something is.
const (
	shortestServed = 30 * time.Millisecond
	longestServed  = 700 * time.Millisecond
)

func (s *crashSoak) life(random *rand.Rand) time.Duration {
	return shortestServed + time.Duration(random.Int64N(int64(longestServed-shortestServed)))
}

func (s *crashSoak) played() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at
}

func (s *crashSoak) play(at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.at = at
}

// errLost is a write that was answered and is not there.
var errLost = errors.New("answered and lost")

func (s *crashSoak) run(ctx context.Context) error {
	start := time.Now().UTC().Truncate(time.Hour).Add(-time.Hour)
	if err := s.prepare(ctx, start); err != nil {
		return err
	}
	if err := s.killAll(ctx); err != nil {
		return fmt.Errorf("after %d kills (seed %d): %w", s.killed.Load(), s.seed, err)
	}
	if err := s.judge(ctx, start); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%d kills, %d writes answered and %d killed before their answer: every answered one is there, the journal whole, no half order\n",
		s.killed.Load(), s.promised.count(), s.promised.unsure)
	return nil
}

// prepare writes the sample plants, tokens for the senders, and finds the meters they read.
func (s *crashSoak) prepare(ctx context.Context, start time.Time) error {
	s.promised, s.at = newPromises(), start
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: s.dsn, Create: true})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := soakPlants(ctx, db, start); err != nil {
		return err
	}
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	s.plant, s.round.run = plants[0].Name, fmt.Sprintf("s%d", s.seed)
	if err := s.findMeters(ctx, db, plants, start); err != nil {
		return err
	}
	return s.makeTokens(ctx, db, start)
}

func (s *crashSoak) findMeters(ctx context.Context, db *plantdb.DB, plants []assets.Plant, start time.Time) error {
	for _, p := range plants {
		reg, err := registry.PlantAsOf(ctx, db, assets.JobScope(), p.ID, plantdb.AsOf{})
		if err != nil {
			return err
		}
		for _, c := range reg.Conveyors {
			last, err := clocks.LastReadings(ctx, db, assets.JobScope(), c.ID, 1)
			if err != nil {
				return err
			}
			if len(last) == 1 {
				s.round.meters = append(s.round.meters, reading{plant: p.ID, conveyor: c.ID, at: start, shownH: last[0].ShownH + 1})
			}
			if len(s.round.meters) == 12 {
				return nil
			}
		}
	}
	if len(s.round.meters) == 0 {
		return errors.New("the sample plants have no hour meter that was read")
	}
	return nil
}

// makeTokens gives the senders tokens of a planner, many, since each may ask only so often.
func (s *crashSoak) makeTokens(ctx context.Context, db *plantdb.DB, now time.Time) error {
	people, err := registry.People(ctx, db, assets.JobScope(), true)
	if err != nil {
		return err
	}
	planner := int64(0)
	for _, p := range people {
		if p.Role == assets.RolePlanner && p.CustomerID == 0 {
			planner = p.ID
		}
	}
	act := plantdb.Act{Origin: plantdb.Command, Action: "make tokens", Now: now, Company: true}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		if planner == 0 { // the benchmark fleet names nobody
			if planner, err = registry.PersonNamed(c, 0, "I. Vanterel"); err != nil {
				return err
			}
			if err := registry.GiveGrant(c, &assets.Grant{PersonID: planner, Role: assets.RolePlanner}); err != nil {
				return err
			}
		}
		for n := range 30 {
			t := tokens.Token{PersonID: planner, Name: fmt.Sprintf("meter gateway %d", n), May: tokens.MayReadAndEnter, ExpiresAt: assets.InstantOf(now.AddDate(0, 6, 0))}
			secret, err := tokens.Make(c, &t)
			if err != nil {
				return err
			}
			s.tokens = append(s.tokens, secret)
		}
		return nil
	})
}

// killAll lets everybody live and die until there were enough kills.
func (s *crashSoak) killAll(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	lives := []func(context.Context) error{}
	for i := range s.servers {
		lives = append(lives, (&server{soak: s, random: rand.New(rand.NewPCG(s.seed, uint64(i)))}).live)
	}
	lives = append(lives, (&clerk{soak: s, random: rand.New(rand.NewPCG(s.seed, 100))}).live, (&importer{soak: s, random: rand.New(rand.NewPCG(s.seed, 101))}).live)
	errs := make([]error, len(lives))
	var all sync.WaitGroup
	for i, live := range lives {
		all.Go(func() {
			for s.killed.Load() < int64(s.kills) && ctx.Err() == nil {
				if errs[i] = live(ctx); errs[i] != nil {
					stop()
					return
				}
			}
		})
	}
	all.Wait()
	for _, err := range errs { // the first that is no consequence of another
		if err != nil && !errors.Is(err, context.Canceled) {
			return err
		}
	}
	return ctx.Err()
}

// judge opens what is left and compares it with what was answered.
func (s *crashSoak) judge(ctx context.Context, start time.Time) error {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: s.dsn})
	if err != nil {
		return err
	}
	defer db.Close()
	if err := whole(ctx, db, start.UnixMicro()); err != nil {
		return err
	}
	if len(s.promised.failures) > 0 {
		return errors.New(strings.Join(s.promised.failures, "; "))
	}
	missing, err := s.promised.lost(ctx, db)
	if err != nil {
		return err
	}
	answered := s.promised.count()
	if len(missing) > 0 {
		return fmt.Errorf("%w: %d of %d, the first: %s", errLost, len(missing), answered, missing[0])
	}
	if answered < s.kills/4 { // a busy machine answers little in a life
		return fmt.Errorf("%d kills and only %d writes answered: nothing was tried", s.killed.Load(), answered)
	}
	return nil
}

// buildProgram builds the program into a folder; flags make it the control.
func buildProgram(ctx context.Context, root, dir, name string, flags ...string) (string, error) {
	name = filepath.Join(dir, name)
	build := exec.CommandContext(ctx, "go", append(append([]string{"build"}, flags...), "-o", name, "./cmd/carryside")...)
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w: %s", err, out)
	}
	return name, nil
}

// runCrash is 'soak crash' as a developer starts it: the program, and then the control, which must lose.
func runCrash(ctx context.Context, env environment, s *crashSoak) error {
	dir, err := os.MkdirTemp("", "soak-crash")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := s.settle(ctx, env, dir); err != nil {
		return err
	}
	if err := s.run(ctx); err != nil {
		return err
	}
	return controlLoses(ctx, env, s, dir)
}

// settle gives a harness its program, built into a folder, and a database there where none was named.
func (s *crashSoak) settle(ctx context.Context, env environment, dir string) (err error) {
	if s.self, err = os.Executable(); err != nil {
		return err
	}
	if s.program, err = buildProgram(ctx, env.root, dir, "carryside"); err != nil {
		return err
	}
	s.dir, s.out = dir, env.stdout
	if s.dsn == "" {
		s.dsn = filepath.Join(dir, "soak.db")
	}
	return nil
}

// controlLoses kills the control until it has lost something.
func controlLoses(ctx context.Context, env environment, s *crashSoak, dir string) error {
	program, err := buildProgram(ctx, env.root, dir, "control", "-tags", "control", "-ldflags", "-X carryside/assets/plantdb.control=early")
	if err != nil {
		return err
	}
	early := &crashSoak{program: program, self: s.self, selfEnv: s.selfEnv, dir: dir,
		dsn: filepath.Join(dir, "control.db"), servers: 1, kills: 30, seed: s.seed, out: io.Discard}
	err = early.run(ctx)
	if !errors.Is(err, errLost) {
		return fmt.Errorf("the control, which answers before it has written, lost nothing that was found (%w): the soak finds no losses", err)
	}
	fmt.Fprintf(env.stdout, "the control, which answers before it has written: %v\n", err)
	return nil
}
