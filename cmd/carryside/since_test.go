package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/reports/workbook"
)

// correctedInstallation is one in which a reading was corrected ten days after everything was entered.
func correctedInstallation(t *testing.T) string {
	t.Helper()
	dsn := smallInstallation(t)
	correctReading(t, dsn, 5300, exportNow.AddDate(0, 0, 10), "misread by a digit")
	return dsn
}

func correctReading(t *testing.T, dsn string, shown float64, at time.Time, reason string) {
	t.Helper()
	db := plantdbtest.Again(t, dsn)
	act := plantdb.Act{Origin: plantdb.Command, Action: "correct a reading", Reason: reason, Now: at, Plants: []int64{1}}
	err := db.Change(t.Context(), act, func(c *plantdb.Change) error {
		return clocks.CorrectReading(c, 1, assets.InstantOf(time.Date(2024, 11, 30, 23, 0, 0, 0, time.UTC)), &shown)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// exportedThen issues the splice ages of 1 December 2024 as known on 1 March 2026, a month after the correction.
func exportedThen(t *testing.T, dsn, ending string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "then"+ending)
	var out, errs strings.Builder
	p := &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow.AddDate(0, 1, 10) }}
	if code := run(t.Context(), []string{"export", "splice-age", "--db", dsn, "--as-of", "2024-12-01", "--known-at", "2026-03-01", "--out", name}, p); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	return name
}

// TestCorrectionsSinceStandApartInEveryForm holds that a report as known then keeps the rows of then and tells, apart,
// what was corrected since, with who, when and why.
func TestCorrectionsSinceStandApartInEveryForm(t *testing.T) {
	dsn := correctedInstallation(t)
	var doc struct {
		Digest string
		Since  *struct {
			Rows []map[string]string
		} `json:"corrections_since"`
	}
	data, err := os.ReadFile(exportedThen(t, dsn, ".json"))
	must(t, err)
	must(t, json.Unmarshal(data, &doc))
	if doc.Since == nil || len(doc.Since.Rows) == 0 {
		t.Fatalf("JSON tells no corrections: %s", data)
	}
	hours := slices.IndexFunc(doc.Since.Rows, func(r map[string]string) bool { return r["column"] == "Age, running hours" })
	if hours < 0 {
		t.Fatalf("the running hours are not among %v", doc.Since.Rows)
	}
	row := doc.Since.Rows[hours]
	if row["then"] == row["now"] || row["says"] != "another value" || row["deed"] != "correct a reading" || row["reason"] != "misread by a digit" ||
		row["entered_at"] != exportNow.AddDate(0, 0, 10).UTC().Format("2006-01-02 15:04:05") || row["entered_by"] != "no person: command" {
		t.Errorf("the correction reads %v", row)
	}
	then := builtAt(t, exportNow, "--db", dsn, "--as-of", "2024-12-01", "--known-at", "2026-03-01", "--draft")
	if then.Digest != doc.Digest {
		t.Error("corrections since changed the digest of the rows")
	}
	records := csvRecords(t, exportedThen(t, dsn, ".csv"))
	at := slices.IndexFunc(records, func(r []string) bool { return strings.Join(r, "") == "" })
	if at != 3 || !strings.HasPrefix(records[at+1][0], "Corrections since") || len(records) != at+2+len(doc.Since.Rows) || records[at+2+hours][7] != row["now"] {
		t.Errorf("CSV holds %v behind record %d", records[max(at, 0):], at)
	}
	page, err := os.ReadFile(exportedThen(t, dsn, ".html"))
	must(t, err)
	if !bytes.Contains(page, []byte("<h2>Corrections since</h2>")) || !bytes.Contains(page, []byte("misread by a digit")) {
		t.Error("the page for paper tells no corrections")
	}
	sheetTells(t, exportedThen(t, dsn, ".xlsx"), row["now"])
}

func csvRecords(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	must(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	must(t, err)
	return records
}

// sheetTells reads the workbook's own sheet of corrections.
func sheetTells(t *testing.T, name, now string) {
	t.Helper()
	data, err := os.ReadFile(name)
	must(t, err)
	book, err := workbook.Read(t.Context(), name, data)
	must(t, err)
	at := slices.IndexFunc(book.Sheets, func(s *intake.Sheet) bool { return s.Name == "Corrections since" })
	if at < 0 {
		t.Fatal("the workbook has no sheet of corrections")
	}
	told := slices.ContainsFunc(book.Sheets[at].Rows, func(row intake.Row) bool {
		return slices.ContainsFunc(row.Cells, func(c intake.Cell) bool { return c.Text == now }) &&
			slices.ContainsFunc(row.Cells, func(c intake.Cell) bool { return c.Text == "misread by a digit" })
	})
	if !told {
		t.Errorf("the sheet of corrections does not tell %s and why", now)
	}
}

// TestReportWithCorrectionsIsBuiltAgainByteForByte corrects once more after the report was issued: built again it is the
// same file, which tells the first correction and not the second.
func TestReportWithCorrectionsIsBuiltAgainByteForByte(t *testing.T) {
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html"} {
		dsn := correctedInstallation(t)
		name := exportedThen(t, dsn, ending)
		correctReading(t, dsn, 5400, exportNow.AddDate(0, 2, 0), "misread again")
		again := filepath.Join(t.TempDir(), "again"+ending)
		code, out, errs := exported(t, "--db", dsn, "--basis", name+proofEnding, "--out", again)
		if code != exitDone || !strings.Contains(out, "byte for byte the same") {
			t.Errorf("%s: exit %d, %q, %q", ending, code, out, errs)
		}
		a, errA := os.ReadFile(name)
		b, errB := os.ReadFile(exportedThen(t, dsn, ending))
		if errA != nil || errB != nil || bytes.Equal(a, b) {
			t.Errorf("%s: a new report does not tell the second correction (%v, %v)", ending, errA, errB)
		}
	}
}

// TestNothingCorrectedSinceIsSaid asks for a known-at behind which nothing was entered, and for none.
func TestNothingCorrectedSinceIsSaid(t *testing.T) {
	dsn := smallInstallation(t)
	data, err := os.ReadFile(exportedThen(t, dsn, ".json"))
	must(t, err)
	if !bytes.Contains(data, []byte(`"rows":[]`)) || !bytes.Contains(data, []byte(`"corrections_since"`)) {
		t.Errorf("nothing corrected: %s", data)
	}
	name := filepath.Join(t.TempDir(), "now.json")
	if code, _, errs := exported(t, "splice-age", "--db", dsn, "--out", name); code != exitDone {
		t.Fatal(errs)
	}
	if data, err = os.ReadFile(name); err != nil || bytes.Contains(data, []byte("corrections_since")) {
		t.Errorf("as known now it tells corrections (%v)", err)
	}
}
