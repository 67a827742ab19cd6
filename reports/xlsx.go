package reports

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/reports/workbook"
)

// WriteXLSX writes the report as a workbook: a cover, the register, the definitions of its columns; window packages with a sheet for
// each of their lists before the register.
func (r *Report) WriteXLSX(ctx context.Context, out io.Writer) (proof Proof, err error) {
	w, err := workbook.NewWriter(workbook.Properties{Title: r.Title, Subject: r.Scope, Author: r.madeBy(), Made: r.AsOf.Built})
	if err != nil {
		return Proof{}, err
	}
	defer func() {
		if cerr := w.Close(); err == nil {
			err = cerr
		}
	}()
	cover, err := w.AddCover("Cover", r.headerLine())
	if err != nil {
		return Proof{}, err
	}
	lists, err := r.listSheets(w)
	if err != nil {
		return Proof{}, err
	}
	proof, err = r.registerSheet(ctx, w)
	r.packed = nil
	if err != nil {
		return Proof{}, err
	}
	said := r.cover(proof)
	if lists != nil {
		if err := lists.end(); err != nil {
			return Proof{}, err
		}
		said = lists.cover(said)
	}
	if err := r.learnedSheet(w); err != nil {
		return Proof{}, err
	}
	if err := r.definitions(w); err != nil {
		return Proof{}, err
	}
	if err := cover.Write(said); err != nil {
		return Proof{}, err
	}
	_, err = w.WriteTo(out)
	return proof, err
}

func (r *Report) madeBy() string {
	if r.By == "" {
		return "Carryside"
	}
	return r.By
}

// headerLine stands on every printed page.
func (r *Report) headerLine() string {
	as := r.AsOf.Day
	if as == "" {
		as = assets.DayOf(r.AsOf.Built.In(r.zone()))
	}
	return fmt.Sprintf("%s, %s, as of %s", r.Title, r.Scope, strings.ReplaceAll(ShownDay(as), hard, " "))
}

func (r *Report) zone() *time.Location {
	if r.Zone == nil {
		return time.UTC
	}
	return r.Zone
}

// listSheets prepares the sheets of window packages, which are told as their rows are read; nil for another report.
func (r *Report) listSheets(w *workbook.Writer) (*packageSheets, error) {
	if !r.stops {
		return nil, nil
	}
	lists, err := newPackageSheets(w, r)
	if err == nil {
		r.packed = lists.add
	}
	return lists, err
}

// registerSheet streams the rows.
func (r *Report) registerSheet(ctx context.Context, w *workbook.Writer) (Proof, error) {
	s, err := w.AddSheet("Register", inWorkbook(r.Columns), workbook.Layout{FrozenColumns: frozen(r.Columns), Filter: true, Header: r.headerLine()})
	if err != nil {
		return Proof{}, err
	}
	return r.each(ctx, func(row []Cell) error {
		for _, c := range row {
			c.into(s)
		}
		return s.EndRow()
	})
}

func inWorkbook(columns []Column) []workbook.Column {
	out := make([]workbook.Column, len(columns))
	for i, c := range columns {
		out[i] = workbook.Column{Heading: c.Heading, Unit: c.Unit, Kind: c.Kind.inWorkbook(), Decimals: c.Decimals, WidthCh: c.WidthCh, Wrap: c.Wrap}
	}
	return out
}

// learnedSheet writes the corrections since, if they are told.
func (r *Report) learnedSheet(w *workbook.Writer) error {
	if r.Learned == nil {
		return nil
	}
	s, err := w.AddSheet("Corrections since", inWorkbook(r.Learned.Columns), workbook.Layout{FrozenColumns: frozen(r.Learned.Columns), Filter: true, Header: r.headerLine()})
	if err != nil {
		return err
	}
	for _, row := range r.Learned.Rows {
		for _, c := range row {
			c.into(s)
		}
		if err := s.EndRow(); err != nil {
			return err
		}
	}
	return nil
}

// frozen is how many columns stay in sight: up to the one that names the thing.
func frozen(columns []Column) int {
	for i, c := range columns {
		if c.Key == "splice" {
			return i + 1
		}
	}
	return 1
}

func (k Kind) inWorkbook() workbook.Kind {
	switch k {
	case KindInteger:
		return workbook.Integer
	case KindNumber:
		return workbook.Number
	case KindDay:
		return workbook.Date
	case KindInstant:
		return workbook.DateTime
	}
	return workbook.Text
}

// into writes the cell as the next one of a sheet's row.
func (c Cell) into(s *workbook.Sheet) {
	switch c.kind {
	case "":
		s.Empty()
	case KindInteger, KindNumber:
		s.Number(c.num)
	case KindInstant:
		s.DateTime(c.at, c.zone)
	case KindDay:
		if t, err := time.Parse(time.DateOnly, c.text); err == nil {
			s.Date(t.Date())
			return
		}
		s.Text(c.text)
	default:
		s.Text(c.text)
	}
}

// definitions says what each column means.
func (r *Report) definitions(w *workbook.Writer) error {
	s, err := w.AddSheet("Definitions", []workbook.Column{
		{Heading: "Column", WidthCh: 26}, {Heading: "Unit", WidthCh: 14}, {Heading: "Name in JSON", WidthCh: 22}, {Heading: "Meaning", WidthCh: 90, Wrap: true},
	}, workbook.Layout{FrozenColumns: 1, Header: r.headerLine()})
	if err != nil {
		return err
	}
	columns := r.Columns
	if r.Learned != nil {
		columns = slices.Concat(columns, r.Learned.Columns[4:]) // the four before name the thing, in both
	}
	for _, c := range columns {
		for _, text := range []string{c.Heading, c.Unit, c.Key, c.Meaning} {
			s.Text(text)
		}
		if err := s.EndRow(); err != nil {
			return err
		}
	}
	return nil
}

// cover says what the report is, of what, as of when, by whom, on what basis, and what proves it.
func (r *Report) cover(p Proof) workbook.Cover {
	lines := []workbook.CoverLine{
		{Label: "As of", Text: r.AsOf.Words()},
		{Label: "Scope", Text: r.Scope},
		{Label: "Rows", Count: &p.Rows},
	}
	corrections := 0
	if r.Learned != nil {
		corrections = len(r.Learned.Rows)
		lines = append(lines, workbook.CoverLine{Label: "Corrections since", Count: &corrections})
	}
	for i, t := range r.Tally {
		lines = append(lines, workbook.CoverLine{Label: "of them " + t.Says, Count: &r.Tally[i].Rows})
	}
	lines = append(lines, []workbook.CoverLine{
		{Label: "Generated by", Text: r.madeBy()},
		{Label: "Built at", At: r.AsOf.Built, Zone: r.zone()},
		{Label: "Built at, zone", Text: r.zone().String()},
	}...)
	for _, b := range r.Basis {
		lines = append(lines, workbook.CoverLine{Label: b.Name, Text: b.Value})
	}
	lines = append(lines, workbook.CoverLine{Label: "Digest of the rows", Text: p.Digest})
	return workbook.Cover{Title: r.Title, Question: r.Question, Lines: lines, Notes: append([]string{digestNote}, r.Notes...)}
}

const digestNote = "The digest is SHA-256 over the rows in canonical JSON (RFC 8785), one line each, after a line with the column names. The report as JSON holds the same rows; in a shell: " +
	"(jq -c '[.columns[].key]' FILE.json; jq -cS '.rows[]' FILE.json) | sha256sum"
