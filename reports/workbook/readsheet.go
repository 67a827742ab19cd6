package workbook

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"carryside/assets/intake"
)

var (
	errLongCell = fmt.Errorf("has a cell longer than %d characters; shorten it", intake.MaxCellChars)
	errRows     = fmt.Errorf("has more than %d rows or %d cells with content, the limit for one file; split it", intake.MaxRows, intake.MaxCells)
	errColumns  = fmt.Errorf("has more than %d columns with content; bring in the columns of the list only", intake.MaxColumns)
)

// maxShared bounds the texts that cells refer to, which is more than all cells of a file within the limits.
const maxShared = 4_000_000

// readShared reads the texts that cells refer to.
func (b *bookReader) readShared(name string) error {
	var run richText
	inItem := false
	return b.scan(name, func(s *xmlScanner) error {
		if string(s.name) == "si" {
			switch {
			case s.is("si") && !s.single:
				inItem, run = true, richText{}
			case s.closes("si"):
				if !inItem {
					run = richText{}
				}
				inItem = false
				if len(b.strings) >= maxShared {
					return errRows
				}
				b.strings = append(b.strings, sharedText{run.text.String(), run.struck()})
			}
			return nil
		}
		if inItem {
			return run.tag(s)
		}
		return nil
	})
}

// richText gathers the runs of one text.
type richText struct {
	text     strings.Builder
	strike   bool // the run at hand is struck through
	some     bool // some run with text is
	plain    bool // some run with text is not
	phonetic bool
}

// tag takes one tag inside a text.
func (t *richText) tag(s *xmlScanner) error {
	switch string(s.name) {
	case "r":
		t.strike = false
	case "strike":
		v := s.attr("val")
		t.strike = !s.closing && (v == "" || v == "1" || strings.EqualFold(v, "true"))
	case "rPh":
		t.phonetic = !s.closing && !s.single
	case "t":
		if s.closing || t.phonetic {
			return nil
		}
		text, err := s.text(8 * intake.MaxCellChars)
		if err != nil {
			return err
		}
		t.text.WriteString(unescapeCodes(text))
		if t.text.Len() > intake.MaxCellChars && utf8.RuneCountInString(t.text.String()) > intake.MaxCellChars {
			return errLongCell
		}
		if strings.TrimSpace(text) != "" {
			t.some = t.some || t.strike
			t.plain = t.plain || !t.strike
		}
	}
	return nil
}

func (t *richText) struck() bool { return t.some && !t.plain }

// unescapeCodes turns _x000D_ and its like, which workbooks write for signs that XML has not, into those signs.
func unescapeCodes(s string) string {
	if !strings.Contains(s, "_x") {
		return s
	}
	var out strings.Builder
	for i := 0; i < len(s); i++ {
		if i+7 <= len(s) && s[i] == '_' && s[i+1] == 'x' && s[i+6] == '_' {
			if n, err := strconv.ParseUint(s[i+2:i+6], 16, 16); err == nil && n > 0 {
				out.WriteRune(rune(n))
				i += 6
				continue
			}
		}
		out.WriteByte(s[i])
	}
	return out.String()
}

// sheetReader holds a sheet while it is read.
type sheetReader struct {
	b       *bookReader
	sheet   *intake.Sheet
	row     intake.Row
	rowAt   int
	colAt   int
	cell    intake.Cell
	kind    string
	formula bool
	stored  bool
	raw     string
	rich    richText
	inRow   bool
	inCell  bool
	inline  bool
	merges  [][4]int
	sorted  bool
	columns map[int32]bool
	hidden  map[uint16]uint16
}

// maxMerges bounds the merged areas of a sheet.
const maxMerges = 100_000

// readSheet reads one sheet's rows with content.
func (b *bookReader) readSheet(ref sheetRef, name string) error {
	r := &sheetReader{b: b, sheet: &intake.Sheet{Name: ref.name, Hidden: ref.hidden}, sorted: true, columns: map[int32]bool{}}
	b.book.Sheets = append(b.book.Sheets, r.sheet)
	if err := b.scan(name, r.tag); err != nil {
		return err
	}
	if err := r.endRow(); err != nil {
		return err
	}
	if !r.sorted {
		sort.SliceStable(r.sheet.Rows, func(i, j int) bool { return r.sheet.Rows[i].Number < r.sheet.Rows[j].Number })
	}
	return r.merge()
}

