package plantdb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime"
	"slices"

	"carryside/migrations"

	"gorm.io/gorm"
)

// mostReaders is how many connections look at one moment beside each other.
const mostReaders = 4

// ofOneMoment hands over several connections that all see the journal of the same moment; inside a transaction, only
// that.
func (db *DB) ofOneMoment(ctx context.Context, fn func(readers []*DB) error) error {
	if db.tx != nil {
		return fn([]*DB{db})
	}
	n := min(mostReaders, runtime.GOMAXPROCS(0))
	if db.engine == migrations.PostgreSQL {
		return db.sharedSnapshot(ctx, n, fn)
	}
	for range 50 {
		err := db.equalSnapshots(ctx, n, fn)
		if !errors.Is(err, errWrittenBetween) {
			return err
		}
	}
	// Somebody writes all the time: one connection sees one moment by itself.
	return db.equalSnapshots(ctx, 1, fn)
}

// errWrittenBetween is a write between the beginnings of two transactions.
var errWrittenBetween = errors.New("written in between")

// equalSnapshots begins transactions one after the other and compares the heads of their chains: every fact moves a
// head, so equal heads see equal facts.
func (db *DB) equalSnapshots(ctx context.Context, n int, fn func([]*DB) error) (err error) {
	var readers []*DB
	defer func() { err = errors.Join(err, endAll(readers)) }()
	var first []chainRow
	for range n {
		r, err := db.beginReading(ctx)
		if err != nil {
			return err
		}
		readers = append(readers, r)
		var heads []chainRow
		if err := r.SQL(ctx).Order("id").Find(&heads).Error; err != nil {
			return err
		}
		if first == nil {
			first = heads
		}
		if !slices.Equal(first, heads) {
			return errWrittenBetween
		}
	}
	return fn(readers)
}

// sharedSnapshot begins transactions on the snapshot of the first (PostgreSQL manual, "Snapshot Synchronization
// Functions").
func (db *DB) sharedSnapshot(ctx context.Context, n int, fn func([]*DB) error) (err error) {
	var readers []*DB
	defer func() { err = errors.Join(err, endAll(readers)) }()
	var snapshot string
	for i := range n {
		r, err := db.beginReading(ctx)
		if err != nil {
			return err
		}
		readers = append(readers, r)
		if i == 0 {
			err = r.SQL(ctx).Raw("SELECT pg_export_snapshot()").Scan(&snapshot).Error
		} else {
			err = r.SQL(ctx).Exec("SET TRANSACTION SNAPSHOT '" + snapshot + "'").Error
		}
		if err != nil {
			return fmt.Errorf("share a snapshot: %w", err)
		}
	}
	return fn(readers)
}

func (db *DB) beginReading(ctx context.Context) (*DB, error) {
	opts := &sql.TxOptions{ReadOnly: true}
	if db.engine == migrations.PostgreSQL {
		opts.Isolation = sql.LevelRepeatableRead
	}
	tx := db.read.WithContext(ctx).Begin(opts)
	if tx.Error != nil {
		return nil, tx.Error
	}
	inside := *db
	inside.tx = tx
	return &inside, nil
}

func endAll(readers []*DB) error {
	var errs []error
	for _, r := range readers {
		if err := r.tx.Rollback().Error; err != nil && !errors.Is(err, gorm.ErrInvalidTransaction) && !errors.Is(err, sql.ErrTxDone) {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}
