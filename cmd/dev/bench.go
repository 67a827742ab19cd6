package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"text/tabwriter"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/jobs"
)

// bench measures a built program on a copy of a fleet and prints one table. It measures and never judges: the aims
// stand beside the figures.
type bench struct {
	ctx     context.Context
	env     environment
	program string // the built carryside
	dir     string // its folder
	db      string // the copy
	table   *tabwriter.Writer
	now     time.Time
	only    string
}

// runBench prints the table.
func runBench(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	requests := flags.Int("requests", 300, "requests a page")
	only := flags.String("only", "", "measure only: pages, evaluation, register, import, readings")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if flags.NArg() != 1 {
		return fmt.Errorf("%w: say which file: bench FILE (made by dev fleet)", errUsage)
	}
	dir, err := os.MkdirTemp("", "carryside-bench")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	b := &bench{ctx: ctx, env: env, dir: dir, program: filepath.Join(dir, "carryside"), db: filepath.Join(dir, "fleet.db"), only: *only}
	if err := b.prepare(flags.Arg(0)); err != nil {
		return err
	}
	b.table = tabwriter.NewWriter(env.stdout, 0, 4, 2, ' ', 0)
	steps := []struct {
		name string
		run  func() error
	}{{"register", b.register}, {"evaluation", b.evaluation}, {"pages", func() error { return b.pages(*requests) }}, {"readings", b.readings}, {"import", b.imports}}
	for _, s := range steps {
		if b.only != "" && b.only != s.name {
			continue
		}
		if err := s.run(); err != nil {
			return fmt.Errorf("measure %s: %w", s.name, err)
		}
		b.table.Flush()
	}
	return nil
}

// prepare builds the program and copies the fleet: a measurement writes.
func (b *bench) prepare(file string) error {
	build := exec.CommandContext(b.ctx, "go", "build", "-o", b.program, "./cmd/carryside")
	build.Dir = b.env.root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build the program: %w: %s", err, out)
	}
	src, err := os.Open(file)
	if err != nil {
		return err
	}
	defer src.Close()
	dst, err := os.Create(b.db)
	if err != nil {
		return err
	}
	_, err = io.Copy(dst, src)
	if closed := dst.Close(); err == nil {
		err = closed
	}
	return err
}

// row prints one line: what, the figures, the aim.
func (b *bench) row(what, figures, aim string) {
	fmt.Fprintf(b.table, "%s\t%s\t%s\n", what, figures, aim)
}

// used is what a process cost.
type used struct {
	cpu, wall time.Duration
	peakMiB   float64
}

// run runs the program once and returns what it cost.
func (b *bench) run(args ...string) (used, error) {
	cmd := exec.CommandContext(b.ctx, b.program, args...)
	var said strings.Builder
	cmd.Stderr = &said
	began := time.Now()
	err := cmd.Run()
	u := used{wall: time.Since(began)}
	if err != nil {
		return u, fmt.Errorf("carryside %s: %w: %s", strings.Join(args, " "), err, said.String())
	}
	return u.of(cmd.ProcessState), nil
}

func (u used) of(s *os.ProcessState) used {
	u.cpu = s.UserTime() + s.SystemTime()
	if r, ok := s.SysUsage().(*syscall.Rusage); ok {
		u.peakMiB = float64(r.Maxrss) / 1024
	}
	return u
}

func (u used) String() string {
	return fmt.Sprintf("%.2f s cpu, %.2f s wall, peak %.0f MiB", u.cpu.Seconds(), u.wall.Seconds(), u.peakMiB)
}

// register writes the splice age register of the whole fleet, and an empty one beside it.
func (b *bench) register() error {
	empty, err := b.run("export", "splice-age", "--db", b.db, "--scope", "plant=Plant 007,line=Line 1,conveyor=C001", "--out", filepath.Join(b.dir, "one.xlsx"))
	if err != nil {
		return err
	}
	b.row("register workbook, one conveyor", empty.String(), "")
	whole, err := b.run("export", "splice-age", "--db", b.db, "--out", filepath.Join(b.dir, "whole.xlsx"))
	if err != nil {
		return err
	}
	b.row("register workbook, whole fleet", whole.String(), fmt.Sprintf("at most 80 MiB above the one conveyor's: %+.0f MiB", whole.peakMiB-empty.peakMiB))
	return nil
}

