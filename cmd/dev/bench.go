package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
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
	file    string // the fleet as it was given
	db      string // a copy of it: a measurement writes
	table   benchTable
	now     time.Time
}

// runBench prints the table.
func runBench(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	requests := flags.Int("requests", 300, "requests a page")
	only := flags.String("only", "", "measure only: pages, evaluation, refit, replan, register, readings, import, verify, backup")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if flags.NArg() != 1 && *only != "verify" { // which builds its own
		return fmt.Errorf("%w: say which file: bench FILE (made by dev fleet)", errUsage)
	}
	dir, err := os.MkdirTemp("", "carryside-bench")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	b := &bench{ctx: ctx, env: env, dir: dir, program: filepath.Join(dir, "carryside"), file: flags.Arg(0), table: benchTable{env.stdout}}
	return b.measure(*only, *requests)
}

// benchGroup is a group of measurements that can be run alone.
type benchGroup struct {
	name string
	run  func() error
}

// measure runs the groups of measurements, or the one named. Those that raise orders get a copy of their own.
func (b *bench) measure(only string, requests int) error {
	groups := []benchGroup{{"pages", func() error { return b.pages(requests) }}, {"evaluation", b.evaluation}, {"refit", b.refit}, {"replan", b.replan}, {"register", b.register}, {"readings", b.readings}, {"import", b.imports}, {"verify", b.verify}, {"backup", b.backup}}
	if only != "" {
		groups = slices.DeleteFunc(groups, func(g benchGroup) bool { return g.name != only })
	}
	if len(groups) == 0 {
		return fmt.Errorf("%w: --only %s: write pages, evaluation, refit, replan, register, readings, import, verify or backup", errUsage, only)
	}
	if only != "refit" && only != "replan" { // which run in this process
		if err := b.build(); err != nil {
			return err
		}
	}
	b.table.began(filepath.Base(b.file), time.Now())
	for i, g := range groups {
		if g.name != "verify" && (i == 0 || g.name == "evaluation" || g.name == "backup") {
			if err := b.copy(); err != nil {
				return err
			}
		}
		if err := g.run(); err != nil {
			return fmt.Errorf("measure %s: %w", g.name, err)
		}
	}
	fmt.Fprintf(b.env.stdout, "\nended under load %s\n", loadAverage())
	return nil
}

func (b *bench) build() error {
	build := exec.CommandContext(b.ctx, "go", "build", "-o", b.program, "./cmd/carryside")
	build.Dir = b.env.root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build the program: %w: %s", err, out)
	}
	return nil
}

// copy copies the fleet anew, over the copy before, and brings the copy to the program's own schema.
func (b *bench) copy() error {
	b.db = filepath.Join(b.dir, "fleet.db")
	for _, part := range []string{"-wal", "-shm"} { // they belong to the copy before
		if err := os.Remove(b.db + part); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	src, err := os.Open(b.file)
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
	if err != nil {
		return err
	}
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	return db.Close()
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
	u, err := watch(cmd)
	if err != nil {
		return u, fmt.Errorf("carryside %s: %w: %s", strings.Join(args, " "), err, said.String())
	}
	return u, nil
}

// watch runs a process to its end. Its peak of memory is looked up while it runs: what the system says of a process
// that has ended is at least what the one that started it held.
func watch(cmd *exec.Cmd) (u used, err error) {
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return u, err
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for running := true; running; {
		select {
		case err = <-ended:
			running = false
		case <-time.After(5 * time.Millisecond):
			if now, known := statusMiB(cmd.Process.Pid, "VmHWM:"); known == nil {
				u.peakMiB = max(u.peakMiB, now)
			}
		}
	}
	u.wall, u.cpu = time.Since(began), cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime()
	return u, err
}

// statusMiB reads a size off what Linux says of a process.
func statusMiB(pid int, name string) (float64, error) {
	raw, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, err
	}
	_, after, _ := strings.Cut(string(raw), name)
	var kib float64
	_, err = fmt.Sscan(after, &kib)
	return kib / 1024, err
}

// line is what a process cost as a line of the table.
func (u used) line(what, aim string) benchLine {
	return benchLine{what, seconds(u.cpu), seconds(u.wall), "", mebibytes(u.peakMiB), aim}
}

