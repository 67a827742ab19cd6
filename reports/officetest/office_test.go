//go:build office

package officetest

import (
	"errors"
	"image"
	"image/color"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"carryside/reports/workbook"
)

// smallWorkbook holds a cell of every kind that our reports write, among them texts that a spreadsheet
// would take for a formula, a number or a date if it were let.
func smallWorkbook(t *testing.T) string {
	t.Helper()
	made := time.Date(2026, 3, 9, 17, 0, 0, 0, time.UTC)
	book, err := workbook.NewWriter(workbook.Properties{Title: "Register", Made: made})
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	cover, err := book.AddCover("Cover", "Register")
	if err != nil {
		t.Fatal(err)
	}
	columns := []workbook.Column{{Heading: "Conveyor", Kind: workbook.Text}, {Heading: "Age", Unit: "h", Kind: workbook.Number, Decimals: 1},
		{Heading: "Splices", Kind: workbook.Integer}, {Heading: "Made", Kind: workbook.Date}, {Heading: "Read", Kind: workbook.DateTime},
		{Heading: "Used", Kind: workbook.Percent}}
	sheet, err := book.AddSheet("Register", columns, workbook.Layout{Filter: true, FrozenColumns: 1})
	if err != nil {
		t.Fatal(err)
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	for _, tag := range []string{"C-12", "=1+1", "0012", "1-2", "Übergabe, alt"} {
		sheet.Text(tag)
		sheet.Number(41250.5)
		sheet.Number(2)
		sheet.Date(2024, time.February, 29)
		sheet.DateTime(made, berlin)
		sheet.Number(1.06)
		if err := sheet.EndRow(); err != nil {
			t.Fatal(err)
		}
	}
	if err := cover.Write(workbook.Cover{Title: "Register", Question: "How old is every splice?"}); err != nil {
		t.Fatal(err)
	}
	return save(t, book)
}

func save(t *testing.T, book *workbook.Writer) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "small.xlsx")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	_, err = book.WriteTo(f)
	if err := errors.Join(err, f.Close()); err != nil {
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
	want := [][]string{{"Conveyor", "Age, h", "Splices", "Made", "Read", "Used"}}
	for _, tag := range []string{"C-12", "=1+1", "0012", "1-2", "Übergabe, alt"} {
		want = append(want, []string{tag, "41,250.5", "2", "29 Feb 2024", "9 Mar 2026 18:00", "106%"})
	}
	if diff := cmp.Diff(want, sheets["Register"]); diff != "" {
		t.Errorf("cells differ (-ours +the office's):\n%s", diff)
	}
	if cover := sheets["Cover"]; len(cover) == 0 || !slices.Contains(slices.Concat(cover...), "How old is every splice?") {
		t.Errorf("the cover does not ask its question: %q", cover)
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
