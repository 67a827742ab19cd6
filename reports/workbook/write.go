package workbook

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// Properties is what the file says of itself. Nothing in it is read off the wall's clock, so that the same
// report built again is the same file.
type Properties struct {
	Title   string
	Subject string
	Author  string
	Made    time.Time // the report's own now
}

// Writer writes one workbook, row by row, so that memory does not grow with its rows.
type Writer struct {
	file   *excelize.File
	styles map[look]int
	sheets []*Sheet
}

// NewWriter starts an empty workbook. Close frees its temporary files.
func NewWriter(p Properties) (*Writer, error) {
	w := &Writer{file: excelize.NewFile(), styles: map[look]int{}}
	made := p.Made.UTC().Format("2006-01-02T15:04:05Z")
	err := w.file.SetDocProps(&excelize.DocProperties{
		Title: p.Title, Subject: p.Subject, Creator: p.Author, LastModifiedBy: p.Author,
		Created: made, Modified: made, Language: "en-GB",
	})
	if err == nil {
		err = w.file.SetAppProps(&excelize.AppProperties{Application: "Carryside"})
	}
	if err != nil {
		return nil, fmt.Errorf("start the workbook: %w", err)
	}
	return w, nil
}

// Close frees what the workbook holds on disk. It may be called twice.
func (w *Writer) Close() error { return w.file.Close() }

// WriteTo ends every sheet and writes the file. Entries stand in a fixed order without a time, so that
// equal rows give equal bytes.
func (w *Writer) WriteTo(out io.Writer) (int64, error) {
	for _, s := range w.sheets {
		if err := s.end(); err != nil {
			return 0, err
		}
	}
	counted := &countingWriter{w: out}
	w.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return newOrderedZip(counted) })
	if err := w.file.Write(io.Discard); err != nil {
		return counted.n, fmt.Errorf("write the workbook: %w", err)
	}
	return counted.n, nil
}

// Kind tells what the cells of a column hold.
type Kind int

// Kinds of column.
const (
	Text Kind = iota
	Integer
	Number   // with Decimals behind the point
	Date     // a civil date
	DateTime // an instant, shown on the plant's clock
	Percent  // a share: 0.93 is shown as 93 %
)

// Column is one column of a sheet.
type Column struct {
	Heading  string
	Unit     string // stands in the heading: "Age, days"
	Kind     Kind
	Decimals int     // of Number and Percent
	WidthCh  float64 // characters
	Wrap     bool
}

// Title returns the heading with its unit.
func (c Column) Title() string {
	if c.Unit == "" {
		return c.Heading
	}
	return c.Heading + ", " + c.Unit
}

// Layout is how a sheet is looked at and printed.
type Layout struct {
	FrozenColumns int    // from the left, beside the heading row
	Filter        bool   // drop-down filters on the headings
	Portrait      bool   // A4 upright; otherwise landscape
	Header        string // on every printed page, beside the sheet's name
}

// Sheet is one sheet being written: a heading row, then rows from the top down.
type Sheet struct {
	book    *Writer
	stream  *excelize.StreamWriter
	name    string
	columns []Column
	layout  Layout
	styles  []int
	cells   []any // of the row being written
	lines   int   // of text in its tallest cell
	row     int   // last row written, from 1
	ended   bool
}

// AddSheet starts a sheet with its heading row. Rows are written with Text, Number, Date ... in the order of
// the columns and ended with EndRow.
func (w *Writer) AddSheet(name string, columns []Column, layout Layout) (*Sheet, error) {
	s, err := w.newSheet(name, columns, layout)
	if err != nil {
		return nil, fmt.Errorf("add the sheet %q: %w", name, err)
	}
	if err := s.heading(); err != nil {
		return nil, fmt.Errorf("add the sheet %q: %w", name, err)
	}
	return s, nil
}

// Place gives sheets their places behind those there are; each is started later by AddSheet, under its name, when what it holds is known.
func (w *Writer) Place(names ...string) error {
	for _, name := range names {
		if _, err := w.file.NewSheet(name); err != nil {
			return fmt.Errorf("place the sheet %q: %w", name, err)
		}
	}
	return nil
}

