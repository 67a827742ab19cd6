package intake

import (
	"fmt"
	"strings"

	"carryside/assets"
)

// entry is one row of a table that is to give records.
type entry struct {
	t       *table
	row     *Row
	at      int // order in the file
	line    string
	ownLine bool // the line stands in the row itself
	plant   string
	tag     string
	struck  bool
	gone    value // the date behind a word such as "scrapped 2021"
	vals    []cellValue
	remarks []Remark
	asRead  int // remarks made while reading the cells
	refusal *Refusal
	news    int    // records it makes or fills
	twin    *entry // a row that gave the same record before
	belt    *thing
	things  []*thing
	used    bool // some record came of it
	held    bool // its reading waits for a decision
}

// cellValue is one cell as read.
type cellValue struct {
	c *column
	v value
}

// get returns the value of a field in the row.
func (e *entry) get(name string) value {
	for i := range e.vals {
		if e.vals[i].c.f.name == name && !e.vals[i].c.dated {
			return e.vals[i].v
		}
	}
	return value{}
}

func (e *entry) remark(class, fieldName, text string) {
	e.remarks = append(e.remarks, Remark{class, fieldName, text})
}

// place says where in the file a row stands, for a sentence.
func (e *entry) place() string { return placeOf(e.t.sheet, e.row.Number) }

func placeOf(s *Sheet, row int) string {
	if s.Name == "" {
		return fmt.Sprintf("line %d", row)
	}
	return fmt.Sprintf("sheet %s, row %d", quoted(s.Name), row)
}

// other names another row in a sentence about this one.
func (e *entry) other(o *entry) string {
	if o.t.sheet == e.t.sheet {
		return fmt.Sprintf("row %d", o.row.Number)
	}
	return fmt.Sprintf("row %d of sheet %s", o.row.Number, quoted(o.t.sheet.Name))
}

// refuse marks a row as refused; the first reason stands.
func (e *entry) refuse(c *column, f fault, shown, why string) {
	if e.refusal != nil {
		return
	}
	r := &Refusal{Sheet: e.t.sheet.Name, Row: e.row.Number, Class: string(f), Value: cutTo(shown, 60), entry: e}
	where := e.place()
	if c != nil {
		r.Column = columnName(c.col)
		if c.f != nil {
			r.Field = c.f.name
		}
		where += ", column " + columnTitle(c)
	}
	where += ":"
	if shown != "" {
		where += " " + quoted(shown)
	}
	r.Text = cutTo(where+" "+why, 390)
	e.refusal = r
}

// columnTitle is a column by its heading.
func columnTitle(c *column) string {
	if c.from.text != "" {
		return quoted(c.from.text)
	}
	return columnName(c.col)
}

func cutTo(s string, n int) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// why says in a sentence's second half why a cell cannot be taken and what to do.
func why(f fault, c *column) string {
	switch f {
	case faultNotANumber:
		return "is not a number; write the number alone, or leave the cell blank if it is not known"
	case faultOpenNumber:
		return `can be a number of thousands or one with decimals; write it without a separator, or tell "decimal" in the mapping`
	case faultNoUnit:
		return "has no unit, and neither heading nor note gives one; write the unit behind it or in the heading, such as (mm)"
	case faultRange:
		return "cannot be a " + c.f.words + ": it must be " + c.f.rangeWords() + "; correct it"
	case faultSeveral:
		if c.f.shape == shapeDate {
			return "holds several dates; write one row per belt"
		}
		return "holds several values; write one row per belt"
	case faultOpenDate:
		return "can be read day first or month first, and nothing in the column tells which: give --date-order dmy or mdy"
	case faultNoDate:
		return "is not a date that exists; write it as 2025-04-03, or leave it blank if it is not known"
	case faultDateRange:
		return "lies after the day of import or before " + string(assets.FirstDay[:4]) + "; correct the date"
	case faultErrorCell:
		return "is an error value of the spreadsheet; put the value itself in"
	}
	return "cannot be taken; correct it"
}

// rangeWords says what a field's values can be.
func (f *field) rangeWords() string {
	switch {
	case f.shape == shapeGrade:
		return "0 to 4"
	case f.positive && f.max > 0:
		return fmt.Sprintf("above 0 and at most %s m", digits(f.max))
	case f.positive:
		return "above 0"
	case f.dim == angle:
		return "at most 90°"
	}
	return "0 or more"
}

