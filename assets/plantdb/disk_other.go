//go:build !linux

package plantdb

// FreeBytes returns what this account may still write on the disk of a SQLite file; it is not known here.
func (db *DB) FreeBytes() (free uint64, known bool) { return 0, false }
