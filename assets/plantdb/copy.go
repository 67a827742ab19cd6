package plantdb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"time"

	"carryside/migrations"
)

// poolUse is what connections to a SQLite file are for.
type poolUse int

const (
	poolWrites poolUse = iota // the one that writes
	poolReads                 // cannot write
	poolCopies                // cannot write to the file, but copy it into another
	poolCloses                // brings the write-ahead log into the file and leaves one plain file
)

// CopyTo writes the SQLite database as it stands at one moment into a new file, while others read and write.
func (db *DB) CopyTo(ctx context.Context, file string) (err error) {
	if db.engine != migrations.SQLite {
		return errors.New("only a SQLite file is copied as a file")
	}
	pool, err := sqlitePool(db.path, poolCopies, db.wait)
	if err != nil {
		return sqliteSentence(db.path, err)
	}
	defer func() { err = errors.Join(err, pool.Close()) }()
	written := make(chan struct{})
	defer syncMeanwhile(file, written)()
	defer close(written)
	if _, err := pool.ExecContext(ctx, "VACUUM INTO ?", file); err != nil {
		return sqliteSentence(file, err)
	}
	return nil
}

// syncEvery is how often a growing copy is brought to the disk: left to the end, those who write meanwhile would wait
// behind the whole of it.
const syncEvery = 100 * time.Millisecond

// syncMeanwhile brings a growing file to the disk bit by bit until written is closed; the function it returns waits for the
// end. What fails here fails again when the whole file is synced.
func syncMeanwhile(file string, written <-chan struct{}) (wait func()) {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(syncEvery)
		defer tick.Stop()
		for {
			select {
			case <-written:
				return
			case <-tick.C:
			}
			if f, err := os.Open(file); err == nil {
				_ = errors.Join(f.Sync(), f.Close())
			}
		}
	}()
	return func() { <-ended }
}

// aloneWait is how long Alone waits for another program to let go.
const aloneWait = time.Second

// ErrInUse is refused work on a database that a program has open.
var ErrInUse = errors.New("is in use; stop the program that has it open and try again")

// Alone brings everything of a SQLite file into the one file, so that it can be renamed or copied; ErrInUse when any
// other program has it open.
func Alone(ctx context.Context, path string) (err error) {
	pool, err := sqlitePool(path, poolCloses, aloneWait)
	if err != nil {
		return sqliteSentence(path, err)
	}
	pool.SetMaxOpenConns(1)
	defer func() { err = errors.Join(err, pool.Close()) }()
	var mode string
	err = pool.QueryRowContext(ctx, "PRAGMA journal_mode=DELETE").Scan(&mode)
	if sqliteFault(err) == faultBusy || err == nil && mode != "delete" {
		return fmt.Errorf("%s %w", path, ErrInUse)
	}
	return sqliteSentence(path, err)
}

// Fill runs fn on a connection in one transaction: all of it or nothing. It is for carrying a whole installation into an
// empty database, journal and all; whatever a person or a job writes goes through Change.
func (db *DB) Fill(ctx context.Context, fn func(*sql.Conn) error) (err error) {
	conn, err := db.pools[0].Conn(ctx)
	if err != nil {
		return db.fromDriver(err)
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	begin := "BEGIN"
	if db.engine == migrations.SQLite {
		begin = "BEGIN IMMEDIATE"
	}
	if _, err := conn.ExecContext(ctx, begin); err != nil {
		return db.fromDriver(err)
	}
	if err := fn(conn); err != nil {
		_, undone := conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK")
		return errors.Join(db.sentence(err), undone)
	}
	_, err = conn.ExecContext(ctx, "COMMIT")
	return db.fromDriver(err)
}
