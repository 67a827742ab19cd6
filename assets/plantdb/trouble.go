package plantdb

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync/atomic"

	"github.com/jackc/pgx/v5/pgconn"
	"gorm.io/gorm"

	"carryside/migrations"
)

// Trouble is a database that takes or gives nothing at the moment, through no fault of whoever asked.
type Trouble struct {
	says   string // to whoever runs the program
	person string
	cause  error
}

// Error is one sentence for whoever runs the program: what is wrong with which file or server and what to do.
func (t *Trouble) Error() string { return t.says }

// Trouble is what a person at a screen is told: no paths, no addresses.
func (t *Trouble) Trouble() string { return t.person }

// Unwrap is what the driver said.
func (t *Trouble) Unwrap() error { return t.cause }

const (
	toldBusy = "Others were writing all the time and nothing of this was kept. Try again in a moment."
	toldFull = "The disk of the database is full and nothing of this was kept. Tell whoever runs the server, then try again."
	toldDisk = "The disk of the database does not read or write as it should. Tell whoever runs the server; what you just sent was not said to be kept."
	toldAway = "The database is not to be had at the moment. Try again in a moment, or tell whoever runs the server."
	toldLost = "The database went away in the middle of this. Look whether what you sent is there before you send it again, or tell whoever runs the server."
)

// sqliteSentence puts a driver's error into one sentence saying what to do; others stay as they are.
func sqliteSentence(path string, err error) error {
	if inSentence(err) {
		return err
	}
	trouble := func(person, format string) error {
		return &Trouble{fmt.Sprintf(format, path), person, err}
	}
	switch sqliteFault(err) {
	case faultBusy:
		return trouble(toldBusy, "%s is locked by another program; close it and try again")
	case faultReadOnly:
		return trouble(toldAway, "%s or its folder cannot be written; give this account the right to write both")
	case faultFull:
		return trouble(toldFull, "the disk of %s is full; make room and try again")
	case faultDisk:
		return trouble(toldDisk, "%s cannot be read from its disk or written to it; this was not said to be kept; look at the disk and the system's log, then try again")
	case faultNoDatabase:
		return trouble(toldDisk, "%s is no database or is damaged; restore a backup or give another file")
	}
	return err
}

// inSentence tells whether an error is in a sentence already.
func inSentence(err error) bool {
	var t *Trouble
	return err == nil || errors.As(err, &t)
}

// postgresSentence says what to do when the server cannot be reached or refuses us. The address may hold
// a password and is not repeated.
func postgresSentence(err error) error {
	if inSentence(err) {
		return err
	}
	var connect *pgconn.ConnectError
	if errors.As(err, &connect) {
		why, _, _ := strings.Cut(connect.Unwrap().Error(), "\n") // one line for each address it tried
		return &Trouble{"the PostgreSQL server does not let us in; check address, account and that it runs: " + why, toldAway, err}
	}
	return postgresFault(err)
}

// postgresFault puts what the server itself suffers from into a sentence (its documentation, appendix "PostgreSQL Error
// Codes"); other errors stay as they are.
func postgresFault(err error) error {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return err
	}
	switch {
	case e.Code == "53100":
		return &Trouble{"the disk of the PostgreSQL server is full; nothing of this was kept; make room and try again", toldFull, err}
	case e.Code == "58030":
		return &Trouble{"the PostgreSQL server cannot read from its disk or write to it; nothing of this was kept; look at its log, then try again", toldDisk, err}
	case e.Code == "25006":
		return &Trouble{"the PostgreSQL server only lets us read; give the address of the one that takes writes", toldAway, err}
	case e.Code == "53300":
		return &Trouble{"the PostgreSQL server has no connection left for us; raise its max_connections or stop what holds them", toldAway, err}
	case e.Code == "53200":
		return &Trouble{"the PostgreSQL server has no memory left; nothing of this was kept; look at its log, then try again", toldAway, err}
	case e.Code == "XX001" || e.Code == "XX002":
		return &Trouble{"the PostgreSQL server says that its data are damaged; look at its log and restore a backup", toldDisk, err}
	case strings.HasPrefix(e.Code, "57P"):
		return &Trouble{"the PostgreSQL server is stopping or starting; try again in a moment", toldAway, err}
	}
	return err
}

