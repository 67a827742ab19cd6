package machine

import (
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/server/health"
)

// job is the name of the job that evaluates the rules.
const job = "raise"

// lately is how old the last evaluation of the rules may be: it runs every minute.
const lately = 5 * time.Minute

// Condition is how an installation stands, as its server's health asks.
type Condition struct {
	DB  *plantdb.DB
	Now func() time.Time
}

var _ health.Facts = Condition{}

// Ready returns nil where the database answers, took the last write, has the program's own schema and its rules were
// evaluated lately, by this server or another. It writes nothing to find out: each evaluation writes that it ran, every
// minute, so that a full disk shows by itself, and so does the room that was made.
func (c Condition) Ready(ctx context.Context, now time.Time) error {
	has, wants, err := c.DB.Version(ctx)
	if err != nil {
		return err
	}
	if has != wants {
		return health.Missing(fmt.Sprintf("the database has the number %d and this program %d", has, wants))
	}
	if why := c.DB.Refused(); why != nil {
		return health.Missing("the last write was refused: " + why.Trouble())
	}
	last, err := LastEvaluation(ctx, c.DB)
	switch {
	case errors.Is(err, assets.ErrNotFound):
		return health.Missing("starting: the rules are evaluated for the first time")
	case err != nil:
		return err
	case now.Sub(last.EndedAt.Time()) > lately:
		return health.Missing("the rules were not evaluated for more than five minutes")
	}
	return nil
}

// LastEvaluation returns the newest run of the rules that ended; assets.ErrNotFound when none did.
func LastEvaluation(ctx context.Context, db *plantdb.DB) (orders.Run, error) {
	runs, err := orders.Runs(ctx, db, job, 20) // the newest ones may be under way, or their servers gone
	for _, r := range runs {
		if r.EndedAt != 0 {
			return r, nil
		}
	}
	if err == nil {
		err = assets.ErrNotFound
	}
	return orders.Run{}, err
}

// Figures returns how the installation stands.
func (c Condition) Figures(ctx context.Context) (f health.Figures, err error) {
	var sums struct{ Evaluations, Failed, Raised, Joined, Reminders int64 }
	// Runs that raised nothing are dropped after a week; their numbers rise all the same.
	err = c.DB.SQL(ctx).Raw(`SELECT coalesce(max(id), 0) AS evaluations, coalesce(sum(CASE WHEN error <> '' THEN 1 ELSE 0 END), 0) AS failed,
		coalesce(sum(raised), 0) AS raised, coalesce(sum(joined), 0) AS joined, coalesce(sum(reminders), 0) AS reminders
		FROM job_runs WHERE job = ?`, job).Scan(&sums).Error
	if err != nil {
		return f, err
	}
	f = health.Figures{Evaluations: sums.Evaluations, Failed: sums.Failed, Raised: sums.Raised, Joined: sums.Joined, Reminders: sums.Reminders}
	if f.JournalEntries, err = c.DB.EntryCount(ctx); err != nil {
		return f, err
	}
	if f.DatabaseBytes, err = c.DB.SizeBytes(ctx); err != nil {
		return f, err
	}
	if f.HeldReadings, err = HeldReadings(ctx, c.DB); err != nil {
		return f, err
	}
	if last, err := LastEvaluation(ctx, c.DB); err == nil {
		f.LastEvaluation = last.EndedAt.Time()
	}
	if f.Sessions, err = c.sessions(ctx); err != nil {
		return f, err
	}
	for _, p := range c.DB.PoolUses() {
		f.Pools = append(f.Pools, health.Pool{Name: p.Name, Open: p.OpenConnections, InUse: p.InUse, Waits: p.WaitCount, Waited: p.WaitDuration})
	}
	return f, nil
}

// idle is how long after its last use a session is over.
const idle = 12 * time.Hour

// sessions counts the sessions that are not over.
func (c Condition) sessions(ctx context.Context) (n int64, err error) {
	now := c.Now()
	err = c.DB.SQL(ctx).Raw("SELECT count(*) FROM sessions WHERE ended_at IS NULL AND ends_at > ? AND used_at > ?",
		assets.InstantOf(now), assets.InstantOf(now.Add(-idle))).Scan(&n).Error
	return n, err
}

// HeldReadings counts the readings that wait for a person.
func HeldReadings(ctx context.Context, db *plantdb.DB) (n int64, err error) {
	err = db.SQL(ctx).Raw("SELECT count(*) FROM held_readings WHERE decision = ''").Scan(&n).Error
	return n, err
}
