package intake

import (
	"strings"

	"carryside/assets"
)

// group is one conveyor and the rows of the file that are about it.
type group struct {
	j    *judge
	p    *plantState
	key  string
	rows []*entry

	conv    *thing
	belts   []*thing
	splices []*thing
	hours   []*hourReading
	finds   []*findingRow

	newMeters []assets.Meter
	heldAt    map[heldKey]*assets.HeldReading
	tried     int
}

// judge works the rows through: conveyor, belts, splices, readings, findings. A row that is refused late although it has
// given something is taken out and the rest is worked through again, because a refused row gives no record at all.
func (g *group) judge() {
	for g.tried = 0; g.tried < 10; g.tried++ {
		g.begin()
		late := g.pass()
		if !late {
			break
		}
	}
	g.judgeReadings()
	g.judgeFindings()
	g.emit()
	g.forget()
}

// forget lets go of what is listed and written down, so that memory follows the conveyor at hand and not the file.
func (g *group) forget() {
	if g.conv != nil {
		g.conv = &thing{tag: g.conv.tag}
	}
	g.belts, g.splices, g.hours, g.finds, g.heldAt = nil, nil, nil, nil, nil
	for _, e := range g.rows {
		e.vals, e.things, e.belt, e.twin = nil, nil, nil, nil
	}
}

// begin sets the conveyor as the register knows it.
func (g *group) begin() {
	g.conv, g.belts, g.splices = nil, nil, nil
	for _, e := range g.rows {
		e.news, e.twin, e.belt, e.things, e.used = 0, nil, nil, nil, false
		e.remarks = e.remarks[:e.asRead]
	}
	s := g.p.stored[g.key]
	if s == nil {
		return
	}
	g.conv = &thing{kind: KindConveyor, stored: true, tag: s.Conveyor.Tag, conveyor: s.Conveyor, vals: conveyorValues(&s.Conveyor, s.Line)}
	byID := map[int64]*thing{}
	for i := range s.Belts {
		th := &thing{kind: KindBelt, stored: true, beltRec: s.Belts[i], vals: beltValues(&s.Belts[i])}
		byID[s.Belts[i].ID] = th
		g.belts = append(g.belts, th)
	}
	for i := range s.Splices {
		th := &thing{kind: KindSplice, stored: true, splice: s.Splices[i], vals: spliceValues(&s.Splices[i]), belt: byID[s.Splices[i].BeltID]}
		g.splices = append(g.splices, th)
	}
}

// pass works conveyor, belts and splices through once; late tells that a row which gave something was refused after that.
func (g *group) pass() (late bool) {
	steps := []func(*entry){g.takeConveyor}
	for _, step := range steps {
		for _, e := range g.rows {
			if e.refusal == nil {
				step(e)
			}
		}
	}
	for _, e := range g.byDate("fitted_on", func(e *entry) bool { return e.givesBelt() }) {
		g.takeBelt(e)
	}
	for _, e := range g.rows {
		if e.refusal == nil && !e.givesBelt() {
			g.compareBelt(e)
		}
	}
	for _, e := range g.byDate("made_on", func(e *entry) bool { return e.givesSplice() }) {
		g.takeSplice(e)
	}
	g.endSplices()
	for _, e := range g.rows {
		if e.refusal != nil && len(e.things) > 0 {
			late = true
		}
	}
	if !late {
		g.refuseRepeats()
	}
	return late
}

// refuseRepeats refuses rows that say only what other rows of the file said.
func (g *group) refuseRepeats() {
	for _, e := range g.rows {
		if e.refusal == nil && len(e.things) > 0 && e.news == 0 && e.twin != nil && !e.givesReading() && !e.givesFinding() {
			e.refuse(e.t.byField["conveyor"], faultDuplicate, e.tag, "says the same as "+e.other(e.twin)+"; remove one of the two")
		}
		e.used = e.refusal == nil && len(e.things) > 0
	}
}

