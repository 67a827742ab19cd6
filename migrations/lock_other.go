//go:build !unix

package migrations

import (
	"fmt"
	"os"
	"time"
)

// lockFile waits for the right to be the one who creates a file and returns what gives it back. Systems
// without flock get this plainer lock: after a crash the file must be removed by hand.
func lockFile(name string) (unlock func(), err error) {
	for range 600 {
		f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o644)
		if err == nil {
			return func() { _ = f.Close(); _ = os.Remove(name) }, nil
		}
		if !os.IsExist(err) {
			return nil, fmt.Errorf("lock the database for its upgrade: %w", err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	return nil, fmt.Errorf("%s has been there for a minute; if no Carryside is starting, remove it and start again", name)
}

// dropLock leaves the file of a lock that is held: letting go of it removes it.
func dropLock(string) error { return nil }
