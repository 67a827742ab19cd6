// Package jobs joins the scheduler to the database: what it evaluates, what it raises, and the runs planners see.
//
//	laws := new(outlook.LawBook)
//	evaluator := jobs.EvaluatorWith(db, laws, log)
//	go jobs.Run(ctx, db, evaluator, laws, log, time.Now)
package jobs

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/schedule"
	"carryside/schedule/rules"
)

// Store is the scheduler's view of a database.
type Store struct {
	db   *plantdb.DB
	laws *outlook.LawBook
}

var (
	_ schedule.Store = Store{}
	_ schedule.Runs  = Store{}
)

// NewStore returns the scheduler's view of a database.
func NewStore(db *plantdb.DB) Store { return Store{db, &outlook.LawBook{}} }

// Evaluator returns what evaluates the rules of a database's plants. A rule editor asks it to evaluate a plant
// before it keeps an edit.
func Evaluator(db *plantdb.DB, log *slog.Logger) *schedule.Evaluator {
	return EvaluatorWith(db, new(outlook.LawBook), log)
}

// EvaluatorWith is Evaluator with laws that are shared with others.
func EvaluatorWith(db *plantdb.DB, laws *outlook.LawBook, log *slog.Logger) *schedule.Evaluator {
	return schedule.NewEvaluator(Store{db, laws}, log)
}

// Run runs the jobs of an installation, once now and at their ticks, until ctx ends: what falls due is raised, and by
// night laws are fitted anew.
func Run(ctx context.Context, db *plantdb.DB, e *schedule.Evaluator, laws *outlook.LawBook, log *slog.Logger, now func() time.Time) error {
	store := Store{db, laws}
	return schedule.NewRunner(log, now, schedule.EvaluationJob(e, store, now), RefitJob(store, now)).Run(ctx)
}

// Places returns all plants with their marks.
func (s Store) Places(ctx context.Context) ([]schedule.Place, error) {
	marks, err := outlook.Marks(ctx, s.db)
	places := make([]schedule.Place, len(marks))
	for i, m := range marks {
		places[i] = schedule.Place{PlantID: m.PlantID, Mark: fmt.Sprintf("%d and %d", m.Customer, m.Company)}
	}
	return places, err
}

// Load reads one plant as of now.
func (s Store) Load(ctx context.Context, plantID int64, now time.Time) (schedule.Loaded, error) {
	p, err := outlook.Load(ctx, s.db, assets.JobScope(), plantID, now)
	if err != nil {
		return schedule.Loaded{}, err
	}
	if err := p.ForeseeAsked(ctx, s.db, s.laws, now); err != nil {
		return schedule.Loaded{}, err
	}
	return schedule.Loaded{Inputs: p.Inputs, Through: p.Through, Before: p.Before}, nil
}

// Raise keeps what is proposed, with the marks of the rules, in one transaction and one journal entry.
func (s Store) Raise(ctx context.Context, plantID int64, proposals []rules.Proposal, through map[int64]time.Time, now time.Time) (schedule.Raised, error) {
	var n orders.Raised
	act := plantdb.Act{Origin: plantdb.Job, Action: "raise what falls due by rule", Now: now, Plants: []int64{plantID}}
	evaluated := make([]int64, 0, len(through))
	for rule := range through {
		evaluated = append(evaluated, rule)
	}
	err := s.db.Change(ctx, act, func(c *plantdb.Change) (err error) {
		if n, err = orders.Raise(c, plantID, proposals, evaluated, assets.InstantOf(now)); err != nil {
			return err
		}
		return outlook.Answer(c, proposals)
	})
	return schedule.Raised{Orders: n.Orders, Joined: n.Joined, Reminders: n.Reminders}, err
}

// StartRun claims the run of a tick.
func (s Store) StartRun(ctx context.Context, run schedule.Run) (id int64, claimed bool, err error) {
	row := orders.Run{Job: run.Job, DueAt: assets.InstantOf(run.DueAt), StartedAt: assets.InstantOf(run.Started)}
	claimed, err = orders.BeginRun(ctx, s.db, &row)
	return row.ID, claimed, err
}

// keptRuns is how long runs that raised nothing stay on record.
const keptRuns = 7 * 24 * time.Hour

// EndRun keeps how a run ended, and once an hour drops old runs that raised nothing.
func (s Store) EndRun(ctx context.Context, run schedule.Run) error {
	err := orders.EndRun(ctx, s.db, orders.Run{ID: run.ID, Job: run.Job, DueAt: assets.InstantOf(run.DueAt), EndedAt: assets.InstantOf(run.Ended),
		Plants: run.Plants, Raised: run.Raised.Orders, Joined: run.Raised.Joined, Reminders: run.Raised.Reminders, Error: run.Error})
	if err != nil || run.DueAt.Minute() != 0 {
		return err
	}
	return outlook.DropEmptyRuns(ctx, s.db, run.Job, assets.InstantOf(run.DueAt.Add(-keptRuns)))
}
