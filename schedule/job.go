package schedule

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/robfig/cron/v3"
)

// Job is something done at ticks of cron, and once when the program starts. Doing it again, late or beside
// another server must be harmless.
type Job struct {
	Name string
	Spec string // cron expression, UTC
	Do   func(ctx context.Context, now time.Time) error
}

// Runner starts jobs. It decides nothing: a tick that is missed is made up for by the job itself.
type Runner struct {
	log  *slog.Logger
	now  func() time.Time
	jobs []Job
}

// NewRunner returns a runner of jobs; now is the clock they are run by.
func NewRunner(log *slog.Logger, now func() time.Time, jobs ...Job) *Runner {
	return &Runner{log: log, now: now, jobs: jobs}
}

// Run runs every job once, then at its ticks, until ctx ends, and waits for those under way. A job that still
// runs at its next tick is passed over; one that panics is logged and runs again at its next tick.
func (r *Runner) Run(ctx context.Context) error {
	c := cron.New(cron.WithLocation(time.UTC), cron.WithLogger(cronLog{r.log}))
	var first []cron.Job
	for _, j := range r.jobs {
		wrapped := cron.NewChain(cron.SkipIfStillRunning(cronLog{r.log})).Then(cron.FuncJob(func() { r.do(ctx, j) }))
		if _, err := c.AddJob(j.Spec, wrapped); err != nil {
			return fmt.Errorf("job %q has no readable tick %q: %w", j.Name, j.Spec, err)
		}
		first = append(first, wrapped)
	}
	var started sync.WaitGroup
	for _, j := range first {
		started.Go(j.Run)
	}
	c.Start()
	<-ctx.Done()
	<-c.Stop().Done()
	started.Wait()
	return nil
}

// do runs a job once and turns a panic into a line of the log.
func (r *Runner) do(ctx context.Context, j Job) {
	defer func() {
		if p := recover(); p != nil {
			r.log.ErrorContext(ctx, "job panicked", "job", j.Name, "panic", p, "stack", string(debug.Stack()))
		}
	}()
	if ctx.Err() != nil {
		return
	}
	if err := j.Do(ctx, r.now()); err != nil && ctx.Err() == nil {
		r.log.ErrorContext(ctx, "job failed", "job", j.Name, "error", err)
	}
}

// cronLog writes cron's own words to our log; every tick of it is too much.
type cronLog struct{ log *slog.Logger }

// Info logs what cron says of its ticks, for debugging.
func (l cronLog) Info(msg string, keysAndValues ...any) { l.log.Debug("cron: "+msg, keysAndValues...) }

// Error logs what cron reports as wrong.
func (l cronLog) Error(err error, msg string, keysAndValues ...any) {
	l.log.Error("cron: "+msg, append(keysAndValues, "error", err)...)
}

// Run is one run of a job, as planners see it.
type Run struct {
	ID      int64
	Job     string
	DueAt   time.Time // the tick
	Started time.Time
	Ended   time.Time
	Plants  int
	Raised  Raised
	Error   string // "" when all went well; else one sentence for each plant that failed
}

// Runs keeps what jobs did where a planner can see it.
type Runs interface {
	// StartRun claims the run of a tick: of servers that try, one gets it. It keeps when it began.
	StartRun(ctx context.Context, run Run) (id int64, claimed bool, err error)
	// EndRun keeps how a run ended.
	EndRun(ctx context.Context, run Run) error
}

// everyMinute is the finest tick that orders need: what is planned for 06:00 is raised by 06:01.
const everyMinute = "* * * * *"

// EvaluationJob raises what falls due, every minute. Of several servers one takes a tick; one that dies on it
// leaves the work to the next tick. clock tells when a run ended.
func EvaluationJob(e *Evaluator, runs Runs, clock func() time.Time) Job {
	return Job{Name: "raise", Spec: everyMinute, Do: func(ctx context.Context, now time.Time) error {
		run := Run{Job: "raise", DueAt: now.Truncate(time.Minute), Started: now}
		id, claimed, err := runs.StartRun(ctx, run)
		if err != nil || !claimed {
			return err
		}
		run.ID = id
		done, failed := evaluateGuarded(ctx, e, now)
		run.Ended, run.Plants, run.Raised = clock(), done.Plants, done.Raised
		if failed != nil {
			run.Error = strings.Join(strings.Fields(failed.Error()), " ")
		}
		// The run is closed also when the program is being stopped.
		if err := runs.EndRun(context.WithoutCancel(ctx), run); err != nil {
			return err
		}
		return failed
	}}
}

// evaluateGuarded keeps a panic from leaving a run that never ended.
func evaluateGuarded(ctx context.Context, e *Evaluator, now time.Time) (done Evaluation, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the evaluation broke off: %v", p)
		}
	}()
	return e.Evaluate(ctx, now)
}
