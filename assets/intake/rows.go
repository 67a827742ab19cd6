package intake

import (
	"regexp"
	"strings"

	"carryside/assets"
)

// Classes of rows that are no record.
const (
	skipSubtotal = "subtotal"
	skipFootnote = "footnote"
	skipRepeated = "repeated_heading"
	skipSection  = "section_heading"
	skipNothing  = "no_record"
	skipHidden   = "hidden_sheet"
	skipEmpty    = "empty_sheet"
)

var totalWords = set("total", "totals", "totales", "subtotal", "subtotals", "sum", "sums", "summe", "summen", "zwischensumme", "gesamt", "gesamtsumme", "insgesamt", "average", "averages", "avg", "mean", "mittelwert", "durchschnitt", "mittel", "schnitt", "promedio", "suma", "media", "ubertrag", "gesamtlange", "maximum", "minimum", "max", "min", "count", "anzahl", "recuento", "cantidad")

// rowWalk goes over the rows of one table.
type rowWalk struct {
	j      *judge
	t      *table
	shapes map[string]bool // how the table's tags look
	last   int             // the last row that holds data
	line   string
	plant  string
	repeat bool // the row before repeated the heading
	own    bool // the row at hand names its line itself
}

// walk sorts the rows of a table into records to be and rows to be passed over, and returns the former.
func (j *judge) walk(t *table) []*entry {
	w := &rowWalk{j: j, t: t, shapes: map[string]bool{}, last: -1}
	w.survey()
	var out []*entry
	for i := t.bodyFrom; i < t.bodyTo; i++ {
		row := &t.sheet.Rows[i]
		cells := cellsIn(row, t.first, t.last)
		if originals(cells) == 0 {
			continue
		}
		if class := w.class(i, row, cells); class != "" {
			j.skip(t.sheet, row.Number, class)
			continue
		}
		w.carry(row)
		out = append(out, &entry{t: t, row: row, line: w.line, plant: w.plant, ownLine: w.own})
	}
	return out
}

func (j *judge) skip(s *Sheet, row int, class string) {
	j.out.Skipped = append(j.out.Skipped, SkippedRow{Sheet: s.Name, Row: row, Class: class})
}

// survey finds the last row with data and how the table's tags look.
func (w *rowWalk) survey() {
	tag := w.t.byField["conveyor"]
	for i := w.t.bodyFrom; i < w.t.bodyTo; i++ {
		row := &w.t.sheet.Rows[i]
		cells := cellsIn(row, w.t.first, w.t.last)
		n := originals(cells)
		if n == 0 || w.isTotal(row, cells) || w.isHeading(cells) || w.noteLike(row, cells) {
			continue
		}
		if n == 1 && (tag == nil || !row.at(tag.col).Covered) {
			continue
		}
		w.last = i
		if tag != nil && len(w.shapes) < 1000 {
			if s := tagShape(w.j.book.shown(row.at(tag.col))); s != "" {
				w.shapes[s] = true
			}
		}
	}
}

// tagShape is a tag's first group of letters and its number of groups.
func tagShape(tag string) string {
	groups := strings.Split(assets.TagKey(tag), "-")
	if len(groups) < 2 && (groups[0] == "" || groups[0][0] > '9') {
		return ""
	}
	head := groups[0]
	if head[0] <= '9' {
		head = "#"
	}
	return head + strings.Repeat("-", len(groups))
}

// class tells why a row is no record; "" is a record.
func (w *rowWalk) class(i int, row *Row, cells []Cell) string {
	wasHeading := w.repeat
	w.repeat = false
	switch {
	case w.isHeading(cells):
		w.repeat = true
		return skipRepeated
	case wasHeading && isUnitRow(cells):
		return skipRepeated
	case w.isTotal(row, cells):
		return skipSubtotal
	case originals(cells) == 1:
		return w.lone(i, row, cells)
	case i >= w.last && w.noteLike(row, cells):
		return skipFootnote
	}
	return ""
}

