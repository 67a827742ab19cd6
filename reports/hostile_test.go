package reports_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/PuerkitoBio/goquery"
	"pgregory.net/rapid"

	"carryside/reports"
)

// named gives the small plant's first conveyor another tag and writes its register.
func named(tag string) *reports.Report {
	s := newSmallPlant()
	for i := range s.plant.Register.Conveyors {
		if s.plant.Register.Conveyors[i].ID == 10 {
			s.plant.Register.Conveyors[i].Tag = tag
		}
	}
	s.plant.Register.Arrange()
	entry := must(reports.Find("splice-age"))
	return must(entry.Build(context.Background(), reports.Inputs{Source: s, Built: built}, ""))
}

// Whatever a plant calls a conveyor comes back from every form as it was typed, and as text.
func TestAnyNameComesBackAsText(t *testing.T) {
	names := rapid.OneOf(rapid.String(), rapid.StringMatching(`[=+\-@\t\r'"<>&;,]{1,3}[A-Z0-9(,)"']{0,6}`), rapid.StringMatching(`[ \n\x{200b}]{0,2}[=+\-@＝＋－＠][A-Z0-9]{1,4}`))
	rapid.Check(t, func(t *rapid.T) {
		name := names.Filter(func(s string) bool { return s != "" && utf8.ValidString(s) }).Draw(t, "tag")
		ctx, r := context.Background(), named(name)
		var asCSV, asJSON, asPage bytes.Buffer
		must(r.WriteCSV(ctx, &asCSV))
		proof := must(r.WriteJSON(ctx, &asJSON))
		must(r.WritePage(ctx, &asPage))

		cell := must(csv.NewReader(&asCSV).ReadAll())[1][3]
		if strings.ContainsRune("=+-@\t\r\n＝＋－＠", []rune(name)[0]) && !strings.HasPrefix(cell, "'") {
			t.Fatalf("%q is live in CSV", cell)
		}
		if !strings.HasPrefix(name, "'") {
			cell = strings.TrimPrefix(cell, "'")
		}
		// RFC 4180 readers give every line end in a field as a line feed.
		if cell != strings.ReplaceAll(name, "\r\n", "\n") {
			t.Fatalf("CSV gives %q for %q", cell, name)
		}
		var got struct {
			Rows   []map[string]any
			Digest string
		}
		if err := json.Unmarshal(asJSON.Bytes(), &got); err != nil || got.Rows[0]["conveyor"] != name || got.Digest != proof.Digest {
			t.Fatalf("JSON gives %q for %q: %v", got.Rows[0]["conveyor"], name, err)
		}
		doc := must(goquery.NewDocumentFromReader(&asPage))
		if n := doc.Find("tbody td").Length(); n != 5*len(r.Columns) || doc.Find("tbody script, tbody a, tbody img").Length() > 0 {
			t.Fatalf("the page has %d cells with %q", n, name)
		}
	})
}

func FuzzParseFilter(f *testing.F) {
	for _, s := range []string{"", "plant=A", "customer=B, plant=A,line=1,conveyor=CV-01", "plant=A,B", "=", "plant==", ",plant=A", "plant=A,plant=B", "Plant=A"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		filter, err := reports.ParseFilter(s)
		if err != nil {
			if filter != (reports.Filter{}) || !strings.Contains(err.Error(), "customer=NAME") {
				t.Errorf("%q: refused with %+v, %v", s, filter, err)
			}
			return
		}
		if strings.TrimSpace(s) != "" && filter == (reports.Filter{}) {
			t.Errorf("%q was taken as everything", s)
		}
	})
}

// TestNoTextOfAnyReportIsAFormula gives every text of the small plant each beginning that a spreadsheet runs (the list of
// the OWASP page on CSV injection, full-width forms included) and reads every report back as CSV and as a workbook.
func TestNoTextOfAnyReportIsAFormula(t *testing.T) {
	for _, begin := range []string{"=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", " =", "\u200b="} {
		for _, entry := range reports.Catalogue {
			s := newSmallPlant()
			evil := begin + "HYPERLINK(1)"
			reg := s.plant.Register
			reg.Plant.Name, s.name.Name = evil, evil
			for i := range reg.Conveyors {
				reg.Conveyors[i].Tag, reg.Conveyors[i].Name = evil+reg.Conveyors[i].Tag, evil
			}
			for i := range reg.Belts {
				reg.Belts[i].Specification, reg.Belts[i].RollNumber = evil, evil
			}
			for i := range reg.Lines {
				reg.Lines[i].Name = evil
			}
			r := must(entry.Build(t.Context(), reports.Inputs{Source: s, Built: built, By: evil}, ""))
			var asCSV, book bytes.Buffer
			must(r.WriteCSV(t.Context(), &asCSV))
			must(r.WriteXLSX(t.Context(), &book))
			found := 0
			for _, row := range must(csv.NewReader(&asCSV).ReadAll()) {
				for _, cell := range row {
					if strings.Contains(cell, "HYPERLINK(1)") {
						found++
					}
					if cell != "" && strings.Contains(cell, "HYPERLINK") && !strings.HasPrefix(cell, "'") {
						t.Errorf("%s, %q: CSV holds %q", entry.Slug, begin, cell)
					}
				}
			}
			if found == 0 {
				t.Errorf("%s, %q: the text is in no cell, so nothing was looked at", entry.Slug, begin)
			}
			z := must(zip.NewReader(bytes.NewReader(book.Bytes()), int64(book.Len())))
			for _, f := range z.File {
				part := must(io.ReadAll(must(f.Open())))
				if strings.HasPrefix(f.Name, "xl/worksheets/") && (bytes.Contains(part, []byte("<f>")) || bytes.Contains(part, []byte("<f ")) || bytes.Contains(part, []byte("hyperlink"))) {
					t.Errorf("%s, %q: %s holds a formula or a link", entry.Slug, begin, f.Name)
				}
			}
		}
	}
}