// reader reads the cells of a book's tables.
type reader struct {
	book  *Book
	today assets.Day
	told  dateOrder
	file  evidence
	fixed decimals // told by the mapping
}

// cell reads one cell of a column into the row.
func (r *reader) cell(e *entry, c *column, cell Cell) {
	if cell.Kind == Blank || c.f == nil {
		return
	}
	shown := r.book.shown(cell)
	if cell.Kind == Failed {
		r.failedCell(e, c, shown)
		return
	}
	if c.values != nil {
		if to, ok := c.values[trimmed(shown)]; ok {
			cell, shown = Cell{Kind: Text, Text: to}, to
		} else if to, ok := c.values[fold(shown)]; ok {
			cell, shown = Cell{Kind: Text, Text: to}, to
		}
	}
	if cell.Kind == Text && c.f.shape != shapeText && noWord(cell.Text) {
		if c.f.shape == shapeDate {
			e.vals = append(e.vals, cellValue{c, value{text: trimmed(shown)}})
		}
		return
	}
	switch c.f.shape {
	case shapeText, shapeTag:
		if s := kept(shown); !noWord(s) {
			r.take(e, c, value{set: true, text: s})
		}
	case shapeQuantity:
		r.quantity(e, c, cell, shown)
	case shapeHours:
		r.hours(e, c, cell, shown)
	case shapeMeasured:
		r.measured(e, c, cell, shown)
	case shapeDate:
		r.date(e, c, cell, shown)
	default:
		r.word(e, c, shown)
	}
}

func (r *reader) take(e *entry, c *column, v value) { e.vals = append(e.vals, cellValue{c, v}) }

// failedCell refuses a needed field and leaves another out.
func (r *reader) failedCell(e *entry, c *column, shown string) {
	if shown == "" {
		shown = "formula without a value"
	}
	if c.f.needed() {
		e.refuse(c, faultErrorCell, shown, why(faultErrorCell, c))
		return
	}
	r.leave(e, c, shown)
}

// needed tells whether a record cannot be without the field.
func (f *field) needed() bool {
	switch f.name {
	case "plant", "conveyor", "taken_on", "meter_reading", "found_on", "category":
		return true
	}
	return false
}

// leave leaves a value out and says so.
func (r *reader) leave(e *entry, c *column, shown string) {
	e.remark("not_read", c.f.name, fmt.Sprintf("%s in column %s is left out: it is no %s", quoted(shown), columnTitle(c), c.f.words))
}

// fault refuses the row for a cell, or leaves the cell out where words stand in a field that is not needed.
func (r *reader) fault(e *entry, c *column, shown string, f fault) {
	if f == faultNotANumber && !c.f.needed() {
		r.leave(e, c, shown)
		return
	}
	e.refuse(c, f, shown, why(f, c))
}

// quantity reads a length, speed, tension or angle.
func (r *reader) quantity(e *entry, c *column, cell Cell, shown string) {
	var q quantity
	var f fault
	if cell.Kind == Number {
		shown = digits(cell.Number)
		u := c.unit
		if own := findUnit(r.book.style(cell).Unit); own != nil && own.dim == c.f.dim {
			u = own
		}
		q, f = readQuantity(shown, c.f.dim, u, decimalPoint)
	} else {
		q, f = readQuantity(shown, c.f.dim, c.unit, c.style)
	}
	if f == "" && outOfRange(c.f, q.si) {
		f = faultRange
	}
	if f != "" {
		r.fault(e, c, shown, f)
		return
	}
	r.take(e, c, value{set: true, num: q.si, step: q.step, text: trimmed(shown)})
}

func outOfRange(f *field, si float64) bool {
	if f.dim == angle {
		return si > f.max || si < -f.max || (si < 0 && f.name != "incline")
	}
	if f.positive && si <= 0 {
		return true
	}
	return si < 0 || (f.max > 0 && si > f.max)
}

// hours reads what a meter showed.
func (r *reader) hours(e *entry, c *column, cell Cell, shown string) {
	v, f := r.hoursOf(c, cell)
	if f != "" {
		r.fault(e, c, shown, f)
		return
	}
	r.take(e, c, v)
}

