package jobs

import (
	"context"
	"fmt"
	"strings"
	"time"

	"carryside/assets/plantdb/outlook"
	"carryside/schedule"
)

// refitAt is when laws are fitted anew: 01:00 UTC, after most plants have entered the day's readings.
const refitAt = "0 1 * * *"

// RefitJob fits the laws of customers anew each night and keeps them in the store's book, which screens and rules forecast
// by. It runs when the program starts too, since the book is empty then; of several servers each fills its own book, and the
// one that claims the tick keeps the run on record. clock tells when a run ended.
func RefitJob(s Store, clock func() time.Time) schedule.Job {
	nightly := outlook.Nightly{Book: s.laws}
	return schedule.Job{Name: "refit", Spec: refitAt, Do: func(ctx context.Context, now time.Time) error {
		run := schedule.Run{Job: "refit", DueAt: refitTick(now), Started: now}
		id, claimed, err := s.StartRun(ctx, run)
		if err != nil {
			return err
		}
		run.ID = id
		night, failed := refitGuarded(ctx, &nightly, s, now)
		if !claimed {
			return failed
		}
		run.Ended, run.Plants = clock(), night.Plants
		if failed != nil {
			run.Error = strings.Join(strings.Fields(failed.Error()), " ")
		}
		// The run is closed also when the program is being stopped.
		if err := s.EndRun(context.WithoutCancel(ctx), run); err != nil {
			return err
		}
		return failed
	}}
}

// refitGuarded keeps a panic from leaving a run that never ended.
func refitGuarded(ctx context.Context, n *outlook.Nightly, s Store, now time.Time) (night outlook.Night, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("fitting laws anew broke off: %v", p)
		}
	}()
	return n.Run(ctx, s.db, now)
}

// refitTick is the last tick of the job at or before now.
func refitTick(now time.Time) time.Time {
	now = now.UTC()
	tick := time.Date(now.Year(), now.Month(), now.Day(), 1, 0, 0, 0, time.UTC)
	if tick.After(now) {
		return tick.AddDate(0, 0, -1)
	}
	return tick
}