// isHeading tells whether a row repeats one of the table's heading rows.
func (w *rowWalk) isHeading(cells []Cell) bool {
	for _, at := range w.t.headerIdx {
		if sameCells(w.j.book, cells, cellsIn(&w.t.sheet.Rows[at], w.t.first, w.t.last)) {
			return true
		}
	}
	return false
}

// isTotal tells whether a row sums or averages others: it begins with such a word and has no tag of its own.
func (w *rowWalk) isTotal(row *Row, cells []Cell) bool {
	var tag Cell
	tagCol := 0
	if c := w.t.byField["conveyor"]; c != nil {
		tag, tagCol = row.at(c.col), c.col
	}
	for k := range cells {
		c := &cells[k]
		if c.Kind != Text {
			if k > 2 {
				return false
			}
			continue
		}
		if strings.HasPrefix(c.Text, "=") || strings.HasPrefix(c.Text, "+") || strings.HasPrefix(c.Text, "@") {
			continue // text that would run in a spreadsheet is data, also when it names a sum
		}
		if first, _, _ := strings.Cut(fold(c.Text), " "); totalWords[first] {
			if int(c.Col) == tagCol {
				return strings.ContainsAny(trimmed(c.Text), " .:") || !hasDigit(c.Text)
			}
			return tag.Kind != Text || !hasLetter(tag.Text)
		}
		if k > 3 {
			return false
		}
	}
	return false
}

func hasLetter(s string) bool { return strings.ToUpper(s) != strings.ToLower(s) }

// lone tells what a row with a single cell is.
func (w *rowWalk) lone(i int, row *Row, cells []Cell) string {
	var c Cell
	for _, o := range cells {
		if !o.Covered {
			c = o
		}
	}
	tag := w.t.byField["conveyor"]
	if tag != nil && row.at(tag.col).Covered {
		return ""
	}
	isTag := tag != nil && int(c.Col) == tag.col && w.shapes[tagShape(w.j.book.shown(c))]
	col := w.columnAt(int(c.Col))
	switch {
	case isTag && w.t.creates:
		return ""
	case isTag:
		return skipNothing
	case i > w.last:
		return skipFootnote
	case c.Kind == Text && int(c.Col) == w.t.first, c.Kind == Text && col != nil && col.f != nil && col.f.name == "line":
		if line := w.t.byField["line"]; line == nil || line.col == int(c.Col) {
			w.line = kept(c.Text)
		}
		return skipSection
	case col == nil || col.f == nil || col.f.name == "remark":
		return skipNothing
	}
	return ""
}

func (w *rowWalk) columnAt(col int) *column {
	for _, c := range w.t.columns {
		if c.col == col {
			return c
		}
	}
	return nil
}

var noteStart = regexp.MustCompile(`^\s*(?:\*|†|‡|\d\)|(?i:note|notes|hinweis|anmerkung|nota|remark|legend|legende|key)\b\s*[:.]|[\p{L} ]{2,30}:(?:\s|$))`)

// noteLike tells whether a row below the data is a note in more than one cell.
func (w *rowWalk) noteLike(row *Row, cells []Cell) bool {
	if tag := w.t.byField["conveyor"]; tag != nil && int(cells[0].Col) != tag.col && row.at(tag.col).Kind != Blank {
		return false
	}
	return cells[0].Kind == Text && noteStart.MatchString(cells[0].Text)
}

// carry takes the row's line and plant, or keeps those of the rows above.
func (w *rowWalk) carry(row *Row) {
	w.own = false
	if c := w.t.byField["line"]; c != nil {
		if cell := row.at(c.col); cell.Kind != Failed && !noWord(w.j.book.shown(cell)) {
			w.line, w.own = kept(w.j.book.shown(cell)), !cell.Covered
		}
	}
	if c := w.t.byField["plant"]; c != nil {
		if cell := row.at(c.col); cell.Kind != Failed && !noWord(w.j.book.shown(cell)) {
			w.plant = kept(w.j.book.shown(cell))
		}
	}
}
