package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/unit"
)

// This file turns the outcome of a trial into what its page shows, and what a person says of the headings
// into a mapping.

// mapping lists the headings with what each is read as.
func (p *trialPage) mapping(seen seenTrial) {
	f := p.Form
	fields := []Option{{Label: "leave out"}}
	for _, name := range intake.FieldNames() {
		fields = append(fields, Option{Value: name, Label: Capital(intake.FieldWords(name))})
	}
	last := -1
	for _, h := range seen.Out.Headings() {
		if h.Table != last {
			head := ""
			if h.Sheet != "" {
				head = "Sheet " + h.Sheet
			}
			p.Tables, last = append(p.Tables, trialTable{Head: head}), h.Table
		}
		c := trialColumn{Heading: headingWords(h), First: h.First, Found: foundWords(h)}
		if !p.Written {
			c.Field = f.Select(mapName("m", h), "Read "+c.Heading+" as", h.Field, fields)
			if units := intake.UnitNames(h.Field); len(units) > 0 {
				c.Unit = f.Select(mapName("u", h), "Unit of "+c.Heading, h.Unit, unitOptions(units))
			}
		} else {
			c.Field = &Field{Kind: "words", Value: pick(h.Field == "", "left out", Capital(h.Words)), Name: mapName("m", h)}
		}
		t := &p.Tables[len(p.Tables)-1]
		t.Columns = append(t.Columns, c)
	}
	if p.Written {
		return
	}
	f.Select("date_order", "Dates like 03/04/2025", seen.Opt.DateOrder, dateOrders)
	f.Radio("same_record", "A date that differs from the records is", seen.Opt.SameRecord, []Option{{Label: "asked about, row by row"}, {Value: "correct", Label: "a correction of the same one"}, {Value: "new", Label: "a new splice or belt"}})
}

func mapName(what string, h intake.HeadingRead) string {
	return fmt.Sprintf("%s%d_%s", what, h.Table, h.Column)
}

func unitOptions(units []string) []Option {
	out := []Option{{Label: "as the list tells"}}
	for _, u := range units {
		out = append(out, Option{Value: u, Label: u})
	}
	return out
}

func headingWords(h intake.HeadingRead) string {
	if h.Heading == "" {
		return "column " + h.Column
	}
	return h.Heading
}

// foundWords says what stands below a heading.
func foundWords(h intake.HeadingRead) string {
	parts := []string{Figure(h.Filled, "value", "values")}
	if h.Blank > 0 {
		parts = append(parts, Int(int64(h.Blank))+" blank")
	}
	if h.LeftOut > 0 {
		parts = append(parts, Int(int64(h.LeftOut))+" not understood, left out")
	}
	if h.Refused > 0 {
		parts = append(parts, Int(int64(h.Refused))+" refused")
	}
	return strings.Join(parts, ", ")
}

// results fills in counts, refused, held and changed rows.
func (p *trialPage) results(r *Request, seen seenTrial) {
	out := seen.Out
	made, changed, same := 0, 0, 0
	for _, k := range intake.Kinds {
		n := out.Counts[k]
		if n.Created+n.Changed+n.Unchanged == 0 {
			continue
		}
		made, changed, same = made+n.Created, changed+n.Changed, same+n.Unchanged
		p.Counts = append(p.Counts, trialCount{Capital(string(k)) + "s", Int(int64(n.Created)), Int(int64(n.Changed)), Int(int64(n.Unchanged))})
	}
	p.bar(made, changed, same, len(out.Held), len(out.Refused))
	p.RefHead = "Refused, " + Figure(len(out.Refused), "row", "rows")
	for i, x := range out.Refused {
		if i == mostTrialRows {
			p.MoreRef = len(out.Refused) - i
			break
		}
		p.Refused = append(p.Refused, refusedLine{Where: placeWords(x.Sheet, x.Row, x.Column), Says: listFieldWords(x.Field), Cell: pick(x.Value == "", "(blank)", x.Value), Why: x.Text})
	}
	p.Held = out.Held
	if n := len(p.Held) - mostTrialRows; n > 0 {
		p.Held, p.MoreHeld = p.Held[:mostTrialRows], n
	}
	seenRemark := map[string]bool{}
	for _, rec := range out.Records {
		for _, m := range rec.Remarks {
			if len(p.Remarks) < 40 && !seenRemark[m.Text] {
				seenRemark[m.Text] = true
				p.Remarks = append(p.Remarks, m.Text)
			}
		}
		if rec.Action != "changed" {
			continue
		}
		for _, c := range rec.Changes {
			if len(p.Changed) == mostTrialRows {
				p.MoreChg++
				continue
			}
			p.Changed = append(p.Changed, changedLine{What: recordWords(rec), Field: listFieldWords(c.Field), Before: r.F.listValue(c.Field, c.Before), After: r.F.listValue(c.Field, c.After)})
		}
	}
}

