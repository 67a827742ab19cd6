// Package accounts is the statements of how people prove who they are: accounts, sessions, passkeys, identities at
// a provider of single sign-on, one-time codes, and the grants that say who may what where. It keeps hashes of
// secrets and never sees a secret itself; what a password or a passkey must be is server/signin's to say.
//
// Accounts, passkeys, identities and grants are journalled in the company's chain, without their secrets. Sessions
// and codes come and go: what is done with them is noted where a person's access changes by it.
//
//	door := &accounts.Door{DB: db, Now: time.Now}
//	session, person, grants, err := door.AskingSession(ctx, tokenHash, now)
package accounts

import (
	"context"
	"crypto/rand"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"

	"gorm.io/gorm"
)

// Door is the database as sign-in and the screens of people and grants ask for it.
type Door struct {
	DB  *plantdb.DB
	Now func() time.Time
}

// one runs a query that finds at most one row; none is assets.ErrNotFound.
func one[T any](tx *gorm.DB) (T, error) {
	rows, err := plantdb.Rows[T](tx.Limit(1))
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return *new(T), err
	}
	return rows[0], nil
}

// change runs one deed of a person on accounts, journalled in the company's chain; by 0 is somebody who has no number
// yet. customers are those whose people it touches, 0 apart.
func (d *Door) change(ctx context.Context, by int64, action string, fn func(*plantdb.Change, *plantdb.Chain) error, customers ...int64) error {
	act := plantdb.Act{PersonID: by, Origin: plantdb.Screen, Action: action, Now: d.Now(), Company: true,
		Customers: slices.DeleteFunc(customers, func(id int64) bool { return id == 0 })}
	return d.run(ctx, act, fn)
}

func (d *Door) run(ctx context.Context, act plantdb.Act, fn func(*plantdb.Change, *plantdb.Chain) error) error {
	return d.DB.Change(ctx, act, func(c *plantdb.Change) error {
		ch, err := c.Chain(0)
		if err != nil {
			return err
		}
		return fn(c, ch)
	})
}

// randomID is a number that tells nothing of how many there are.
func randomID() int64 {
	var b [8]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	return int64(binary.BigEndian.Uint64(b[:])>>2) + 1
}

// SignIns returns the people who have a role, by name.
func (d *Door) SignIns(ctx context.Context) ([]assets.Person, error) {
	return registry.People(ctx, d.DB, assets.JobScope(), true)
}

// GrantsOf returns a person's grants in force.
func (d *Door) GrantsOf(ctx context.Context, personID int64) ([]assets.Grant, error) {
	return registry.GrantsOf(ctx, d.DB, personID, assets.InstantOf(d.Now()))
}

// PersonByID returns one person. assets.ErrNotFound when there is none of this number.
func (d *Door) PersonByID(ctx context.Context, id int64) (assets.Person, error) {
	return registry.Person(ctx, d.DB, id)
}

// doing wraps an error once with what was being done.
func doing(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}
