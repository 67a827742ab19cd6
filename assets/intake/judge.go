package intake

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"carryside/assets"
)

// Options are what the person who imports tells.
type Options struct {
	Mapping    *Mapping
	Plant      string // for rows whose file names none
	DateOrder  string // dmy, mdy, ymd or ""
	Customer   string // of a created plant
	Zone       string // of a created plant, IANA name
	SameRecord string // correct, new or "": the answer to every same_or_new row
	DryRun     bool
	Now        time.Time
	Zoned      *time.Location // where Now's day is taken; nil: UTC

	// Progress, when set, is told how many rows of how many are done.
	Progress func(done, total int)
}

// judge holds an import while it is worked out.
type judge struct {
	ctx    context.Context
	book   *Book
	reg    Registry
	opt    Options
	out    *Outcome
	tables []*table
	r      *reader

	entries     []*entry
	plants      map[string]*plantState
	plantOrder  []*plantState
	settings    PlantSettings
	sheetPlants bool // sheets' names are plants
	refused     []Refusal
	records     []*Record
	readings    bool
	findings    bool
	total, done int
}

// ErrNoPlant tells that neither the file nor the options name a plant.
var ErrNoPlant = errors.New("the file names no plant: give --plant NAME")

// Judge works out what an import of the book would do. Nothing is written: Changes is what Registry.Apply is to write.
//
// The error is a MappingError for a mapping that does not fit the file, ErrNoPlant (with an Outcome that refuses every row),
// the context's error, or what the registry returned. Rows that cannot be taken are no error: they stand in the Outcome.
func Judge(ctx context.Context, book *Book, reg Registry, opt Options) (*Outcome, *Changes, error) {
	if opt.Zoned == nil {
		opt.Zoned = time.UTC
	}
	j := &judge{ctx: ctx, book: book, reg: reg, opt: opt, plants: map[string]*plantState{}}
	j.out = &Outcome{Format: 1, File: book.Name, SHA256: book.SHA256, DryRun: opt.DryRun, Counts: map[Kind]*Count{}, Refused: []Refusal{}, Held: []HeldRow{}, Skipped: []SkippedRow{}, Records: []*Record{}, book: book}
	for _, k := range Kinds {
		j.out.Counts[k] = &Count{}
	}
	for _, step := range []func() error{j.layOut, j.readRows, j.findPlants, j.judgeAll} {
		if err := step(); errors.Is(err, ErrNoPlant) {
			return j.withoutPlant(), &Changes{}, err
		} else if err != nil {
			return nil, nil, err
		}
	}
	changes := j.finish()
	return j.out, changes, nil
}

// withoutPlant is the outcome of a file for which nobody names a plant: every row is refused, and the guess of its headings
// stands.
func (j *judge) withoutPlant() *Outcome {
	for _, e := range j.entries {
		e.refuse(e.t.byField["plant"], faultNoKey, "", "names no plant; write its name in the row, or give --plant")
		j.close(e)
	}
	j.finish()
	return j.out
}

// layOut finds the tables, by the mapping or by guess.
func (j *judge) layOut() error {
	order := dateOrder(j.opt.DateOrder)
	if order == orderOpen && j.opt.Mapping != nil {
		order = dateOrder(j.opt.Mapping.DateOrder)
	}
	g := &guesser{book: j.book, known: map[string]heading{}, order: order}
	j.r = &reader{book: j.book, today: assets.DayOf(j.opt.Now.In(j.opt.Zoned)), told: order}
	if m := j.opt.Mapping; m != nil {
		tables, err := g.mapped(m)
		if err != nil {
			return err
		}
		j.tables = tables
		j.passUnmapped()
	} else {
		j.guessTables(g)
	}
	for i, t := range j.tables {
		t.order = i
	}
	j.tellPlants(g)
	return nil
}

