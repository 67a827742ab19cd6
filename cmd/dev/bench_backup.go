package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
)

// The backup is measured by what it does to those who write meanwhile: fifty readings a second are entered, each in a change
// of its own, at their time whether or not those before are written, and each counts from the time it was due. What a
// server does around the write (sign-in, looking at the plant) is left out: it is the same with and without a backup.
const (
	sentEvery    = time.Second / 50
	warmedUp     = 5 * time.Second
	turns        = 4
	turnLasts    = 15 * time.Second
	mostUnderWay = 500
)

// backup measures writes without a backup and while backups are made, in turn.
func (b *bench) backup() error {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	round, err := b.meters(db)
	if err != nil {
		return err
	}
	b.table.head("50 readings a second, from due to written", "median", "99th", "slowest", "")
	var without, during latencies
	var took []time.Duration
	if err := b.sent(db, round, &latencies{}, pauseFor(warmedUp)); err != nil {
		return err
	}
	for range turns { // in turn, since a machine is not as busy at one minute as at the next
		if err := b.sent(db, round, &without, pauseFor(turnLasts)); err != nil {
			return err
		}
		if err := b.sent(db, round, &during, b.backups(&took)); err != nil {
			return err
		}
	}
	of := func(what string, l *latencies, aim string) {
		b.table.line(benchLine{what, millis(l.at(0.5)), millis(l.at(0.99)), millis(l.at(1)), fmt.Sprintf("%d", len(l.all)), aim})
	}
	of("with no backup beside", &without, "")
	of("while backups are made", &during, fmt.Sprintf("(%d backups, the longest %s, verified)", len(took), seconds(slices.Max(took))))
	moved := 100 * (float64(during.at(0.99))/float64(without.at(0.99)) - 1)
	b.table.line(benchLine{what: "the 99th is moved by", wall: fmt.Sprintf("%+.0f %%", moved), aim: "under 20 %"})
	return nil
}

// meters are conveyors of the fleet's first plants with what their meters showed last.
func (b *bench) meters(db *plantdb.DB) (*meterRound, error) {
	plants, err := registry.Plants(b.ctx, db, assets.JobScope())
	if err != nil {
		return nil, err
	}
	s := crashSoak{}
	if err := s.findMeters(b.ctx, db, plants, time.Now().UTC().Add(-time.Hour)); err != nil {
		return nil, err
	}
	return &meterRound{meters: s.round.meters, run: "bench"}, nil
}

// pauseFor is a time in which nothing happens beside.
func pauseFor(d time.Duration) func(context.Context) error {
	return func(ctx context.Context) error { pause(ctx, d); return ctx.Err() }
}

// backups makes backups one after the other as long as a turn lasts, one at least.
func (b *bench) backups(took *[]time.Duration) func(context.Context) error {
	return func(ctx context.Context) error {
		for began := time.Now(); time.Since(began) < turnLasts; {
			file := filepath.Join(b.dir, fmt.Sprintf("backup-%d.db", len(*took)))
			from := time.Now()
			if out, err := exec.CommandContext(ctx, b.program, "backup", file, "--db", b.db).CombinedOutput(); err != nil {
				return fmt.Errorf("back up: %w: %s", err, out)
			}
			*took = append(*took, time.Since(from))
			if err := os.Remove(file); err != nil {
				return err
			}
		}
		return nil
	}
}

// sent enters readings while something else goes on.
func (b *bench) sent(db *plantdb.DB, round *meterRound, into *latencies, meanwhile func(context.Context) error) error {
	stop, ended := make(chan struct{}), make(chan error, 1)
	go func() { ended <- meanwhile(b.ctx); close(stop) }()
	var under atomic.Int64
	var all sync.WaitGroup
	var failed told
	tick := time.NewTicker(sentEvery)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			all.Wait()
			if lines := failed.lines("failed"); len(lines) > 0 {
				return errors.Join(<-ended, errors.New(strings.Join(lines[:min(3, len(lines))], "; ")))
			}
			return <-ended
		case due := <-tick.C:
			if under.Add(1) > mostUnderWay {
				return fmt.Errorf("%d readings wait to be written: this machine does not take 50 a second", mostUnderWay)
			}
			r := round.next()
			all.Go(func() {
				defer under.Add(-1)
				if err := enterReading(b.ctx, db, r); err != nil {
					fmt.Fprintln(&failed, "failed:", err)
					return
				}
				into.add(time.Since(due))
			})
		}
	}
}

// enterReading is what a screen does with a reading that is typed in.
func enterReading(ctx context.Context, db *plantdb.DB, r reading) error {
	act := plantdb.Act{Origin: plantdb.Screen, Action: "enter a reading", Now: time.Now(), Plants: []int64{r.plant}}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: r.conveyor, At: assets.InstantOf(r.at), ShownH: r.shownH})
		return err
	})
}
