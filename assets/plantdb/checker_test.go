//go:build checker

package plantdb_test

import (
	"fmt"
	"os/exec"
	"testing"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
)

// TestCheckerInAnotherLanguageAgrees lets the checker that was written from the developers' page alone recompute the
// journal of a file, and change values behind the journal's back for it to find.
//
//	go test -tags checker -run Checker ./assets/plantdb
func TestCheckerInAnotherLanguageAgrees(t *testing.T) {
	// The demo first, since it brings its numbers with it.
	demo := plantdbtest.Again(t, plantdbtest.SQLiteFile(t))
	if err := fleetdb.Write(bg, demo, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	agrees(t, demo)
	s := busy(t)
	people, err := registry.People(bg, s.DB, s.Scope, false)
	if err != nil {
		t.Fatal(err)
	}
	s.Change(t, noon.Add(5*time.Hour), func(c *plantdb.Change) error { return registry.ErasePerson(c, people[0].ID) })
	path, want := s.DB.Path(), agrees(t, s.DB)
	if err := s.DB.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range [][2]string{
		{"UPDATE belts SET width_m = width_m + 1e-9 WHERE row_id = 1", "UPDATE belts SET width_m = 1 WHERE row_id = 1"},
		{"UPDATE readings SET known_to = 3 WHERE known_to IS NULL AND at = (SELECT min(at) FROM readings)", "UPDATE readings SET known_to = NULL WHERE known_to = 3"},
		{"UPDATE journal_entries SET reason = reason || ' ' WHERE chain_id = 2 AND position = 3", "UPDATE journal_entries SET reason = rtrim(reason) WHERE chain_id = 2 AND position = 3"},
		{"UPDATE people SET name = 'x' WHERE id = 1", "UPDATE people SET name = 'erased person 1' WHERE id = 1"},
	} {
		raw(t, path, c[0])
		if got, err := checker(path); err == nil {
			t.Errorf("%s: the checker says %s", c[0], got)
		}
		raw(t, path, c[1])
	}
	if got, err := checker(path); err != nil || got != want {
		t.Errorf("with everything put back the checker says (%v)\n%s", err, got)
	}
}

// agrees fails unless the checker finds what Verify finds, and returns what it said.
func agrees(t *testing.T, db *plantdb.DB) string {
	t.Helper()
	v := verdict(t, db)
	want := ""
	for _, ch := range v.Chains {
		want += fmt.Sprintf("chain %d entry %d %s\n", ch.ChainID, ch.Position, ch.Hash)
	}
	want += fmt.Sprintf("%d rows fit\n", v.Rows)
	if got, err := checker(db.Path()); err != nil || got != want || len(v.Breaks) > 0 {
		t.Fatalf("the checker says (%v)\n%s\nwant\n%s", err, got, want)
	}
	return want
}

func checker(path string) (string, error) {
	out, err := exec.Command("python3", "../../.ci/check_journal.py", path).CombinedOutput()
	return string(out), err
}
