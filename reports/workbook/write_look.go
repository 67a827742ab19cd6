package workbook

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// look is what makes two cells look alike; each look is one style of the workbook.
type look struct {
	kind     Kind
	decimals int
	wrap     bool
	heading  bool
	title    bool
	label    bool
	quiet    bool
	strong   bool // of a label: in full ink
}

// style returns the number of a look's style and makes it on first use.
func (w *Writer) style(l look) (int, error) {
	if id, ok := w.styles[l]; ok {
		return id, nil
	}
	id, err := w.file.NewStyle(l.style())
	if err != nil {
		return 0, fmt.Errorf("style: %w", err)
	}
	w.styles[l] = id
	return id, nil
}

// Ink and rule of the drawing sheet: one ink, ruled lines, no fills.
const (
	ink      = "141A19"
	quietInk = "4A5452"
)

func (l look) style() *excelize.Style {
	s := &excelize.Style{
		Font:      &excelize.Font{Family: "Arial", Size: 10, Color: ink},
		Alignment: &excelize.Alignment{Vertical: "top", WrapText: l.wrap},
	}
	if f := l.format(); f != "" && !l.heading {
		s.CustomNumFmt = &f
	}
	switch {
	case l.heading:
		s.Font.Bold = true
		s.Alignment.Vertical = "bottom"
		s.Border = []excelize.Border{{Type: "bottom", Color: ink, Style: 2}}
	case l.title:
		s.Font.Bold, s.Font.Size = true, 16
	case l.label && l.strong:
		s.Font.Bold = true
	case l.label:
		s.Font.Color = quietInk
	case l.quiet:
		s.Font.Color, s.Font.Size = quietInk, 9
	}
	switch {
	case l.label || l.title || l.quiet:
		s.Alignment.Horizontal = "left"
	case l.kind == Integer || l.kind == Number || l.kind == Percent:
		s.Alignment.Horizontal = "right"
	default:
		s.Alignment.Horizontal, s.Alignment.Indent = "left", 1 // a gap to the figures beside it
	}
	return s
}

// format returns the number format of a kind; "" for text.
func (l look) format() string {
	point := ""
	if l.decimals > 0 {
		point = "." + strings.Repeat("0", l.decimals)
	}
	switch l.kind {
	case Integer:
		return "#,##0"
	case Number:
		return "#,##0" + point
	case Percent:
		return "0" + point + "%"
	case Date:
		return "d mmm yyyy"
	case DateTime:
		return "d mmm yyyy hh:mm"
	}
	return ""
}

// printSetUp prepares a sheet for A4 paper: heading row on every page, all columns on one page's width,
// page x of y at the foot. It must stand before the first row.
func (s *Sheet) printSetUp() error {
	f, fit, noHeight, width := s.book.file, true, 0, 1
	orientation, paper := "landscape", 9 // 9 is A4 in ECMA-376 part 1, 18.3.1.63
	if s.layout.Portrait {
		orientation = "portrait"
	}
	side, top, head := 0.4, 0.7, 0.3 // inches
	for _, set := range []func() error{
		// The library would say that the sheet ends at A1, which some readers believe; it need not say it at all.
		func() error { return f.SetSheetDimension(s.name, "") },
		func() error { return f.SetSheetProps(s.name, &excelize.SheetPropsOptions{FitToPage: &fit}) },
		func() error {
			return f.SetPageLayout(s.name, &excelize.PageLayoutOptions{Size: &paper, Orientation: &orientation, FitToWidth: &width, FitToHeight: &noHeight})
		},
		func() error {
			return f.SetPageMargins(s.name, &excelize.PageLayoutMarginsOptions{Left: &side, Right: &side, Top: &top, Bottom: &top, Header: &head, Footer: &head})
		},
		func() error {
			return f.SetHeaderFooter(s.name, &excelize.HeaderFooterOptions{OddHeader: s.pageHeader(), OddFooter: "&LCarryside&RPage &P of &N"})
		},
		func() error {
			if len(s.columns) == 0 {
				return nil
			}
			return f.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: quoteSheet(s.name) + "!$1:$1", Scope: s.name})
		},
	} {
		if err := set(); err != nil {
			return fmt.Errorf("print set-up: %w", err)
		}
	}
	return nil
}

// pageHeader is what stands above each page: the header and the sheet's name, the name above the header where they would meet.
func (s *Sheet) pageHeader() string {
	const upright, across = 60, 100 // characters beside a sheet's name on A4
	room, header := across, headerText(s.layout.Header)
	if s.layout.Portrait {
		room = upright
	}
	if utf8.RuneCountInString(header) > room {
		return "&L&A\n" + header
	}
	return "&L" + header + "&R&A"
}

// headerText keeps a text inside a printed header: & begins a code there, and 255 characters are all
// there is room for with the codes.
func headerText(s string) string {
	s = strings.ReplaceAll(strings.Join(strings.Fields(s), " "), "&", "&&")
	if r := []rune(s); len(r) > 180 {
		s = strings.TrimRight(string(r[:180]), "&") + "…"
	}
	return s
}

// quoteSheet writes a sheet's name as it stands in a reference.
func quoteSheet(name string) string { return "'" + strings.ReplaceAll(name, "'", "''") + "'" }
