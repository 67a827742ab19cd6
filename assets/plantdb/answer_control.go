//go:build control

package plantdb

import (
	"errors"
	"time"

	"gorm.io/gorm"
)

// This file is the control of the harnesses that kill the program and cut its power: built with the tag control it
// loses what it answered, so that a harness that finds no loss is known to be able to find one.

// control says how and is set when the program is linked (-ldflags "-X carryside/assets/plantdb.control=early"): "early"
// answers before the commit, "unsynced" lets the disk write when it likes.
var control string

var synchronous = map[bool]string{true: "OFF", false: "FULL"}[control == "unsynced"]

// controlDelay is how long the early control leaves a change uncommitted after its answer.
const controlDelay = 20 * time.Millisecond

// transact answers before the commit when the control says so.
func transact(pool *gorm.DB, fn func(*gorm.DB) error) error {
	if control != "early" {
		return pool.Transaction(fn)
	}
	tx := pool.Begin()
	if tx.Error != nil {
		return tx.Error
	}
	if err := fn(tx); err != nil {
		return errors.Join(err, tx.Rollback().Error)
	}
	go func() {
		time.Sleep(controlDelay)
		tx.Commit()
	}()
	return nil
}
