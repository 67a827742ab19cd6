package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// loadSoak lets everything that works on an installation work on it at once: a server that is read and written to, a clerk
// who writes and evaluates rules, reports, backups, imports. Nobody is killed, and nobody may be told that the database is
// locked.
type loadSoak struct {
	crashSoak
	lasts time.Duration

	pages, reports, backups, imports atomic.Int64
	heard                            told
	slow                             latencies
}

// told keeps what processes wrote on standard error.
type told struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (t *told) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.text.Write(p)
}

// lines are those in which a word stands.
func (t *told) lines(word string) (found []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for line := range strings.Lines(t.text.String()) {
		if strings.Contains(line, word) {
			found = append(found, strings.TrimSpace(line))
		}
	}
	return found
}

// latencies are how long writes took until they were answered.
type latencies struct {
	mu  sync.Mutex
	all []time.Duration
}

func (l *latencies) add(d time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, d)
}

// at is the latency that a share of them did not pass.
func (l *latencies) at(share float64) time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.all) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(l.all))
	return sorted[min(len(sorted)-1, int(share*float64(len(sorted))))]
}

func (s *loadSoak) run(ctx context.Context) error {
	start := time.Now().UTC().Truncate(time.Hour).Add(-time.Hour)
	if err := s.prepare(ctx, start); err != nil {
		return err
	}
	cmd, base, err := s.serve(ctx, &s.heard)
	if err != nil {
		return err
	}
	working, stop := context.WithTimeout(ctx, s.lasts)
	defer stop()
	failed := s.work(working, base)
	_ = cmd.Process.Signal(syscall.SIGTERM)
	if err := cmd.Wait(); err != nil {
		failed = errors.Join(failed, fmt.Errorf("the server did not stop in order: %w", err))
	}
	if failed != nil {
		return failed
	}
	if locked := s.heard.lines("locked"); len(locked) > 0 {
		return fmt.Errorf("somebody was told %d times that the database is locked, first: %s", len(locked), locked[0])
	}
	if err := s.judge(ctx, start); err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%v: %d writes answered (median %v, 99th %v, slowest %v), %d reads, %d reports, %d backups, %d imports; nobody was told that the database is locked\n",
		s.lasts, s.promised.count(), s.slow.at(0.5), s.slow.at(0.99), s.slow.at(1), s.pages.Load(), s.reports.Load(), s.backups.Load(), s.imports.Load())
	for what, n := range map[string]int64{"reads": s.pages.Load(), "reports": s.reports.Load(), "backups": s.backups.Load(), "imports": s.imports.Load()} {
		if n == 0 {
			return fmt.Errorf("there were no %s: not everything was tried", what)
		}
	}
	return nil
}

// work lets all of them work until the time is over; the first that fails ends it.
func (s *loadSoak) work(ctx context.Context, base string) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	jobs := []func(context.Context) error{
		func(ctx context.Context) error { return s.write(ctx, base, 0) },
		func(ctx context.Context) error { return s.write(ctx, base, 1) },
		func(ctx context.Context) error { return s.read(ctx, base) },
		func(ctx context.Context) error { return s.read(ctx, base) },
		s.clerk, s.report, s.backup, s.bringIn,
	}
	errs := make([]error, len(jobs))
	var all sync.WaitGroup
	for i, job := range jobs {
		all.Go(func() {
			if errs[i] = job(ctx); errs[i] != nil {
				stop()
			}
		})
	}
	all.Wait()
	return errors.Join(errs...)
}

// writesEvery is the pace of one writer: two of them make the fifty writes a second of a busy round.
const writesEvery = 40 * time.Millisecond

func (s *loadSoak) write(ctx context.Context, base string, sender int) error {
	client := &http.Client{Timeout: time.Minute}
	tick := time.NewTicker(writesEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		r := s.round.next()
		began := time.Now()
		answered, err := s.enter(context.WithoutCancel(ctx), client, base, r, sender)
		if err != nil {
			return fmt.Errorf("send a reading: %w", err)
		}
		if answered {
			s.slow.add(time.Since(began))
			s.promised.keep(r.what())
		}
	}
}

// read asks for what a screen shows, page after page.
func (s *loadSoak) read(ctx context.Context, base string) error {
	client := &http.Client{Timeout: time.Minute}
	paths := []string{"/plants", "/plants/1/conveyors", "/plants/2/orders", "/plants/2/conveyors", "/plants/3/conveyors", "/plants/1/orders"}
	for n := 0; ctx.Err() == nil; n++ {
		request, err := http.NewRequest(http.MethodGet, base+"/api/v1"+paths[n%len(paths)], nil)
		if err != nil {
			return err
		}
		request.Header.Set("Authorization", "Bearer "+s.tokens[s.asked.Add(1)%int64(len(s.tokens))])
		answer, err := client.Do(request)
		if err != nil {
			return fmt.Errorf("read a page: %w", err)
		}
		text, err := io.ReadAll(answer.Body)
		if err = errors.Join(err, answer.Body.Close()); err != nil {
			return fmt.Errorf("read a page: %w", err)
		}
		switch answer.StatusCode {
		case http.StatusOK:
			s.pages.Add(1)
		case http.StatusTooManyRequests:
		default:
			return fmt.Errorf("%s was answered %d: %s", request.URL.Path, answer.StatusCode, tail(string(text)))
		}
		pause(ctx, 50*time.Millisecond)
	}
	return nil
}

func pause(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// clerk is the one of the other soak, who lives as long as this lasts.
func (s *loadSoak) clerk(ctx context.Context) error {
	c := clerk{soak: &s.crashSoak, random: rand.New(rand.NewPCG(s.seed, 100))}
	return c.liveFor(ctx, s.lasts)
}

// again runs a command of the program again and again, with a file of its own each time that is gone afterwards.
func (s *loadSoak) again(ctx context.Context, counted *atomic.Int64, rest time.Duration, file string, args ...string) error {
	for ctx.Err() == nil {
		dir, err := os.MkdirTemp(s.dir, "again")
		if err != nil {
			return err
		}
		name := filepath.Join(dir, file)
		full := append(slices.Clone(args), "--db", s.dsn)
		for i := range full {
			full[i] = strings.ReplaceAll(full[i], "FILE", name)
		}
		cmd := exec.Command(s.program, full...) // not ended with ctx: a backup under way may finish
		cmd.Stderr = &s.heard
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("carryside %s: %w: %s", args[0], err, strings.Join(s.heard.lines("carryside:"), "; "))
		}
		counted.Add(1)
		if err := os.RemoveAll(dir); err != nil { // a report has its proof beside it
			return err
		}
		pause(ctx, rest)
	}
	return nil
}

func (s *loadSoak) report(ctx context.Context) error {
	return s.again(ctx, &s.reports, time.Second, "ages.xlsx", "export", "splice-age", "--out", "FILE")
}

func (s *loadSoak) backup(ctx context.Context) error {
	return s.again(ctx, &s.backups, time.Second, "copy.db", "backup", "FILE")
}

// bringIn imports a small list every few seconds.
func (s *loadSoak) bringIn(ctx context.Context) error {
	i := importer{soak: &s.crashSoak}
	for ctx.Err() == nil {
		if err := i.bring(context.WithoutCancel(ctx), 0); err != nil {
			return err
		}
		s.imports.Add(1)
		pause(ctx, 3*time.Second)
	}
	return nil
}

// runLoad is 'soak load' as a developer starts it.
func runLoad(ctx context.Context, env environment, s *loadSoak) error {
	dir, err := os.MkdirTemp("", "soak-load")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := s.settle(ctx, env, dir); err != nil {
		return err
	}
	return s.run(ctx)
}
