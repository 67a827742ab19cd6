package moving

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"

	"carryside/assets/plantdb"
	"carryside/migrations"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// Progress is told how far a table is: at its start, every hundred thousand rows and at its end.
type Progress func(table string, rows int64, done bool)

// progressEvery is after how many rows Progress is told.
const progressEvery = 100_000

// ErrNotEmpty is refused carrying into a database in which somebody has entered something.
var ErrNotEmpty = errors.New("the database to move to holds an installation; give a new, empty one")

// Carry copies every row of one installation into another, empty one, in one transaction: journal, chains and counters as
// they are. The source is read as of one moment. What arrived is read back before it counts: the digests returned are
// those of both sides.
//
// ErrNotEmpty when the target is no fresh installation.
func Carry(ctx context.Context, from, to *plantdb.DB, said Progress) (all []Digest, err error) {
	if said == nil {
		said = func(string, int64, bool) {}
	}
	err = from.InSnapshot(ctx, func(source *plantdb.DB) error {
		tables, err := tablesOf(ctx, source)
		if err != nil {
			return err
		}
		theirs, err := tablesOf(ctx, to)
		if err != nil {
			return err
		}
		if err := sameTables(tables, theirs); err != nil {
			return err
		}
		return to.Fill(ctx, func(conn *sql.Conn) error {
			c := carrying{ctx: ctx, source: source, conn: conn, engine: to.Engine(), said: said}
			all, err = c.all(theirs)
			return err
		})
	})
	return all, err
}

// carrying is one transaction that fills a target.
type carrying struct {
	ctx    context.Context
	source *plantdb.DB
	conn   *sql.Conn
	engine migrations.Engine
	said   Progress
}

func (c *carrying) all(tables []table) (all []Digest, err error) {
	if err := c.clear(tables); err != nil {
		return nil, err
	}
	for _, t := range tables {
		d, err := c.table(t)
		if err != nil {
			return nil, fmt.Errorf("carry %s: %w", t.name, err)
		}
		all = append(all, d)
	}
	if c.engine == migrations.PostgreSQL {
		err = c.numberOn()
	}
	return all, err
}

// clear takes out what a fresh schema begins with, once it is sure that nobody has entered anything.
func (c *carrying) clear(tables []table) error {
	if c.engine == migrations.PostgreSQL {
		if _, err := c.conn.ExecContext(c.ctx, "LOCK TABLE chains IN ACCESS EXCLUSIVE MODE"); err != nil {
			return err
		}
	}
	var entries int64
	if err := c.conn.QueryRowContext(c.ctx, "SELECT count(*) FROM journal_entries").Scan(&entries); err != nil {
		return err
	}
	if entries > 0 {
		return ErrNotEmpty
	}
	for i := range tables {
		if _, err := c.conn.ExecContext(c.ctx, "DELETE FROM "+quoted(tables[len(tables)-1-i].name)); err != nil {
			return err
		}
	}
	return nil
}

// table carries one table and reads it back.
func (c *carrying) table(t table) (Digest, error) {
	sent := newSumming(t)
	c.said(t.name, 0, false)
	source := func(take func(values []any) error) error {
		return rowsOf(c.ctx, c.source, t, func(values []any) error {
			sent.add(values)
			if sent.Rows%progressEvery == 0 {
				c.said(t.name, sent.Rows, false)
			}
			return take(values)
		})
	}
	fill := c.fillSQLite
	if c.engine == migrations.PostgreSQL {
		fill = c.fillPostgres
	}
	if err := fill(t, source); err != nil {
		return Digest{}, err
	}
	rows, err := c.conn.QueryContext(c.ctx, t.selection(c.engine))
	if err != nil {
		return Digest{}, err
	}
	arrived := newSumming(t)
	if err := eachRow(rows, t, func(values []any) error { arrived.add(values); return nil }); err != nil {
		return Digest{}, err
	}
	d := sent.digest()
	if arrived.digest() != d {
		return Digest{}, fmt.Errorf("%d rows were sent and %d arrived, or their values differ; nothing was kept", d.Rows, arrived.Rows)
	}
	c.said(t.name, d.Rows, true)
	return d, nil
}

// giving hands rows one by one to take.
type giving func(take func(values []any) error) error

func (c *carrying) fillSQLite(t table, source giving) error {
	statement, err := c.conn.PrepareContext(c.ctx, "INSERT INTO "+quoted(t.name)+" ("+quotedList(t.names())+") VALUES (?"+strings.Repeat(", ?", len(t.columns)-1)+")")
	if err != nil {
		return err
	}
	defer statement.Close()
	return source(func(values []any) error {
		_, err := statement.ExecContext(c.ctx, values...)
		return err
	})
}

// fillPostgres sends the rows as one stream (COPY), the quickest way in.
func (c *carrying) fillPostgres(t table, source giving) error {
	next, stop := iter.Pull2(func(yield func([]any, error) bool) {
		err := source(func(values []any) error {
			if !yield(values, nil) {
				return errStopped
			}
			return nil
		})
		if err != nil && !errors.Is(err, errStopped) {
			yield(nil, err)
		}
	})
	defer stop()
	return c.conn.Raw(func(driver any) error {
		_, err := driver.(*stdlib.Conn).Conn().CopyFrom(c.ctx, pgx.Identifier{t.name}, t.names(), pgx.CopyFromFunc(func() ([]any, error) {
			values, err, more := next()
			if !more || err != nil {
				return nil, err
			}
			return values, nil
		}))
		return err
	})
}

// errStopped ends the source when the target takes no more.
var errStopped = errors.New("stopped")

// numberOn lets PostgreSQL number its own rows on from the highest that was carried, as SQLite does by itself.
func (c *carrying) numberOn() error {
	rows, err := c.conn.QueryContext(c.ctx, `SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = 'public' AND is_identity = 'YES' ORDER BY 1`)
	if err != nil {
		return err
	}
	var statements []string
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			return errors.Join(err, rows.Close())
		}
		if table == notCarried[0] {
			continue
		}
		statements = append(statements, fmt.Sprintf("SELECT setval(pg_get_serial_sequence('%s', '%s'), coalesce(max(%s), 0) + 1, false) FROM %s", quoted(table), column, quoted(column), quoted(table)))
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, s := range statements {
		if _, err := c.conn.ExecContext(c.ctx, s); err != nil {
			return err
		}
	}
	return nil
}