// evaluation evaluates the rules of the whole fleet three times: the first raises, the second looks at everything
// again, the third passes over what did not change.
func (b *bench) evaluation() error {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	now, err := fleetNow(b.ctx, db)
	if err != nil {
		return err
	}
	quiet := slog.New(slog.DiscardHandler)
	e := jobs.Evaluator(db, quiet)
	for i, name := range []string{"evaluation, whole fleet, first", "evaluation, whole fleet, an hour later", "evaluation, whole fleet, a minute later"} {
		if i == 1 {
			e = jobs.Evaluator(db, quiet) // as after a restart: nothing remembered
		}
		now = now.Add([]time.Duration{0, time.Hour, time.Minute}[i])
		before, began := cpuOfSelf(), time.Now()
		n, err := e.Evaluate(b.ctx, now)
		if err != nil {
			return err
		}
		b.row(name, fmt.Sprintf("%.1f s cpu, %.1f s wall", (cpuOfSelf()-before).Seconds(), time.Since(began).Seconds()),
			fmt.Sprintf("under 30 s; %d plants looked at, %d orders, %d joined", n.Plants, n.Orders, n.Joined))
	}
	return nil
}

// fleetNow is the moment the fleet stands at: its newest journal entry.
func fleetNow(ctx context.Context, db *plantdb.DB) (time.Time, error) {
	var at assets.Instant
	err := db.SQL(ctx).Raw("SELECT coalesce(max(head_at), 0) FROM chains").Scan(&at).Error
	if err == nil && at == 0 {
		err = fmt.Errorf("this file holds no fleet; make one with dev fleet --out FILE")
	}
	return at.Time(), err
}

func cpuOfSelf() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// serving is a server under measurement.
type serving struct {
	cmd   *exec.Cmd
	base  string
	start time.Duration
}

// serve starts the program on the copy and waits until it says its address.
func (b *bench) serve() (*serving, error) {
	cmd := exec.CommandContext(b.ctx, b.program, "serve", "--db", b.db, "--listen", "127.0.0.1:0")
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "Open "); ok {
			return &serving{cmd: cmd, base: strings.TrimSpace(address), start: time.Since(began)}, nil
		}
	}
	return nil, fmt.Errorf("the server said no address: %w", cmd.Wait())
}

func (s *serving) stop() {
	_ = s.cmd.Process.Signal(syscall.SIGTERM)
	_ = s.cmd.Wait()
}

// cpu is what the server has used so far.
func (s *serving) cpu() (time.Duration, error) {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", s.cmd.Process.Pid))
	if err != nil {
		return 0, err
	}
	_, after, _ := strings.Cut(string(raw), ") ")
	f := strings.Fields(after)
	var user, system int64
	if _, err := fmt.Sscan(f[11]+" "+f[12], &user, &system); err != nil {
		return 0, err
	}
	return time.Duration(user+system) * (time.Second / 100), nil // clock ticks of Linux are a hundredth
}

// resident is the server's memory in MiB.
func (s *serving) resident() (float64, error) {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid))
	if err != nil {
		return 0, err
	}
	_, after, _ := strings.Cut(string(raw), "VmRSS:")
	var kib float64
	_, err = fmt.Sscan(after, &kib)
	return kib / 1024, err
}

// places are the plants measured: one with 20 conveyors, one with 300.
func (b *bench) places() (small, large int64, conveyor map[int64]int64, err error) {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return 0, 0, nil, err
	}
	defer db.Close()
	if b.now, err = fleetNow(b.ctx, db); err != nil {
		return 0, 0, nil, err
	}
	sizes, err := registry.Sizes(b.ctx, db, assets.JobScope(), 0)
	if err != nil {
		return 0, 0, nil, err
	}
	least, most := 1<<30, 0
	for _, s := range sizes {
		if s.Conveyors < least {
			least, small = s.Conveyors, s.PlantID
		}
		if s.Conveyors > most {
			most, large = s.Conveyors, s.PlantID
		}
	}
	conveyor = map[int64]int64{}
	for _, p := range []int64{small, large} {
		c, err := registry.ConveyorByTag(b.ctx, db, assets.JobScope(), p, "C007")
		if err != nil {
			return 0, 0, nil, err
		}
		conveyor[p] = c.ID
	}
	return small, large, conveyor, nil
}
