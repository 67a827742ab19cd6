package intake

import (
	"fmt"
	"strings"

	"carryside/assets"
)

// findingRow is one finding of the file.
type findingRow struct {
	e      *entry
	vals   values
	key    string
	stored bool
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

// judgeFindings takes the conveyor's findings in, in the order of the file.
func (g *group) judgeFindings() {
	g.finds = nil
	var known map[string]*assets.Finding
	seen := map[string]*entry{}
	for _, e := range g.rows {
		if e.refusal != nil || !e.givesFinding() {
			continue
		}
		if known == nil {
			known = g.storedFindings()
		}
		if f := g.finding(e, seen); f != nil {
			if f.stored = known[f.key] != nil; f.stored && f.regraded(known[f.key]) {
				continue
			}
			g.finds = append(g.finds, f)
			e.used = true
		}
	}
}

// finding reads one row's finding, nil when it is refused.
func (g *group) finding(e *entry, seen map[string]*entry) *findingRow {
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
		e.refuse(e.t.byField["category"], faultDuplicate, vals.get("category").text, "says the same as "+e.other(first)+"; remove one of the two")
		return nil
	}
	seen[f.key] = e
	return f
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

// regraded refuses a finding that the register has with another grade: a grade decides what follows, so a person corrects it.
func (f *findingRow) regraded(o *assets.Finding) bool {
	grade := f.vals.get("grade")
	if !grade.set || o.Grade == nil || int(grade.num) == *o.Grade {
		return false
	}
	f.e.refuse(f.e.t.byField["grade"], faultContradicts, digits(grade.num), "contradicts the register, which has the grade "+digits(float64(*o.Grade))+" for the same finding; correct it there or here")
	return true
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
