package intake

import (
	"math"
	"strconv"
	"strings"
)

// Book is a file read in as plain rows, before anything is known of what they mean.
type Book struct {
	Name      string // the file's own name, without its folder
	SHA256    string // of the bytes, lower case hex
	Sheets    []*Sheet
	Styles    []Style // by Cell.Style; 0 is plain
	CSV       bool
	Separator string // of a CSV
	Encoding  string // of a CSV
	Epoch1904 bool   // serial dates count from 1904-01-01
}

// Sheet is one sheet: its rows with content, in order. Rows and cells without content are not held.
type Sheet struct {
	Name   string // "" for a CSV
	Hidden bool
	Rows   []Row
}

// Row is one row with content, numbered as the file numbers it.
type Row struct {
	Number int
	Hidden bool
	Cells  []Cell // with content, in order of columns
}

// CellKind tells what stands in a cell.
type CellKind uint8

// Kinds of cell. A formula's cell has the kind of its stored value.
const (
	Blank CellKind = iota
	Text
	Number
	Boolean
	Failed // an error value, or a formula without a stored value
)

// Cell is one cell with content.
type Cell struct {
	Number  float64 // of a Number; 1 or 0 of a Boolean
	Text    string  // of a Text or Failed
	Col     int32   // from 1
	Style   uint16  // index into Book.Styles
	Kind    CellKind
	Covered bool // the value is carried from the first cell of a merged area
}

// Style is what of a cell's looks carries meaning.
type Style struct {
	Date      bool   // the number is a serial date
	MonthOnly bool   // the format of the date shows month and year only
	Elapsed   bool   // the number is days shown as hours ([h]:mm)
	Struck    bool   // struck through
	Unit      string // text the number format writes behind the number
	Pattern   string // number format of a tag such as "CV-"00
}

// at returns the row's cell of a column, or a blank one.
func (r *Row) at(col int) Cell {
	lo, hi := 0, len(r.Cells)
	for lo < hi {
		mid := (lo + hi) / 2
		if int(r.Cells[mid].Col) < col {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo < len(r.Cells) && int(r.Cells[lo].Col) == col {
		return r.Cells[lo]
	}
	return Cell{Col: int32(col)}
}

// style returns a cell's style.
func (b *Book) style(c Cell) Style {
	if int(c.Style) < len(b.Styles) {
		return b.Styles[c.Style]
	}
	return Style{}
}

// shown returns what a person sees in the cell, near enough: numbers with the digits they were typed with, dates as days.
func (b *Book) shown(c Cell) string {
	switch c.Kind {
	case Text, Failed:
		return c.Text
	case Boolean:
		if c.Number != 0 {
			return "yes"
		}
		return "no"
	case Number:
		st := b.style(c)
		if st.Date {
			if d, _, ok := serialDay(c.Number, b.Epoch1904); ok {
				return string(d)
			}
		}
		return patterned(c.Number, st.Pattern)
	}
	return ""
}

// digits writes a stored number with the at most 15 digits a spreadsheet shows: 8.699999999999999 was typed as 8.7.
func digits(n float64) string {
	if n == math.Trunc(n) && math.Abs(n) < 1e15 {
		return strconv.FormatInt(int64(n), 10)
	}
	short, err := strconv.ParseFloat(strconv.FormatFloat(n, 'g', 15, 64), 64)
	if err != nil {
		short = n
	}
	return strconv.FormatFloat(short, 'f', -1, 64)
}

// patterned writes a whole number in a format of zeros with text before it: 7 in "CV-"00 is CV-07.
func patterned(n float64, pattern string) string {
	text := digits(n)
	if pattern == "" || n < 0 || n != math.Trunc(n) {
		return text
	}
	head, zeros := pattern, 0
	for strings.HasSuffix(head, "0") {
		head, zeros = head[:len(head)-1], zeros+1
	}
	if len(text) < zeros {
		text = strings.Repeat("0", zeros-len(text)) + text
	}
	return head + text
}

// columnName writes a column's letters: 1 is A, 28 is AB.
func columnName(col int) string {
	s := ""
	for col > 0 {
		col--
		s = string(rune('A'+col%26)) + s
		col /= 26
	}
	return s
}

// columnNumber reads a column's letters; 0 when they name no column of a sheet.
func columnNumber(s string) int {
	n := 0
	if len(s) > 3 {
		return 0
	}
	for _, r := range strings.ToUpper(s) {
		if r < 'A' || r > 'Z' {
			return 0
		}
		n = n*26 + int(r-'A') + 1
	}
	return n
}

// quoted returns a text in quotes for a sentence, cut at 60 characters, on one line.
func quoted(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60]) + "…"
	}
	return "'" + s + "'"
}
