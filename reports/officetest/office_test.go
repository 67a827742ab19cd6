//go:build office

package officetest

import (
	"image"
	"image/color"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

// smallWorkbook is written with the spreadsheet library alone, to prove the harness before any report of ours.
func smallWorkbook(t *testing.T) string {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	if err := f.SetSheetName("Sheet1", "Register"); err != nil {
		t.Fatal(err)
	}
	if _, err := f.NewSheet("Definitions"); err != nil {
		t.Fatal(err)
	}
	cells := map[string]any{"A1": "Conveyor", "B1": "Age, h", "A2": "C-12", "B2": 41250.5, "A3": "Übergabe, alt", "B3": 7}
	for cell, value := range cells {
		if err := f.SetCellValue("Register", cell, value); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.SetCellValue("Definitions", "A1", "Age runs from the day the splice was made."); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "small.xlsx")
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	return path
}

func newOffice(t *testing.T) *Office {
	t.Helper()
	office, err := New(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	return office
}

func TestSheetsAreReadBackCellByCell(t *testing.T) {
	sheets, err := newOffice(t).Sheets(t.Context(), smallWorkbook(t))
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][][]string{
		"Register":    {{"Conveyor", "Age, h"}, {"C-12", "41250.5"}, {"Übergabe, alt", "7"}},
		"Definitions": {{"Age runs from the day the splice was made."}},
	}
	if diff := cmp.Diff(want, sheets); diff != "" {
		t.Errorf("cells differ (-ours +the office's):\n%s", diff)
	}
}

func TestSoundWorkbookOpensWithoutAQuestion(t *testing.T) {
	sight, err := newOffice(t).OpenOnScreen(t.Context(), smallWorkbook(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(sight.Windows) != 1 || !strings.HasPrefix(sight.Windows[0], "small.xlsx") {
		t.Errorf("windows %q, want the document's alone", sight.Windows)
	}
	if colours(sight.Screen) < 20 {
		t.Error("the picture of the screen shows nothing")
	}
}

// TestBrokenWorkbookIsNoticed cuts a workbook off in the middle: the office then asks whether to
// repair it. A harness that does not see that question proves nothing about the sound one.
func TestBrokenWorkbookIsNoticed(t *testing.T) {
	whole, err := os.ReadFile(smallWorkbook(t))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "broken.xlsx")
	if err := os.WriteFile(path, whole[:len(whole)*2/3], 0o600); err != nil {
		t.Fatal(err)
	}
	sight, err := newOffice(t).OpenOnScreen(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if len(sight.Windows) == 1 && strings.HasPrefix(sight.Windows[0], "broken.xlsx") {
		t.Errorf("windows %q: the question about the broken file is not seen", sight.Windows)
	}
	if slices.Equal(sight.Windows, nil) {
		t.Error("no window at all")
	}
}

// colours counts the different colours of a picture, up to 1000.
func colours(picture image.Image) int {
	seen := map[color.Color]bool{}
	for y := picture.Bounds().Min.Y; y < picture.Bounds().Max.Y && len(seen) < 1000; y++ {
		for x := picture.Bounds().Min.X; x < picture.Bounds().Max.X; x++ {
			seen[picture.At(x, y)] = true
		}
	}
	return len(seen)
}
