package workbook

import (
	"fmt"
	"io"

	"github.com/xuri/excelize/v2"

	"carryside/assets/intake"
)

// WriteRefused writes the rows that an import did not take as a workbook: one sheet per table, to be corrected and brought
// in again. Every text is written as text, so that one which begins like a formula stays what it was.
func WriteRefused(w io.Writer, sheets []intake.RefusedSheet) error {
	f := excelize.NewFile()
	defer f.Close()
	looks, err := newRefusedLooks(f)
	if err != nil {
		return err
	}
	first := f.GetSheetName(0)
	for i, s := range sheets {
		if i == 0 {
			err = f.SetSheetName(first, s.Name)
		} else {
			_, err = f.NewSheet(s.Name)
		}
		if err != nil {
			return fmt.Errorf("make the sheet %q of refused rows: %w", s.Name, err)
		}
		if err := writeRefusedSheet(f, s, looks); err != nil {
			return fmt.Errorf("write the sheet %q of refused rows: %w", s.Name, err)
		}
	}
	if len(sheets) == 0 {
		if err := f.SetCellStr(first, "A1", "Every row was taken; nothing is left to correct."); err != nil {
			return fmt.Errorf("write the workbook of refused rows: %w", err)
		}
	}
	if err := f.Write(w); err != nil {
		return fmt.Errorf("write the workbook of refused rows: %w", err)
	}
	return nil
}

// refusedLooks are the styles of the sheets.
type refusedLooks struct{ head, date, struck, struckDate int }

func newRefusedLooks(f *excelize.File) (l refusedLooks, err error) {
	iso := "yyyy-mm-dd"
	for _, s := range []struct {
		id    *int
		style excelize.Style
	}{
		{&l.head, excelize.Style{Font: &excelize.Font{Bold: true}}},
		{&l.date, excelize.Style{CustomNumFmt: &iso}},
		{&l.struck, excelize.Style{Font: &excelize.Font{Strike: true}}},
		{&l.struckDate, excelize.Style{Font: &excelize.Font{Strike: true}, CustomNumFmt: &iso}},
	} {
		if *s.id, err = f.NewStyle(&s.style); err != nil {
			return l, fmt.Errorf("make a style of the refused rows: %w", err)
		}
	}
	return l, nil
}

func writeRefusedSheet(f *excelize.File, s intake.RefusedSheet, looks refusedLooks) error {
	sw, err := f.NewStreamWriter(s.Name)
	if err != nil {
		return err
	}
	at := 0
	put := func(cells []any) error {
		at++
		return sw.SetRow(fmt.Sprintf("A%d", at), cells)
	}
	for _, n := range s.Notes {
		if err := put([]any{n}); err != nil {
			return err
		}
	}
	for _, h := range s.Heads {
		if err := put(refusedCells(h, looks, true)); err != nil {
			return err
		}
	}
	for _, r := range s.Rows {
		if err := put(refusedCells(r, looks, false)); err != nil {
			return err
		}
	}
	return sw.Flush()
}

// refusedCells turns cells into what the stream takes; a blank cell is nil.
func refusedCells(cells []intake.OutCell, looks refusedLooks, head bool) []any {
	out := make([]any, len(cells))
	for i, c := range cells {
		style := 0
		switch {
		case head && !c.Date:
			style = looks.head
		case c.Date && c.Struck:
			style = looks.struckDate
		case c.Date:
			style = looks.date
		case c.Struck:
			style = looks.struck
		}
		switch c.Kind {
		case intake.Text, intake.Failed:
			out[i] = excelize.Cell{StyleID: style, Value: c.Text}
		case intake.Number:
			out[i] = excelize.Cell{StyleID: style, Value: c.Number}
		}
	}
	return out
}