func (w *Writer) newSheet(name string, columns []Column, layout Layout) (*Sheet, error) {
	if len(w.sheets) == 0 {
		if err := w.file.SetSheetName(w.file.GetSheetName(0), name); err != nil {
			return nil, err
		}
	} else if _, err := w.file.NewSheet(name); err != nil {
		return nil, err
	}
	s := &Sheet{book: w, name: name, columns: columns, layout: layout, cells: make([]any, 0, len(columns))}
	if err := s.printSetUp(); err != nil {
		return nil, err
	}
	stream, err := w.file.NewStreamWriter(name)
	if err != nil {
		return nil, err
	}
	s.stream = stream
	w.sheets = append(w.sheets, s)
	return s, s.setColumns()
}

// setColumns sets widths and the style each column's cells have.
func (s *Sheet) setColumns() error {
	if err := s.setWidths(); err != nil {
		return err
	}
	for _, c := range s.columns {
		id, err := s.book.style(look{kind: c.Kind, decimals: c.Decimals, wrap: c.Wrap})
		if err != nil {
			return err
		}
		s.styles = append(s.styles, id)
	}
	return nil
}

// setWidths sets the widths from the last column to the first: the library puts each before those set
// already, and columns that do not ascend make a file that asks to be repaired.
func (s *Sheet) setWidths() error {
	for i := len(s.columns) - 1; i >= 0; i-- {
		if err := s.stream.SetColWidth(i+1, i+1, s.columns[i].width()); err != nil {
			return err
		}
	}
	return nil
}

// width returns the width of the column, wide enough for what its kind shows.
func (c Column) width() float64 {
	if c.WidthCh > 0 {
		return c.WidthCh
	}
	switch c.Kind {
	case Text:
		return 18
	case DateTime:
		return 18
	}
	return 12
}

// textCh is how many letters of ordinary text stand beside each other: letters are narrower than the digits
// a width is measured in, and the indent takes one.
func (c Column) textCh() float64 { return c.width()*1.1 - 2 }

// heading writes and freezes the heading row.
func (s *Sheet) heading() error {
	panes := &excelize.Panes{Freeze: true, YSplit: 1, XSplit: s.layout.FrozenColumns, ActivePane: "bottomLeft"}
	panes.TopLeftCell, _ = excelize.CoordinatesToCellName(s.layout.FrozenColumns+1, 2)
	if s.layout.FrozenColumns > 0 {
		panes.ActivePane = "bottomRight"
	}
	if err := s.stream.SetPanes(panes); err != nil {
		return err
	}
	for _, c := range s.columns {
		id, err := s.book.style(look{heading: true, wrap: true, kind: c.Kind})
		if err != nil {
			return err
		}
		s.lines = max(s.lines, wrapped(c.Title(), c.textCh()))
		s.cells = append(s.cells, excelize.Cell{StyleID: id, Value: c.Title()})
	}
	return s.EndRow()
}

// Text adds a text cell; "" adds an empty one. Whatever it begins with, it stays text: never a formula,
// never a link.
func (s *Sheet) Text(v string) {
	if v == "" {
		s.Empty()
		return
	}
	if i := len(s.cells); i < len(s.columns) && s.columns[i].Wrap {
		s.lines = max(s.lines, wrapped(v, s.columns[i].textCh()))
	}
	s.add(cut(v))
}

// wrapped estimates on how many lines a text stands in a cell of so many characters. Not every program
// fits rows to wrapped text when it opens a file, so the height is written; a line too many does no harm.
func wrapped(text string, widthCh float64) int {
	lines := 0
	for part := range strings.Lines(text) {
		lines++
		room := widthCh
		for word := range strings.FieldsSeq(part) {
			n := float64(utf8.RuneCountInString(word))
			for room < n && room < widthCh {
				lines, room = lines+1, widthCh
			}
			for ; n > widthCh; n -= widthCh {
				lines++
			}
			room -= n + 1
		}
	}
	return max(1, lines)
}

// Number adds a figure. What is no finite number is left empty.
func (s *Sheet) Number(v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		s.Empty()
		return
	}
	s.add(v)
}

// Date adds a civil date; one before 1 March 1900, where spreadsheets count differently, stays text.
func (s *Sheet) Date(year int, month time.Month, day int) {
	t := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	if n, ok := serial(t); ok {
		s.add(n)
		return
	}
	s.add(t.Format(time.DateOnly))
}