func placeWords(sheet string, row int, column string) string {
	where := "row " + strconv.Itoa(row)
	if column != "" {
		where = column + strconv.Itoa(row)
	}
	if sheet != "" {
		where = sheet + ", " + where
	}
	return where
}

// listFieldWords says what a field of a record is in words; the units behind its key are left out.
func listFieldWords(key string) string {
	name := key
	for _, end := range []string{"_m", "_deg", "_h", "_m_per_s", "_n_per_m"} {
		if cut, ok := strings.CutSuffix(key, end); ok && intake.FieldWords(cut) != "" {
			name = cut
		}
	}
	if words := intake.FieldWords(name); words != "" {
		return words
	}
	return strings.ReplaceAll(name, "_", " ")
}

// recordWords names a record: "Q3 splice 2".
func recordWords(rec *intake.Record) string {
	name := strings.TrimSpace(rec.Conveyor + " " + string(rec.Kind))
	if rec.Kind == intake.KindConveyor && rec.Conveyor != "" {
		name = rec.Conveyor
	}
	for _, f := range rec.Fields {
		if f.Name == "splice_number" {
			name += " " + fmt.Sprint(f.Value)
		}
	}
	if rec.Conveyor == "" && rec.Line != "" {
		name += " " + rec.Line
	}
	return name
}

// listUnits are the fields of a list that have a unit.
var listUnits = map[string]unit.Field{
	"speed_m_per_s": unit.BeltSpeed, "centre_distance_m": unit.Distance, "take_up_travel_m": unit.Travel, "width_m": unit.Width, "loop_length_m": unit.LoopLength,
	"thickness_m": unit.Thickness, "working_tension_n_per_m": unit.BeltTension, "splice_position_m": unit.Distance, "finger_pitch_m": unit.Finger,
	"finger_length_m": unit.Finger, "step_length_m": unit.Step, "incline_deg": unit.Slope, "bias_angle_deg": unit.Slope, "meter_reading_h": unit.RunningHours, "meter_start_h": unit.RunningHours,
}

// listValue writes a value of a list or of the register in the plant's units.
func (f Format) listValue(field string, v any) string {
	switch x := v.(type) {
	case nil:
		return "not known"
	case string:
		return orNotKnown(x)
	case bool:
		return pick(x, "yes", "no")
	case float64:
		if u, ok := listUnits[field]; ok {
			return u.Show(x, f.Units)
		}
		return Short(x, 4)
	case int:
		return Int(int64(x))
	case intake.WhenJSON:
		return f.whenJSON(x)
	case *intake.WhenJSON:
		if x == nil {
			return "not known"
		}
		return f.whenJSON(*x)
	case assets.Day:
		return f.PlainDay(x)
	}
	return fmt.Sprint(v)
}

