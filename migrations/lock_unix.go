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
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("lock the database for its upgrade: %w", err)
	}
	for {
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX)
		if !errors.Is(err, syscall.EINTR) {
			break
		}
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock the database for its upgrade: %w", err), f.Close())
	}
	return func() { _ = f.Close() }, nil // closing lets go of the lock
}
