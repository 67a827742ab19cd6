//go:build !control

package plantdb

import "gorm.io/gorm"

// synchronous is how far SQLite goes before a change counts as written: to the disk, with every change.
const synchronous = "FULL"

// transact runs fn in a transaction and returns when it is committed.
func transact(pool *gorm.DB, fn func(*gorm.DB) error) error { return pool.Transaction(fn) }
