package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"sort"
	"strings"
)

// Mapping says which column is which field. The guess of an import has this form too: complete, so that it can be saved,
// corrected and given back with the same result.
type Mapping struct {
	Format       int            `json:"format"`
	Plant        *PlantSource   `json:"plant,omitempty"`
	DateOrder    string         `json:"date_order,omitempty"`
	Decimal      string         `json:"decimal,omitempty"`
	Separator    string         `json:"separator,omitempty"`
	Encoding     string         `json:"encoding,omitempty"`
	Tables       []TableMapping `json:"tables"`
	IgnoreSheets []string       `json:"ignore_sheets,omitempty"`
}

// PlantSource says where the plant of rows without a plant column stands; exactly one of its parts is given.
type PlantSource struct {
	Value string `json:"value,omitempty"`
	Cell  string `json:"cell,omitempty"` // on each table's sheet
	From  string `json:"from,omitempty"` // "sheet_name"
}

// TableMapping is one table of a sheet.
type TableMapping struct {
	Sheet      string                   `json:"sheet"`
	Records    []Kind                   `json:"records,omitempty"`
	HeaderRows []int                    `json:"header_rows,omitempty"`
	FirstRow   int                      `json:"first_row,omitempty"`
	LastRow    int                      `json:"last_row,omitempty"`
	Columns    map[string]ColumnMapping `json:"columns"`
}

// ColumnMapping says what a column ("D") or a run of columns ("C:N") is read as.
type ColumnMapping struct {
	Field   string            `json:"field,omitempty"`
	Unit    string            `json:"unit,omitempty"`
	Values  map[string]string `json:"values,omitempty"`
	TakenOn string            `json:"taken_on,omitempty"` // "heading": the heading is the date of the readings
	Ignore  bool              `json:"ignore,omitempty"`
}

// MappingError tells what is wrong with a mapping: wrong usage, for the person who wrote it.
type MappingError struct{ Text string }

// Error returns the sentence.
func (e *MappingError) Error() string { return e.Text }

func badMapping(format string, args ...any) error {
	return &MappingError{fmt.Sprintf(format, args...)}
}

// ParseMapping reads a mapping file. Every key, field, unit and column in it must exist; the error is a MappingError that
// names what does not.
func ParseMapping(name string, data []byte) (*Mapping, error) {
	d := json.NewDecoder(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))))
	d.DisallowUnknownFields()
	var m Mapping
	if err := d.Decode(&m); err != nil {
		return nil, badMapping("%s %s", name, jsonFault(err))
	}
	if d.More() {
		return nil, badMapping("%s holds more than one JSON object; keep one", name)
	}
	if m.Format != 1 {
		return nil, badMapping("%s has \"format\": %d; this program reads format 1", name, m.Format)
	}
	if err := m.check(); err != nil {
		return nil, badMapping("%s: %s", name, err)
	}
	return &m, nil
}

var unknownKey = regexp.MustCompile(`unknown field "(.*)"`)

// jsonFault says in plain words why a mapping is no JSON, or which key it should not have.
func jsonFault(err error) string {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	if m := unknownKey.FindStringSubmatch(err.Error()); m != nil {
		return fmt.Sprintf("has the key %q, which a mapping does not know; correct or remove it", m[1])
	}
	switch {
	case errors.As(err, &kind):
		return fmt.Sprintf("has a %s where %q wants something else; compare with a mapping that this program printed", kind.Value, kind.Field)
	case errors.As(err, &syntax):
		return fmt.Sprintf("is not JSON: it cannot be read behind character %d; save the mapping that this program printed and change that", syntax.Offset)
	}
	return "is not whole JSON: it ends too early; save the mapping that this program printed and change that"
}

