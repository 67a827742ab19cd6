// Package migrations is the schema of both database engines as numbered SQL, and the code that brings
// a database to the newest number. It knows no fact of a plant and no driver: the caller hands it an
// open database.
//
// A change of schema is one file in each of sqlite/ and postgres/ with one number; numbers only go up.
package migrations

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed sqlite/*.sql postgres/*.sql
var files embed.FS

// Engine names a database engine; it is also the folder of its files.
type Engine string

// Engines.
const (
	SQLite     Engine = "sqlite"
	PostgreSQL Engine = "postgres"
)

// ErrNewer is refused work on a database that a newer program has upgraded.
var ErrNewer = errors.New("the database was upgraded by a newer Carryside; start that version or restore the copy set aside before its upgrade")

// ErrOlder is refused to a command that only reads: it does not upgrade what a running server may be using.
var ErrOlder = errors.New("the database is of an earlier Carryside; start carryside serve of this version once to upgrade it, with no earlier one running")

// Files returns an engine's SQL files.
func Files(engine Engine) (fs.FS, error) { return fs.Sub(files, string(engine)) }

// Apply brings an open database to the newest number and returns the number it had (0: empty).
// Several programs may call it at once on PostgreSQL: the first applies, the others wait and find it done. On a
// SQLite file the caller holds the file meanwhile (see Hold).
//
// path is the SQLite file; "" for PostgreSQL. A file with data is copied aside first (see Aside). Each numbered file
// is one transaction: killed anywhere, the next call goes on behind the last that is whole.
func Apply(ctx context.Context, db *sql.DB, engine Engine, path string) (from int64, err error) {
	provider, err := newProvider(db, engine)
	if err != nil {
		return 0, err
	}
	from, newest, err := provider.GetVersions(ctx)
	switch {
	case err != nil:
		return 0, fmt.Errorf("read the database's number: %w", err)
	case from > newest:
		return from, ErrNewer
	case from == newest:
		return from, nil
	}
	if engine == SQLite && from > 0 {
		if err := setAside(ctx, db, path, from); err != nil {
			return from, err
		}
	}
	if _, err := provider.Up(ctx); err != nil {
		return from, fmt.Errorf("upgrade the database: %w", err)
	}
	return from, nil
}

// Hold waits until nobody else opens, upgrades or replaces a SQLite file and keeps them away until release is called.
func Hold(path string) (release func(), err error) { return lockFile(path + ".lock") }

// Unneeded removes the file that Hold locked, by whoever holds it: nothing came of what it was held for, and no database
// stands beside it.
func Unneeded(path string) error {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return dropLock(path + ".lock")
}

// Check returns nil where the database has the program's own number, and changes nothing.
func Check(ctx context.Context, db *sql.DB, engine Engine) error {
	provider, err := newProvider(db, engine)
	if err != nil {
		return err
	}
	from, newest, err := provider.GetVersions(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("read the database's number: %w", err)
	case from > newest:
		return ErrNewer
	case from < newest:
		return ErrOlder
	}
	return nil
}

func newProvider(db *sql.DB, engine Engine) (*goose.Provider, error) {
	files, err := Files(engine)
	if err != nil {
		return nil, err
	}
	if engine == SQLite {
		return goose.NewProvider(goose.DialectSQLite3, db, files)
	}
	// The wait between two looks at the lock is a second, not the library's five.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 120))
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectPostgres, db, files, goose.WithSessionLocker(locker))
}
