package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/reports"
)

// builtReport is what the tests below read of a report in JSON.
type builtReport struct {
	Digest string
	Basis  []reports.Basis
	Rows   []struct {
		Hours float64 `json:"age_hours"`
	}
}

// builtAt exports the splice ages at a moment.
func builtAt(t *testing.T, now time.Time, args ...string) (r builtReport) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "ages.json")
	var out, errs strings.Builder
	args = append([]string{"export", "splice-age", "--out", name}, args...)
	if code := run(t.Context(), args, &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return now }}); code != exitDone {
		t.Fatalf("%v: exit %d: %s", args, code, errs.String())
	}
	data, err := os.ReadFile(name)
	if err == nil {
		err = json.Unmarshal(data, &r)
	}
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestExportAsKnownThen corrects a reading after a report was built: built again as known then it has the rows it had,
// as known now those of the correction, and as known before anything was entered none.
func TestExportAsKnownThen(t *testing.T) {
	dsn := smallInstallation(t)
	then := builtAt(t, exportNow, "--db", dsn, "--as-of", "2024-12-01")
	db := plantdbtest.Again(t, dsn)
	later := exportNow.AddDate(0, 0, 10)
	act := plantdb.Act{Origin: plantdb.Command, Action: "correct a reading", Now: later, Plants: []int64{1}}
	err := db.Change(t.Context(), act, func(c *plantdb.Change) error {
		shown := 5300.0
		return clocks.CorrectReading(c, 1, assets.InstantOf(time.Date(2024, 11, 30, 23, 0, 0, 0, time.UTC)), &shown)
	})
	if err != nil {
		t.Fatal(err)
	}
	now := later.AddDate(0, 1, 0)
	again := builtAt(t, now, "--db", dsn, "--as-of", "2024-12-01", "--known-at", "2026-03-01")
	if again.Digest != then.Digest || len(again.Rows) != 2 {
		t.Errorf("as known then: digest %s of %d rows, want %s of 2", again.Digest, len(again.Rows), then.Digest)
	}
	atThatMoment := builtAt(t, now, "--db", dsn, "--as-of", "2024-12-01", "--known-at", later.Add(-time.Second).Format(time.RFC3339))
	if atThatMoment.Digest != then.Digest {
		t.Error("as known a second before the correction it has other rows")
	}
	if corrected := builtAt(t, now, "--db", dsn, "--as-of", "2024-12-01"); corrected.Digest == then.Digest {
		t.Error("as known now it still has the rows of before the correction")
	}
	if early := builtAt(t, now, "--db", dsn, "--as-of", "2024-12-01", "--known-at", "2026-02-28"); len(early.Rows) != 0 {
		t.Errorf("as known before the first entry there are %d rows", len(early.Rows))
	}
	basis := map[string]string{}
	for _, b := range again.Basis {
		basis[b.Name] = b.Value
	}
	line := regexp.MustCompile(`^chain 2 entry \d+ [0-9a-f]{64}$`)
	if !line.MatchString(basis["Journal of Skarrow Holdings"]) || !strings.Contains(basis["Known"], "Europe/Berlin") {
		t.Errorf("basis %v, want the chain's place and what was known", basis)
	}
	kept := filepath.Join(t.TempDir(), "kept.txt")
	if err := os.WriteFile(kept, []byte(basis["Journal of Skarrow Holdings"]+"\n"+basis["Journal of the company"]), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, errs, code := verified(t, "--db", dsn, "--checkpoint", kept); code != exitDone {
		t.Errorf("the report's own checkpoint does not verify: %s", errs)
	}
}

func TestKnownAtThatIsNone(t *testing.T) {
	var out, errs strings.Builder
	args := []string{"export", "splice-age", "--out", "x.csv", "--db", "none.db", "--known-at", "last week"}
	code := run(t.Context(), args, &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow }})
	if code != exitUsage || !strings.Contains(errs.String(), "--known-at") {
		t.Errorf("exit %d, %q", code, errs.String())
	}
}
