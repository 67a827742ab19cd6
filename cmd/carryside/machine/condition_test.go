package machine

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/server/health"
)

// TestNotReadyWhileTheDiskIsFull lets SQLite have no page more than it has, which it answers as a full disk does (its
// result code 13, "a write operation could not complete because the disk is full"; also for max_page_count).
func TestNotReadyWhileTheDiskIsFull(t *testing.T) {
	ctx := t.Context()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: plantdbtest.SQLiteFile(t)})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	now := plantdbtest.Noon
	c := Condition{DB: db, Now: func() time.Time { return now }}
	r := orders.Run{Job: job, DueAt: assets.InstantOf(now), StartedAt: assets.InstantOf(now)}
	if _, err := orders.BeginRun(ctx, db, &r); err != nil {
		t.Fatal(err)
	}
	r.EndedAt = assets.InstantOf(now)
	if err := orders.EndRun(ctx, db, r); err != nil {
		t.Fatal(err)
	}
	if err := c.Ready(ctx, now); err != nil {
		t.Fatalf("not ready though all is well: %v", err)
	}
	write := func(word string) error {
		return db.InTx(ctx, func(tx *plantdb.DB) error { return tx.SetMeta(ctx, "filler", word) })
	}
	pages := func(most string) {
		t.Helper()
		if err := db.InTx(ctx, func(tx *plantdb.DB) error { return tx.SQL(ctx).Exec("PRAGMA max_page_count = " + most).Error }); err != nil {
			t.Fatal(err)
		}
	}
	pages("1") // SQLite takes as many as there are
	full := write(strings.Repeat("x", 1<<20))
	var trouble *plantdb.Trouble
	if !errors.As(full, &trouble) {
		t.Fatalf("a full disk says %v", full)
	}
	var why health.Missing
	if err := c.Ready(ctx, now); !errors.As(err, &why) || !strings.Contains(string(why), "disk of the database is full") || strings.Contains(string(why), db.Path()) {
		t.Errorf("on a full disk: %v", err)
	}
	if err := db.InSnapshot(ctx, func(*plantdb.DB) error { return nil }); err != nil || c.Ready(ctx, now) == nil {
		t.Errorf("ready again because somebody read: %v", err)
	}
	canceled, stop := context.WithCancel(ctx)
	stop()
	if err := db.InTx(canceled, func(*plantdb.DB) error { return nil }); err == nil || c.Ready(ctx, now) == nil {
		t.Errorf("ready again because somebody gave up: %v", err)
	}
	pages("1000000")
	if err := write(strings.Repeat("x", 1<<20)); err != nil {
		t.Fatal(err)
	}
	if err := c.Ready(ctx, now); err != nil {
		t.Errorf("not ready though there is room again: %v", err)
	}
}