func (f Format) whenJSON(w intake.WhenJSON) string {
	switch {
	case w.AsWritten != "":
		return w.AsWritten
	case w.Earliest != nil && w.Latest != nil && *w.Earliest == *w.Latest:
		return f.PlainDay(*w.Earliest)
	case w.Earliest != nil && w.Latest != nil:
		return f.PlainDay(*w.Earliest) + " to " + f.PlainDay(*w.Latest)
	case w.Latest != nil:
		return "by " + f.PlainDay(*w.Latest)
	case w.Earliest != nil:
		return "not before " + f.PlainDay(*w.Earliest)
	}
	return "not known"
}

// remapped turns what a person chose beside the headings into the options of the next trial. Columns that
// were left as they were keep all the guess knows of them.
func (seen seenTrial) remapped(posted url.Values) (intake.Options, error) {
	opt := seen.Opt
	opt.DateOrder, opt.SameRecord = posted.Get("date_order"), posted.Get("same_record")
	if opt.DateOrder != "" && !intake.ValidDateOrder(opt.DateOrder) {
		return opt, assets.Invalid{"date_order": "choose the order of dates from the list"}
	}
	if !slices.Contains([]string{"", "correct", "new"}, opt.SameRecord) {
		return opt, assets.Invalid{"same_record": "choose what a date that differs is"}
	}
	m, touched := copyMapping(seen.Out.Mapping), false
	for _, h := range seen.Out.Headings() {
		field, unitName := posted.Get(mapName("m", h)), posted.Get(mapName("u", h))
		if field == h.Field && (unitName == h.Unit || unitName == "") || h.Table >= len(m.Tables) {
			continue
		}
		if field != "" && intake.FieldWords(field) == "" {
			return opt, assets.Invalid{mapName("m", h): "choose from the list what this column is"}
		}
		touched = true
		m.Tables[h.Table].set(h.Column, field, unitName)
	}
	if touched || seen.Opt.Mapping != nil {
		opt.Mapping = m.Mapping
		opt.Mapping.DateOrder = opt.DateOrder
	}
	return opt, nil
}

// mappingCopy is a mapping that may be changed while its original is shown.
type mappingCopy struct {
	*intake.Mapping
	Tables []*tableCopy
}

type tableCopy struct{ *intake.TableMapping }

func copyMapping(from *intake.Mapping) mappingCopy {
	m := *from
	m.Tables = slices.Clone(from.Tables)
	c := mappingCopy{Mapping: &m}
	for i := range m.Tables {
		columns := map[string]intake.ColumnMapping{}
		for name, col := range m.Tables[i].Columns {
			for _, single := range columnsOf(name) {
				columns[single] = col
			}
		}
		m.Tables[i].Columns = columns
		c.Tables = append(c.Tables, &tableCopy{&m.Tables[i]})
	}
	return c
}

// set says what a column is read as; the kinds of record then follow from the columns.
func (t *tableCopy) set(column, field, unitName string) {
	t.Records = nil
	if field == "" {
		t.Columns[column] = intake.ColumnMapping{Ignore: true}
		return
	}
	next := intake.ColumnMapping{Field: field}
	if old := t.Columns[column]; old.Field == field {
		next = old
	}
	next.Ignore = false
	if slices.Contains(intake.UnitNames(field), unitName) {
		next.Unit = unitName
	}
	t.Columns[column] = next
}

// columnsOf are the single columns of "D" or "C:N".
func columnsOf(name string) []string {
	from, to, run := strings.Cut(name, ":")
	if !run {
		return []string{from}
	}
	a, b := columnNumber(from), columnNumber(to)
	var out []string
	for n := a; n <= b && n-a < intake.MaxColumns; n++ {
		out = append(out, columnLetters(n))
	}
	return out
}

func columnNumber(letters string) int {
	n := 0
	for _, c := range strings.ToUpper(letters) {
		if c < 'A' || c > 'Z' || n > intake.MaxColumns*30 {
			return 0
		}
		n = n*26 + int(c-'A') + 1
	}
	return n
}

func columnLetters(n int) string {
	out := ""
	for ; n > 0; n = (n - 1) / 26 {
		out = string(rune('A'+(n-1)%26)) + out
	}
	return out
}
