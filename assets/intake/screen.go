package intake

import "sort"

// HeadingRead is one column of a table as the import screen shows it: what it is called, what it is read as, and what was
// found in it.
type HeadingRead struct {
	Table   int    // index into Mapping.Tables
	Sheet   string // "" for a CSV
	Column  string // letters
	Heading string // as written, rows joined
	Field   string // "" passed over
	Words   string // the field in words
	Unit    string // "" none
	First   string // the first value below it
	Filled  int    // cells with content
	Blank   int    // rows with content and none here
	LeftOut int    // values not understood and left out
	Refused int    // values for which their row or cell was refused
}

// Headings lists the columns of the tables that were read, in the order of Mapping.Tables, for a screen on which a person
// corrects what each is read as.
func (o *Outcome) Headings() []HeadingRead {
	var out []HeadingRead
	n := 0
	for _, t := range o.tables {
		if len(t.records) == 0 && !t.mapped {
			continue
		}
		out = append(out, o.headingsOf(t, n)...)
		n++
	}
	return out
}

func (o *Outcome) headingsOf(t *table, n int) []HeadingRead {
	at := map[string]int{}
	out := make([]HeadingRead, len(t.columns))
	for i, c := range t.columns {
		h := HeadingRead{Table: n, Sheet: t.sheet.Name, Column: columnName(c.col), Heading: c.from.text}
		if h.Heading == "" && len(t.headerIdx) > 0 {
			h.Heading = o.book.shown(t.sheet.Rows[t.headerIdx[len(t.headerIdx)-1]].at(c.col))
		}
		if c.f != nil {
			h.Field, h.Words = c.f.name, c.f.words
			if c.unit != nil {
				h.Unit = c.unit.name
			}
			if !c.dated {
				at[c.f.name] = i
			}
		}
		out[i] = h
	}
	for i := t.bodyFrom; i < t.bodyTo; i++ {
		row := &t.sheet.Rows[i]
		for k, c := range t.columns {
			cell := row.at(c.col)
			if cell.Kind == Blank {
				out[k].Blank++
				continue
			}
			if out[k].Filled++; out[k].First == "" {
				out[k].First = cutTo(o.book.shown(cell), 60)
			}
		}
	}
	o.countFaults(t, out, at)
	return out
}

// countFaults counts the values of a table that were left out or refused.
func (o *Outcome) countFaults(t *table, out []HeadingRead, at map[string]int) {
	rows := map[int]bool{}
	for i := t.bodyFrom; i < t.bodyTo; i++ {
		rows[t.sheet.Rows[i].Number] = true
	}
	for i := range o.Refused {
		r := &o.Refused[i]
		if r.entry == nil || r.entry.t != t {
			continue
		}
		for k := range out {
			if out[k].Column == r.Column {
				out[k].Refused++
			}
		}
	}
	for _, r := range o.Records {
		if r.Sheet != t.sheet.Name || !rows[r.Row] {
			continue
		}
		for _, m := range r.Remarks {
			if k, ok := at[m.Field]; ok && m.Class == "not_read" {
				out[k].LeftOut++
			}
		}
	}
}

// UnitNames lists the units that a column of a field can be given, nil for a field without.
func UnitNames(fieldName string) []string {
	f := fieldNamed[fieldName]
	if f == nil || !f.takesUnit() {
		return nil
	}
	seen := map[string]bool{}
	var out []string
	for _, u := range unitSpellings {
		if (f.dim == noDimension || u.dim == f.dim) && !seen[u.name] {
			seen[u.name] = true
			out = append(out, u.name)
		}
	}
	sort.Strings(out)
	return out
}
