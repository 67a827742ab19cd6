// Package plantdbtest gives a test a fresh database with the schema of the program: SQLite in the test's
// own folder, or PostgreSQL when the test is built with the tag postgres. Nothing is mocked.
//
//	db := plantdbtest.Open(t)
//
// The same tests run on both engines:
//
//	go test ./assets/plantdb/...
//	CARRYSIDE_TEST_POSTGRES=postgres://... go test -tags postgres ./assets/plantdb/...
package plantdbtest

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"carryside/assets/plantdb"
)

// Open returns a fresh migrated database, closed and gone when the test ends.
func Open(t testing.TB) *plantdb.DB {
	t.Helper()
	return Again(t, Address(t))
}

// Address makes a fresh database and returns its file or address, for tests that open it twice.
func Address(t testing.TB) string {
	t.Helper()
	return freshAddress(t)
}

// Again opens another handle on a database.
func Again(t testing.TB, dsn string) *plantdb.DB {
	t.Helper()
	db, err := plantdb.Open(context.Background(), plantdb.Config{DSN: dsn, Create: true})
	if err != nil {
		t.Fatalf("open %s: %v", dsn, err)
	}
	t.Cleanup(func() {
		closed := db.SQL(context.Background()).Exec("SELECT 1").Error != nil // by the test itself
		if !closed && !t.Failed() {
			Whole(t, db)
		}
		if err := db.Close(); err != nil {
			t.Errorf("close the database: %v", err)
		}
	})
	return db
}

// Whole fails the test when the journal does not fit the rows of the database. Every database of a test is looked at
// so when the test ends: a statement that writes past the journal does not stay unseen.
func Whole(t testing.TB, db *plantdb.DB) {
	t.Helper()
	verdict, err := db.Verify(context.Background(), nil)
	if err != nil {
		t.Errorf("verify: %v", err)
	}
	for _, b := range verdict.Breaks[:min(5, len(verdict.Breaks))] {
		t.Errorf("the journal is broken at chain %d, entry %d: %s", b.ChainID, b.Position, b.Says)
	}
}

// template is a migrated SQLite file, made once in a process and copied for each test: applying the
// migrations costs a hundred times the copy.
var template = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "plantdbtest")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "template.db")
	db, err := plantdb.Open(context.Background(), plantdb.Config{DSN: path, Create: true})
	if err != nil {
		return nil, err
	}
	if err := db.Close(); err != nil { // the last to close writes everything into the file
		return nil, err
	}
	return os.ReadFile(path)
})

// SQLiteFile makes a fresh migrated SQLite file and returns its path, whatever engine the tests run on.
func SQLiteFile(t testing.TB) string {
	t.Helper()
	content, err := template()
	if err != nil {
		t.Fatalf("make the template database: %v", err)
	}
	path := filepath.Join(t.TempDir(), "carryside.db")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
