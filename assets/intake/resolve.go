package intake

import (
	"regexp"
	"sort"
	"strings"
)

// settle decides what each heading of a table means beside the others, and what the table gives.
func (g *guesser) settle(t *table) {
	sp := columnSpan{t.first, t.last}
	heads := map[int]heading{}
	if len(t.headerIdx) > 0 {
		heads = g.headings(t.sheet, sp, t.headerIdx, t.unitIdx)
	}
	cols := make([]int, 0, len(heads))
	for c := range heads {
		cols = append(cols, c)
	}
	sort.Ints(cols)
	t.lang = mainLanguage(heads)
	t.byField = map[string]*column{}
	for _, c := range cols {
		t.columns = append(t.columns, &column{col: c, unit: heads[c].unit, order: heads[c].order, from: heads[c]})
	}
	t.takePlain()
	t.takeOpen()
	t.takeDated(g)
	g.readTitles(t)
	t.tellUnits(unitNotes(t.titles))
	t.decide()
}

// mainLanguage is the language that most headings of a table are written in.
func mainLanguage(heads map[int]heading) language {
	var n [4]int
	for _, h := range heads {
		if h.field != "" {
			n[h.lang]++
		}
	}
	switch {
	case n[german] > n[english] && n[german] >= n[spanish]:
		return german
	case n[spanish] > n[english]:
		return spanish
	case n[english] > 0:
		return english
	}
	return noLanguage
}

// give sets what a column is read as, unless another column has the field already.
func (t *table) give(c *column, name string) bool {
	if c.f != nil || t.byField[name] != nil {
		return false
	}
	c.f = fieldNamed[name]
	t.byField[name] = c
	if c.unit != nil && (!c.f.takesUnit() || (c.f.dim != noDimension && c.f.dim != c.unit.dim)) {
		c.unit = nil
	}
	return true
}

// takePlain sets the columns whose heading has one meaning. Where two name the conveyor the one that says tag or number
// does, and the other is its name.
func (t *table) takePlain() {
	if c := t.bestTag(); c != nil {
		t.give(c, "conveyor")
	}
	for _, c := range t.columns {
		name := c.from.field
		if name == "" || strings.HasPrefix(name, "?") {
			continue
		}
		if !t.give(c, name) && name == "conveyor" && c.f == nil && !t.heads("conveyor_name") {
			t.give(c, "conveyor_name")
		}
	}
}

func (t *table) heads(name string) bool {
	for _, c := range t.columns {
		if c.from.field == name {
			return true
		}
	}
	return false
}

var tagHeading = regexp.MustCompile(`\b(tag|no|nr|number|nummer|id|code|codigo|numero|ref|kennzeichen|akz|n o|n)\b`)

// bestTag is the column whose heading names the conveyor most plainly.
func (t *table) bestTag() *column {
	var best *column
	for _, c := range t.columns {
		if c.from.field != "conveyor" {
			continue
		}
		if best == nil || (tagHeading.MatchString(fold(c.from.text)) && !tagHeading.MatchString(fold(best.from.text))) {
			best = c
		}
	}
	return best
}

func (t *table) hasAny(names ...string) bool {
	for _, n := range names {
		if t.byField[n] != nil {
			return true
		}
	}
	return false
}

func (t *table) ofSplices() bool {
	return t.hasAny("splice_number", "splice_position", "splice_kind", "made_on", "made_by", "finger_pitch", "finger_length", "step_length", "bias_angle", "failure_mode", "retired_why")
}

func (t *table) ofReadings() bool {
	return t.hasAny("meter_reading", "taken_on", "meter_event", "meter_start") || t.dates() > 0
}

func (t *table) ofFindings() bool {
	return t.hasAny("found_on", "category", "grade", "finding_text", "found_by", "measurement", "running")
}

func (t *table) ofBelts() bool {
	return t.hasAny("width", "loop_length", "specification", "thickness", "working_tension", "fitted_on", "roll_number", "removed_on")
}

