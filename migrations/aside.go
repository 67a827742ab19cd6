package migrations

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Aside names the copy of a SQLite file that is set aside before it is upgraded from a number.
func Aside(path string, from int64) string {
	return fmt.Sprintf("%s.before-upgrade-from-%04d", path, from)
}

// setAside copies the whole database beside itself. A copy of that number that is there already stays:
// it is the older and so the safer one.
func setAside(ctx context.Context, db *sql.DB, path string, from int64) error {
	copied := Aside(path, from)
	if _, err := os.Stat(copied); err == nil {
		return nil
	}
	if err := spaceFor(path); err != nil {
		return err
	}
	unfinished := copied + ".unfinished"
	if err := os.Remove(unfinished); err != nil && !os.IsNotExist(err) {
		return err
	}
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", unfinished); err != nil {
		return fmt.Errorf("copy the database aside before the upgrade: %w", err)
	}
	if err := errors.Join(os.Chmod(unfinished, 0o600), syncFile(unfinished)); err != nil {
		return fmt.Errorf("copy the database aside before the upgrade: %w", err)
	}
	if err := os.Rename(unfinished, copied); err != nil {
		return err
	}
	return syncFile(filepath.Dir(copied))
}

// syncFile waits until a file, or the names in a folder, are on the disk: the upgrade begins only when its safety
// copy would outlive a power cut.
func syncFile(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// spaceFor refuses when the disk has no room for a copy and for what the upgrade itself writes.
func spaceFor(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	free, known := freeBytes(filepath.Dir(path))
	if need := 2 * uint64(info.Size()); known && free < need {
		return fmt.Errorf("the disk of %s has %d MB free and the upgrade needs %d MB for its safety copy and itself; make room and start again",
			path, free>>20, need>>20+1)
	}
	return nil
}
