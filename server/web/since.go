package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/people"
)

// This file answers, beside a report as it was known on a day: what has been learned since, which rows would say
// something else today, and who entered that, when and why?

// sincePart is what was learned after the known-at day of a report.
type sincePart struct {
	Known     string // the day
	Same      int    // rows that say the same
	Rows      []sinceRow
	More      int  // rows that only the files have
	Reasons   bool // who and why is shown: to whoever reads the journal
	Journal   string
	Elsewhere []sinceWhy // entries that touched no row that differs: catalogues, rules
}

// sinceRow is a row of the report that would say something else today.
type sinceRow struct {
	Thing string
	Only  string // "only then", "only now"; "" in both
	Cells []sinceCell
	Why   []sinceWhy
}

// sinceCell is one cell of it.
type sinceCell struct{ Column, Then, Now string }

// sinceWhy is one entry that touched the row.
type sinceWhy struct {
	When, Who, What, Why string
	Fields               []fieldShown
}

// knownWords says the day of known-at.
func knownWords(f Format, day string) string {
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		return "as known at " + day
	}
	return "as known at the end of " + f.PlainDay(assets.Day(day))
}

// since compares the report on the page with the same one as known now.
func (s *Site) since(r *Request, e reports.Entry, in reports.Inputs, day assets.Day, p *reportPage) error {
	if in.Known.At.IsZero() {
		return nil
	}
	then, err := s.keyedRows(r, e, in, day)
	if err != nil {
		return err
	}
	known := in.Known.At
	in.Known = reports.KnownAt{}
	now, err := s.keyedRows(r, e, in, day)
	if err != nil {
		return err
	}
	lines, err := s.Auditing.Corrections(r.Context(), r.Scope, r.PlantID(), known)
	if err != nil {
		return err
	}
	p.Since = compareSince(then, now)
	p.Since.shorten()
	p.Since.Known = r.F.PlainDay(assets.Day(p.Form.Value("known-at")))
	p.Since.Reasons = r.May(people.ReadJournal)
	if to, ok := r.Link("journal"); ok {
		p.Since.Journal = to
	}
	if p.Since.Reasons {
		p.Since.explain(r.F, lines)
	}
	return nil
}

// keyedRow is a row of a report with what it is the row of.
type keyedRow struct {
	conveyor, splice string
	apart            string // what else tells it apart
	cells            []reports.Cell
}

// keyed are the rows of a report in their order.
type keyed struct {
	columns []reports.Column
	order   []string
	of      map[string]keyedRow
}

// keyedRows builds the report and keeps its rows by conveyor and splice.
func (s *Site) keyedRows(r *Request, e reports.Entry, in reports.Inputs, day assets.Day) (*keyed, error) {
	k := &keyed{of: map[string]keyedRow{}}
	err := s.Reporting.ReadReport(r.Context(), assets.PlantScope(r.PlantID()), in.Known.At, func(source reports.Source) error {
		in.Source = source
		report, err := e.Build(r.Context(), in, day)
		if err != nil {
			return err
		}
		k.columns = report.Columns
		conveyor, splice, named := columnOf(report.Columns, "conveyor"), columnOf(report.Columns, "splice"), report.Keys()
		apart := report.Apart()
		for row, err := range report.Rows(r.Context()) {
			if err != nil {
				return fmt.Errorf("read report %s: %w", report.Slug, err)
			}
			one := keyedRow{cells: slices.Clone(row), apart: apart(row)}
			if conveyor >= 0 {
				one.conveyor = row[conveyor].Plain()
			}
			if splice >= 0 {
				one.splice = row[splice].Plain()
			}
			first := named(row)
			key := first
			for n := 2; k.of[key].cells != nil; n++ { // several of one mark: the second, the third
				key = fmt.Sprintf("%s\x00%d", first, n)
			}
			k.of[key], k.order = one, append(k.order, key)
		}
		return nil
	})
	return k, err
}

func columnOf(columns []reports.Column, key string) int {
	return slices.IndexFunc(columns, func(c reports.Column) bool { return c.Key == key })
}

// compareSince lists the rows that differ, in the order of the report.
func compareSince(then, now *keyed) *sincePart {
	p := &sincePart{}
	for _, key := range then.order {
		was := then.of[key]
		is, there := now.of[key]
		row := sinceRow{Thing: thingWords(was.conveyor, was.splice)}
		if !there {
			row.Only = onlyWords("not there as known now", was.apart)
		}
		for i, c := range then.columns {
			if there && was.cells[i].Plain() != is.cells[i].Plain() {
				row.Cells = append(row.Cells, sinceCell{c.Title(), orNothing(was.cells[i].Shown()), orNothing(is.cells[i].Shown())})
			}
		}
		if there && len(row.Cells) == 0 {
			p.Same++
			continue
		}
		p.Rows = append(p.Rows, row)
	}
	for _, key := range now.order {
		if _, was := then.of[key]; !was {
			p.Rows = append(p.Rows, sinceRow{Thing: thingWords(now.of[key].conveyor, now.of[key].splice), Only: onlyWords("not known then", now.of[key].apart)})
		}
	}
	return p
}

// onlyWords says in which of the two a row is, and which row of its thing.
func onlyWords(says, apart string) string {
	if apart == "" {
		return says
	}
	return says + ": " + apart
}

// mostSinceRows is how many rows that would say something else today the page shows; the files have all.
const mostSinceRows = 200

// shorten leaves what is too much for a page to the files.
func (p *sincePart) shorten() {
	if p.More = len(p.Rows) - mostSinceRows; p.More > 0 {
		p.Rows = p.Rows[:mostSinceRows]
	}
}

// Differ is how many rows would say something else today.
func (p *sincePart) Differ() int { return len(p.Rows) + max(p.More, 0) }

func thingWords(conveyor, splice string) string { return strings.TrimSpace(conveyor + " " + splice) }

func orNothing(shown string) string {
	if shown == "" {
		return "nothing"
	}
	return shown
}

// explain puts entries beside the rows they touched; those of no row that differs stand apart.
func (p *sincePart) explain(f Format, lines []JournalLine) {
	for _, l := range lines {
		shown := lineShown(f, l)
		used := false
		for i := range p.Rows {
			why := sinceWhy{When: shown.When, Who: shown.Who, What: l.Action, Why: l.Reason}
			for k, row := range l.Rows {
				if row.Tag == "" || !touches(p.Rows[i].Thing, row) {
					continue
				}
				why.Fields = append(why.Fields, shown.Rows[k].Fields...)
			}
			if len(why.Fields) > 0 {
				used = true
				p.Rows[i].Why = append(p.Rows[i].Why, why)
			}
		}
		if !used && rulesOf(l) {
			p.Elsewhere = append(p.Elsewhere, sinceWhy{When: shown.When, Who: shown.Who, What: l.Action, Why: l.Reason})
		}
	}
}

// touches tells whether a row of the journal is of a thing of the report: the conveyor and everything on it, or one splice.
func touches(thing string, row JournalRow) bool {
	conveyor, splice, _ := strings.Cut(thing, " ")
	return row.Tag == conveyor && (row.Splice == "" || "S"+row.Splice == splice || row.Splice == splice)
}

// rulesOf tells whether an entry changed what ages are judged by.
func rulesOf(l JournalLine) bool {
	return slices.ContainsFunc(l.Rows, func(row JournalRow) bool {
		return row.Table == "rules" || row.Table == "specifications" || row.Table == "splice_kinds"
	})
}
