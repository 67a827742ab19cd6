package main

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// issuedReport exports the splice ages of an installation and returns the installation and the file.
func issuedReport(t *testing.T, ending string) (dsn, name string) {
	t.Helper()
	dsn, name = smallInstallation(t), filepath.Join(t.TempDir(), "ages"+ending)
	if code, _, stderr := exported(t, "splice-age", "--db", dsn, "--as-of", "2026-02-01", "--out", name); code != exitDone {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	return dsn, name
}

func TestIssuedFileIsProved(t *testing.T) {
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html"} {
		dsn, name := issuedReport(t, ending)
		none := filepath.Join(t.TempDir(), "none.db")
		for _, c := range []struct {
			says string
			args []string
		}{
			{"proved by its proof file and by the journal: report 1, Splice age register, 2 rows", []string{"--db", dsn, name}},
			{"is the file its proof file was made of: ", []string{"--db", none, name}},
		} {
			if out, errs, code := verified(t, c.args...); code != exitDone || !strings.Contains(out, c.says) {
				t.Errorf("%s: exit %d, %q, %q; want %q", ending, code, out, errs, c.says)
			}
		}
		bare := filepath.Join(t.TempDir(), "mail"+ending)
		copyOf(t, name, bare)
		if out, errs, code := verified(t, "--db", dsn, bare); code != exitDone || !strings.Contains(out, "proved by the journal: report 1") {
			t.Errorf("%s without its proof: exit %d, %q, %q", ending, code, out, errs)
		}
		if _, errs, code := verified(t, "--db", none, bare); code != exitRefused || !strings.Contains(errs, "nothing to prove") {
			t.Errorf("%s with nothing to prove it by: exit %d, %q", ending, code, errs)
		}
	}
}

