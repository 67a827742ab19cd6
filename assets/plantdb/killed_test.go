package plantdb_test

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"sync/atomic"
	"testing"

	"carryside/assets/plantdb"
	"carryside/migrations"

	"github.com/jackc/pgx/v5/stdlib"
)

// Variables that make this test binary a program that is killed in the middle of an upgrade.
const (
	killAtVariable  = "CARRYSIDE_TEST_KILL_AT"
	killDSNVariable = "CARRYSIDE_TEST_KILL_DSN"
)

// playedPrograms are what this test binary is when a variable of its environment says so.
var playedPrograms = map[string]func(dsn string) error{
	killDSNVariable: func(dsn string) error { return upgradeUntilKilled(dsn, os.Getenv(killAtVariable)) },
}

func TestMain(m *testing.M) {
	for variable, play := range playedPrograms {
		dsn := os.Getenv(variable)
		if dsn == "" {
			continue
		}
		if err := play(dsn); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// upgradeUntilKilled applies the migrations and kills itself, as a power cut does, before a statement.
func upgradeUntilKilled(dsn, at string) error {
	n, err := strconv.ParseInt(at, 10, 64)
	if err != nil {
		return err
	}
	engine, path, base := migrations.SQLite, dsn, driver.Driver(nil)
	if _, err := os.Stat(dsn); err != nil {
		engine, path, base = migrations.PostgreSQL, "", stdlib.GetDefaultDriver()
	} else {
		probe, err := sql.Open(driverName(), dsn)
		if err != nil {
			return err
		}
		base = probe.Driver()
		if err := probe.Close(); err != nil {
			return err
		}
	}
	sql.Register("killed", killedDriver{base, &killer{at: n}})
	db, err := sql.Open("killed", dsn)
	if err != nil {
		return err
	}
	if engine == migrations.SQLite {
		db.SetMaxOpenConns(1)
		if _, err := db.Exec("PRAGMA journal_mode = WAL"); err != nil {
			return err
		}
	}
	_, err = migrations.Apply(context.Background(), db, engine, path)
	return errors.Join(err, db.Close())
}

// killer counts what changes the database and ends the process before the one it is set to.
type killer struct {
	at   int64
	seen atomic.Int64
}

func (k *killer) next() {
	if k.seen.Add(1) == k.at {
		if self, err := os.FindProcess(os.Getpid()); err == nil {
			_ = self.Kill()
		}
		select {} // nothing more happens until the signal is there
	}
}

// killedDriver is a driver whose statements and commits the killer counts.
type killedDriver struct {
	driver.Driver
	*killer
}

func (d killedDriver) Open(name string) (driver.Conn, error) {
	c, err := d.Driver.Open(name)
	return &killedConn{c, d.killer}, err
}

type killedConn struct {
	driver.Conn
	*killer
}

func (c *killedConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	c.next()
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
}

func (c *killedConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
}

func (c *killedConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	return c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
}

func (c *killedConn) CheckNamedValue(v *driver.NamedValue) error {
	if checker, ok := c.Conn.(driver.NamedValueChecker); ok {
		return checker.CheckNamedValue(v)
	}
	return driver.ErrSkip
}

func (c *killedConn) BeginTx(ctx context.Context, opts driver.TxOptions) (driver.Tx, error) {
	tx, err := c.Conn.(driver.ConnBeginTx).BeginTx(ctx, opts)
	return &killedTx{tx, c.killer}, err
}

type killedTx struct {
	driver.Tx
	*killer
}

// Commit may be ended before it and, in the process, after it.
func (tx *killedTx) Commit() error {
	tx.next()
	err := tx.Tx.Commit()
	tx.next()
	return err
}

// killEach kills an upgrade at its every statement in turn, each on a database of its own, and hands each database over to
// be looked at. It returns how often it killed. stride leaves statements out where each costs a second; a short test leaves
// out more.
func killEach(t *testing.T, stride int, fresh func() string, look func(dsn string, at int)) int {
	t.Helper()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if testing.Short() {
		stride *= 4
	}
	for at := 1; ; at += stride {
		dsn := fresh()
		cmd := exec.Command(program)
		cmd.Env = append(os.Environ(), killDSNVariable+"="+dsn, killAtVariable+"="+strconv.Itoa(at))
		out, err := cmd.CombinedOutput()
		if err == nil {
			return at / stride
		}
		if cmd.ProcessState.Exited() {
			t.Fatalf("the upgrade to be killed at statement %d failed instead: %s", at, out)
		}
		look(dsn, at)
	}
}

// schemaOf is everything a database says of its tables, as one text.
func schemaOf(t *testing.T, db *plantdb.DB) string {
	t.Helper()
	query := "SELECT coalesce(sql, name) FROM sqlite_schema ORDER BY name"
	if db.Engine() == migrations.PostgreSQL {
		query = `SELECT table_name || '.' || column_name || ' ' || data_type || ' ' || is_nullable || ' ' || coalesce(column_default, '') FROM information_schema.columns WHERE table_schema = 'public'
			UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' ORDER BY 1`
	}
	var lines []string
	if err := db.SQL(bg).Raw(query).Scan(&lines).Error; err != nil {
		t.Fatal(err)
	}
	return fmt.Sprint(lines)
}
