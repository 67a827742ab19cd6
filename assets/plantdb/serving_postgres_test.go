//go:build postgres

package plantdb_test

import (
	"fmt"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
)

// TestTheServingAccountWritesRowsAndNothingElse opens an installation with an account that owns nothing: facts are
// read and written through it and the journal grows; tables and what stands in the journal are out of its reach.
func TestTheServingAccountWritesRowsAndNothingElse(t *testing.T) {
	s := plantdbtest.Plant(t)
	role := fmt.Sprintf("serving_%d_%d", os.Getpid(), time.Now().UnixNano())
	if err := s.DB.InTx(bg, func(tx *plantdb.DB) error { return tx.SQL(bg).Exec("CREATE ROLE " + role + " LOGIN").Error }); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = s.DB.InTx(bg, func(tx *plantdb.DB) error { return tx.SQL(bg).Exec("DROP OWNED BY " + role).Error })
		_ = s.DB.InTx(bg, func(tx *plantdb.DB) error { return tx.SQL(bg).Exec("DROP ROLE " + role).Error })
	})
	var name string
	if err := s.DB.SQL(bg).Raw("SELECT current_database()").Scan(&name).Error; err != nil {
		t.Fatal(err)
	}
	at, err := url.Parse(plantdbtest.Server(t))
	if err != nil {
		t.Fatal(err)
	}
	at.User, at.Path = url.User(role), "/"+name
	if _, err := plantdb.Open(bg, plantdb.Config{DSN: at.String()}); err == nil {
		t.Fatal("an account without any right opens the installation")
	}
	if err := s.DB.LetServe(bg, role); err != nil {
		t.Fatal(err)
	}
	db, err := plantdb.Open(bg, plantdb.Config{DSN: at.String()})
	if err != nil {
		t.Fatalf("the serving account does not get in: %v", err)
	}
	defer db.Close()
	if err := db.SetMeta(bg, "test", "written"); err != nil {
		t.Errorf("it does not write: %v", err)
	}
	spec := assets.Specification{Name: "EP 800/5", NameKey: "ep 800/5"}
	change(t, db, noon.Add(time.Hour), func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
	for _, statement := range []string{"CREATE TABLE own (id BIGINT)", "DROP TABLE conveyors", "ALTER TABLE conveyors ADD COLUMN own BIGINT", "TRUNCATE journal_entries",
		"UPDATE journal_entries SET reason = 'other'", "DELETE FROM journal_entries", "UPDATE journal_rows SET leaves = ''", "DELETE FROM journal_rows", "DELETE FROM goose_db_version"} {
		err := db.InTx(bg, func(tx *plantdb.DB) error { return tx.SQL(bg).Exec(statement).Error })
		if err == nil || !strings.Contains(err.Error(), "42501") { // insufficient privilege
			t.Errorf("%s: %v, want it refused", statement, err)
		}
	}
}