// tag takes one tag of a sheet.
func (r *sheetReader) tag(s *xmlScanner) error {
	switch string(s.name) {
	case "row":
		return r.rowTag(s)
	case "c":
		return r.cellTag(s)
	case "v":
		if r.inCell && !s.closing {
			if s.single {
				r.stored = r.stored || r.kind == "str"
				return nil
			}
			text, err := s.text(8 * intake.MaxCellChars)
			r.raw, r.stored = text, text != "" || r.kind == "str"
			return err
		}
	case "f":
		if r.inCell {
			r.formula = true
		}
	case "is":
		r.inline = r.inCell && !s.closing
	case "mergeCell":
		if !s.closing {
			if area, ok := areaOf(s.attr("ref")); ok {
				if len(r.merges) >= maxMerges {
					return fmt.Errorf("has more than %d merged areas; save the list without them", maxMerges)
				}
				r.merges = append(r.merges, area)
			}
		}
	default:
		if r.inline && r.inCell {
			return r.rich.tag(s)
		}
	}
	return nil
}

// rowTag begins or ends a row.
func (r *sheetReader) rowTag(s *xmlScanner) error {
	if s.is("row") {
		if err := r.endRow(); err != nil {
			return err
		}
		n, err := strconv.Atoi(s.attr("r"))
		if err != nil || n < 1 {
			n = r.rowAt + 1
		}
		r.rowAt, r.colAt, r.inRow = n, 0, true
		hidden := s.attr("hidden")
		r.row = intake.Row{Number: n, Hidden: hidden == "1" || strings.EqualFold(hidden, "true") || s.attr("ht") == "0"}
	}
	if s.closes("row") {
		return r.endRow()
	}
	return nil
}

// endRow keeps the row if something stands in it.
func (r *sheetReader) endRow() error {
	if !r.inRow {
		return nil
	}
	r.inRow = false
	if len(r.row.Cells) == 0 {
		return nil
	}
	rows := r.sheet.Rows
	if n := len(rows); n > 0 && rows[n-1].Number >= r.row.Number {
		r.sorted = false
	}
	for i := 1; i < len(r.row.Cells); i++ {
		if r.row.Cells[i].Col <= r.row.Cells[i-1].Col {
			if r.row.Cells = inOrder(r.row.Cells); r.row.Cells == nil {
				return errors.New("is damaged: a row holds a cell twice; open it and save it as .xlsx")
			}
			break
		}
	}
	r.sheet.Rows = append(rows, r.row)
	r.b.rows++
	r.b.cells += len(r.row.Cells)
	if r.b.rows > intake.MaxRows || r.b.cells > intake.MaxCells {
		return errRows
	}
	return nil
}

// inOrder sorts cells by column, nil when one stands twice.
func inOrder(cells []intake.Cell) []intake.Cell {
	sort.SliceStable(cells, func(i, j int) bool { return cells[i].Col < cells[j].Col })
	for i := 1; i < len(cells); i++ {
		if cells[i].Col == cells[i-1].Col {
			return nil
		}
	}
	return cells
}

// cellTag begins or ends a cell.
func (r *sheetReader) cellTag(s *xmlScanner) error {
	if s.is("c") && r.inRow {
		r.colAt++
		if at := columnOfRef(s.attr("r")); at > 0 {
			r.colAt = at
		}
		style, _ := strconv.Atoi(s.attr("s"))
		r.cell = intake.Cell{Col: int32(r.colAt)}
		if style > 0 && style < len(r.b.book.Styles) {
			r.cell.Style = uint16(style)
		}
		r.kind, r.formula, r.stored, r.raw = s.attr("t"), false, false, ""
		if r.kind == "inlineStr" {
			r.rich = richText{}
		}
		r.inCell, r.inline = true, false
	}
	if s.closes("c") && r.inCell {
		r.inCell, r.inline = false, false
		return r.endCell()
	}
	return nil
}

