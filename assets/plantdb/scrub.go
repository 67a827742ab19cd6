package plantdb

import (
	"context"
	"fmt"

	"carryside/migrations"
)

// Scrub takes what was overwritten or deleted out of the SQLite file too, and out of its write-ahead log: a row that is
// changed leaves its old bytes on the page until something else is written there. It writes the whole file anew, which
// takes as long as copying it and as much room. PostgreSQL does the like by itself when it vacuums.
func (db *DB) Scrub(ctx context.Context) error {
	if db.engine != migrations.SQLite {
		return nil
	}
	for _, statement := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if err := db.write.WithContext(ctx).Exec(statement).Error; err != nil {
			return fmt.Errorf("write the file anew: %w", sqliteSentence(db.path, err))
		}
	}
	return nil
}