// guessTables finds the tables of every sheet that is not hidden.
func (j *judge) guessTables(g *guesser) {
	for _, s := range j.book.Sheets {
		switch {
		case s.Hidden:
			j.skip(s, 0, skipHidden)
			continue
		case len(s.Rows) == 0:
			j.skip(s, 0, skipEmpty)
			continue
		}
		for _, t := range g.tables(s) {
			g.settle(t)
			j.tables = append(j.tables, t)
		}
	}
}

// passUnmapped lists the sheets that a mapping does not name.
func (j *judge) passUnmapped() {
	used := map[*Sheet]bool{}
	for _, t := range j.tables {
		used[t.sheet] = true
	}
	for _, s := range j.book.Sheets {
		switch {
		case used[s]:
		case s.Hidden:
			j.skip(s, 0, skipHidden)
		case len(s.Rows) == 0:
			j.skip(s, 0, skipEmpty)
		default:
			j.skip(s, 0, skipNothing)
		}
	}
}

// tellPlants decides which plant the rows of each table belong to where the row itself names none: a title, else the
// sheet's name where several sheets hold the same kind of table, else what the options or the mapping say.
func (j *judge) tellPlants(g *guesser) {
	told := j.opt.Plant
	var src *PlantSource
	if j.opt.Mapping != nil {
		src = j.opt.Mapping.Plant
	}
	if told == "" && src != nil {
		told = src.Value
	}
	titled := j.titledPlant()
	j.sheetPlants = (src != nil && src.From == "sheet_name") || (src == nil && (j.opt.Plant == "" || titled != "") && j.sameTables())
	for _, t := range j.tables {
		switch {
		case src != nil && src.Cell != "":
			t.plant = j.cellText(t.sheet, src.Cell)
		case t.plantTitle != "":
			t.plant = t.plantTitle
		case j.sheetPlants && t.byField["plant"] == nil && t.sheet.Name != "":
			t.plant = t.sheet.Name
		case titled != "" && titled != severalPlants && !j.sheetPlants:
			t.plant = titled
		default:
			t.plant = told
		}
	}
}

// severalPlants stands for titles that name more than one plant; no title can hold it.
const severalPlants = "\x00"

// titledPlant is the one plant that titles in the file name, severalPlants for more than one, "" for none.
func (j *judge) titledPlant() string {
	name := ""
	for _, t := range j.tables {
		switch {
		case t.plantTitle == "" || len(t.records) == 0:
		case name != "" && assets.NameKey(name) != assets.NameKey(t.plantTitle):
			return severalPlants
		default:
			name = t.plantTitle
		}
	}
	return name
}

func (j *judge) cellText(s *Sheet, name string) string {
	m := cellName.FindStringSubmatch(name)
	if m == nil {
		return ""
	}
	for i := range s.Rows {
		if fmt.Sprint(s.Rows[i].Number) == m[2] {
			text := j.book.shown(s.Rows[i].at(columnNumber(m[1])))
			if p := plantTitle.FindStringSubmatch(text); p != nil {
				text = p[1]
			}
			return kept(text)
		}
	}
	return ""
}

// sameTables tells whether two sheets or more hold the same kind of table without a column of plants.
func (j *judge) sameTables() bool {
	sheets := map[string]map[*Sheet]bool{}
	for _, t := range j.tables {
		if len(t.records) == 0 || t.byField["plant"] != nil || j.book.CSV {
			continue
		}
		kind := ""
		for _, k := range Kinds {
			if t.records[k] {
				kind += string(k) + " "
			}
		}
		if t.creates {
			kind = "list"
		}
		if sheets[kind] == nil {
			sheets[kind] = map[*Sheet]bool{}
		}
		sheets[kind][t.sheet] = true
	}
	for _, s := range sheets {
		if len(s) > 1 {
			return true
		}
	}
	return false
}

