package reports_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"carryside/reports"
)

var update = flag.Bool("update", false, "write the golden files anew")

func workbookOf(t *testing.T, r *reports.Report) (*excelize.File, reports.Proof) {
	t.Helper()
	var b bytes.Buffer
	proof := must(r.WriteXLSX(context.Background(), &b))
	f := must(excelize.OpenReader(&b))
	t.Cleanup(func() { f.Close() })
	return f, proof
}

func raw(t *testing.T, f *excelize.File, sheet string, col, row int) string {
	t.Helper()
	return must(f.GetCellValue(sheet, must(excelize.CoordinatesToCellName(col, row)), excelize.Options{RawCellValue: true}))
}

// Three columns recomputed from what the register holds, as worked out at smallPlant, off the file itself.
func TestWorkbookAgesWorkedByHand(t *testing.T) {
	f, _ := workbookOf(t, smallReport("2025-06-30", ""))
	at := map[string]int{}
	for i := range 22 {
		at[raw(t, f, "Register", i+1, 1)] = i + 1
	}
	for row, want := range []struct{ splice, days, hours, passes string }{
		{"S1", "655", "5837.5", "210150"}, // 5 837.5 h x 36 passes an hour
		{"S2", "365", "3253", "117106"},   // (15 837.5 - 12 584.542) h, x 36
		{"S3", "1217", "5837.5", "210150"},
		{"=1", "", "", ""},
	} {
		for heading, figure := range map[string]string{"Splice": want.splice, "Age, days": want.days, "Age, running hours": want.hours, "Age, passes": want.passes} {
			col, ok := at[heading]
			if !ok {
				t.Fatalf("no column %q", heading)
			}
			if got := raw(t, f, "Register", col, row+2); got != figure {
				t.Errorf("splice %s, %s: %q, want %q", want.splice, heading, got, figure)
			}
		}
	}
}

// dayZero is the day before the first of the 1900 date base, as dates after February 1900 count.
var dayZero = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)

func TestWorkbookHoldsTheSameCells(t *testing.T) {
	r := smallReport("2025-06-30", "")
	f, proof := workbookOf(t, r)
	i := 0
	for row, err := range r.Rows(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		for j, c := range row {
			got, want := raw(t, f, "Register", j+1, i+2), c.Plain()
			if c.Kind() == reports.KindDay {
				got = dayZero.AddDate(0, 0, must(strconv.Atoi(got))).Format(time.DateOnly)
			}
			if got != want {
				t.Errorf("row %d %s: %q, want %q", i, r.Columns[j].Key, got, want)
			}
		}
		i++
	}
	if i != 4 || proof.Rows != 4 {
		t.Errorf("%d rows, proof says %d", i, proof.Rows)
	}
	found := false
	for row := range 30 {
		found = found || raw(t, f, "Cover", 2, row+1) == proof.Digest
	}
	if !found {
		t.Error("the cover lacks the digest of the rows")
	}
}

// The golden holds what a reader sees and how the sheets are set up: a change of it is a change of the report.
func TestWorkbookAsText(t *testing.T) {
	f, _ := workbookOf(t, smallReport("2025-06-30", ""))
	var b strings.Builder
	for _, sheet := range f.GetSheetList() {
		panes, page := must(f.GetPanes(sheet)), must(f.GetPageLayout(sheet))
		fmt.Fprintf(&b, "sheet %s: %d columns and %d rows frozen, %s, paper %d, %d page wide\n", sheet, panes.XSplit, panes.YSplit, *page.Orientation, *page.Size, *page.FitToWidth)
		for i, row := range must(f.GetRows(sheet)) {
			for j, shown := range row {
				if shown == "" {
					continue
				}
				ref := must(excelize.CoordinatesToCellName(j+1, i+1))
				style := must(f.GetStyle(must(f.GetCellStyle(sheet, ref))))
				format := ""
				if style.CustomNumFmt != nil {
					format = " as " + *style.CustomNumFmt
				}
				fmt.Fprintf(&b, "%s %s%s\n", ref, shown, format)
			}
		}
	}
	for _, n := range f.GetDefinedName() {
		fmt.Fprintf(&b, "name %s of %s: %s\n", n.Name, n.Scope, n.RefersTo)
	}
	// The zone data are those of the machine.
	got := regexp.MustCompile(`(changes 1970 to 2099 begins) [0-9a-f]{16}`).ReplaceAllString(b.String(), "$1 (sixteen digits)")
	const golden = "testdata/splice_age.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(string(must(os.ReadFile(golden))), got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestSameReportSameBytes(t *testing.T) {
	for name, write := range map[string]func(*reports.Report, *bytes.Buffer) error{
		"xlsx": func(r *reports.Report, b *bytes.Buffer) error {
			_, err := r.WriteXLSX(context.Background(), b)
			return err
		},
		"csv": func(r *reports.Report, b *bytes.Buffer) error {
			_, err := r.WriteCSV(context.Background(), b)
			return err
		},
		"json": func(r *reports.Report, b *bytes.Buffer) error {
			_, err := r.WriteJSON(context.Background(), b)
			return err
		},
		"html": func(r *reports.Report, b *bytes.Buffer) error {
			_, err := r.WritePage(context.Background(), b)
			return err
		},
	} {
		var first, second bytes.Buffer
		if err := write(smallReport("2025-06-30", ""), &first); err != nil {
			t.Fatal(err)
		}
		if err := write(smallReport("2025-06-30", ""), &second); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first.Bytes(), second.Bytes()) || first.Len() < 500 {
			t.Errorf("%s: built twice it differs (%d and %d bytes)", name, first.Len(), second.Len())
		}
	}
}
