//go:build postgres

package plantdbtest

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"carryside/assets/plantdb"
	"carryside/migrations"

	"github.com/jackc/pgx/v5"
)

// Server returns the address of the PostgreSQL server that tests use, and fails the test when none is given:
// whoever builds with the tag wants them run.
func Server(t testing.TB) string {
	t.Helper()
	server := os.Getenv("CARRYSIDE_TEST_POSTGRES")
	if server == "" {
		t.Fatal("CARRYSIDE_TEST_POSTGRES is empty: give the address of a PostgreSQL server on which databases may be created")
	}
	return server
}

// made counts this process's databases, so that each has a name of its own.
var made atomic.Int64

// freshAddress is a database of the test's own, copied from the migrated one.
func freshAddress(t testing.TB) string {
	t.Helper()
	name, err := templateDatabase(Server(t))
	if err != nil {
		t.Fatalf("make the template database: %v", err)
	}
	return newDatabase(t, " TEMPLATE "+pgx.Identifier{name}.Sanitize())
}

// EmptyAddress is a database of the test's own without any table.
func EmptyAddress(t testing.TB) string {
	t.Helper()
	return newDatabase(t, "")
}

func newDatabase(t testing.TB, template string) string {
	t.Helper()
	server := Server(t)
	name := fmt.Sprintf("carryside_%d_%d_%d", os.Getpid(), time.Now().UnixNano(), made.Add(1))
	quoted := pgx.Identifier{name}.Sanitize()
	if err := onServer(server, "CREATE DATABASE "+quoted+template); err != nil {
		t.Fatalf("create a database: %v", err)
	}
	t.Cleanup(func() {
		if err := onServer(server, "DROP DATABASE IF EXISTS "+quoted+" WITH (FORCE)"); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	return addressOf(server, name)
}

func addressOf(server, name string) string {
	address, err := url.Parse(server)
	if err != nil {
		return server // the server's own answer says what is wrong with it
	}
	address.Path = "/" + name
	return address.String()
}

var (
	templateOnce sync.Once
	templateName string
	templateErr  error
)

// templateDatabase makes the database that tests copy, once for each state of the schema. Test programs run
// beside each other, so it is made under a lock of the server and appears under its name when it is whole.
func templateDatabase(server string) (string, error) {
	templateOnce.Do(func() {
		if templateName, templateErr = schemaName(); templateErr == nil {
			templateErr = makeTemplate(server, templateName)
		}
	})
	return templateName, templateErr
}

// schemaName names the template after the content of the migrations.
func schemaName() (string, error) {
	files, err := migrations.Files(migrations.PostgreSQL)
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	err = fs.WalkDir(files, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(files, path)
		fmt.Fprintf(sum, "%s\n%s\n", path, content)
		return err
	})
	return fmt.Sprintf("carryside_template_%x", sum.Sum(nil)[:8]), err
}

func makeTemplate(server, name string) (err error) {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close(ctx)) }() // lets go of the lock
	if _, err := conn.Exec(ctx, "SELECT pg_advisory_lock(7203115)"); err != nil {
		return err
	}
	var there bool
	if err := conn.QueryRow(ctx, "SELECT EXISTS (SELECT 1 FROM pg_database WHERE datname = $1)", name).Scan(&there); err != nil || there {
		return err
	}
	unfinished := pgx.Identifier{name + "_unfinished"}.Sanitize()
	for _, statement := range []string{"DROP DATABASE IF EXISTS " + unfinished + " WITH (FORCE)", "CREATE DATABASE " + unfinished} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return err
		}
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: addressOf(server, name+"_unfinished")})
	if err != nil {
		return err
	}
	if err := db.Close(); err != nil {
		return err
	}
	_, err = conn.Exec(ctx, "ALTER DATABASE "+unfinished+" RENAME TO "+pgx.Identifier{name}.Sanitize())
	return err
}

func onServer(server, statement string) error {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, statement)
	return errors.Join(err, conn.Close(ctx))
}