// readRows sorts the rows of every table, settles orders of dates and signs of decimals, and reads the cells.
func (j *judge) readRows() error {
	byTable := make([][]*entry, len(j.tables))
	for i, t := range j.tables {
		if len(t.records) == 0 {
			j.passTable(t)
			continue
		}
		j.readings = j.readings || t.records[KindReading]
		j.findings = j.findings || t.records[KindFinding]
		byTable[i] = j.walk(t)
		j.total += len(byTable[i])
	}
	j.settleDecimals(byTable)
	for i, t := range j.tables {
		rows := make([]*Row, len(byTable[i]))
		for k, e := range byTable[i] {
			rows[k] = e.row
		}
		for _, c := range t.columns {
			if c.f != nil && c.f.shape == shapeDate {
				j.r.settleOrder(t, c, rows)
			}
		}
		for _, e := range byTable[i] {
			if err := j.step(); err != nil {
				return err
			}
			e.at = len(j.entries)
			j.readEntry(e)
			j.entries = append(j.entries, e)
		}
	}
	return nil
}

// step tells the progress and stops when the import is called off.
func (j *judge) step() error {
	j.done++
	if j.done%1000 == 0 {
		if j.opt.Progress != nil {
			j.opt.Progress(min(j.done, 2*j.total)/2, j.total)
		}
		if err := j.ctx.Err(); err != nil {
			return fmt.Errorf("the import was called off: %w", err)
		}
	}
	return nil
}

// passTable lists a table that gives nothing: its rows, or where it stands beside another one entry for the whole.
func (j *judge) passTable(t *table) {
	if t.side || len(t.headerIdx) == 0 {
		at := 1
		if i := t.headAt(); i < len(t.sheet.Rows) {
			at = t.sheet.Rows[i].Number
		}
		j.out.Skipped = append(j.out.Skipped, SkippedRow{Sheet: t.sheet.Name, Row: at, Column: columnName(t.first), Class: skipNothing})
		return
	}
	for i := t.bodyFrom; i < t.bodyTo; i++ {
		if row := &t.sheet.Rows[i]; originals(cellsIn(row, t.first, t.last)) > 0 {
			j.skip(t.sheet, row.Number, skipNothing)
		}
	}
}

// settleDecimals finds which sign parts decimals: told, else shown by the column, else by the file.
func (j *judge) settleDecimals(byTable [][]*entry) {
	if m := j.opt.Mapping; m != nil {
		switch m.Decimal {
		case ",":
			j.r.fixed = decimalComma
		case ".":
			j.r.fixed = decimalPoint
		}
	}
	shown := map[*column]evidence{}
	for i, t := range j.tables {
		for _, c := range t.columns {
			if c.f == nil || !c.f.takesUnit() {
				continue
			}
			var e evidence
			for _, en := range byTable[i] {
				if cell := en.row.at(c.col); cell.Kind == Text && hasDigit(cell.Text) {
					e.add(cell.Text)
				}
			}
			shown[c] = e
			j.r.file.point += e.point
			j.r.file.comma += e.comma
		}
	}
	file := j.r.file.style()
	if file == decimalOpen && j.book.Separator == ";" {
		file = decimalWeak
	}
	for _, t := range j.tables {
		for _, c := range t.columns {
			c.style = j.r.fixed
			if c.style == decimalOpen {
				c.style = shown[c].style()
			}
			if c.style == decimalOpen {
				c.style = file
			}
			if c.style != decimalComma && c.style != decimalPoint && t.saysComma() {
				c.style = decimalComma
			}
		}
	}
}

// saysComma tells whether a title above the table says that commas part its decimals, as the workbook of refused rows
// does for rows that came from such a file.
func (t *table) saysComma() bool {
	for _, s := range t.titles {
		if fold(s) == fold(DecimalCommaTitle) {
			return true
		}
	}
	return false
}

// DecimalCommaTitle is the note above a table whose texts have decimal commas.
const DecimalCommaTitle = "Decimal comma"

