package plantdb

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/migrations"
)

// appendOnly are the tables that a serving account adds to and never alters: entries of the journal and the leaves of
// the rows they protect.
var appendOnly = []string{"journal_entries", "journal_rows"}

// LetServe gives a role of the PostgreSQL server what serving needs and takes the rest from it: it reads and writes
// rows, but makes and drops no table, and neither alters nor deletes what stands in the journal. assets.Invalid for a
// file, which has no roles.
func (db *DB) LetServe(ctx context.Context, role string) error {
	if db.engine != migrations.PostgreSQL {
		return assets.Invalid{"": "a SQLite file has no roles; who may write it is the file system's to say"}
	}
	name := `"` + strings.ReplaceAll(role, `"`, `""`) + `"`
	statements := []string{
		"REVOKE CREATE ON SCHEMA public FROM PUBLIC",
		"REVOKE ALL ON SCHEMA public FROM " + name,
		"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM " + name,
		"GRANT USAGE ON SCHEMA public TO " + name,
		"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO " + name,
		"REVOKE UPDATE, DELETE ON " + strings.Join(appendOnly, ", ") + " FROM " + name,
		"REVOKE INSERT, UPDATE, DELETE ON goose_db_version FROM " + name,
	}
	return db.InTx(ctx, func(tx *DB) error {
		for _, s := range statements {
			if err := tx.SQL(ctx).Exec(s).Error; err != nil {
				return fmt.Errorf("let %s serve: %w", role, err)
			}
		}
		return nil
	})
}
