package workbook

import (
	"archive/zip"
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"
)

var update = flag.Bool("update", false, "write the golden files anew")

var (
	made   = time.Date(2026, 11, 25, 11, 0, 0, 0, time.UTC)
	sydney = mustZone("Australia/Sydney")
)

func mustZone(name string) *time.Location {
	l, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return l
}

// write writes a small book of every kind of cell.
func write(t testing.TB) []byte {
	t.Helper()
	w, err := NewWriter(Properties{Title: "Splice ages", Subject: "Skarrow", Author: "N. Corvane", Made: made})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	cover, err := w.AddCover("Cover", "Splice ages & more")
	if err != nil {
		t.Fatal(err)
	}
	s, err := w.AddSheet("Register", []Column{
		{Heading: "Conveyor"}, {Heading: "Age", Unit: "days", Kind: Integer}, {Heading: "Age", Unit: "h", Kind: Number, Decimals: 1},
		{Heading: "Made on", Kind: Date}, {Heading: "Read at", Kind: DateTime}, {Heading: "Of plan", Kind: Percent}, {Heading: "Remark", Wrap: true, WidthCh: 40},
	}, Layout{FrozenColumns: 1, Filter: true, Header: "Splice ages"})
	if err != nil {
		t.Fatal(err)
	}
	for _, remark := range []string{"sound", `=HYPERLINK("http://x.invalid","open")`, "+1", "-12.5", "@x", "\tTAB", "two\nlines", "https://x.invalid", "<b>&amp;</b>", "_x0041_", ""} {
		s.Text("Q3")
		s.Number(1167)
		s.Number(9417.25)
		s.Date(2023, 9, 14)
		s.DateTime(time.Date(2026, 11, 24, 17, 30, 0, 0, time.UTC), sydney)
		s.Number(0.931)
		s.Text(remark)
		if err := s.EndRow(); err != nil {
			t.Fatal(err)
		}
	}
	n := 11
	if err := cover.Write(Cover{Title: "Splice ages", Question: "How old?", Lines: []CoverLine{{Label: "Scope", Text: "=everything"}, {Label: "Rows", Count: &n}, {Label: "Built", At: made, Zone: sydney}}, Notes: []string{"Site rules decide."}}); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := w.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func open(t testing.TB, data []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// dump writes every cell as reference, raw value, shown text and number format, and how each sheet is laid out.
func dump(t testing.TB, data []byte) string {
	t.Helper()
	f := open(t, data)
	var b strings.Builder
	for _, sheet := range f.GetSheetList() {
		panes, _ := f.GetPanes(sheet)
		page, _ := f.GetPageLayout(sheet)
		hf, _ := f.GetHeaderFooter(sheet)
		fmt.Fprintf(&b, "sheet %s: frozen %d x %d, %s, paper %d, %d page wide, header %q, footer %q\n", sheet, panes.XSplit, panes.YSplit, *page.Orientation, *page.Size, *page.FitToWidth, hf.OddHeader, hf.OddFooter)
		rows, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			for j := range row {
				dumpCell(t, &b, f, sheet, j+1, i+1)
			}
		}
	}
	for _, d := range f.GetDefinedName() {
		fmt.Fprintf(&b, "name %s of %s: %s\n", d.Name, d.Scope, d.RefersTo)
	}
	props, _ := f.GetDocProps()
	fmt.Fprintf(&b, "properties: %s, %s, %s, created %s, modified %s\n", props.Title, props.Subject, props.Creator, props.Created, props.Modified)
	return b.String()
}

func dumpCell(t testing.TB, b *strings.Builder, f *excelize.File, sheet string, col, row int) {
	t.Helper()
	ref, _ := excelize.CoordinatesToCellName(col, row)
	raw, err := f.GetCellValue(sheet, ref, excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	shown, _ := f.GetCellValue(sheet, ref)
	kind, _ := f.GetCellType(sheet, ref)
	if raw == "" {
		return
	}
	id, _ := f.GetCellStyle(sheet, ref)
	style, err := f.GetStyle(id)
	if err != nil {
		t.Fatal(err)
	}
	format := ""
	if style.CustomNumFmt != nil {
		format = " as " + *style.CustomNumFmt
	}
	if style.Font != nil && style.Font.Bold {
		format += " bold"
	}
	fmt.Fprintf(b, "%s %s %q shown %q%s\n", ref, map[bool]string{true: "text", false: "number"}[kind == excelize.CellTypeInlineString], raw, shown, format)
}

func TestWorkbookAsText(t *testing.T) {
	got := dump(t, write(t))
	golden := filepath.Join("testdata", "write.golden")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestSameRowsSameBytes(t *testing.T) {
	first := write(t)
	for range 5 {
		if !bytes.Equal(first, write(t)) {
			t.Fatal("two workbooks of the same rows differ")
		}
	}
}

func TestTextIsNeverAFormulaOrALink(t *testing.T) {
	z, err := zip.NewReader(bytes.NewReader(write(t)), int64(len(write(t))))
	if err != nil {
		t.Fatal(err)
	}
	if z.File[0].Name != "[Content_Types].xml" {
		t.Errorf("the file begins with %s", z.File[0].Name)
	}
	sheets := 0
	for _, e := range z.File {
		r, err := e.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil {
			t.Fatalf("%s: %v", e.Name, err)
		}
		if strings.HasPrefix(e.Name, "xl/worksheets/sheet") {
			sheets++
		}
		if strings.Contains(b.String(), "<f>") || strings.Contains(b.String(), "<hyperlink") {
			t.Errorf("%s holds a formula or a link", e.Name)
		}
	}
	if sheets != 2 {
		t.Fatalf("%d sheets looked at", sheets)
	}
}

// Rows, columns and parts of a sheet must ascend (ECMA-376 part 1, 18.3.1.99 gives the sequence of a worksheet's
// parts); spreadsheets ask to repair a file in which they do not.
func TestPartsOfASheetStandInTheirOrder(t *testing.T) {
	data := write(t)
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	sequence := []string{"<sheetPr", "<sheetViews", "<sheetFormatPr", "<cols>", "<sheetData>", "<autoFilter", "<pageMargins", "<pageSetup", "<headerFooter"}
	for _, name := range []string{"xl/worksheets/sheet1.xml", "xl/worksheets/sheet2.xml"} {
		r, err := z.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		last := 0
		for _, part := range sequence {
			at := strings.Index(b.String(), part)
			if at < 0 && part == "<autoFilter" && name == "xl/worksheets/sheet1.xml" {
				continue // a cover has none
			}
			if at < last {
				t.Errorf("%s: %s stands at %d, after what comes before it at %d", name, part, at, last)
			}
			last = at
		}
		if strings.Contains(b.String(), "<dimension") {
			t.Errorf("%s says where it ends before its rows are known", name)
		}
		column := 0
		for _, c := range strings.Split(b.String(), `<col min="`)[1:] {
			n, err := strconv.Atoi(c[:strings.IndexByte(c, '"')])
			if err != nil || n != column+1 {
				t.Errorf("%s: column %d follows column %d (%v)", name, n, column, err)
			}
			column = n
		}
		if column < 2 {
			t.Errorf("%s: only %d columns have a width", name, column)
		}
	}
}

func TestDatesAreDaysSinceTheSpreadsheetsZero(t *testing.T) {
	// ECMA-376 part 1, 18.17.4.1, 1900 date base: 2 is 1 Jan 1900 plus one day; 36526 is 1 Jan 2000 and 43831
	// 1 Jan 2020, as any spreadsheet shows. Noon is half a day.
	for wall, want := range map[time.Time]float64{
		time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC): 36526, time.Date(2020, 1, 1, 12, 0, 0, 0, time.UTC): 43831.5, time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC): 61,
	} {
		if got, ok := serial(wall); !ok || got != want {
			t.Errorf("%s is %v, want %v", wall, got, want)
		}
	}
	if _, ok := serial(time.Date(1900, 2, 28, 0, 0, 0, 0, time.UTC)); ok {
		t.Error("a day before 1 March 1900 was counted")
	}
}

func TestLongTextIsCutAndSaysSo(t *testing.T) {
	for _, long := range []string{strings.Repeat("a", 40000), strings.Repeat("ü", 40000), strings.Repeat("𐍈", 20000)} {
		got := cut(long)
		if n := utf16Len(got); n > excelize.TotalCellChars || n < excelize.TotalCellChars-40 || !strings.HasSuffix(got, "(cut here)") {
			t.Errorf("cut to %d characters, ending %q", n, got[len(got)-20:])
		}
	}
	if s := strings.Repeat("ü", 32767); cut(s) != s {
		t.Error("a text that fits was cut")
	}
}

func TestNoFigureIsAnEmptyCell(t *testing.T) {
	w, err := NewWriter(Properties{Title: "x", Made: made})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	s, err := w.AddSheet("S", []Column{{Heading: "a", Kind: Number}, {Heading: "b"}}, Layout{})
	if err != nil {
		t.Fatal(err)
	}
	zero := 0.0
	s.Number(zero / zero)
	s.Text("after it")
	if err := s.EndRow(); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := w.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	f := open(t, b.Bytes())
	if v, _ := f.GetCellValue("S", "A2"); v != "" {
		t.Errorf("no figure came back as %q", v)
	}
	if v, _ := f.GetCellValue("S", "B2"); v != "after it" {
		t.Errorf("the cell beside it holds %q", v)
	}
}