// DateTime adds an instant as the wall clock of zone shows it: a workbook knows no zones.
func (s *Sheet) DateTime(at time.Time, zone *time.Location) {
	t := at.In(zone)
	wall := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
	if n, ok := serial(wall); ok {
		s.add(n)
		return
	}
	s.add(wall.Format("2006-01-02 15:04"))
}

// Empty leaves a cell empty.
func (s *Sheet) Empty() { s.cells = append(s.cells, nil) }

func (s *Sheet) add(v any) {
	style := 0
	if i := len(s.cells); i < len(s.styles) {
		style = s.styles[i]
	}
	s.cells = append(s.cells, excelize.Cell{StyleID: style, Value: v})
}

// EndRow writes the row. A sheet holds 1,048,576 rows at most; more are refused.
func (s *Sheet) EndRow() error {
	if s.row >= excelize.TotalRows {
		return fmt.Errorf("sheet %q is full: a workbook holds %d rows; narrow the scope or write CSV", s.name, excelize.TotalRows)
	}
	s.row++
	ref, err := excelize.CoordinatesToCellName(1, s.row)
	if err != nil {
		return fmt.Errorf("row %d of sheet %q: %w", s.row, s.name, err)
	}
	err = s.stream.SetRow(ref, s.cells, s.height()...)
	s.cells, s.lines = s.cells[:0], 0
	if err != nil {
		return fmt.Errorf("row %d of sheet %q: %w", s.row, s.name, err)
	}
	return nil
}

// height returns the height of a row of several lines; one of a single line has the sheet's own.
func (s *Sheet) height() []excelize.RowOpts {
	if s.lines < 2 {
		return nil
	}
	const line, most = 13.0, 409.0 // points: 10 point text; the tallest row there is
	return []excelize.RowOpts{{Height: min(2+line*float64(s.lines), most)}}
}

// Say writes a row of one quiet sentence, such as that a list is empty.
func (s *Sheet) Say(sentence string) error { return s.styled(look{quiet: true}, sentence) }

// Rows returns how many rows stand below the heading.
func (s *Sheet) Rows() int { return s.row - 1 }

// end sets the filter and closes the sheet.
func (s *Sheet) end() error {
	if s.ended {
		return nil
	}
	s.ended = true
	if s.layout.Filter && len(s.columns) > 0 {
		last, err := excelize.CoordinatesToCellName(len(s.columns), max(s.row, 1))
		if err == nil {
			err = s.book.file.AutoFilter(s.name, "A1:"+last, nil)
		}
		if err != nil {
			return fmt.Errorf("filter of sheet %q: %w", s.name, err)
		}
	}
	if err := s.stream.Flush(); err != nil {
		return fmt.Errorf("end the sheet %q: %w", s.name, err)
	}
	return nil
}

// dayZero is the day spreadsheets count from, as it works out from 1 March 1900 on (ECMA-376 part 1,
// 18.17.4.1, the 1900 date base with its 29 February 1900).
var dayZero = time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)

// serial returns a wall time as days since dayZero; false where the counting does not hold.
func serial(wall time.Time) (float64, bool) {
	if wall.Before(time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC)) || wall.Year() > 9999 {
		return 0, false
	}
	days := (wall.Unix() - dayZero.Unix()) / 86400
	// Ten digits of a day are below a second; the library cuts longer ones off, which can show a minute too early.
	of := math.Round(float64((wall.Unix()-dayZero.Unix())%86400)/86400*1e10) / 1e10
	return float64(days) + of, true
}

// cut shortens a text to what a cell holds, 32,767 characters, and says so at its end.
func cut(v string) string {
	const room, mark = excelize.TotalCellChars, " … (cut here)"
	if len(v) <= room || utf16Len(v) <= room {
		return v
	}
	units := 0
	for i, r := range v {
		if units += unitsOf(r); units > room-len(mark) {
			return v[:i] + mark
		}
	}
	return v
}

func utf16Len(v string) int {
	n := 0
	for _, r := range v {
		n += unitsOf(r)
	}
	return n
}

// unitsOf is how many characters of a spreadsheet, UTF-16 units, a rune takes.
func unitsOf(r rune) int {
	if r > 0xffff {
		return 2
	}
	return 1
}
