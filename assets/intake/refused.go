package intake

import (
	"sort"
	"strings"
)

// RefusedSheet is one sheet of the workbook of refused and held rows: a table's own headings, its cells as they were, and at
// the right where each row stood and why it was not taken. Corrected, it can be brought in again.
type RefusedSheet struct {
	Name  string
	Notes []string // above the heading, a row each
	Heads [][]OutCell
	Rows  [][]OutCell
}

// OutCell is one cell to be written. Text is always text, whatever it begins with.
type OutCell struct {
	Kind   CellKind
	Number float64 // of a Number; a serial day of the 1900 system where Date
	Text   string
	Date   bool
	Struck bool
}

// outRow is one refused or held row with its reasons.
type outRow struct {
	e       *entry
	reasons []string
	cells   map[int]bool // in a table with a column per reading: the columns that were not taken; nil: all
}

// RefusedSheets lists the refused and the held rows by table, in the order of the file.
func (o *Outcome) RefusedSheets() []RefusedSheet {
	byTable := map[*table][]*outRow{}
	rows := map[*entry]*outRow{}
	add := func(e *entry, c *column, text string) {
		r := rows[e]
		if r == nil {
			r = &outRow{e: e}
			rows[e] = r
			byTable[e.t] = append(byTable[e.t], r)
			if c != nil {
				r.cells = map[int]bool{}
			}
		}
		r.reasons = append(r.reasons, text)
		if c != nil && r.cells != nil {
			r.cells[c.col] = true
		}
	}
	for i := range o.Refused {
		add(o.Refused[i].entry, o.Refused[i].cell, o.Refused[i].Text)
	}
	for i := range o.Held {
		add(o.Held[i].entry, o.Held[i].cell, o.Held[i].Text)
	}
	var out []RefusedSheet
	names := map[string]bool{}
	for _, t := range o.tables {
		if list := byTable[t]; len(list) > 0 {
			sort.SliceStable(list, func(i, j int) bool { return list[i].e.at < list[j].e.at })
			out = append(out, o.refusedSheet(t, list, names))
		}
	}
	return out
}

func (o *Outcome) refusedSheet(t *table, list []*outRow, names map[string]bool) RefusedSheet {
	s := RefusedSheet{Name: sheetName(t.sheet.Name, names), Notes: o.notes(t)}
	heads := append([]int(nil), t.headerIdx...)
	if t.unitIdx >= 0 {
		heads = append(heads, t.unitIdx)
	}
	for i, at := range heads {
		row := o.outCells(t, &t.sheet.Rows[at], nil)
		if i == len(t.headerIdx)-1 {
			row = append(row, textOut(RefusedSheetHeading), textOut(RefusedRowHeading), textOut(RefusedReasonHeading))
		}
		s.Heads = append(s.Heads, row)
	}
	line := ""
	for _, r := range list {
		if t.byField["line"] == nil && r.e.line != line {
			line = r.e.line
			s.Rows = append(s.Rows, []OutCell{textOut(line)})
		}
		row := o.outCells(t, r.e.row, r)
		row = append(row, textOut(t.sheet.Name), OutCell{Kind: Number, Number: float64(r.e.row.Number)}, textOut(strings.Join(r.reasons, " · ")))
		s.Rows = append(s.Rows, row)
	}
	return s
}

// notes are the texts above a table, with the plant and the sign of decimals, which a corrected row still needs.
func (o *Outcome) notes(t *table) []string {
	var out []string
	if t.byField["plant"] == nil && t.plant != "" {
		out = append(out, "Plant: "+t.plant)
	}
	for _, text := range t.titles {
		if plantTitle.MatchString(text) || len(out) > 12 || fold(text) == fold(DecimalCommaTitle) {
			continue
		}
		out = append(out, text)
	}
	for _, c := range t.columns {
		if c.style == decimalComma || c.style == decimalWeak {
			return append(out, DecimalCommaTitle)
		}
	}
	return out
}

// outCells are a row's cells in the table's columns, with the line and the plant that were carried down to it.
func (o *Outcome) outCells(t *table, row *Row, r *outRow) []OutCell {
	out := make([]OutCell, t.last-t.first+1)
	for col := t.first; col <= t.last; col++ {
		c := row.at(col)
		if r != nil && r.cells != nil && !r.cells[col] && t.datedAt(col) {
			continue
		}
		out[col-t.first] = o.outCell(c)
	}
	if r == nil {
		return out
	}
	for name, text := range map[string]string{"line": r.e.line, "plant": r.e.plant} {
		if c := t.byField[name]; c != nil && text != "" && out[c.col-t.first].Kind == Blank {
			out[c.col-t.first] = textOut(text)
		}
	}
	return out
}

// datedAt tells whether a column holds readings under a date.
func (t *table) datedAt(col int) bool {
	for _, c := range t.columns {
		if c.col == col {
			return c.dated
		}
	}
	return false
}

func textOut(s string) OutCell {
	if s == "" {
		return OutCell{}
	}
	return OutCell{Kind: Text, Text: s}
}

// outCell is a cell as it was. A date keeps its day when the file counted from 1904.
func (o *Outcome) outCell(c Cell) OutCell {
	st := o.book.style(c)
	out := OutCell{Kind: c.Kind, Number: c.Number, Text: c.Text, Struck: st.Struck}
	switch {
	case c.Kind == Failed && c.Text == "":
		out.Text = "#N/A"
	case c.Kind == Boolean:
		return textOut(o.book.shown(c))
	case c.Kind == Number && st.Date:
		out.Date = true
		if o.book.Epoch1904 {
			out.Number += 1462 // days from 1899-12-30 to 1904-01-01
		}
	case c.Kind == Number && st.Elapsed:
		out.Number = roundTo(c.Number*24, 1e4)
	case c.Kind == Number && (st.Pattern != "" || st.Unit != ""):
		return textOut(trimmed(o.book.shown(c) + " " + st.Unit))
	}
	return out
}

// sheetName makes a name that a workbook takes, used once.
func sheetName(name string, used map[string]bool) string {
	name = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`:\/?*[]'`, r) || r < ' ' {
			return '-'
		}
		return r
	}, name)
	if name == "" {
		name = "Rows"
	}
	base := []rune(name)
	for n := 1; ; n++ {
		try := string(base[:min(len(base), 31)])
		if n > 1 {
			end := " (" + digits(float64(n)) + ")"
			try = string(base[:min(len(base), 31-len(end))]) + end
		}
		if !used[strings.ToLower(try)] {
			used[strings.ToLower(try)] = true
			return try
		}
	}
}