// readEntry reads a row's cells.
func (j *judge) readEntry(e *entry) {
	if e.row.Hidden {
		e.remark("hidden_row", "", "the row is hidden in the file")
	}
	tag := e.t.byField["conveyor"]
	for _, c := range e.t.columns {
		if c.f == nil || c.dated || c.f.kind == KindPlant || c.f.kind == KindLine || !e.t.reads(c.f) {
			continue
		}
		cell := e.row.at(c.col)
		if c == tag {
			e.struck = j.book.style(cell).Struck
		}
		j.r.cell(e, c, cell)
	}
	if c := e.t.byField["plant"]; c != nil && e.row.at(c.col).Kind == Failed {
		e.refuse(c, faultErrorCell, j.book.shown(e.row.at(c.col)), why(faultErrorCell, c))
	}
	e.tag = e.get("conveyor").text
	if tag == nil {
		return
	}
	if assets.TagKey(e.tag) == "" && e.refusal == nil {
		e.refuse(tag, faultNoKey, j.book.shown(e.row.at(tag.col)), "names no conveyor; write its tag")
	}
	if e.struck && e.t.records[KindConveyor] {
		e.remark("struck_through", "conveyor", quoted(e.tag)+" is struck through: kept as a retired conveyor")
	}
	e.asRead = len(e.remarks)
}

// reads tells whether a table's column of a field matters: it belongs to a record the table gives, or tells something of
// the conveyor or belt the table refers to.
func (t *table) reads(f *field) bool {
	switch f.kind {
	case KindConveyor:
		return true
	case KindBelt:
		return t.records[KindBelt] || t.records[KindConveyor] || f.shape == shapeQuantity || f.shape == shapeText
	case "":
		return f.name == "remark" || t.records[KindSplice] || t.records[KindConveyor]
	}
	return t.records[f.kind]
}

// finish sorts and counts what was worked out.
func (j *judge) finish() *Changes {
	o := j.out
	sheetAt := map[string]int{}
	for i, s := range j.book.Sheets {
		sheetAt[s.Name] = i
	}
	o.Records = j.records
	sort.SliceStable(o.Records, func(a, b int) bool {
		x, y := o.Records[a], o.Records[b]
		if x.Sheet != y.Sheet {
			return sheetAt[x.Sheet] < sheetAt[y.Sheet]
		}
		if x.Row != y.Row {
			return x.Row < y.Row
		}
		return x.Kind.rank() < y.Kind.rank()
	})
	o.Refused = append(o.Refused, j.refused...)
	sort.SliceStable(o.Refused, func(a, b int) bool {
		x, y := &o.Refused[a], &o.Refused[b]
		return sheetAt[x.Sheet] < sheetAt[y.Sheet] || x.Sheet == y.Sheet && x.Row < y.Row
	})
	sort.SliceStable(o.Held, func(a, b int) bool {
		x, y := &o.Held[a], &o.Held[b]
		return sheetAt[x.Sheet] < sheetAt[y.Sheet] || x.Sheet == y.Sheet && x.Row < y.Row
	})
	sort.SliceStable(o.Skipped, func(a, b int) bool {
		x, y := &o.Skipped[a], &o.Skipped[b]
		return sheetAt[x.Sheet] < sheetAt[y.Sheet] || x.Sheet == y.Sheet && x.Row < y.Row
	})
	o.Rows.Refused, o.Rows.Held = len(o.Refused), len(o.Held)
	for i := range o.Skipped {
		if o.Skipped[i].Row > 0 {
			o.Rows.Skipped++
		}
	}
	for _, r := range o.Records {
		c := o.Counts[r.Kind]
		switch r.Action {
		case "created":
			c.Created++
		case "changed":
			c.Changed++
		default:
			c.Unchanged++
		}
	}
	o.Mapping = j.mapping()
	o.tables = j.tables
	if j.opt.Progress != nil {
		j.opt.Progress(j.total, j.total)
	}
	return j.changes()
}
