// Package plantdbtest gives a test a fresh database with the schema of the program: SQLite in the test's
// own folder, or PostgreSQL when its address is in CARRYSIDE_TEST_POSTGRES. Nothing is mocked.
//
//	db := plantdbtest.Open(t)
package plantdbtest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"carryside/assets/plantdb"
)

// postgresVariable names the environment variable with the address of a PostgreSQL server.
const postgresVariable = "CARRYSIDE_TEST_POSTGRES"

// Open returns a fresh migrated database, closed and gone when the test ends.
func Open(t testing.TB) *plantdb.DB {
	t.Helper()
	return Again(t, Address(t))
}

// Address makes a fresh database and returns its file or address, for tests that open it twice.
func Address(t testing.TB) string {
	t.Helper()
	if server := os.Getenv(postgresVariable); server != "" {
		return postgresAddress(t, server)
	}
	return sqliteFile(t)
}

// Again opens another handle on a database.
func Again(t testing.TB, dsn string) *plantdb.DB {
	t.Helper()
	db, err := plantdb.Open(context.Background(), plantdb.Config{DSN: dsn, Create: true})
	if err != nil {
		t.Fatalf("open %s: %v", dsn, err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Errorf("close the database: %v", err)
		}
	})
	return db
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

func sqliteFile(t testing.TB) string {
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

// made counts this process's databases, so that each has a name of its own.
var made atomic.Int64

// postgresAddress creates a database on the server and drops it when the test ends.
func postgresAddress(t testing.TB, server string) string {
	t.Helper()
	name := fmt.Sprintf("carryside_%d_%d_%d", os.Getpid(), time.Now().UnixNano(), made.Add(1))
	if err := plantdb.CreatePostgres(context.Background(), server, name); err != nil {
		t.Fatalf("create a database on the server of %s: %v", postgresVariable, err)
	}
	t.Cleanup(func() {
		if err := plantdb.DropPostgres(context.Background(), server, name); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	address, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	address.Path = "/" + name
	return address.String()
}
