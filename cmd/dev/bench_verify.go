package main

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/samplefleet"
)

// millionEntries is how many entries the journal holds whose proof is measured.
const millionEntries = 1_000_000

// verify builds a database of a million entries, each of a reading, in a folder of its own and measures the program
// proving it, and one chain of it alone.
func (b *bench) verify() error {
	file := filepath.Join(b.dir, "million.db")
	began := time.Now()
	customer, err := writeMillion(b.ctx, file)
	if err != nil {
		return fmt.Errorf("build a journal of a million entries: %w", err)
	}
	fmt.Fprintf(b.env.stdout, "\na journal of %d entries was built in %s, on %d cores\n", millionEntries, seconds(time.Since(began)), runtime.NumCPU())
	b.table.head("proof of the journal, 1,000,000 entries, 1,000,000 readings", "CPU", "wall", "", "peak memory")
	for range 3 {
		whole, err := b.run("verify", "--db", file)
		if err != nil {
			return err
		}
		b.table.line(whole.line("verify, the whole database", "under 5 s wall"))
	}
	one, err := b.run("verify", "--db", file, "--customer", customer)
	if err != nil {
		return err
	}
	b.table.line(one.line("verify, one customer's chain of 333,333 entries", ""))
	return nil
}

// writeMillion writes the three invented plants and entries that each enter a reading. They are written as a journal from
// before the hashes, which the program seals when it opens the file: ten times faster than a transaction each, and
// the result is the same. It returns the name of the largest customer.
func writeMillion(ctx context.Context, file string) (customer string, err error) {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: file, Create: true})
	if err != nil {
		return "", err
	}
	day, err := time.Parse(time.DateOnly, fleetDay)
	if err != nil {
		return "", err
	}
	fleet := samplefleet.Demo(day)
	if err := fleetdb.Write(ctx, db, fleet); err != nil {
		return "", err
	}
	err = db.InTx(ctx, func(tx *plantdb.DB) error {
		for i, c := range fleet.Customers {
			share := millionEntries / len(fleet.Customers)
			if i == 0 {
				share += millionEntries % len(fleet.Customers)
			}
			if err := enterReadings(ctx, tx, c.ID, share); err != nil {
				return err
			}
		}
		// All entries get their hashes anew, those of the plants too.
		if err := tx.SQL(ctx).Exec("DELETE FROM journal_rows").Error; err != nil {
			return err
		}
		return tx.SetMeta(ctx, "journal_unsealed", "yes")
	})
	if err != nil {
		return "", err
	}
	if err := db.Close(); err != nil {
		return "", err
	}
	if db, err = plantdb.Open(ctx, plantdb.Config{DSN: file}); err != nil {
		return "", err
	}
	return fleet.Customers[0].Name, db.Close()
}

// enterReadings writes n entries of a reading each into a customer's chain, a minute apart, over its conveyors in turn.
func enterReadings(ctx context.Context, tx *plantdb.DB, customerID int64, n int) error {
	var of struct{ ID, HeadPosition, HeadAt, First, Count int64 }
	err := tx.SQL(ctx).Raw(`SELECT c.id, c.head_position, c.head_at, min(v.id) AS first, count(DISTINCT v.id) AS count FROM chains c
		JOIN plants p ON p.customer_id = c.customer_id JOIN conveyors v ON v.plant_id = p.id WHERE c.customer_id = ? GROUP BY 1, 2, 3`, customerID).Scan(&of).Error
	if err != nil {
		return err
	}
	const minute = 60_000_000
	args := map[string]any{"chain": of.ID, "head": of.HeadPosition, "at": of.HeadAt, "first": of.First, "count": of.Count, "n": n, "minute": minute}
	for _, statement := range []string{
		`WITH RECURSIVE k(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM k WHERE i < @n)
			INSERT INTO readings (conveyor_id, at, known_from, shown_h, approximate)
			SELECT @first + i % @count, @at + i * @minute, @head + i, 40000 + i / 60.0, false FROM k`,
		`WITH RECURSIVE k(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM k WHERE i < @n)
			INSERT INTO journal_entries (chain_id, position, at, clock_at, plant_id, person_id, origin, action, reason, changes)
			SELECT @chain, @head + i, @at + i * @minute + 30000000, 0, 1, 2, 'screen', 'enter a reading', '',
			'[{"after":{"at":' || (@at + i * @minute) || ',"shown_h":' || (40000 + i / 60.0) || '},"id":' || (@first + i % @count) || ',"table":"readings"}]' FROM k`,
		`UPDATE chains SET head_position = @head + @n, head_at = @at + @n * @minute + 30000000 WHERE id = @chain`,
	} {
		if err := tx.SQL(ctx).Exec(statement, args).Error; err != nil {
			return err
		}
	}
	return nil
}