// register writes the splice age register of the whole fleet, beside it an empty one and a bare stream of as many of
// its cells by the spreadsheet library alone.
func (b *bench) register() error {
	b.table.head("splice age register, workbook", "CPU", "wall", "", "peak memory")
	bare, err := b.bareStream()
	if err != nil {
		return err
	}
	b.table.line(bare.line("60,000 rows of its cells, bare stream", "(to compare with)"))
	empty, err := b.run("export", "splice-age", "--db", b.db, "--scope", "plant=Plant 007,line=Line 1,conveyor=C001", "--out", filepath.Join(b.dir, "one.xlsx"))
	if err != nil {
		return err
	}
	b.table.line(empty.line("one conveyor's", "(to compare with)"))
	whole, err := b.run("export", "splice-age", "--db", b.db, "--out", filepath.Join(b.dir, "whole.xlsx"))
	if err != nil {
		return err
	}
	b.table.line(whole.line("the whole fleet's with its forecasts", "under 20 s wall"))
	b.table.line(benchLine{"above the bare stream; above one conveyor's", seconds(whole.cpu - bare.cpu), "", "", mebibytes(whole.peakMiB - empty.peakMiB), "at most 80 MiB"})
	return nil
}

// bareStream runs the benchmark of the reports that streams such cells with the spreadsheet library alone, in a
// process of its own so that its CPU time and memory are counted as the program's are.
func (b *bench) bareStream() (used, error) {
	binary := filepath.Join(b.dir, "reports.test")
	build := exec.CommandContext(b.ctx, "go", "test", "-c", "-o", binary, "./reports")
	build.Dir = b.env.root
	if out, err := build.CombinedOutput(); err != nil {
		return used{}, fmt.Errorf("build the benchmark: %w: %s", err, out)
	}
	cmd := exec.CommandContext(b.ctx, binary, "-test.run", "^$", "-test.bench", "^BenchmarkBareStream$", "-test.benchtime", "1x")
	cmd.Dir = filepath.Join(b.env.root, "reports")
	var out strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &out
	u, err := watch(cmd)
	if err == nil && !strings.Contains(out.String(), "BenchmarkBareStream") {
		err = errors.New("there is no such benchmark")
	}
	if err != nil {
		return u, fmt.Errorf("run the bare stream: %w: %s", err, out.String())
	}
	return u, nil
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
	b.table.head("rule evaluation of the whole fleet", "CPU", "wall", "plants", "orders")
	quiet := slog.New(slog.DiscardHandler)
	e := jobs.Evaluator(db, quiet)
	for i, name := range []string{"the first: it raises", "an hour later, after a restart", "a minute later"} {
		if i == 1 {
			e = jobs.Evaluator(db, quiet) // as after a restart: nothing remembered
		}
		now = now.Add([]time.Duration{0, time.Hour, time.Minute}[i])
		before, began := cpuOfSelf(), time.Now()
		n, err := e.Evaluate(b.ctx, now)
		if err != nil {
			return err
		}
		b.table.line(benchLine{name, seconds(cpuOfSelf() - before), seconds(time.Since(began)), fmt.Sprint(n.Plants), fmt.Sprint(n.Orders), "under 30 s"})
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
	cmd := exec.CommandContext(b.ctx, b.program, "serve", "--db", b.db, "--listen", "127.0.0.1:0", "--pages-per-second", "0") // one browser asks as fast as it can
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
	return statusMiB(s.cmd.Process.Pid, "VmRSS:")
}

// places are the plants measured: the smallest and the largest.
func (b *bench) places() ([]place, error) {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if b.now, err = fleetNow(b.ctx, db); err != nil {
		return nil, err
	}
	sizes, err := registry.Sizes(b.ctx, db, assets.JobScope(), 0)
	if err != nil {
		return nil, err
	}
	if len(sizes) == 0 {
		return nil, errors.New("this file holds no plants; make a fleet with dev fleet --out FILE")
	}
	bySize := func(x, y registry.PlantSize) int { return x.Conveyors - y.Conveyors }
	var out []place
	for _, s := range []registry.PlantSize{slices.MinFunc(sizes, bySize), slices.MaxFunc(sizes, bySize)} {
		c, err := registry.ConveyorByTag(b.ctx, db, assets.JobScope(), s.PlantID, "C007")
		if err != nil {
			return nil, err
		}
		out = append(out, place{s.PlantID, c.ID, s.Conveyors})
	}
	return out, nil
}
