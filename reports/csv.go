package reports

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"unicode"
)

// WriteCSV writes the report's rows as CSV (RFC 4180): UTF-8, comma, a heading row with units, dates
// YYYY-MM-DD, numbers with a point. A text that a spreadsheet could take for a formula gets an apostrophe
// in front; a number never does. Lines end with a line feed alone: the writer that ends them with carriage
// return and line feed changes the line breaks inside texts.
//
// Corrections since stand below, behind an empty row and under their own headings, so that a spreadsheet filters either
// table by itself; their rows are filled up with empty cells, so that all records have the same number of fields.
func (r *Report) WriteCSV(ctx context.Context, out io.Writer) (Proof, error) {
	w := csv.NewWriter(out)
	record := make([]string, len(r.Columns))
	for i, c := range r.Columns {
		record[i] = c.Title()
	}
	if err := w.Write(record); err != nil {
		return Proof{}, fmt.Errorf("write CSV: %w", err)
	}
	proof, err := r.each(ctx, func(row []Cell) error {
		for i, c := range row {
			record[i] = inert(c)
		}
		return w.Write(record)
	})
	if err != nil {
		return Proof{}, err
	}
	if err := r.learnedCSV(w); err != nil {
		return Proof{}, fmt.Errorf("write CSV: %w", err)
	}
	w.Flush()
	if err := w.Error(); err != nil {
		return Proof{}, fmt.Errorf("write CSV: %w", err)
	}
	return proof, nil
}

// live are the signs with which a spreadsheet begins a formula, also as their full-width forms, which some
// spreadsheets take for the same.
const live = "=+-@\uFF1D\uFF0B\uFF0D\uFF20"

// inert returns the cell as CSV holds it: a text that begins like a formula is data. So is one that begins with a tab
// or a line end, and one in which blanks or signs that are not seen stand before the formula: a spreadsheet that trims
// them would take the rest.
func inert(c Cell) string {
	s := c.Plain()
	if c.kind != KindText || s == "" {
		return s
	}
	seen := strings.TrimLeftFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.Is(unicode.Cf, r) || unicode.IsControl(r) })
	if strings.ContainsRune("\t\r\n", rune(s[0])) || seen != "" && strings.ContainsRune(live, []rune(seen)[0]) {
		return "'" + s
	}
	return s
}

// learnedCSV writes the corrections since, if they are told.
func (r *Report) learnedCSV(w *csv.Writer) error {
	if r.Learned == nil {
		return nil
	}
	width := max(len(r.Columns), len(r.Learned.Columns))
	if err := w.Write(make([]string, width)); err != nil {
		return err
	}
	record := make([]string, width)
	for i, c := range r.Learned.Columns {
		record[i] = c.Title()
	}
	record[0] = "Corrections since: " + record[0]
	if err := w.Write(record); err != nil {
		return err
	}
	for _, row := range r.Learned.Rows {
		for i, c := range row {
			record[i] = inert(c)
		}
		if err := w.Write(record); err != nil {
			return err
		}
	}
	return nil
}