// postgresLost tells of a connection that broke off while a statement was under way. Only errors of the driver may
// be asked: an unexpected end of anything else says the same.
func postgresLost(err error) error {
	var broken *net.OpError
	gone := errors.Is(err, driver.ErrBadConn) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, sql.ErrConnDone) ||
		errors.As(err, &broken) || pgconn.SafeToRetry(err)
	if inSentence(err) || !gone || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &Trouble{"the connection to the PostgreSQL server broke off; check that it runs, then look whether this was kept", toldLost, err}
}

// sentence puts an error from anywhere in a transaction into a sentence, where it is one of the database.
func (db *DB) sentence(err error) error {
	if db.engine == migrations.PostgreSQL {
		return postgresSentence(err)
	}
	return sqliteSentence(db.path, err)
}

// fromDriver puts an error that came straight from the driver into a sentence.
func (db *DB) fromDriver(err error) error {
	if db.engine == migrations.PostgreSQL {
		err = postgresLost(postgresSentence(err))
	}
	return db.sentence(err)
}

// saying is a dialect of gorm's whose errors are sentences: every statement of gorm passes it.
type saying struct {
	gorm.Dialector
	sentence func(error) error
}

// Translate gives gorm's error for a broken constraint, and a Trouble where the database itself fails.
func (s saying) Translate(err error) error {
	if t, ok := s.Dialector.(gorm.ErrorTranslator); ok {
		err = t.Translate(err)
	}
	return s.sentence(err)
}

// Apply passes gorm's settings on.
func (s saying) Apply(c *gorm.Config) error {
	if a, ok := s.Dialector.(interface{ Apply(*gorm.Config) error }); ok {
		return a.Apply(c)
	}
	return nil
}

// SavePoint sets a mark in a transaction.
func (s saying) SavePoint(tx *gorm.DB, name string) error {
	return s.Dialector.(gorm.SavePointerDialectorInterface).SavePoint(tx, name)
}

// RollbackTo takes a transaction back to a mark.
func (s saying) RollbackTo(tx *gorm.DB, name string) error {
	return s.Dialector.(gorm.SavePointerDialectorInterface).RollbackTo(tx, name)
}

// Initialize prepares gorm's handle. Where rows are asked for (Rows, and Scan of a raw query) gorm hands over what the
// driver said past Translate.
func (s saying) Initialize(handle *gorm.DB) error {
	if err := s.Dialector.Initialize(handle); err != nil {
		return err
	}
	return handle.Callback().Row().After("gorm:row").Register("carryside:sentence", func(tx *gorm.DB) { tx.Error = s.sentence(tx.Error) })
}

// dialect makes the dialect through which a pool is used.
func (db *DB) dialect(plain gorm.Dialector) gorm.Dialector { return saying{plain, db.fromDriver} }

// Found are rows that are read by hand; what goes wrong on the way is said in a sentence.
type Found struct {
	*sql.Rows
	sentence func(error) error
}

// Err is what ended the rows early.
func (f *Found) Err() error { return f.sentence(f.Rows.Err()) }

// Query runs a query whose rows are read by hand, because there are many.
func (db *DB) Query(ctx context.Context, query string, args ...any) (*Found, error) {
	rows, err := db.SQL(ctx).Raw(query, args...).Rows()
	if err != nil {
		return nil, err
	}
	return &Found{rows, db.fromDriver}, nil
}

// queryRows runs a query past gorm, which would take lists apart.
func queryRows(ctx context.Context, db *DB, query string, args ...any) (*Found, error) {
	rows, err := db.SQL(ctx).Statement.ConnPool.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, db.fromDriver(err)
	}
	return &Found{rows, db.fromDriver}, nil
}

// lastWrite is how the last write of an open database went.
type lastWrite struct{ refused atomic.Pointer[Trouble] }

// keep notes how a write went: a disk that is full or fails stays in mind until something is written again.
func (l *lastWrite) keep(err error) {
	var t *Trouble
	switch {
	case err == nil:
		l.refused.Store(nil)
	case errors.As(err, &t) && (t.person == toldFull || t.person == toldDisk):
		l.refused.Store(t)
	}
}

// Refused returns why the last write was refused, nil where it was kept: a full disk lets a program read on, and nothing
// but a write shows it.
func (db *DB) Refused() *Trouble { return db.wrote.refused.Load() }
