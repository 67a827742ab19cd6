// Package reports says what a plant's register says, as of a day: one file per report, a catalogue that
// lists them, and the forms every report can be given in: workbook, CSV, JSON and a page for paper.
//
// A report is its columns, with what each means, and its rows, handed over one by one so that a fleet's
// report takes no more memory than a plant's. Every form shows the same cells, and one digest proves them.
// The package knows the words and columns of reports; it does not know how rows are stored and reads no
// clock of the wall: the moment of building is passed in.
//
//	entry, _ := reports.Find("splice-age")
//	report, err := entry.Build(ctx, reports.Inputs{Source: source, Built: now}, "2025-06-30")
//	digest, err := report.WriteXLSX(file)
package reports