// dates counts the columns whose heading is a date.
func (t *table) dates() int {
	n := 0
	for _, c := range t.columns {
		if c.from.dated {
			n++
		}
	}
	return n
}

// takeOpen sets the columns whose heading means one thing here and another there.
func (t *table) takeOpen() {
	for _, open := range []string{openBeltColumn, openCountColumn, openPlaceColumn, openTypeColumn, openEndColumn, openWhyColumn, openByColumn, openDateColumn, openNameColumn, openNoteColumn} {
		for _, c := range t.columns {
			if c.from.field != open || c.f != nil {
				continue
			}
			if name := t.meaning(open, c); name != "" {
				t.give(c, name)
			}
		}
	}
}

// meaning is what an open heading means in this table, "" for nothing.
func (t *table) meaning(open string, c *column) string {
	switch open {
	case openBeltColumn:
		if t.byField["conveyor"] == nil {
			return "conveyor"
		}
		return "specification"
	case openCountColumn:
		tag := t.byField["conveyor"]
		switch {
		case tag == nil:
			return "conveyor"
		case t.ofSplices() && c.col > tag.col:
			return "splice_number"
		}
	case openPlaceColumn:
		if tag := t.byField["conveyor"]; tag != nil && c.col > tag.col && t.ofSplices() {
			return "splice_position"
		}
	case openTypeColumn:
		switch {
		case t.ofSplices():
			return "splice_kind"
		case t.ofBelts():
			return "specification"
		}
	case openEndColumn:
		if !t.ofSplices() && t.hasAny("fitted_on") && !t.hasAny("status") {
			return "removed_on"
		}
		return "retired_on"
	case openWhyColumn:
		switch {
		case t.ofSplices() || (t.hasAny("retired_on") && !t.ofBelts()):
			return "retired_why"
		case t.hasAny("removed_on"):
			return "removed_why"
		}
		return "remark"
	case openByColumn:
		return t.first1([]bool{t.ofFindings(), t.ofSplices(), t.ofBelts()}, "found_by", "made_by", "fitted_by")
	case openDateColumn:
		return t.first1([]bool{t.ofReadings(), t.ofFindings(), t.ofSplices()}, "taken_on", "found_on", "made_on")
	case openNameColumn:
		if t.ofFindings() && !t.hasAny("finding_text") {
			return "finding_text"
		}
		return "conveyor_name"
	case openNoteColumn:
		if t.lang == german && t.ofFindings() && !t.hasAny("grade") {
			return "grade"
		}
		return "remark"
	}
	return ""
}

// first1 returns the first name whose condition holds and whose field is free.
func (t *table) first1(holds []bool, names ...string) string {
	for i, n := range names {
		if holds[i] && t.byField[n] == nil {
			return n
		}
	}
	return ""
}

// takeDated makes the columns under dates columns of readings, where the table has no column of readings.
func (t *table) takeDated(g *guesser) {
	if t.byField["meter_reading"] != nil || t.byField["conveyor"] == nil {
		return
	}
	order := t.headingOrder(g.order)
	for _, c := range t.columns {
		if c.f != nil || !c.from.dated {
			continue
		}
		c.f, c.dated, c.unit, c.when = fieldNamed["meter_reading"], true, unitH, c.from.date
		if c.when.twoWays {
			c.when = chosen(c.when.dmy, c.when.mdy, order)
		}
	}
}

// headingOrder settles the order of dates that stand in headings by their own evidence, then by the language.
func (t *table) headingOrder(told dateOrder) dateOrder {
	if told != orderOpen {
		return told
	}
	var all []readDateResult
	for _, c := range t.columns {
		if c.from.dated {
			all = append(all, c.from.date)
		}
	}
	order, mixed := orderOf(all)
	switch {
	case mixed:
		return orderOpen
	case order != orderOpen:
		return order
	case t.lang == german || t.lang == spanish:
		return orderDMY
	}
	return orderOpen
}