// check tests what the keys hold.
func (m *Mapping) check() error {
	if m.DateOrder != "" && !ValidDateOrder(m.DateOrder) {
		return fmt.Errorf("the date order %q does not exist; write dmy, mdy or ymd", m.DateOrder)
	}
	if m.Decimal != "" && m.Decimal != "," && m.Decimal != "." {
		return fmt.Errorf("the decimal sign %q does not exist; write \",\" or \".\"", m.Decimal)
	}
	if len(m.Separator) > 1 || (m.Separator != "" && strings.Contains("\"\r\n", m.Separator)) {
		return fmt.Errorf("the separator %q cannot separate columns; write one sign such as \";\"", m.Separator)
	}
	if _, ok := encodings[strings.ToLower(m.Encoding)]; m.Encoding != "" && !ok {
		return fmt.Errorf("the encoding %q does not exist; write utf-8, windows-1252 or utf-16", m.Encoding)
	}
	if err := m.Plant.check(); err != nil {
		return err
	}
	for i := range m.Tables {
		if err := m.Tables[i].check(); err != nil {
			return fmt.Errorf("table %d: %w", i+1, err)
		}
	}
	return nil
}

var cellName = regexp.MustCompile(`^([A-Za-z]{1,3})([1-9]\d{0,6})$`)

func (p *PlantSource) check() error {
	if p == nil {
		return nil
	}
	given := 0
	for _, s := range []string{p.Value, p.Cell, p.From} {
		if s != "" {
			given++
		}
	}
	switch {
	case given != 1:
		return errors.New("\"plant\" wants exactly one of value, cell or from")
	case p.From != "" && p.From != "sheet_name":
		return fmt.Errorf("the plant cannot come from %q; write sheet_name", p.From)
	case p.Cell != "" && !cellName.MatchString(p.Cell):
		return fmt.Errorf("%q is no cell; write one such as B2", p.Cell)
	}
	return nil
}

func (t *TableMapping) check() error {
	for _, k := range t.Records {
		if k.rank() == len(Kinds) {
			return fmt.Errorf("the record %q does not exist; there are %s", k, kindList())
		}
	}
	for _, r := range t.HeaderRows {
		if r < 1 {
			return fmt.Errorf("the header row %d does not exist; rows are counted from 1", r)
		}
	}
	if t.FirstRow < 0 || t.LastRow < 0 || (t.LastRow > 0 && t.LastRow < t.FirstRow) {
		return fmt.Errorf("the rows %d to %d do not exist", t.FirstRow, t.LastRow)
	}
	names := make([]string, 0, len(t.Columns))
	for name := range t.Columns {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		if _, _, err := columnRange(name); err != nil {
			return err
		}
		c := t.Columns[name]
		if err := c.check(name); err != nil {
			return err
		}
	}
	return nil
}

func kindList() string {
	s := make([]string, len(Kinds))
	for i, k := range Kinds {
		s[i] = string(k)
	}
	return strings.Join(s, ", ")
}

// columnRange reads "D" or "C:N".
func columnRange(name string) (from, to int, err error) {
	a, b, run := strings.Cut(name, ":")
	if !run {
		b = a
	}
	from, to = columnNumber(a), columnNumber(b)
	if from < 1 || to < from || to > 1<<14 {
		return 0, 0, fmt.Errorf("the column %q does not exist; write letters such as D or C:N", name)
	}
	return from, to, nil
}

func (c *ColumnMapping) check(name string) error {
	if c.Ignore && c.Field == "" {
		return nil
	}
	f := fieldNamed[c.Field]
	if f == nil {
		return fmt.Errorf("column %s has the field %q, which does not exist; see the list of fields in README", name, c.Field)
	}
	if c.Unit != "" {
		u := findUnit(c.Unit)
		if u == nil {
			return fmt.Errorf("column %s has the unit %q, which does not exist; use mm, cm, m, in, ft, m/s, m/min, ft/min, N/mm, kN/m, PIW, deg or h", name, c.Unit)
		}
		if !f.takesUnit() || (f.dim != noDimension && f.dim != u.dim) {
			return fmt.Errorf("column %s has the unit %q, which the field %s cannot have", name, c.Unit, f.name)
		}
	}
	if c.TakenOn != "" && (f.name != "meter_reading" || c.TakenOn != "heading") {
		return fmt.Errorf("column %s has \"taken_on\": %q; write \"heading\" beside the field meter_reading", name, c.TakenOn)
	}
	return nil
}

