package plantdb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"carryside/assets"
	"carryside/migrations"

	"github.com/pressly/goose/v3"
)

// This file is how a database stands: for whoever watches a server or looks after an installation.

// PoolUse is how the connections of one kind are used.
type PoolUse struct {
	Name string // write or read
	sql.DBStats
}

// PoolUses returns how the connections are used.
func (db *DB) PoolUses() []PoolUse {
	names := []string{"write", "read"}
	var out []PoolUse
	for i, p := range db.pools {
		if i < len(names) {
			out = append(out, PoolUse{names[i], p.Stats()})
		}
	}
	return out
}

// SizeBytes returns how large the database is; of a SQLite file with its write-ahead log.
func (db *DB) SizeBytes(ctx context.Context) (int64, error) {
	var size int64
	if db.engine == migrations.PostgreSQL {
		err := db.SQL(ctx).Raw("SELECT pg_database_size(current_database())").Scan(&size).Error
		return size, err
	}
	for _, name := range []string{db.path, db.path + "-wal"} {
		info, err := os.Stat(name)
		switch {
		case err == nil:
			size += info.Size()
		case !errors.Is(err, os.ErrNotExist):
			return 0, err
		}
	}
	return size, nil
}

// Version returns the number of the database's schema and the program's own.
func (db *DB) Version(ctx context.Context) (has, wants int64, err error) {
	if err := db.SQL(ctx).Raw("SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied").Scan(&has).Error; err != nil {
		return 0, 0, fmt.Errorf("read the database's number: %w", err)
	}
	files, err := migrations.Files(db.engine)
	if err != nil {
		return has, 0, err
	}
	entries, err := fs.ReadDir(files, ".")
	for _, e := range entries {
		n, bad := goose.NumericComponent(e.Name())
		if bad != nil {
			return has, 0, bad
		}
		wants = max(wants, n)
	}
	return has, wants, err
}

// Safety is what a SQLite file's writes rest on.
type Safety struct {
	JournalMode string // wal
	Synchronous int64  // 0 off, 1 normal, 2 full, 3 extra
	ForeignKeys bool
}

// Safety returns what the writing connection of a SQLite file says of itself; the zero Safety for PostgreSQL.
func (db *DB) Safety(ctx context.Context) (s Safety, err error) {
	if db.engine != migrations.SQLite {
		return s, nil
	}
	one := func(pragma string, to any) {
		if err == nil {
			err = db.pools[0].QueryRowContext(ctx, "PRAGMA "+pragma).Scan(to)
		}
	}
	one("journal_mode", &s.JournalMode)
	one("synchronous", &s.Synchronous)
	one("foreign_keys", &s.ForeignKeys)
	return s, db.fromDriver(err)
}

// NetworkFileSystem returns the kind of network file system a SQLite file lies on, "" for a local disk or PostgreSQL.
func (db *DB) NetworkFileSystem() string {
	if db.path == "" {
		return ""
	}
	return networkFileSystem(filepath.Dir(db.path))
}

// NewestEntries looks at the newest entries of each chain: whether their hashes fit what they say and join each other
// and the head. It is a look in passing, in the time of a page; Verify proves the whole. says is "" where all fits,
// else a sentence.
func (db *DB) NewestEntries(ctx context.Context, most int) (looked int, says string, err error) {
	err = db.InSnapshot(ctx, func(tx *DB) error {
		var heads []chainRow
		if err := tx.SQL(ctx).Order("id").Find(&heads).Error; err != nil {
			return err
		}
		for _, h := range heads {
			var entries []Entry
			if err := tx.SQL(ctx).Where("chain_id = ?", h.ID).Order("position DESC").Limit(most).Find(&entries).Error; err != nil {
				return err
			}
			looked += len(entries)
			if says = newestSay(h, entries, most); says != "" {
				return nil
			}
		}
		return nil
	})
	return looked, says, err
}

// newestSay says what does not fit in the newest entries of a chain, newest first; there are most, or all there are.
func newestSay(h chainRow, entries []Entry, most int) string {
	position, hash := h.HeadPosition, h.HeadHash
	for i := range entries {
		e := &entries[i]
		switch {
		case e.Position != position:
			return fmt.Sprintf("entry %d of chain %d is missing", position, h.ID)
		case e.Hash != hash:
			return fmt.Sprintf("entry %d of chain %d does not join the one after it", position, h.ID)
		case e.hashOf(h.CustomerID) != e.Hash:
			return fmt.Sprintf("entry %d of chain %d was changed after it was written", position, h.ID)
		}
		position, hash = position-1, e.PrevHash
	}
	if len(entries) < most && (position != 0 || len(entries) > 0 && hash != noHash) {
		return fmt.Sprintf("entry %d of chain %d is missing", position, h.ID)
	}
	return ""
}

// NewestEntryAt returns the time of the newest entry of all chains; 0 when there is none.
func (db *DB) NewestEntryAt(ctx context.Context) (at assets.Instant, err error) {
	err = db.SQL(ctx).Raw("SELECT coalesce(max(head_at), 0) FROM chains").Scan(&at).Error
	return at, err
}

// EntryCount returns how many entries all chains have.
func (db *DB) EntryCount(ctx context.Context) (n int64, err error) {
	err = db.SQL(ctx).Raw("SELECT coalesce(sum(head_position), 0) FROM chains").Scan(&n).Error
	return n, err
}
