//go:build !cgo

package plantdb

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
	pure "modernc.org/sqlite"
)

// SQLiteDriver names the driver that was built in.
const SQLiteDriver = "pure Go"

// sqlitePool opens the file with the settings every connection needs. _txlock=immediate takes the write
// lock when a transaction begins: one that reads first and writes later would otherwise be refused as soon
// as another process has written in between.
func sqlitePool(path string, use poolUse, wait time.Duration) (*sql.DB, error) {
	params := fmt.Sprintf("?_pragma=busy_timeout(%d)&_pragma=foreign_keys(1)", wait.Milliseconds())
	switch use {
	case poolWrites:
		params += "&_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=synchronous(" + synchronous + ")"
	case poolReads:
		params += "&mode=ro&_pragma=query_only(1)"
	case poolCopies:
		params += "&mode=ro"
	case poolCloses:
		params += "&mode=rw&_pragma=journal_mode(DELETE)&_pragma=synchronous(FULL)"
	}
	return sql.Open("sqlite", fileURI(path)+params)
}

// pureDialector is gorm's SQLite dialector with the errors of the pure Go driver understood: the dialector
// reads an error's exported fields, and this driver's error has none.
type pureDialector struct{ *sqlite.Dialector }

func sqliteDialector(pool *sql.DB) gorm.Dialector {
	return pureDialector{&sqlite.Dialector{DriverName: "sqlite", Conn: pool}}
}

// Translate gives gorm's error for a broken constraint.
func (pureDialector) Translate(err error) error {
	var e *pure.Error
	if !errors.As(err, &e) {
		return err
	}
	switch e.Code() {
	case 1555, 2067: // primary key, unique index
		return gorm.ErrDuplicatedKey
	case 787:
		return gorm.ErrForeignKeyViolated
	}
	return err
}

// sqliteFault sorts a driver's error.
func sqliteFault(err error) fault {
	var e *pure.Error
	if !errors.As(err, &e) {
		return faultOther
	}
	return faultOf(e.Code() & 0xff)
}
