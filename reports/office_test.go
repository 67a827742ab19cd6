//go:build office

package reports_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"carryside/reports/officetest"
)

// registerFile writes the small plant's register for the office to open.
func registerFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "splice ages.xlsx")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := smallReport("2025-06-30", "").WriteXLSX(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// filled drops the empty cells at the end of each row and the empty rows at the end: the two programs differ
// in whether they list them.
func filled(rows [][]string) [][]string {
	out := make([][]string, 0, len(rows))
	for _, row := range rows {
		n := len(row)
		for n > 0 && row[n-1] == "" {
			n--
		}
		out = append(out, append([]string{}, row[:n]...))
	}
	for len(out) > 0 && len(out[len(out)-1]) == 0 {
		out = out[:len(out)-1]
	}
	return out
}

// LibreOffice, which shares no code with the library that wrote the file, reads and formats every cell as that
// library does.
func TestRegisterHasTheSameCellsInTheOffice(t *testing.T) {
	path := registerFile(t)
	office := must(officetest.New(t.TempDir()))
	sheets := must(office.Sheets(t.Context(), path))
	f := must(excelize.OpenFile(path))
	defer f.Close()
	for _, name := range []string{"Cover", "Register", "Definitions"} {
		if diff := cmp.Diff(filled(must(f.GetRows(name))), filled(sheets[name])); diff != "" {
			t.Errorf("sheet %s: -ours +the office's\n%s", name, diff)
		}
	}
	if !slices.Contains(slices.Concat(sheets["Register"]...), "=Bagging") {
		t.Error("a line's name that looks like a formula did not come back as text")
	}
}

func TestRegisterOpensWithoutAQuestion(t *testing.T) {
	office := must(officetest.New(t.TempDir()))
	sight := must(office.OpenOnScreen(t.Context(), registerFile(t)))
	if len(sight.Windows) != 1 || !strings.HasPrefix(sight.Windows[0], "splice ages.xlsx") {
		t.Errorf("windows %q, want the document's alone", sight.Windows)
	}
}