// endCell keeps the cell if something stands in it.
func (r *sheetReader) endCell() error {
	if !r.fillCell() {
		return nil
	}
	if !r.columns[r.cell.Col] {
		r.columns[r.cell.Col] = true
		if len(r.columns) > intake.MaxColumns {
			return errColumns
		}
	}
	if r.cell.Kind == intake.Text && len(r.cell.Text) > intake.MaxCellChars && utf8.RuneCountInString(r.cell.Text) > intake.MaxCellChars {
		return errLongCell
	}
	r.row.Cells = append(r.row.Cells, r.cell)
	return nil
}

// fillCell turns what was read into the cell's value; false for a cell with nothing in it.
func (r *sheetReader) fillCell() bool {
	c := &r.cell
	if r.formula && !r.stored && r.kind != "inlineStr" {
		c.Kind = intake.Failed
		return true
	}
	switch r.kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(r.raw))
		if err != nil || i < 0 || i >= len(r.b.strings) {
			return false
		}
		c.Kind, c.Text = intake.Text, r.b.strings[i].text
		if r.b.strings[i].struck {
			c.Style = r.struckStyle(c.Style)
		}
	case "inlineStr":
		c.Kind, c.Text = intake.Text, r.rich.text.String()
		if r.rich.struck() {
			c.Style = r.struckStyle(c.Style)
		}
	case "str":
		c.Kind, c.Text = intake.Text, unescapeCodes(r.raw)
	case "e":
		c.Kind, c.Text = intake.Failed, r.raw
	case "b":
		c.Kind = intake.Boolean
		if strings.TrimSpace(r.raw) == "1" || strings.EqualFold(strings.TrimSpace(r.raw), "true") {
			c.Number = 1
		}
		return r.raw != ""
	case "d":
		return r.isoDate()
	default:
		n, err := strconv.ParseFloat(strings.TrimSpace(r.raw), 64)
		if err != nil || math.IsInf(n, 0) || math.IsNaN(n) {
			return false
		}
		c.Kind, c.Number = intake.Number, n
		return true
	}
	if c.Kind == intake.Text {
		if c.Kind = intake.KindOfText(c.Text); c.Kind == intake.Blank {
			return false
		}
	}
	return true
}

// isoDate reads a cell that stores its date as ISO 8601 text.
func (r *sheetReader) isoDate() bool {
	text := strings.TrimSpace(r.raw)
	if _, err := time.Parse("2006-01-02", text[:min(len(text), 10)]); err != nil {
		return false
	}
	text = strings.TrimSuffix(strings.TrimSuffix(text, "Z"), "T00:00:00")
	r.cell.Kind, r.cell.Text = intake.Text, text
	return true
}

// struckStyle is a style like another, but struck through: for texts whose runs are all struck.
func (r *sheetReader) struckStyle(style uint16) uint16 {
	if r.hidden == nil {
		r.hidden = map[uint16]uint16{}
	}
	if s, ok := r.hidden[style]; ok {
		return s
	}
	st := r.b.book.Styles[style]
	st.Struck = true
	if len(r.b.book.Styles) >= math.MaxUint16 {
		return style
	}
	r.b.book.Styles = append(r.b.book.Styles, st)
	r.hidden[style] = uint16(len(r.b.book.Styles) - 1)
	return r.hidden[style]
}

// columnOfRef reads the column of a cell's address: 28 of AB12.
func columnOfRef(ref string) int {
	n := 0
	for i := range len(ref) {
		c := ref[i] &^ 0x20
		if c < 'A' || c > 'Z' || i > 3 {
			break
		}
		n = n*26 + int(c-'A') + 1
	}
	if n > 16_384 {
		return 0
	}
	return n
}

// areaOf reads a merged area: first row, first column, last row, last column.
func areaOf(ref string) (area [4]int, ok bool) {
	a, b, two := strings.Cut(strings.ReplaceAll(ref, "$", ""), ":")
	if !two {
		return area, false
	}
	for i, s := range []string{a, b} {
		col := columnOfRef(s)
		row, err := strconv.Atoi(strings.TrimLeft(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"))
		if col == 0 || err != nil || row < 1 {
			return area, false
		}
		area[2*i], area[2*i+1] = row, col
	}
	return area, area[2] >= area[0] && area[3] >= area[1]
}