// orderOf is the order that dates with a number above 12 show; mixed when they show both.
func orderOf(all []readDateResult) (order dateOrder, mixed bool) {
	day, month := false, false
	for _, r := range all {
		switch {
		case r.twoWays || r.fault != "":
		case r.dmy != "" && r.mdy == "":
			day = true
		case r.mdy != "" && r.dmy == "":
			month = true
		}
	}
	switch {
	case day && month:
		return orderOpen, true
	case day:
		return orderDMY, false
	case month:
		return orderMDY, false
	}
	return orderOpen, false
}

var plantTitle = regexp.MustCompile(`(?i)^\s*(?:plant|site|works|facility|werk|standort|betrieb|planta|centro|emplazamiento)(?:\s+name)?\s*[:=]\s*(.*)$`)

// readTitles keeps the texts above a table and finds the plant they name.
func (g *guesser) readTitles(t *table) {
	if len(t.headerIdx) == 0 {
		return
	}
	for i := range t.sheet.Rows[:t.headerIdx[0]] {
		cells := t.sheet.Rows[i].Cells
		if i >= t.above && originals(cells) > 2 {
			continue // a row of the table above
		}
		for j, c := range cells {
			if c.Kind != Text || c.Covered {
				continue
			}
			if i < 50 || t.headerIdx[0]-i < 10 {
				t.titles = append(t.titles, c.Text)
			}
			m := plantTitle.FindStringSubmatch(c.Text)
			if m == nil {
				continue
			}
			name, _, _ := strings.Cut(trimmed(m[1]), "   ") // what stands far behind it is another note
			if name == "" && j+1 < len(cells) && cells[j+1].Kind == Text {
				name = trimmed(cells[j+1].Text)
			}
			if name != "" {
				t.plantTitle = name
			}
		}
	}
}

// tellUnits gives columns without a unit the one a note above the table tells.
func (t *table) tellUnits(notes map[string]*unitOf) {
	for _, c := range t.columns {
		if c.f == nil {
			continue
		}
		if c.unit == nil && c.f.takesUnit() {
			c.unit = notes[c.f.name]
		}
		if c.unit == nil && c.f.shape == shapeHours {
			c.unit = unitH
		}
	}
}

// decide tells which kinds of record the table gives, and whether it makes conveyors and belts or refers to them.
func (t *table) decide() {
	t.records = map[Kind]bool{}
	if t.byField["conveyor"] == nil {
		return
	}
	if t.hasAny("splice_number", "splice_position", "splice_kind", "made_on", "made_by") {
		t.records[KindSplice] = true
	}
	if (t.hasAny("meter_reading") && t.hasAny("taken_on")) || t.hasDatedColumns() {
		t.records[KindReading] = true
	}
	if t.hasAny("found_on") && t.hasAny("category", "finding_text") {
		t.records[KindFinding] = true
	}
	own := 0
	for name, c := range t.byField {
		if (c.f.kind == KindConveyor && name != "conveyor") || c.f.kind == KindBelt {
			own++
		}
	}
	lists := t.ofSplices() || t.ofReadings() || t.ofFindings()
	if t.hasAny("retired_on") && !lists {
		own++
	}
	t.creates = own >= 2 || (!lists && (own >= 1 || t.hasAny("line")))
	if t.creates {
		t.records[KindConveyor] = true
		if t.hasAny("width", "loop_length", "specification") {
			t.records[KindBelt] = true
		}
	}
}

func (t *table) hasDatedColumns() bool {
	for _, c := range t.columns {
		if c.dated {
			return true
		}
	}
	return false
}

// rank is the place of a table in the order of work: conveyors, belts, splices, readings, findings.
func (t *table) rank() int {
	if t.creates {
		for name, c := range t.byField {
			if c.f.kind == KindConveyor && name != "conveyor" {
				return KindConveyor.rank()
			}
		}
		return KindBelt.rank()
	}
	for _, k := range []Kind{KindSplice, KindReading, KindFinding} {
		if t.records[k] {
			return k.rank()
		}
	}
	return len(Kinds)
}
