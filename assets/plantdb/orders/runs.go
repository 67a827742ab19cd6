package orders

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm/clause"
)

// Run is one run of a job: for which tick, from when to when, what it raised, and why it ended early if it did.
type Run struct {
	ID        int64 `gorm:"primaryKey"`
	Job       string
	DueAt     assets.Instant // the tick it was started for: one server runs each
	StartedAt assets.Instant
	EndedAt   assets.Instant // 0: running, or its program ended in between
	Plants    int
	Raised    int
	Joined    int
	Reminders int
	Error     string
}

// TableName is "job_runs".
func (Run) TableName() string { return "job_runs" }

// BeginRun claims a tick of a job. false: another server has it.
func BeginRun(ctx context.Context, db *plantdb.DB, r *Run) (bool, error) {
	mine := false
	err := db.InTx(ctx, func(tx *plantdb.DB) error {
		res := tx.SQL(ctx).Clauses(clause.OnConflict{DoNothing: true}).Create(r)
		mine = res.RowsAffected == 1
		return res.Error
	})
	return mine, err
}

// EndRun records how a run ended.
func EndRun(ctx context.Context, db *plantdb.DB, r Run) error {
	return db.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Model(&Run{}).Where("job = ? AND due_at = ?", r.Job, r.DueAt).
			Select("ended_at", "plants", "raised", "joined", "reminders", "error").Updates(&r).Error
	})
}

// Runs returns the newest runs of a job.
func Runs(ctx context.Context, db *plantdb.DB, job string, limit int) ([]Run, error) {
	var rows []Run
	err := db.SQL(ctx).Where("job = ?", job).Order("due_at DESC").Limit(limit).Find(&rows).Error
	return rows, err
}