func copyOf(t *testing.T, from, to string) []byte {
	t.Helper()
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestEveryFlippedByteOfAWorkbookIsFound changes single bytes of an issued workbook at random places: by the proof file
// alone, and by the journal alone, each is found.
func TestEveryFlippedByteOfAWorkbookIsFound(t *testing.T) {
	dsn, name := issuedReport(t, ".xlsx")
	bare := filepath.Join(t.TempDir(), "mail.xlsx")
	whole := copyOf(t, name, bare)
	db, err := plantdb.Open(t.Context(), plantdb.Config{DSN: dsn, AsItIs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rng := rand.New(rand.NewPCG(5, 8))
	for range 1000 {
		at, other := rng.IntN(len(whole)), byte(1+rng.IntN(255))
		changed := bytes.Clone(whole)
		changed[at] ^= other
		if err := os.WriteFile(bare, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		check, err := newFileCheck(bare, name+proofEnding)
		if err != nil {
			t.Fatal(err)
		}
		if check.byProof() == nil {
			t.Errorf("byte %d changed by %#x: the proof file does not find it", at, other)
		}
		if says, err := check.byJournal(t.Context(), db, nil); err == nil {
			t.Errorf("byte %d changed by %#x: the journal says %s", at, other, says)
		} else if want := "differs from report 1 as kept from byte " + itoa(at) + " on"; !strings.Contains(err.Error(), want) {
			t.Errorf("byte %d: %v, want %q", at, err, want)
		}
	}
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + itoa(n%10)
}

// TestChangedProofIsFound changes what a proof file says of a file that is whole.
func TestChangedProofIsFound(t *testing.T) {
	dsn, name := issuedReport(t, ".csv")
	proof, err := os.ReadFile(name + proofEnding)
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{`"rows": 2`: `"rows": 3`, `"as_of": "2026-02-01"`: `"as_of": "2026-02-02"`, `"generated_by": "operator`: `"generated_by": "auditor`} {
		changed := strings.Replace(string(proof), from, to, 1)
		if changed == string(proof) {
			t.Fatalf("the proof does not say %s", from)
		}
		if err := os.WriteFile(name+proofEnding, []byte(changed), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, errs, code := verified(t, "--db", dsn, name); code != exitRefused || !strings.Contains(errs, "the proof was changed") {
			t.Errorf("%s: exit %d, %q", to, code, errs)
		}
	}
}

// TestKeptReportIsProtected changes a kept byte behind the journal's back.
func TestKeptReportIsProtected(t *testing.T) {
	dsn, name := issuedReport(t, ".csv")
	db := plantdbtest.Again(t, dsn)
	tamper := func(statement string) {
		t.Helper()
		err := db.InTx(t.Context(), func(tx *plantdb.DB) error { return tx.SQL(t.Context()).Exec(statement).Error })
		if err != nil {
			t.Fatal(err)
		}
	}
	tamper("UPDATE issued_reports SET row_count = 3")
	if _, errs, code := verified(t, "--db", dsn, name); code != exitRefused || !strings.Contains(errs, "Row 1 of issued_reports was changed after entry") {
		t.Errorf("exit %d, %q", code, errs)
	}
	tamper("UPDATE issued_reports SET row_count = 2")
	if out, errs, code := verified(t, "--db", dsn, name); code != exitDone {
		t.Errorf("put back: %q, %q", out, errs)
	}
}

// TestReportIsBuiltAgainByteForByte enters, corrects and renames after a report was issued: built again from its basis it is
// the same file.
func TestReportIsBuiltAgainByteForByte(t *testing.T) {
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html"} {
		dsn, name := issuedReport(t, ending)
		muchLater(t, dsn)
		again := filepath.Join(t.TempDir(), "again"+ending)
		code, out, errs := exported(t, "--db", dsn, "--basis", name+proofEnding, "--out", again)
		if code != exitDone || !strings.Contains(out, "byte for byte the same") {
			t.Errorf("%s: exit %d, %q, %q", ending, code, out, errs)
		}
		a, errA := os.ReadFile(name)
		b, errB := os.ReadFile(again)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: the files differ (%v, %v)", ending, errA, errB)
		}
		other := filepath.Join(t.TempDir(), "now"+ending)
		if code, _, errs := exported(t, "splice-age", "--db", dsn, "--as-of", "2026-02-01", "--draft", "--out", other); code != exitDone {
			t.Fatal(errs)
		}
		if b, err := os.ReadFile(other); err != nil || bytes.Equal(a, b) {
			t.Errorf("%s: what was changed since does not show in a new report (%v)", ending, err)
		}
		if _, err := os.Stat(other + proofEnding); err == nil {
			t.Errorf("%s: a draft has a proof", ending)
		}
	}
}

// muchLater corrects a reading, renames customer, plant and conveyor and adds a splice, ten days after all was entered.
func muchLater(t *testing.T, dsn string) {
	t.Helper()
	db := plantdbtest.Again(t, dsn)
	act := plantdb.Act{Origin: plantdb.Command, Action: "correct", Now: exportNow.AddDate(0, 0, 10), Plants: []int64{1}, Company: true}
	err := db.Change(t.Context(), act, func(c *plantdb.Change) error {
		shown := 5300.0
		if err := clocks.CorrectReading(c, 1, assets.InstantOf(time.Date(2024, 11, 30, 23, 0, 0, 0, time.UTC)), &shown); err != nil {
			return err
		}
		plant, err := plantdb.ReadRow[assets.Plant](c, 1)
		if err != nil {
			return err
		}
		plant.Name = "Skarrow Terminal North"
		if err := registry.AlterPlant(c, &plant, 0); err != nil {
			return err
		}
		customer, err := plantdb.ReadRow[assets.Customer](c, 1)
		if err != nil {
			return err
		}
		customer.Name = "Skarrow Group"
		if err := registry.AlterCustomer(c, &customer, 0); err != nil {
			return err
		}
		conveyor, err := plantdb.ReadRow[assets.Conveyor](c, 1)
		if err != nil {
			return err
		}
		conveyor.SpeedMPS, conveyor.Tag = 0.7, "Q30"
		return registry.AlterConveyor(c, &conveyor, 0)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestReportOfAnotherVersionSaysWhatDiffers builds a report again whose proof names another program and other rows.
func TestReportOfAnotherVersionSaysWhatDiffers(t *testing.T) {
	dsn, name := issuedReport(t, ".json")
	proof, err := readProof(name + proofEnding)
	if err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "again.json")
	proof.Basis.Program = "0.9, go1.20"
	proof.File.SHA256 = strings.Repeat("0", 64)
	proof.Report.Digest = proof.File.SHA256
	for i, c := range proof.Columns {
		if c.Key == "age_hours" {
			proof.Columns[i].SHA256 = proof.File.SHA256
		}
	}
	other := filepath.Join(t.TempDir(), "other.json")
	if err := writeProof(other, proof); err != nil {
		t.Fatal(err)
	}
	code, out, errs := exported(t, "--db", dsn, "--basis", other, "--out", again)
	if code != exitDone || !strings.Contains(out, "column Age, running hours says something else. It was issued by Carryside 0.9, go1.20") {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
	proof.Basis.Program = programVersion()
	if err := writeProof(other, proof); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := exported(t, "--db", dsn, "--basis", other, "--out", again); code != exitRefused || !strings.Contains(errs, "the version is the same") {
		t.Errorf("the same version, other rows: exit %d, %q", code, errs)
	}
	proof.Basis.Chains[1].Hash = proof.File.SHA256
	if err := writeProof(other, proof); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := exported(t, "--db", dsn, "--basis", other, "--out", again); code != exitRefused || !strings.Contains(errs, "is not the one the report was built from") {
		t.Errorf("another journal: exit %d, %q", code, errs)
	}
	if code, _, errs := exported(t, "--db", dsn, "--basis", other, "--out", "x.csv"); code != exitUsage || !strings.Contains(errs, ".json") {
		t.Errorf("another form: exit %d, %q", code, errs)
	}
}

// TestReportSaysWhoHadItMade names somebody at the command line.
func TestReportSaysWhoHadItMade(t *testing.T) {
	dsn, name := smallInstallation(t), filepath.Join(t.TempDir(), "ages.csv")
	if code, _, stderr := exported(t, "splice-age", "--db", dsn, "--as", "N. Corvane", "--out", name); code != exitDone {
		t.Fatal(stderr)
	}
	proof, err := readProof(name + proofEnding)
	if err != nil || proof.Report.By != "N. Corvane" {
		t.Errorf("by %q, %v", proof.Report.By, err)
	}
}

func TestAProofThatNamesNoFileIsRefused(t *testing.T) {
	name := filepath.Join(t.TempDir(), "ages.csv")
	for path, text := range map[string]string{name: "a,b\n", name + proofEnding: `{"kind": "proof of a report of Carryside, version 1"}`} {
		must(t, os.WriteFile(path, []byte(text), 0o600))
	}
	out, errs, code := verified(t, "--db", filepath.Join(t.TempDir(), "none.db"), name)
	if code != exitRefused || out != "" || !strings.Contains(errs, "names no file: its size and SHA-256 are missing") {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
}