func (r *reader) hoursOf(c *column, cell Cell) (value, fault) {
	var q quantity
	var f fault
	switch {
	case cell.Kind == Number && r.book.style(cell).Elapsed:
		q, f = readHours(digits(roundTo(cell.Number*24, 1e4)), decimalPoint)
	case cell.Kind == Number && r.book.style(cell).Date:
		f = faultNotANumber
	case cell.Kind == Number:
		q, f = readHours(digits(cell.Number), decimalPoint)
	default:
		q, f = readHours(cell.Text, c.style)
	}
	if f == "" && q.si < 0 {
		f = faultRange
	}
	return value{set: true, num: q.si, step: q.step, text: trimmed(r.book.shown(cell))}, f
}

func roundTo(n, parts float64) float64 {
	if n < 0 {
		return -roundTo(-n, parts)
	}
	return float64(int64(n*parts+0.5)) / parts
}

// measured reads a finding's measurement.
func (r *reader) measured(e *entry, c *column, cell Cell, shown string) {
	style := c.style
	if cell.Kind == Number {
		shown, style = digits(cell.Number), decimalPoint
		if u := r.book.style(cell).Unit; u != "" {
			shown += " " + u
		}
	}
	q, f := readMeasured(shown, c.unit, style)
	if in := c.from.inside; f == faultNoUnit && in != "" && len(in) <= 12 {
		q, f = readMeasured(shown+" "+in, nil, style) // "Measured (°C)"
	}
	if f != "" {
		r.fault(e, c, shown, f)
		return
	}
	v := value{set: true, num: q.si, step: q.step, text: trimmed(shown)}
	if q.other != "" {
		v.kind = &spliceKind{word: q.other}
	} else if c.unit != nil && c.unit.dim != length && q.unit == c.unit {
		v.kind = &spliceKind{word: c.unit.name}
	}
	r.take(e, c, v)
}

// word reads a status, a splice kind, a reason, a grade, yes or no, or an event.
func (r *reader) word(e *entry, c *column, shown string) {
	switch c.f.shape {
	case shapeStatus:
		if s, ok := readStatus(shown); ok {
			r.take(e, c, value{set: true, text: string(s)})
			if s == assets.ConveyorRetired {
				r.retiredSince(e, shown)
			}
			return
		}
	case shapeSpliceKind:
		if k, ok := readSpliceKind(shown); ok {
			r.take(e, c, value{set: true, text: trimmed(shown), kind: &k})
			return
		}
	case shapeReason:
		r.reason(e, c, shown)
		return
	case shapeGrade:
		g, f := readGrade(shown)
		if f != "" {
			r.fault(e, c, shown, f)
			return
		}
		r.take(e, c, value{set: true, num: float64(g), step: 1})
		return
	case shapeFlag:
		if yes, ok := readFlag(shown); ok {
			r.take(e, c, value{set: true, flag: yes})
			return
		}
	case shapeEvent:
		r.take(e, c, value{set: true, text: trimmed(shown)})
		return
	}
	r.leave(e, c, shown)
}

// retiredSince keeps the date that stands behind a word such as "scrapped 2021".
func (r *reader) retiredSince(e *entry, shown string) {
	m := dateBehindWords.FindStringSubmatch(shown)
	if m == nil || e.t.byField["retired_on"] != nil {
		return
	}
	d := readDate(m[1], r.told)
	if d.fault != "" || d.blank || d.earliest > r.today || d.latest < assets.FirstDay {
		return
	}
	e.gone = value{set: true, from: d.earliest, to: d.latest}
	if d.approximate {
		e.gone.text = trimmed(m[1])
	}
}

// reason reads why a splice ended; words that tell of damage are the failure mode too, words not understood a remark.
func (r *reader) reason(e *entry, c *column, shown string) {
	text := kept(shown)
	if c.values != nil {
		for _, w := range []assets.RetiredWhy{assets.RetiredFailed, assets.RetiredPlanned, assets.RetiredBeltRemoved, assets.RetiredConveyorScrapped} {
			if text == string(w) {
				r.take(e, c, value{set: true, text: text})
				return
			}
		}
	}
	why, ok := readReason(shown)
	if !ok {
		r.leave(e, c, shown)
		e.vals = append(e.vals, cellValue{&column{f: fieldNamed["remark"]}, value{set: true, text: text}})
		return
	}
	r.take(e, c, value{set: true, text: string(why)})
	if why == assets.RetiredFailed && e.t.byField["failure_mode"] == nil {
		e.vals = append(e.vals, cellValue{&column{f: fieldNamed["failure_mode"]}, value{set: true, text: text}})
	}
}
