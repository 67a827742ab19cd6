//go:build unix

package migrations

import (
	"errors"
	"fmt"
	"os"
	"syscall"
)

// lockFile waits for the exclusive lock on a file and returns what lets go of it. The library that
// applies the files has no lock for SQLite; without one two programs starting at once both create tables.
func lockFile(name string) (unlock func(), err error) {
	for {
		f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o644)
		if err != nil {
			return nil, fmt.Errorf("lock the database for its upgrade: %w", err)
		}
		if err := waitFor(f); err != nil {
			return nil, errors.Join(fmt.Errorf("lock the database for its upgrade: %w", err), f.Close())
		}
		held, err := f.Stat()
		there, gone := os.Stat(name)
		if err == nil && gone == nil && os.SameFile(held, there) {
			return func() { _ = f.Close() }, nil // closing lets go of the lock
		}
		if err := errors.Join(err, f.Close()); err != nil { // whoever held it removed it; the next one makes it anew
			return nil, fmt.Errorf("lock the database for its upgrade: %w", err)
		}
	}
}

func waitFor(f *os.File) error {
	for {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX)
		if !errors.Is(err, syscall.EINTR) {
			return err
		}
	}
}

// dropLock removes the file of a lock that is held.
func dropLock(name string) error { return os.Remove(name) }
