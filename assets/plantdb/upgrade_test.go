package plantdb_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/migrations"
)

// earliest is the schema the upgrades below begin with.
const earliest = 5

// TestUpgradeKilledAnywhereIsWhole kills the upgrade of a database with three plants before its every statement, starts
// again, and holds that schema, rows and journal are those of an upgrade left alone and that the copy set aside is whole.
func TestUpgradeKilledAnywhereIsWhole(t *testing.T) {
	path := plantdbtest.SQLiteFile(t)
	drawn, err := plantdb.Open(bg, plantdb.Config{DSN: path})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Hollin Quarry", "Asker Pit", "Vastrow Works"} {
		plantdbtest.PlantIn(t, drawn, name)
	}
	wantRows := verdict(t, drawn).Rows
	wantSchema := schemaOf(t, plantdbtest.Again(t, plantdbtest.SQLiteFile(t)))
	if err := drawn.Close(); err != nil {
		t.Fatal(err)
	}
	plantdbtest.TakenBack(t, path, earliest)
	old, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	fresh := func() string {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, "plant.db")
		if err := os.WriteFile(file, old, 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	kills := killEach(t, 1, fresh, func(file string, at int) {
		db, err := plantdb.Open(bg, plantdb.Config{DSN: file})
		if err != nil {
			t.Fatalf("killed before statement %d: %v", at, err)
		}
		defer db.Close()
		if got := schemaOf(t, db); got != wantSchema {
			t.Errorf("killed before statement %d: the schema is another than that of a new database", at)
		}
		if v := verdict(t, db); v.Rows != wantRows || len(v.Breaks) > 0 {
			t.Errorf("killed before statement %d: %d rows, want %d; breaks %v", at, v.Rows, wantRows, v.Breaks)
		}
		asideIsWhole(t, migrations.Aside(file, earliest), at)
	})
	if kills < 5 {
		t.Errorf("killed %d times: nothing was tried", kills)
	}
	t.Logf("killed at %d statements", kills)
}

// asideIsWhole opens the copy set aside before the upgrade and upgrades it in turn.
func asideIsWhole(t *testing.T, aside string, at int) {
	t.Helper()
	db, err := plantdb.Open(bg, plantdb.Config{DSN: aside})
	if err != nil {
		t.Errorf("killed before statement %d: the copy set aside: %v", at, err)
		return
	}
	defer db.Close()
	var plants int64
	if err := db.SQL(bg).Raw("SELECT count(*) FROM plants").Scan(&plants).Error; err != nil || plants != 3 {
		t.Errorf("killed before statement %d: the copy set aside has %d plants, %v", at, plants, err)
	}
}

// TestUpgradeWithoutItsCopy holds that an upgrade does not begin where its safety copy would not fit: the copy's name is taken
// by a folder, which is the same to the program as a disk that refuses it.
func TestUpgradeWithoutItsCopy(t *testing.T) {
	path := plantdbtest.SQLiteFile(t)
	plantdbtest.TakenBack(t, path, earliest)
	if err := os.MkdirAll(filepath.Join(migrations.Aside(path, earliest)+".unfinished", "in the way"), 0o700); err != nil {
		t.Fatal(err)
	}
	db, err := plantdb.Open(bg, plantdb.Config{DSN: path})
	if err == nil {
		t.Fatal("upgraded without a safety copy", db.Close())
	}
	if _, err := plantdb.Open(bg, plantdb.Config{DSN: path, AsItIs: true}); err == nil || !strings.Contains(err.Error(), "earlier Carryside") {
		t.Errorf("afterwards it is not as it was: %v", err)
	}
}
