//go:build cgo

package plantdb

import (
	"database/sql"
	"errors"
	"fmt"
	"time"

	sqlite3 "github.com/mattn/go-sqlite3"
	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
)

// SQLiteDriver names the driver that was built in.
const SQLiteDriver = "cgo"

// sqlitePool opens the file with the settings every connection needs. _txlock=immediate takes the write
// lock when a transaction begins: one that reads first and writes later would otherwise be refused as soon
// as another process has written in between.
//
// A connection keeps the statements it has prepared: a page asks the same twenty each time. Few, because the longest
// have their numbers written out and never come again. It takes no lock of its own at each step: database/sql lets one
// goroutine at a time use it.
func sqlitePool(path string, use poolUse, wait time.Duration) (*sql.DB, error) {
	params := fmt.Sprintf("?_busy_timeout=%d&_foreign_keys=on&_stmt_cache_size=40&_mutex=no", wait.Milliseconds())
	switch use {
	case poolWrites:
		params += "&_txlock=immediate&_journal_mode=WAL&_synchronous=" + synchronous
	case poolReads:
		params += "&mode=ro&_query_only=on"
	case poolCopies:
		params += "&mode=ro"
	case poolCloses:
		params += "&mode=rw&_journal_mode=DELETE&_synchronous=FULL"
	}
	return sql.Open("sqlite3", fileURI(path)+params)
}

func sqliteDialector(pool *sql.DB) gorm.Dialector {
	return sqlite.New(sqlite.Config{Conn: pool})
}

// sqliteFault sorts a driver's error.
func sqliteFault(err error) fault {
	var e sqlite3.Error
	if !errors.As(err, &e) {
		return faultOther
	}
	return faultOf(int(e.Code))
}
