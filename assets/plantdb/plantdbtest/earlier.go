package plantdbtest

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets/plantdb"
	"carryside/migrations"

	"github.com/pressly/goose/v3"
)

// TakenBack rewrites a closed SQLite file as a program that knew only the migrations up to a number would have left it: the
// same rows, later tables and columns gone. It returns how many rows each table had that is gone.
func TakenBack(t testing.TB, path string, upTo int64) (gone map[string]int64) {
	t.Helper()
	earlier := filepath.Join(t.TempDir(), "earlier.db")
	for _, step := range []func() error{
		func() error { return migrateTo(earlier, upTo) },
		func() error { return copyRows(path, earlier) },
		func() (err error) { gone, err = rowsGone(path, earlier); return err },
		func() error { return os.Rename(earlier, path) },
	} {
		if err := step(); err != nil {
			t.Fatalf("take %s back to migration %d: %v", path, upTo, err)
		}
	}
	return gone
}

// rowsGone counts the rows of the tables that only the later file has.
func rowsGone(later, earlier string) (map[string]int64, error) {
	db, err := rawSQLite(earlier)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if _, err := db.Exec("ATTACH ? AS later", later); err != nil {
		return nil, err
	}
	var names string
	err = db.QueryRow(`SELECT coalesce(group_concat(name, ' '), '') FROM later.sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
		AND name NOT IN (SELECT name FROM main.sqlite_schema)`).Scan(&names)
	if err != nil {
		return nil, err
	}
	gone := map[string]int64{}
	for _, name := range strings.Fields(names) {
		var rows int64
		if err := db.QueryRow("SELECT count(*) FROM later." + name).Scan(&rows); err != nil {
			return nil, err
		}
		gone[name] = rows
	}
	return gone, nil
}

func rawSQLite(path string) (*sql.DB, error) {
	db, err := sql.Open(map[string]string{"cgo": "sqlite3", "pure Go": "sqlite"}[plantdb.SQLiteDriver], path)
	if err == nil {
		db.SetMaxOpenConns(1) // what is attached is so on one connection
	}
	return db, err
}

func migrateTo(path string, upTo int64) error {
	db, err := rawSQLite(path)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.Exec("PRAGMA application_id = 0x43525359"); err != nil {
		return err
	}
	files, err := migrations.Files(migrations.SQLite)
	if err != nil {
		return err
	}
	provider, err := goose.NewProvider(goose.DialectSQLite3, db, files)
	if err != nil {
		return err
	}
	_, err = provider.UpTo(context.Background(), upTo)
	return err
}

// copyRows fills the tables and columns of an earlier file from a later one.
func copyRows(later, earlier string) error {
	db, err := rawSQLite(earlier)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.Exec("ATTACH ? AS later", later); err != nil {
		return err
	}
	rows, err := db.Query(`SELECT m.name, group_concat('"' || p.name || '"', ', ') FROM sqlite_schema m JOIN pragma_table_info(m.name) p
		WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' AND m.name <> 'goose_db_version' GROUP BY m.name ORDER BY m.name <> 'chains', m.name`)
	if err != nil {
		return err
	}
	var statements []string
	for rows.Next() {
		var table, columns string
		if err := rows.Scan(&table, &columns); err != nil {
			return err
		}
		statements = append(statements, "DELETE FROM main."+table, strings.NewReplacer("TABLE", table, "COLUMNS", columns).Replace("INSERT INTO main.TABLE (COLUMNS) SELECT COLUMNS FROM later.TABLE"))
	}
	if err := rows.Err(); err != nil {
		return err
	}
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			return err
		}
	}
	_, err = db.Exec("DETACH later")
	return err
}
