package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync"
	"time"

	"carryside/cmd/carryside/planfile"
	"carryside/schedule/plan"
)

// planCommand plans a case: it lets someone outside see and judge the plan that the planner makes of it.
type planCommand struct {
	Case  string  `arg:"" name:"case.json" help:"The case: windows, conveyors, persons, tools, stock and jobs as JSON."`
	Time  float64 `env:"-" default:"10" placeholder:"S" help:"Seconds from the program's start after which the best plan so far is printed."`
	Seed  uint64  `env:"-" default:"1" placeholder:"N" help:"Sets the course of the search; the same seed takes the same course."`
	Steps int     `env:"-" default:"0" placeholder:"N" help:"Counted steps after which the search ends, within the time; 0 for no such end."`
}

// maxCaseBytes bounds a case; one of 3,000 jobs is a fiftieth of it.
const maxCaseBytes = 64 << 20

// memoryGoal is what the collector of rubbish works towards; a case of 3,000 jobs needs less than half of it.
const memoryGoal = 400 << 20

// exitInfeasible is the code for a case whose locks contradict each other.
const exitInfeasible = 3

// reserve is kept back from the time for printing the plan.
const reserve = 60 * time.Millisecond

// errInfeasible ends the command when the answer, already printed, is that the locks contradict each other.
var errInfeasible = errors.New("the locks contradict each other")

// Run prints the plan as one JSON object; progress goes to standard error.
func (c *planCommand) Run(ctx context.Context, p *Program) error {
	started := p.Now()
	if !(c.Time > 0) || c.Time > 1e6 {
		return &UsageError{"the time must be above 0 and at most 1000000 seconds"}
	}
	if c.Steps < 0 {
		return &UsageError{"the steps must not be negative"}
	}
	text, err := readCase(c.Case)
	if err != nil {
		return err
	}
	read, err := planfile.Read(text)
	if err != nil {
		return fmt.Errorf("%s: %w", c.Case, err)
	}
	debug.SetMemoryLimit(memoryGoal)
	t := newTeller(p.Stderr, func() time.Duration { return p.Now().Sub(started) })
	limit := time.Duration(c.Time * float64(time.Second))
	found, err := solved(ctx, read, plan.Settings{
		Seed: c.Seed, Steps: c.Steps, Limit: max(limit-reserve, limit/2), Clock: t.used, Tell: t.tell,
	})
	t.end()
	if err != nil {
		return fmt.Errorf("%s: %w", c.Case, err)
	}
	return c.print(p.Stdout, read, found, t.used())
}

// solved plans the case. A panic would be our mistake, and even that ends in one line.
func solved(ctx context.Context, c *plan.Case, s plan.Settings) (found *plan.Plan, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the planner made a mistake, please report it with the case: %v", r)
		}
	}()
	return plan.Solve(ctx, c, s)
}

// print writes the plan.
func (c *planCommand) print(w io.Writer, read *plan.Case, found *plan.Plan, used time.Duration) error {
	out := bufio.NewWriterSize(w, 1<<16)
	if err := planfile.Write(out, read, found, c.Seed, used); err != nil {
		return fmt.Errorf("the plan cannot be written: %w", err)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("the plan cannot be written: %w", err)
	}
	if found.Status == plan.Infeasible {
		return errInfeasible
	}
	return nil
}

// readCase reads a case whole.
func readCase(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("the case cannot be read: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxCaseBytes+1))
	if err != nil {
		return nil, fmt.Errorf("the case cannot be read: %w", err)
	}
	if len(text) > maxCaseBytes {
		return nil, fmt.Errorf("%s is larger than %d MB; split it by plant", name, maxCaseBytes>>20)
	}
	return text, nil
}

// A teller writes progress lines: at the first plan, at improvements, at least every few seconds and never too many.
type teller struct {
	w    io.Writer
	used func() time.Duration
	stop chan struct{}
	done sync.WaitGroup

	mu      sync.Mutex // guards what follows
	latest  plan.Progress
	any     bool
	written bool // whether latest is written
	at      time.Duration
}

// Between two lines pass at least tellEvery and at most tellAtLeast.
const (
	tellEvery   = 110 * time.Millisecond
	tellAtLeast = 4 * time.Second
)

// newTeller starts a teller.
func newTeller(w io.Writer, used func() time.Duration) *teller {
	t := &teller{w: w, used: used, stop: make(chan struct{}), at: -tellAtLeast}
	t.done.Go(t.keep)
	return t
}

// tell hears of progress.
func (t *teller) tell(p plan.Progress) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.latest, t.any, t.written = p, true, false
	t.write()
}

// write writes the latest line when it is time for one.
func (t *teller) write() {
	now := t.used()
	if wait := now - t.at; !t.any || wait < tellEvery || t.written && wait < tellAtLeast {
		return
	}
	t.at, t.written = now, true
	// Progress that nobody can read stops nothing.
	_ = planfile.WriteProgress(t.w, t.latest, now)
}

// keep writes lines that came too soon after another, and one every few seconds when nothing changes.
func (t *teller) keep() {
	ticks := time.NewTicker(tellEvery)
	defer ticks.Stop()
	for {
		select {
		case <-t.stop:
			return
		case <-ticks.C:
			t.mu.Lock()
			t.write()
			t.mu.Unlock()
		}
	}
}

// end stops the teller.
func (t *teller) end() {
	close(t.stop)
	t.done.Wait()
}
