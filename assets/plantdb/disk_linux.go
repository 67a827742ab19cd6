package plantdb

import (
	"path/filepath"
	"syscall"
)

// FreeBytes returns what this account may still write on the disk of a SQLite file; known is false where that is not
// to be had.
func (db *DB) FreeBytes() (free uint64, known bool) {
	var s syscall.Statfs_t
	if db.path == "" || syscall.Statfs(filepath.Dir(db.path), &s) != nil {
		return 0, false
	}
	return s.Bavail * uint64(s.Bsize), true
}
