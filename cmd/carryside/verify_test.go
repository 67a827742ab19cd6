package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// verified runs verify and returns what it said and its exit code.
func verified(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var out, errs strings.Builder
	code = run(t.Context(), append([]string{"verify"}, args...), &Program{Stdout: &out, Stderr: &errs, Now: nil})
	return out.String(), errs.String(), code
}

func TestVerifyGivesALineForEachChain(t *testing.T) {
	dsn := smallInstallation(t)
	out, errs, code := verified(t, "--db", dsn)
	lines := regexp.MustCompile(`^chain 1 entry \d+ [0-9a-f]{64} the company\nchain 2 entry \d+ [0-9a-f]{64} Skarrow Holdings\nconsistent in itself: \d+ entries, \d+ rows\n$`)
	if code != exitDone || !lines.MatchString(out) {
		t.Fatalf("exit %d, %q, %q", code, out, errs)
	}
	kept := filepath.Join(t.TempDir(), "kept.txt")
	if err := os.WriteFile(kept, []byte(out), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, errs, code := verified(t, "--db", dsn, "--checkpoint", kept); code != exitDone || !strings.Contains(out, "whole since the checkpoint") {
		t.Errorf("against its own lines: exit %d, %q, %q", code, out, errs)
	}
	other := strings.Replace(out, "Skarrow", "of", 1)
	other = regexp.MustCompile(`(?m)^(chain 2 entry \d+) [0-9a-f]{64}`).ReplaceAllString(other, "$1 "+strings.Repeat("5", 64))
	if err := os.WriteFile(kept, []byte(other), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, errs, code := verified(t, "--db", dsn, "--checkpoint", kept); code != exitRefused || !strings.Contains(errs, "not the one the checkpoint names") {
		t.Errorf("against another chain's lines: exit %d, %q", code, errs)
	}
	if err := os.WriteFile(kept, []byte("nothing of the sort\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, errs, code := verified(t, "--db", dsn, "--checkpoint", kept); code != exitRefused || !strings.Contains(errs, "has no line of a chain") {
		t.Errorf("against a file without lines: exit %d, %q", code, errs)
	}
}

func TestVerifyNamesTheChangedRow(t *testing.T) {
	dsn := plantdbtest.Address(t)
	db, err := plantdb.Open(t.Context(), plantdb.Config{DSN: dsn})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	spec := assets.Specification{Name: "EP 630/4", Plies: 4}
	err = db.Change(t.Context(), plantdb.Act{Origin: plantdb.Command, Action: "list a belt", Now: exportNow, Company: true}, func(c *plantdb.Change) error {
		return registry.SaveSpecification(c, &spec, 0)
	})
	if err != nil {
		t.Fatal(err)
	}
	err = db.InTx(t.Context(), func(tx *plantdb.DB) error { // past the journal
		return tx.SQL(t.Context()).Exec("UPDATE specifications SET plies = 5").Error
	})
	if err != nil {
		t.Fatal(err)
	}
	out, errs, code := verified(t, "--db", dsn)
	if code != exitRefused || out != "" || errs != "carryside: Row 1 of specifications was changed after entry 1 of chain 1 wrote it.\n" {
		t.Errorf("exit %d, %q, %q; want the row named", code, out, errs)
	}
}
