package workbook

import (
	"fmt"
	"time"

	"github.com/xuri/excelize/v2"
)

// Cover is the first sheet of a report: what it is, as of when, of what, by whom, on what basis.
type Cover struct {
	Title    string
	Question string      // the question the report answers
	First    []CoverLine // before all lines, in full ink: cautions
	Lines    []CoverLine
	Notes    []string // cautions and how to check the file, below the lines
}

// CoverLine is a name and what it says: text, a count or an instant.
type CoverLine struct {
	Label string
	Text  string
	Count *int           // instead of Text
	At    time.Time      // instead of Text, with Zone
	Zone  *time.Location // nil: UTC
}

// CoverSheet is a cover that has its place in the workbook and is written last, when what it says of the
// rows is known.
type CoverSheet struct{ sheet *Sheet }

// AddCover gives a cover its place.
func (w *Writer) AddCover(name, header string) (*CoverSheet, error) {
	s, err := w.newSheet(name, nil, Layout{Portrait: true, Header: header})
	if err != nil {
		return nil, fmt.Errorf("add the cover: %w", err)
	}
	s.columns = []Column{{WidthCh: 26}, {WidthCh: coverTextCh}}
	err, s.columns = s.setWidths(), nil // it has no heading row and no columns to filter
	if err != nil {
		return nil, fmt.Errorf("add the cover: %w", err)
	}
	return &CoverSheet{s}, nil
}

// Write writes the cover.
func (c *CoverSheet) Write(cover Cover) error {
	if err := c.sheet.cover(cover); err != nil {
		return fmt.Errorf("write the cover: %w", err)
	}
	return nil
}

// coverTextCh is the width of what the cover says, characters.
const coverTextCh = 84

func (s *Sheet) cover(c Cover) error {
	s.lines = 2 // of ordinary text: room for the title
	if err := s.styled(look{title: true}, c.Title); err != nil {
		return err
	}
	if err := s.styled(look{label: true}, c.Question); err != nil {
		return err
	}
	s.row++ // an empty row
	for _, l := range c.First {
		if err := s.coverLine(l, true); err != nil {
			return err
		}
	}
	if len(c.First) > 0 {
		s.row++
	}
	for _, l := range c.Lines {
		if err := s.coverLine(l, false); err != nil {
			return err
		}
	}
	s.row++
	for _, n := range c.Notes {
		// Beside the labels and wrapped: a text that runs on to the right makes the whole page small on paper.
		s.Empty()
		s.lines = wrapped(n, coverTextCh)
		if err := s.styled(look{quiet: true, wrap: true}, n); err != nil {
			return err
		}
	}
	return nil
}

// styled writes a row of one text.
func (s *Sheet) styled(l look, text string) error {
	id, err := s.book.style(l)
	if err != nil {
		return err
	}
	s.cells = append(s.cells, excelize.Cell{StyleID: id, Value: cut(text)})
	return s.EndRow()
}

// coverLine writes a line, a first one with its label in bold.
func (s *Sheet) coverLine(l CoverLine, first bool) error {
	label, err := s.book.style(look{label: true, strong: first, wrap: first})
	if err != nil {
		return err
	}
	s.cells = append(s.cells, excelize.Cell{StyleID: label, Value: l.Label})
	kind := Text
	switch {
	case l.Count != nil:
		kind = Integer
	case !l.At.IsZero():
		kind = DateTime
	}
	id, err := s.book.style(look{kind: kind, wrap: kind == Text, label: !first})
	if err != nil {
		return err
	}
	s.styles = []int{0, id}
	s.lines = wrapped(l.Text, coverTextCh)
	switch kind {
	case Integer:
		s.Number(float64(*l.Count))
	case DateTime:
		zone := l.Zone
		if zone == nil {
			zone = time.UTC
		}
		s.DateTime(l.At, zone)
	default:
		s.Text(l.Text)
	}
	return s.EndRow()
}
