package plantdb

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
)

// applicationID marks a SQLite file as ours ("CRSY"), so that another program's file is not written into.
const applicationID = 0x43525359

// sqliteMagic is how every SQLite file begins (the file format, section 1.2).
const sqliteMagic = "SQLite format 3\x00"

// fault is a kind of trouble with a SQLite file that a person can do something about.
type fault int

const (
	faultOther fault = iota
	faultBusy
	faultReadOnly
	faultFull
	faultNoDatabase
	faultDisk
)

// faultOf sorts a primary result code of SQLite (its page "Result and Error Codes").
func faultOf(code int) fault {
	switch code {
	case 5, 6:
		return faultBusy
	case 8, 14:
		return faultReadOnly
	case 10:
		return faultDisk
	case 13:
		return faultFull
	case 11, 26:
		return faultNoDatabase
	}
	return faultOther
}

// checkFile refuses a path that cannot become an open database and returns it absolute. The file is made
// when it is missing and create is set, readable by its owner alone.
func checkFile(dsn string, create bool) (string, error) {
	if dsn == "" {
		return "", errors.New("no database is named; give a file or a postgres:// address")
	}
	if scheme, _, is := strings.Cut(dsn, "://"); is {
		return "", fmt.Errorf("%s:// is no database we know; give the name of a file, or a postgres:// address", scheme)
	}
	path, err := filepath.Abs(dsn)
	if err != nil {
		return "", err
	}
	if info, err := os.Stat(filepath.Dir(path)); err != nil || !info.IsDir() {
		return "", fmt.Errorf("the folder %s does not exist; create it or name another file", filepath.Dir(path))
	}
	if kind := networkFileSystem(filepath.Dir(path)); kind != "" {
		return "", fmt.Errorf("%s lies on a network file system (%s), where SQLite loses data; use a local disk or PostgreSQL", path, kind)
	}
	return path, checkContent(path, create)
}

func checkContent(path string, create bool) error {
	flags := os.O_RDWR
	if create {
		flags |= os.O_CREATE
	}
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%s is not a file; name a file for the database", path)
	}
	f, err := os.OpenFile(path, flags, 0o600)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("there is no database %s; check the name, or let serve or import create it", path)
	case errors.Is(err, os.ErrPermission):
		return fmt.Errorf("%s cannot be written by this account; give it the right to write the file and its folder", path)
	case err != nil:
		return fmt.Errorf("open the database: %w", err)
	}
	defer f.Close()
	head := make([]byte, len(sqliteMagic))
	n, err := io.ReadFull(f, head)
	if n > 0 && (err != nil || string(head) != sqliteMagic) {
		return fmt.Errorf("%s is no database; name another file", path)
	}
	return nil
}

// claimFile refuses the SQLite file of another program and marks an empty one as ours.
func claimFile(ctx context.Context, writer *sql.DB, path string) error {
	var id, tables int
	if err := writer.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return err
	}
	if id == applicationID {
		return nil
	}
	if err := writer.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return err
	}
	if id != 0 || tables > 0 {
		return fmt.Errorf("%s is the database of another program; name another file", path)
	}
	_, err := writer.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d", applicationID))
	return err
}

// fileURI writes a path so that blanks, question marks and percent signs in it stay part of the name.
func fileURI(path string) string {
	return (&url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(path)}).String()
}
