//go:build postgres

package plantdb_test

import (
	"errors"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/migrations"
)

// TestManyServersStartOnOneEmptyDatabase holds that the lock of the server's session lets one of them make the
// tables while the others wait.
func TestManyServersStartOnOneEmptyDatabase(t *testing.T) {
	address := plantdbtest.EmptyAddress(t)
	const servers = 6
	errs := make(chan error, servers)
	for range servers {
		go func() {
			db, err := plantdb.Open(bg, plantdb.Config{DSN: address})
			if err == nil {
				err = db.Close()
			}
			errs <- err
		}()
	}
	for range servers {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}

func TestNewerPostgresDatabaseIsRefused(t *testing.T) {
	address := plantdbtest.Address(t)
	db := plantdbtest.Again(t, address)
	err := db.InTx(bg, func(tx *plantdb.DB) error {
		return tx.SQL(bg).Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)").Error
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := plantdb.Open(bg, plantdb.Config{DSN: address}); !errors.Is(err, migrations.ErrNewer) {
		t.Errorf("got %v, want ErrNewer", err)
	}
}

func TestTextSortsAlikeOnBothEngines(t *testing.T) {
	s := plantdbtest.Plant(t)
	for _, name := range []string{"a-2", "B1", "a1", "ä", "z"} {
		s.Change(t, noon, func(c *plantdb.Change) error {
			ch, err := c.PlantChain(s.Plant.ID)
			if err != nil {
				return err
			}
			return plantdb.Create(c, ch, &assets.Line{PlantID: s.Plant.ID, Name: name, NameKey: name})
		})
	}
	var names []string
	if err := s.DB.SQL(bg).Raw("SELECT name FROM lines WHERE name <> 'Crushing' ORDER BY name").Scan(&names).Error; err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(names, " "); got != "B1 a-2 a1 z ä" {
		t.Errorf("sorted %q, want by bytes as SQLite does", got)
	}
}

// TestPostgresUpgradeKilledAnywhereIsWhole kills the making of the schema before every sixth statement and starts again.
func TestPostgresUpgradeKilledAnywhereIsWhole(t *testing.T) {
	want := schemaOf(t, plantdbtest.Open(t))
	kills := killEach(t, 6, func() string { return plantdbtest.EmptyAddress(t) }, func(address string, at int) {
		db, err := plantdb.Open(bg, plantdb.Config{DSN: address})
		if err != nil {
			t.Fatalf("killed before statement %d: %v", at, err)
		}
		defer db.Close()
		if got := schemaOf(t, db); got != want {
			t.Errorf("killed before statement %d: the schema is another than that of a database made at once", at)
		}
		if v := verdict(t, db); len(v.Breaks) > 0 {
			t.Errorf("killed before statement %d: breaks %v", at, v.Breaks)
		}
	})
	if kills < 5 {
		t.Errorf("killed %d times: nothing was tried", kills)
	}
	t.Logf("killed at %d statements", kills)
}

// TestWhatTheServerSuffersFrom lets the server answer with its own codes, as it does when its disk is full.
func TestWhatTheServerSuffersFrom(t *testing.T) {
	db := plantdbtest.Open(t)
	for code, says := range map[string]string{
		"53100": "disk of the PostgreSQL server is full", "58030": "cannot read from its disk", "25006": "only lets us read",
		"53300": "no connection left", "57P01": "stopping or starting",
	} {
		err := db.InTx(bg, func(tx *plantdb.DB) error {
			if err := tx.SQL(bg).Exec("INSERT INTO meta (name, value) VALUES ('suffers', 'half')").Error; err != nil {
				return err
			}
			return tx.SQL(bg).Exec("DO $$ BEGIN RAISE EXCEPTION 'as if' USING ERRCODE = '" + code + "'; END $$").Error
		})
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: it says %v, want %q", code, err, says)
		}
		if word, err := db.Meta(bg, "suffers"); err != nil || word != "" {
			t.Errorf("%s: half of it was kept: %q, %v", code, word, err)
		}
	}
}
