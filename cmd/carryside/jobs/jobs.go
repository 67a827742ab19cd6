// Package jobs joins the scheduler to the database: what it evaluates, what it raises, and the runs planners see.
//
//	evaluator := jobs.Evaluator(db, log)
//	go jobs.Run(ctx, db, evaluator, log, time.Now)
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
	"carryside/assets/plantdb/registry"
	"carryside/schedule"
	"carryside/schedule/rules"
)

// Store is the scheduler's view of a database.
type Store struct{ db *plantdb.DB }

var (
	_ schedule.Store = Store{}
	_ schedule.Runs  = Store{}
)

// NewStore returns the scheduler's view of a database.
func NewStore(db *plantdb.DB) Store { return Store{db} }

// Evaluator returns what evaluates the rules of a database's plants. A rule editor asks it to evaluate a plant
// before it keeps an edit.
func Evaluator(db *plantdb.DB, log *slog.Logger) *schedule.Evaluator {
	return schedule.NewEvaluator(NewStore(db), log)
}

// Run runs the jobs of an installation, once now and at their ticks, until ctx ends.
func Run(ctx context.Context, db *plantdb.DB, e *schedule.Evaluator, log *slog.Logger, now func() time.Time) error {
	return schedule.NewRunner(log, now, schedule.EvaluationJob(e, NewStore(db), now)).Run(ctx)
}

// Places returns all plants. A plant's mark is how far its customer's journal and the company's reach: whatever
// rules rest on is written through one of the two.
func (s Store) Places(ctx context.Context) ([]schedule.Place, error) {
	company, err := s.db.CompanyPosition(ctx)
	if err != nil {
		return nil, err
	}
	var rows []struct {
		ID   int64
		Head int64
	}
	err = s.db.SQL(ctx).Raw(`SELECT p.id AS id, c.head_position AS head FROM plants p JOIN chains c ON c.customer_id = p.customer_id
		WHERE p.known_to IS NULL AND p.valid_to IS NULL ORDER BY p.id`).Scan(&rows).Error
	places := make([]schedule.Place, len(rows))
	for i, r := range rows {
		places[i] = schedule.Place{PlantID: r.ID, Mark: fmt.Sprintf("%d and %d", r.Head, company)}
	}
	return places, err
}

// Load reads one plant as of now.
func (s Store) Load(ctx context.Context, plantID int64, now time.Time) (schedule.Loaded, error) {
	p, err := outlook.Load(ctx, s.db, assets.JobScope(), plantID, now)
	if err != nil {
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
		return answer(c, proposals)
	})
	return schedule.Raised{Orders: n.Orders, Joined: n.Joined, Reminders: n.Reminders}, err
}

// answer points findings to the orders that rules raised for them: a finding of grade 3 or more ends in an order
// or in a signed refusal, and whoever looks at it sees which.
func answer(c *plantdb.Change, proposals []rules.Proposal) error {
	for _, p := range proposals {
		if p.Target.FindingID == 0 || p.Reminder() {
			continue
		}
		var order int64
		err := c.Tx().Raw(`SELECT order_id FROM occurrences WHERE rule_id = ? AND target_kind = ? AND target_id = ? AND cycle = ? AND withdrawal_no = ?`,
			p.Rule.ID, p.Target.Kind, p.Target.ID, p.Cycle, p.WithdrawalNo).Scan(&order).Error
		if err != nil {
			return err
		}
		if order == 0 || order == p.Target.FollowUpOrderID {
			continue
		}
		if err := registry.FollowUp(c, p.Target.FindingID, order); err != nil {
			return err
		}
	}
	return nil
}

// StartRun claims the run of a tick.
func (s Store) StartRun(ctx context.Context, run schedule.Run) (id int64, claimed bool, err error) {
	row := orders.Run{Job: run.Job, DueAt: assets.InstantOf(run.DueAt), StartedAt: assets.InstantOf(run.Started)}
	claimed, err = orders.BeginRun(ctx, s.db, &row)
	return row.ID, claimed, err
}

// EndRun keeps how a run ended.
func (s Store) EndRun(ctx context.Context, run schedule.Run) error {
	return orders.EndRun(ctx, s.db, orders.Run{ID: run.ID, Job: run.Job, DueAt: assets.InstantOf(run.DueAt), EndedAt: assets.InstantOf(run.Ended),
		Plants: run.Plants, Raised: run.Raised.Orders, Joined: run.Raised.Joined, Reminders: run.Raised.Reminders, Error: run.Error})
}