// mapped makes the tables that a mapping tells.
func (g *guesser) mapped(m *Mapping) ([]*table, error) {
	var out []*table
	for i := range m.Tables {
		tm := &m.Tables[i]
		s := g.sheetNamed(tm.Sheet)
		if s == nil {
			return nil, badMapping("the mapping names the sheet %q, which the file does not have; its sheets are %s", tm.Sheet, g.sheetList())
		}
		t, err := g.mappedTable(s, tm, m.firstHeading(tm.Sheet))
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

// firstHeading is the first heading row that a mapping names on a sheet; 0 for none.
func (m *Mapping) firstHeading(sheet string) int {
	first := 0
	for i := range m.Tables {
		for _, n := range m.Tables[i].HeaderRows {
			if m.Tables[i].Sheet == sheet && (first == 0 || n < first) {
				first = n
			}
		}
	}
	return first
}

func (g *guesser) sheetNamed(name string) *Sheet {
	if g.book.CSV {
		return g.book.Sheets[0]
	}
	for _, s := range g.book.Sheets {
		if sameText(s.Name, name) {
			return s
		}
	}
	return nil
}

func (g *guesser) sheetList() string {
	names := []string{}
	for _, s := range g.book.Sheets {
		names = append(names, s.Name)
	}
	list := strings.Join(names, ", ")
	if len(list) > 120 {
		list = list[:120] + "…"
	}
	return list
}

// mappedTable makes one table of a mapping.
func (g *guesser) mappedTable(s *Sheet, tm *TableMapping, firstHeading int) (*table, error) {
	t := &table{sheet: s, first: 1 << 20, unitIdx: -1, bodyTo: len(s.Rows), mapped: true, byField: map[string]*column{}}
	given, err := t.spread(tm, s.width())
	if err != nil {
		return nil, err
	}
	t.placeRows(tm)
	for t.above < len(s.Rows) && s.Rows[t.above].Number < firstHeading {
		t.above++
	}
	heads := g.headings(s, columnSpan{t.first, t.last}, t.headerIdx, t.unitIdx)
	t.lang = mainLanguage(heads)
	for col := t.first; col <= t.last; col++ {
		c := &column{col: col, from: heads[col], order: heads[col].order}
		t.columns = append(t.columns, c)
		if cm, ok := given[col]; ok && cm.Field != "" {
			t.mapColumn(c, cm)
		}
	}
	order := t.headingOrder(g.order)
	for _, c := range t.columns {
		if c.dated {
			if c.when = c.from.date; !c.from.dated {
				return nil, badMapping("column %s of sheet %q takes the date from its heading, but %s is no date", columnName(c.col), s.Name, quoted(c.from.text))
			}
			if c.when.twoWays {
				c.when = chosen(c.when.dmy, c.when.mdy, order)
			}
		}
	}
	g.readTitles(t)
	t.tellUnits(unitNotes(t.titles))
	t.decide()
	t.takeRecords(tm.Records)
	return t, nil
}

// spread sets out runs of columns and finds the first and last.
func (t *table) spread(tm *TableMapping, width int) (map[int]ColumnMapping, error) {
	given := map[int]ColumnMapping{}
	for name, cm := range tm.Columns {
		from, to, err := columnRange(name)
		if err != nil {
			return nil, badMapping("%s", err)
		}
		if from > width && !cm.Ignore {
			return nil, badMapping("the mapping names the column %q, which the sheet %q does not have; its last one is %s", name, tm.Sheet, columnName(width))
		}
		for col := from; col <= min(to, width); col++ {
			given[col] = cm
			t.first, t.last = min(t.first, col), max(t.last, col)
		}
	}
	if len(given) == 0 {
		return nil, badMapping("the mapping gives no column for the sheet %q", tm.Sheet)
	}
	return given, nil
}

// width is the last column with content.
func (s *Sheet) width() int {
	w := 0
	for i := range s.Rows {
		if n := len(s.Rows[i].Cells); n > 0 {
			w = max(w, int(s.Rows[i].Cells[n-1].Col))
		}
	}
	return w
}

// placeRows turns row numbers into places in the sheet's rows.
func (t *table) placeRows(tm *TableMapping) {
	first := tm.FirstRow
	head := map[int]bool{}
	for _, n := range tm.HeaderRows {
		head[n] = true
		if tm.FirstRow == 0 {
			first = max(first, n+1)
		}
	}
	t.bodyFrom = len(t.sheet.Rows)
	for i := range t.sheet.Rows {
		n := t.sheet.Rows[i].Number
		if head[n] {
			t.headerIdx = append(t.headerIdx, i)
		}
		if n >= first && i < t.bodyFrom && !head[n] {
			t.bodyFrom = i
		}
		if tm.LastRow > 0 && n > tm.LastRow {
			t.bodyTo = min(t.bodyTo, i)
		}
	}
	if len(t.headerIdx) > 0 {
		if at := t.headerIdx[len(t.headerIdx)-1] + 1; at < len(t.sheet.Rows) && at <= t.bodyFrom && isUnitRow(cellsIn(&t.sheet.Rows[at], t.first, t.last)) {
			t.unitIdx = at
			t.bodyFrom = max(t.bodyFrom, at+1)
		}
	}
	t.bodyTo = max(t.bodyTo, t.bodyFrom)
}

// mapColumn sets what a column is read as.
func (t *table) mapColumn(c *column, cm ColumnMapping) {
	c.f = fieldNamed[cm.Field]
	c.unit = findUnit(cm.Unit)
	if c.unit == nil && c.from.unit != nil && c.f.takesUnit() && (c.f.dim == noDimension || c.f.dim == c.from.unit.dim) {
		c.unit = c.from.unit
	}
	c.dated = cm.TakenOn == "heading"
	if len(cm.Values) > 0 {
		c.values = map[string]string{}
		for from, to := range cm.Values {
			c.values[fold(from)] = to
			c.values[trimmed(from)] = to
		}
	}
	if !c.dated && t.byField[cm.Field] == nil {
		t.byField[cm.Field] = c
	} else if !c.dated {
		c.f = nil
	}
}

// takeRecords holds the table to the records a mapping names.
func (t *table) takeRecords(kinds []Kind) {
	if len(kinds) == 0 {
		return
	}
	possible := map[Kind]bool{
		KindConveyor: t.byField["conveyor"] != nil,
		KindBelt:     t.hasAny("width", "loop_length", "specification"),
		KindSplice:   t.records[KindSplice],
		KindReading:  t.records[KindReading],
		KindFinding:  t.records[KindFinding],
	}
	t.records = map[Kind]bool{}
	for _, k := range kinds {
		if possible[k] {
			t.records[k] = true
		}
	}
	t.creates = t.records[KindConveyor] || t.records[KindBelt]
}

// mapping writes the tables down as a mapping.
func (j *judge) mapping() *Mapping {
	m := &Mapping{Format: 1, DateOrder: j.opt.DateOrder, Tables: []TableMapping{}, Separator: j.book.Separator, Encoding: j.book.Encoding}
	if j.opt.Mapping != nil {
		told := *j.opt.Mapping
		m.Plant, m.IgnoreSheets, m.Decimal = told.Plant, told.IgnoreSheets, told.Decimal
		if m.DateOrder == "" {
			m.DateOrder = told.DateOrder
		}
	}
	if m.Plant == nil {
		m.Plant = j.plantSource()
	}
	for _, t := range j.tables {
		if len(t.records) == 0 && !t.mapped {
			continue
		}
		m.Tables = append(m.Tables, t.mapping())
	}
	if j.opt.Mapping == nil {
		m.IgnoreSheets = j.sheetsWithout()
	}
	return m
}

// plantSource says where the plants came from, as far as a mapping can.
func (j *judge) plantSource() *PlantSource {
	if j.sheetPlants {
		return &PlantSource{From: "sheet_name"}
	}
	for _, t := range j.tables {
		if t.plantTitle != "" && len(t.records) > 0 && j.opt.Plant == "" {
			return &PlantSource{Value: t.plantTitle}
		}
	}
	if j.opt.Plant != "" {
		return &PlantSource{Value: j.opt.Plant}
	}
	return nil
}

// sheetsWithout lists the sheets that no table is read from.
func (j *judge) sheetsWithout() []string {
	used := map[*Sheet]bool{}
	for _, t := range j.tables {
		used[t.sheet] = used[t.sheet] || len(t.records) > 0
	}
	var names []string
	for _, s := range j.book.Sheets {
		if !used[s] && !j.book.CSV {
			names = append(names, s.Name)
		}
	}
	return names
}

// mapping writes one table down.
func (t *table) mapping() TableMapping {
	tm := TableMapping{Sheet: t.sheet.Name, Columns: map[string]ColumnMapping{}}
	for _, k := range Kinds {
		if t.records[k] {
			tm.Records = append(tm.Records, k)
		}
	}
	for _, i := range t.headerIdx {
		tm.HeaderRows = append(tm.HeaderRows, t.sheet.Rows[i].Number)
	}
	if t.bodyFrom < t.bodyTo {
		tm.FirstRow, tm.LastRow = t.sheet.Rows[t.bodyFrom].Number, t.sheet.Rows[t.bodyTo-1].Number
	}
	for _, c := range t.columns {
		cm := ColumnMapping{Ignore: c.f == nil}
		if c.f != nil {
			cm.Field = c.f.name
			if c.unit != nil {
				cm.Unit = c.unit.name
			}
			if c.dated {
				cm.TakenOn = "heading"
			}
			if c.values != nil {
				cm.Values = map[string]string{}
				for from, to := range c.values {
					cm.Values[from] = to
				}
			}
		}
		tm.Columns[columnName(c.col)] = cm
	}
	return tm
}

// ForNext returns the mapping as it is kept for the next list like this one: the last table of each sheet runs to the
// sheet's end, since the next list has more rows.
func (m *Mapping) ForNext() *Mapping {
	next := *m
	next.Tables = append([]TableMapping(nil), m.Tables...)
	last := map[string]int{}
	for i, t := range next.Tables {
		if j, ok := last[t.Sheet]; !ok || t.FirstRow > next.Tables[j].FirstRow {
			last[t.Sheet] = i
		}
	}
	for _, i := range last {
		next.Tables[i].LastRow = 0
	}
	return &next
}

// Words says in a line how a table's headings were read.
func (t *TableMapping) Words() string {
	cols := make([]string, 0, len(t.Columns))
	for c := range t.Columns {
		cols = append(cols, c)
	}
	sort.Slice(cols, func(i, j int) bool {
		return len(cols[i]) < len(cols[j]) || len(cols[i]) == len(cols[j]) && cols[i] < cols[j]
	})
	var parts []string
	for _, c := range cols {
		m := t.Columns[c]
		switch {
		case m.Field == "":
			continue
		case m.Unit != "":
			parts = append(parts, fmt.Sprintf("%s %s in %s", c, FieldWords(m.Field), m.Unit))
		default:
			parts = append(parts, c+" "+FieldWords(m.Field))
		}
	}
	where := "rows"
	if t.Sheet != "" {
		where = "sheet " + quoted(t.Sheet)
	}
	return where + " from " + fmt.Sprint(t.FirstRow) + ": " + strings.Join(parts, ", ")
}
