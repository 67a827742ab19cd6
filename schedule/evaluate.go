package schedule

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"carryside/schedule/rules"
)

// Place is a plant with a mark that changes with everything its rules rest on: register, readings, findings,
// orders, the rules themselves.
type Place struct {
	PlantID int64
	Mark    string
}

// Loaded is one plant as its rules see it, with the instant through which each of them was evaluated.
type Loaded struct {
	Inputs  rules.Inputs
	Through map[int64]time.Time // by rule; absent: never
	Before  []rules.Rule        // versions that were in force after Through and ended: what they planned by then is still raised
}

// Raised counts what an evaluation wrote.
type Raised struct {
	Orders    int // new orders
	Joined    int // occurrences that point to an order that was open already
	Reminders int // occurrences of rules of thumb, without an order
}

// Add adds up two counts.
func (r Raised) Add(s Raised) Raised {
	return Raised{r.Orders + s.Orders, r.Joined + s.Joined, r.Reminders + s.Reminders}
}

// Store is what the evaluation asks of the database.
type Store interface {
	// Places returns all plants in use with their marks.
	Places(ctx context.Context) ([]Place, error)
	// Load reads one plant as of now; all of it of one moment.
	Load(ctx context.Context, plantID int64, now time.Time) (Loaded, error)
	// Raise keeps, in one transaction, each proposal whose key is not there yet, with the order it raises or
	// joins, and the instant through which these rules were evaluated. Raising the same again changes nothing.
	Raise(ctx context.Context, plantID int64, proposals []rules.Proposal, through map[int64]time.Time, now time.Time) (Raised, error)
}

// Evaluator evaluates the rules of all plants. It remembers, in memory only, when the next occurrence of a
// plant can fall, and passes over plants that have nothing to raise before it and did not change: cost follows
// what happened, not the size of the fleet.
type Evaluator struct {
	store Store
	log   *slog.Logger

	mu   sync.Mutex
	next map[int64]outlook // by plant; guarded by mu
}

// outlook is what is known of a plant until it changes.
type outlook struct {
	mark string
	at   time.Time // nothing is raised before
}

// lookAhead is how far ahead the next occurrence is looked for: a plant is looked at once a day at least.
const lookAhead = 24 * time.Hour

// markAge is how old the mark through which a rule was evaluated may grow while nothing is raised. An older
// mark costs a longer look back, never an occurrence.
const markAge = 6 * time.Hour

// NewEvaluator returns an evaluator that knows nothing yet.
func NewEvaluator(store Store, log *slog.Logger) *Evaluator {
	return &Evaluator{store: store, log: log, next: map[int64]outlook{}}
}

// Evaluation is what one evaluation came to.
type Evaluation struct {
	Raised
	Plants  int // plants looked at
	Skipped int // plants without a change and with nothing due
}

// Evaluate evaluates all plants through now, one after the other. A plant that fails is named in the error and
// does not hold up the others; what it would have raised is raised the next time.
func (e *Evaluator) Evaluate(ctx context.Context, now time.Time) (Evaluation, error) {
	var sum Evaluation
	places, err := e.store.Places(ctx)
	if err != nil {
		return sum, fmt.Errorf("list the plants to evaluate: %w", err)
	}
	var failed []error
	for _, p := range places {
		if err := ctx.Err(); err != nil {
			return sum, errors.Join(append(failed, err)...)
		}
		if e.nothingBefore(p, now) {
			sum.Skipped++
			continue
		}
		raised, err := e.evaluate(ctx, p, now)
		sum.Plants++
		sum.Raised = sum.Raised.Add(raised)
		if err != nil {
			failed = append(failed, fmt.Errorf("evaluate plant %d: %w", p.PlantID, err))
		}
	}
	return sum, errors.Join(failed...)
}

// EvaluatePlant evaluates one plant through now, whatever is remembered of it: before a rule is edited, so
// that what its old version had to raise by then is raised.
func (e *Evaluator) EvaluatePlant(ctx context.Context, plantID int64, now time.Time) (Raised, error) {
	raised, err := e.evaluate(ctx, Place{PlantID: plantID}, now)
	if err != nil {
		return raised, fmt.Errorf("evaluate plant %d: %w", plantID, err)
	}
	return raised, nil
}

func (e *Evaluator) nothingBefore(p Place, now time.Time) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	known, ok := e.next[p.PlantID]
	return ok && known.mark == p.Mark && now.Before(known.at)
}

func (e *Evaluator) remember(p Place, at time.Time) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.next[p.PlantID] = outlook{mark: p.Mark, at: at}
}

func (e *Evaluator) evaluate(ctx context.Context, p Place, now time.Time) (Raised, error) {
	loaded, err := e.store.Load(ctx, p.PlantID, now)
	if err != nil {
		return Raised{}, err
	}
	look := rules.NewOutlook(loaded.Inputs)
	proposals := propose(look, loaded, now)
	var raised Raised
	if through := progress(loaded, len(proposals) > 0, now); len(through) > 0 || len(proposals) > 0 {
		if raised, err = e.store.Raise(ctx, p.PlantID, proposals, through, now); err != nil {
			return raised, err
		}
	}
	if len(proposals) > 0 {
		e.log.InfoContext(ctx, "rules evaluated", "plant", p.PlantID, "orders", raised.Orders, "joined", raised.Joined, "reminders", raised.Reminders)
	}
	e.remember(p, nextRaising(look, loaded, now))
	return raised, nil
}

// propose asks every rule, old versions first, for what is to be raised by now.
func propose(look *rules.Outlook, l Loaded, now time.Time) []rules.Proposal {
	var out []rules.Proposal
	taken := map[rules.Key]bool{}
	ask := func(r rules.Rule, until time.Time) {
		for _, p := range look.Propose(r, r.Since(l.Through[r.ID], now), until) {
			if !taken[p.Key()] {
				taken[p.Key()] = true
				out = append(out, p)
			}
		}
	}
	for _, r := range l.Before {
		if r.ValidTo != nil && r.ValidTo.Time().Before(now) {
			ask(r, r.ValidTo.Time())
		}
	}
	for _, r := range l.Inputs.Rules {
		ask(r, now)
	}
	return out
}

// progress returns the marks to be kept: all of them when something is raised, else those grown old and those of
// rules that changed. A mark is
// never set back: a server whose clock is behind leaves it.
func progress(l Loaded, raises bool, now time.Time) map[int64]time.Time {
	through := map[int64]time.Time{}
	for _, r := range l.Before {
		through[r.ID] = now
	}
	for _, r := range l.Inputs.Rules {
		mark, known := l.Through[r.ID]
		if !known || raises && now.After(mark) || now.Sub(mark) > markAge {
			through[r.ID] = now
		}
	}
	return through
}

// nextRaising returns the first instant after now at which any rule raises something on what is known now.
func nextRaising(look *rules.Outlook, l Loaded, now time.Time) time.Time {
	next := now.Add(lookAhead)
	for _, r := range l.Inputs.Rules {
		if at, found := look.First(r, now, next); found {
			next = at
		}
	}
	return next
}
