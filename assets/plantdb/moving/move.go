package moving

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"carryside/assets/plantdb"
	"carryside/migrations"
)

// Move carries an installation that nobody has open to a new place: another SQLite file, or an empty PostgreSQL database.
// The source stays as it was.
//
// ErrInUse (of plantdb) when a program has the source open, ErrNotEmpty when the target holds an installation.
func Move(ctx context.Context, from, to string, said Progress) (all []Digest, err error) {
	source, release, err := openAlone(ctx, from)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, source.Close()); release() }()
	if !isAddress(to) {
		return moveIntoFile(ctx, source, to, said)
	}
	target, err := plantdb.Open(ctx, plantdb.Config{DSN: to})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, target.Close()) }()
	if err := target.AloneHere(ctx); err != nil {
		return nil, err
	}
	return Carry(ctx, source, target, said)
}

func isAddress(dsn string) bool { return strings.Contains(dsn, "://") }

// openAlone opens a source that no server writes to any more; what was written after the copy would be lost.
func openAlone(ctx context.Context, from string) (db *plantdb.DB, release func(), err error) {
	as := plantdb.Config{DSN: from, AsItIs: true}
	db, err = plantdb.Open(ctx, as)
	if err != nil {
		return nil, nil, err
	}
	if db.Engine() == migrations.PostgreSQL {
		if err := db.AloneHere(ctx); err != nil {
			return nil, nil, errors.Join(err, db.Close())
		}
		return db, func() {}, nil
	}
	path := db.Path()
	if err := db.Close(); err != nil {
		return nil, nil, err
	}
	if release, err = migrations.Hold(path); err != nil {
		return nil, nil, err
	}
	if err = plantdb.Alone(ctx, path); err == nil {
		db, err = plantdb.Open(ctx, as)
	}
	if err != nil {
		release()
		return nil, nil, err
	}
	return db, release, nil
}

func moveIntoFile(ctx context.Context, source *plantdb.DB, to string, said Progress) (all []Digest, err error) {
	if to, err = filepath.Abs(to); err != nil {
		return nil, err
	}
	if _, err := os.Lstat(to); err == nil {
		return nil, fmt.Errorf("%s is there already; give a name that is free", to)
	}
	w, err := newWorkshop(to)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	if all, err = carryInto(ctx, source, w.file, said); err != nil {
		return nil, err
	}
	if err := w.finish(ctx); err != nil {
		return nil, err
	}
	return all, w.name(to)
}
