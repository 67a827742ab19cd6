package intake

import (
	"fmt"
	"strings"

	"carryside/assets"
)

// findingRow is one finding of the file.
type findingRow struct {
	e        *entry
	vals     values
	key      string
	stored   *assets.Finding // the register's; nil: it has none
	changes  []FieldChange   // what the file corrects of it
	disputed *entry          // another row of the file that says otherwise of the same finding
}

// givesFinding tells whether a row gives a finding or should.
func (e *entry) givesFinding() bool {
	if !e.t.records[KindFinding] {
		return false
	}
	for _, n := range []string{"category", "finding_text", "grade", "measurement", "running"} {
		if e.get(n).set {
			return true
		}
	}
	return e.get("found_on").set && !e.t.creates
}

// judgeFindings takes the conveyor's findings in, in the order of the file. One that the register has with another
// grade, measurement or state of running is corrected, as other values are; where rows of the file disagree about it
// themselves, no row corrects anything.
func (g *group) judgeFindings() {
	g.finds = nil
	var known map[string]*assets.Finding
	var read []*findingRow
	seen := map[string]*findingRow{}
	for _, e := range g.rows {
		if e.refusal != nil || !e.givesFinding() {
			continue
		}
		if known == nil {
			known = g.storedFindings()
		}
		if f := g.finding(e, seen); f != nil {
			read = append(read, f)
		}
	}
	for _, f := range read {
		if f.stored = known[f.key]; f.stored != nil {
			f.compare()
		}
		if len(f.changes) > 0 && f.disputed != nil {
			f.e.refuse(f.e.t.byField["grade"], faultContradicts, f.e.get("grade").text, "contradicts the register and "+f.e.other(f.disputed)+", which says something else of the same finding; keep one of the rows")
			continue
		}
		g.finds = append(g.finds, f)
		f.e.used = true
	}
}

// finding reads one row's finding, nil when it is refused.
func (g *group) finding(e *entry, seen map[string]*findingRow) *findingRow {
	vals := e.kindVals(KindFinding)
	vals.put("remark", e.remarkText())
	on := vals.get("found_on")
	if !on.set {
		e.refuse(e.t.byField["found_on"], faultNoKey, e.get("found_on").text, "a finding needs its day; write the day of the inspection")
		return nil
	}
	if !vals.get("category").set && !vals.get("finding_text").set {
		c := e.t.byField["category"]
		if c == nil {
			c = e.t.byField["finding_text"]
		}
		e.refuse(c, faultNoKey, "", "a finding needs a category or a text; write what was found")
		return nil
	}
	f := &findingRow{e: e, vals: vals, key: findingKey(on.from, vals.get("target").text, vals.get("category").text, vals.get("finding_text").text)}
	if first := seen[f.key]; first != nil {
		same := "says the same as "
		if first.disputes(vals) {
			first.disputed, same = e, "is the same finding, told otherwise, as "
		}
		e.refuse(e.t.byField["category"], faultDuplicate, vals.get("category").text, same+e.other(first.e)+"; remove one of the two")
		return nil
	}
	seen[f.key] = f
	return f
}

// disputes tells whether another row says something else of the same finding; a blank disputes nothing.
func (f *findingRow) disputes(other values) bool {
	for _, name := range compared {
		fd, v, o := fieldNamed[name], f.vals.get(name), other.get(name)
		if v.set && o.set && (unitWord(v) != unitWord(o) || !v.agrees(fd, o)) {
			return true
		}
	}
	return false
}

// findingKey is how a finding is found again.
func findingKey(day assets.Day, target, category, text string) string {
	return strings.Join([]string{string(day), assets.NameKey(target), assets.NameKey(category), assets.NameKey(text)}, "\x00")
}

// storedFindings are the keys of the findings that the register has of this conveyor.
func (g *group) storedFindings() map[string]*assets.Finding {
	known := map[string]*assets.Finding{}
	if s := g.p.stored[g.key]; s != nil {
		for i := range s.Findings {
			f := &s.Findings[i]
			day := f.FoundDay
			if day == "" {
				day = assets.DayOf(f.FoundAt.Time().In(g.p.zone))
			}
			known[findingKey(day, f.Target, f.Category, f.Text)] = f
		}
	}
	return known
}

// compared are the fields of a finding that are compared with the register's.
var compared = []string{"grade", "measurement", "running"}

// compare notes what a row says otherwise than the register, or beyond it: a correction.
func (f *findingRow) compare() {
	have := findingValues(f.stored)
	for _, name := range compared {
		fd, v, was := fieldNamed[name], f.vals.get(name), have.get(name)
		if !v.set || was.set && unitWord(v) == unitWord(was) && v.sameAsStored(fd, was) {
			continue
		}
		c := FieldChange{Field: fd.key, After: v.printed(fd)}
		if was.set {
			c.Before = was.printed(fd)
		}
		if fd.shape == shapeMeasured && v.kind == nil {
			c.Field = "measurement_m"
		}
		f.changes = append(f.changes, c)
	}
}

// unitWord is the word that a measurement carries beside its number; "" for a length.
func unitWord(v value) string {
	if v.kind == nil {
		return ""
	}
	return v.kind.word
}

// findingValues are the compared fields as the register has them.
func findingValues(o *assets.Finding) values {
	out := values{}
	if o.Grade != nil {
		out.put("grade", value{set: true, num: float64(*o.Grade)})
	}
	if o.Measurement != nil {
		v := value{set: true, num: *o.Measurement}
		if o.MeasurementUnit != "m" {
			v.kind = &spliceKind{word: o.MeasurementUnit}
		}
		out.put("measurement", v)
	}
	if o.Running != nil {
		out.put("running", value{set: true, flag: *o.Running})
	}
	return out
}

// corrected is the register's finding as it is to stand.
func (f *findingRow) corrected(g *group) assets.Finding {
	out, said := *f.stored, f.record(g)
	if said.Grade != nil {
		out.Grade = said.Grade
	}
	if said.Measurement != nil {
		out.Measurement, out.MeasurementUnit = said.Measurement, said.MeasurementUnit
	}
	if said.Running != nil {
		out.Running = said.Running
	}
	return out
}

// action says what becomes of the finding.
func (f *findingRow) action() string {
	switch {
	case f.stored == nil:
		return "created"
	case len(f.changes) > 0:
		return "changed"
	}
	return "unchanged"
}

// record makes the register's finding.
func (f *findingRow) record(g *group) assets.Finding {
	v := f.vals
	out := assets.Finding{
		Target: v.get("target").text, FoundDay: v.get("found_on").from, FoundAt: g.instant(v.get("found_on").from, false, 0),
		Category: v.get("category").text, Text: v.get("finding_text").text, FoundBy: v.get("found_by").text, Remark: v.get("remark").text,
	}
	if s := g.p.stored[g.key]; s != nil {
		out.ConveyorID, out.PlantID = s.Conveyor.ID, s.Conveyor.PlantID
	}
	if m := v.get("grade"); m.set {
		grade := int(m.num)
		out.Grade = &grade
	}
	if m := v.get("measurement"); m.set {
		n := m.num
		out.Measurement, out.MeasurementUnit = &n, "m"
		if m.kind != nil {
			out.MeasurementUnit = m.kind.word
		}
	}
	if m := v.get("running"); m.set {
		yes := m.flag
		out.Running = &yes
	}
	return out
}

// origin says where a record of the file stands, as the register keeps it.
func (e *entry) origin(file string) string { return fmt.Sprintf("%s, %s", file, e.place()) }
