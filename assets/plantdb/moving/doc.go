// Package moving takes whole installations somewhere else: a copy made while serving, a copy put back, everything
// carried from SQLite to PostgreSQL or back. It moves rows as they are and knows no fact of a plant.
//
//	digests, err := moving.Carry(ctx, from, to, nil)
//
// A file it makes appears under its name when it is whole, proved and on the disk, and not before.
package moving