// takeConveyor makes, changes or compares the conveyor.
func (g *group) takeConveyor(e *entry) {
	vals := e.conveyorVals()
	if e.t.records[KindConveyor] {
		if g.conv == nil {
			g.conv = &thing{kind: KindConveyor, tag: kept(e.tag), vals: values{}}
		}
		if g.conv.origin != nil && !e.ownLine {
			delete(vals, fieldNamed["line"]) // carried down from above: it does not speak against the conveyor's own row
		}
		if c := g.conv.clash(vals); c != nil {
			e.refuseClash(c, g.conv.origin, "conveyor")
			return
		}
		g.conv.merge(e, vals)
		return
	}
	if g.conv == nil {
		e.refuse(e.t.byField["conveyor"], faultUnknownTag, e.tag, "is no conveyor of "+quoted(g.p.name)+", and no row of the file makes it; correct the tag or bring the conveyor in")
		return
	}
	g.compare(e, g.conv, vals, "conveyor")
}

// compare tests what a row tells of a thing that it refers to. Against other rows of the file everything counts; against
// the register only quantities do, because names are written in many ways.
func (g *group) compare(e *entry, th *thing, vals values, what string) {
	for _, f := range fields {
		v, ok := vals[f]
		have, known := th.vals[f]
		if !ok || !known || !v.set || !have.set || f.name == "remark" || f.name == "line" || f.name == "status" || f.name == "retired_on" || have.agrees(f, v) {
			continue
		}
		if th.origin != nil && th.origin != e {
			e.refuseClash(&clash{f, have, v}, th.origin, what)
			return
		}
		if f.shape == shapeQuantity {
			e.refuse(e.t.byField[f.name], faultContradicts, f.shown(v), "contradicts the register, which has "+quoted(f.shown(have))+" for the same "+what+"; correct one of them")
			return
		}
	}
}

// conveyorVals are what a row says of its conveyor.
func (e *entry) conveyorVals() values {
	vals := values{}
	for i := range e.vals {
		f := e.vals[i].c.f
		if f.kind == KindConveyor && f.shape != shapeTag {
			vals[f] = e.vals[i].v
		}
	}
	if e.line != "" && e.t.records[KindConveyor] {
		vals.put("line", textValue(cleanName(e.line)))
	}
	if e.t.records[KindConveyor] {
		vals.put("retired_on", e.gone)
		if !e.t.records[KindSplice] {
			vals.put("retired_on", e.get("retired_on"))
		}
		if e.struck || e.retiredByDate() {
			vals.put("status", textValue(string(assets.ConveyorRetired)))
		}
		if !e.givesSplice() && !e.givesReading() && !e.givesFinding() && (e.t.rank() == KindConveyor.rank() || !e.givesBelt()) {
			vals.put("remark", e.remarkText())
		}
	}
	return vals
}

// retiredByDate tells whether a date of retiring alone says that the conveyor is out of use.
func (e *entry) retiredByDate() bool {
	return !e.t.records[KindSplice] && e.get("retired_on").set && !e.get("status").set
}

// remarkText joins what the row's remarks say.
func (e *entry) remarkText() value {
	var parts []string
	for i := range e.vals {
		if e.vals[i].c.f.name == "remark" && e.vals[i].v.set {
			parts = append(parts, e.vals[i].v.text)
		}
	}
	return textValue(strings.Join(parts, "; "))
}

func joinBlanks(s string) string { return strings.Join(strings.Fields(s), " ") }

// conveyorValues are the register's values of a conveyor.
func conveyorValues(c *assets.Conveyor, line string) values {
	vals := values{}
	vals.put("line", textValue(line))
	vals.put("conveyor_name", textValue(c.Name))
	vals.put("product", textValue(c.Product))
	vals.put("isolation_group", textValue(c.IsolationGroup))
	vals.put("access_note", textValue(c.AccessNote))
	vals.put("speed", numValue(c.SpeedMPS))
	vals.put("centre_distance", numValue(c.CentreDistanceM))
	vals.put("take_up_travel", numValue(c.TakeUpTravelM))
	vals.put("incline", numValue(c.InclineDeg))
	status := c.Status
	if status == "" {
		status = assets.ConveyorInUse
	}
	vals.put("status", textValue(string(status)))
	vals.put("retired_on", whenValue(c.Retired))
	vals.put("remark", textValue(c.Remark))
	return vals
}
