package moving_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/moving"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// TestMoveIntoAnotherFile moves between files and holds that both sides are the same.
func TestMoveIntoAnotherFile(t *testing.T) {
	from, to := sample(t), filepath.Join(t.TempDir(), "moved.db")
	want := digests(t, from)
	told := map[string]bool{}
	all, err := moving.Move(bg, from, to, func(table string, _ int64, done bool) { told[table] = told[table] || done })
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "what move says", all, want)
	compare(t, "the new file", digests(t, to), want)
	compare(t, "the old file", digests(t, from), want)
	for _, d := range want {
		if !told[d.Table] {
			t.Errorf("nobody was told that %s is done", d.Table)
		}
	}
	plantdbtest.Again(t, to) // verified when the test ends
	left(t, filepath.Dir(to), "moved.db", "moved.db-shm", "moved.db-wal", "moved.db.lock")
}

// compare takes two lists of digests whose order may differ.
func compare(t *testing.T, what string, got, want []moving.Digest) {
	t.Helper()
	order := func(a, b moving.Digest) int { return strings.Compare(a.Table, b.Table) }
	got, want = slices.Clone(got), slices.Clone(want)
	slices.SortFunc(got, order)
	slices.SortFunc(want, order)
	rows := int64(0)
	for i := range min(len(got), len(want)) {
		rows += want[i].Rows
		if got[i] != want[i] {
			t.Errorf("%s: %v, want %v", what, got[i], want[i])
		}
	}
	if len(got) != len(want) || rows < 10_000 {
		t.Errorf("%s: %d tables, want %d, with %d rows in all", what, len(got), len(want), rows)
	}
}

func TestMoveRefusals(t *testing.T) {
	from, dir := sample(t), t.TempDir()
	if _, err := moving.Move(bg, from, from, nil); err == nil || !strings.Contains(err.Error(), "there already") {
		t.Errorf("moved onto itself: %v", err)
	}
	if _, err := moving.Move(bg, filepath.Join(dir, "no.db"), filepath.Join(dir, "to.db"), nil); err == nil || !strings.Contains(err.Error(), "there is no database") {
		t.Errorf("moved what is not there: %v", err)
	}
	db := open(t, from)
	if _, err := moving.Move(bg, from, filepath.Join(dir, "to.db"), nil); !errors.Is(err, plantdb.ErrInUse) {
		t.Errorf("moved away from under a server: %v", err)
	}
	closed(t, db)
	left(t, dir)
}

func TestCarryOnlyIntoAnEmptyDatabase(t *testing.T) {
	from := open(t, sample(t))
	defer closed(t, from)
	to := plantdbtest.Plant(t)
	before := count(t, to.DB, "journal_entries")
	if _, err := moving.Carry(bg, from, to.DB, nil); !errors.Is(err, moving.ErrNotEmpty) {
		t.Errorf("carried over somebody's plant: %v", err)
	}
	if after := count(t, to.DB, "journal_entries"); after != before {
		t.Errorf("%d entries, before it %d", after, before)
	}
}

// TestCarryIsAllOrNothing interrupts while the largest table is on its way.
func TestCarryIsAllOrNothing(t *testing.T) {
	from, to := open(t, sample(t)), plantdbtest.Open(t)
	defer closed(t, from)
	ctx, stop := context.WithCancel(bg)
	_, err := moving.Carry(ctx, from, to, func(table string, _ int64, done bool) {
		if table == "readings" && !done {
			stop()
		}
	})
	if err == nil {
		t.Fatal("it was carried although it was interrupted")
	}
	for _, table := range []string{"plants", "readings", "journal_entries"} {
		if n := count(t, to, table); n != 0 {
			t.Errorf("%d rows of %s arrived", n, table)
		}
	}
	if n := count(t, to, "chains"); n != 1 {
		t.Errorf("%d chains, want the company's as in a new database", n)
	}
	all, err := moving.Carry(bg, from, to, nil)
	if err != nil {
		t.Fatalf("the second time: %v", err)
	}
	got, err := moving.Digests(bg, to)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "after the second time", got, all)
	goOn(t, to)
}

// goOn enters something new where a carried installation stands: numbers go on where they were.
func goOn(t *testing.T, db *plantdb.DB) {
	t.Helper()
	act := plantdb.Act{Origin: plantdb.Command, Action: "add after the move", Now: plantdbtest.Noon.AddDate(1, 0, 0), Company: true}
	err := db.Change(bg, act, func(c *plantdb.Change) error {
		customer := assets.Customer{Name: "Ostrel Gravel"}
		if err := registry.AddCustomer(c, &customer); err != nil {
			return err
		}
		plant := assets.Plant{CustomerID: customer.ID, Name: "Ostrel Pit", Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI}
		if err := registry.AddPlant(c, &plant); err != nil {
			return err
		}
		return registry.SaveLine(c, &assets.Line{PlantID: plant.ID, Name: "Washing"}, 0)
	})
	if err != nil {
		t.Errorf("enter something after the move: %v", err)
	}
}

// TestDigestOfAKnownTable computes the digest of the counters by hand, as the documentation of the digest says.
func TestDigestOfAKnownTable(t *testing.T) {
	db := plantdbtest.Open(t)
	all, err := moving.Digests(bg, db)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte("id_counters kind,next\n\"chains\",2\n"))
	want := moving.Digest{Table: "id_counters", Rows: 1, SHA256: hex.EncodeToString(sum[:])}
	if !slices.Contains(all, want) {
		t.Errorf("digests %v, want among them %v", all, want)
	}
}

func TestNoFolderIsLeftWhenAMoveFails(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithCancel(bg)
	_, err := moving.Move(ctx, sample(t), filepath.Join(dir, "to.db"), func(table string, _ int64, done bool) {
		if table == "orders" {
			stop()
		}
	})
	if err == nil {
		t.Error("it was moved although it was interrupted")
	}
	left(t, dir)
	if err := os.Mkdir(filepath.Join(dir, "to.db.unfinished"), 0o700); err != nil { // as a kill leaves it
		t.Fatal(err)
	}
	if _, err := moving.Move(bg, sample(t), filepath.Join(dir, "to.db"), nil); err != nil {
		t.Errorf("after one that was killed: %v", err)
	}
}
