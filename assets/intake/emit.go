package intake

import (
	"carryside/assets"
)

// emit lists the records of the conveyor and what is to be written.
func (g *group) emit() {
	if g.conv == nil {
		return
	}
	used := false
	for _, e := range g.rows {
		if e.used {
			used = true
			g.p.touch(e)
		}
	}
	if !used {
		return
	}
	for _, th := range g.things() {
		g.list(th)
	}
	for _, f := range g.finds {
		r := &Record{Kind: KindFinding, Action: f.action(), Plant: g.p.name, Conveyor: g.conv.tag, Fields: printedFields(f.vals), Changes: f.changes, Remarks: f.e.remarks}
		g.j.record(r, f.e)
	}
	if c := g.change(); c != nil {
		g.p.changed = append(g.p.changed, c)
	}
}

func (g *group) things() []*thing {
	out := append([]*thing{g.conv}, g.belts...)
	return append(out, g.splices...)
}

// touch notes the first row of a plant, and of the line of a conveyor that the row makes or moves.
func (p *plantState) touch(e *entry) {
	if p.firstRow == nil || e.at < p.firstRow.at {
		p.firstRow = e
	}
	if e.line == "" || !e.t.records[KindConveyor] {
		return
	}
	key := assets.NameKey(e.line)
	if r := p.lineRows[key]; r == nil || e.at < r.at {
		p.lineRows[key] = e
	}
}

// list adds the record of a thing that a row of the file gave or changed.
func (g *group) list(th *thing) {
	e := th.origin
	if e == nil {
		e = th.cause
	}
	if e == nil || th.implied {
		return
	}
	r := &Record{Kind: th.kind, Action: th.action(), Plant: g.p.name, Conveyor: g.conv.tag, Fields: printedFields(th.vals), Changes: th.changes}
	if th.origin != nil {
		r.Remarks = append(g.remarksFor(th), th.remarks...)
	}
	g.j.record(r, e)
}

// remarksFor are the remarks of the row that belong to this of its records: those on its fields, and on the first record
// those on the row.
func (g *group) remarksFor(th *thing) []Remark {
	var out []Remark
	e := th.origin
	first := len(e.things) > 0 && e.things[0] == th
	for _, m := range e.remarks {
		f := fieldNamed[m.Field]
		kind := KindConveyor
		switch {
		case f == nil:
			if first {
				out = append(out, m)
			}
			continue
		case f.kind != "":
			kind = f.kind
		case e.givesSplice():
			kind = KindSplice
		}
		has := false
		for _, o := range e.things {
			has = has || o.kind == kind
		}
		if kind == th.kind || !has && first {
			out = append(out, m)
		}
	}
	return out
}

// change gathers what is to be written of the conveyor, nil for nothing.
func (g *group) change() *ConveyorChange {
	c := &ConveyorChange{Record: g.conv.toConveyor(g), Created: !g.conv.stored, Changes: g.conv.changes, Line: g.conv.vals.get("line").text, Meters: g.newMeters}
	if e := g.conv.origin; e != nil {
		c.Place = e.origin(g.j.book.Name)
	}
	something := c.Created || len(c.Changes) > 0
	for _, b := range g.belts {
		bc := &BeltChange{Record: b.toBelt(g), Created: !b.stored, Implied: b.implied, Changes: b.changes}
		if e := b.origin; e != nil {
			bc.Place = e.origin(g.j.book.Name)
		}
		for _, s := range g.splices {
			if s.belt == b && (!s.stored || len(s.changes) > 0) {
				bc.Splices = append(bc.Splices, s.toChange(g))
			}
		}
		if bc.Created || len(bc.Changes) > 0 || len(bc.Splices) > 0 {
			c.Belts = append(c.Belts, bc)
			something = true
		}
	}
	g.readingsInto(c)
	for _, f := range g.finds {
		switch {
		case f.stored == nil:
			c.Findings = append(c.Findings, f.record(g))
		case len(f.changes) > 0:
			c.Corrected = append(c.Corrected, f.corrected(g))
		}
	}
	if something || len(c.Readings)+len(c.Held)+len(c.Findings)+len(c.Corrected) > 0 {
		return c
	}
	return nil
}

func (th *thing) toChange(g *group) *SpliceChange {
	sc := &SpliceChange{Record: th.toSplice(g), Created: !th.stored, Changes: th.changes}
	if e := th.origin; e != nil {
		sc.Place = e.origin(g.j.book.Name)
	}
	return sc
}

// readingsInto adds the readings that the register does not have.
func (g *group) readingsInto(c *ConveyorChange) {
	id := c.Record.ID
	for _, h := range g.hours {
		switch {
		case h.stored:
		case h.held != "":
			if g.storedHeld(h) == nil {
				c.Held = append(c.Held, assets.HeldReading{ConveyorID: id, At: h.at, ShownH: h.v.num, Class: h.held, Question: h.text, Origin: h.e.origin(g.j.book.Name)})
			}
		default:
			r := assets.Reading{ConveyorID: id, At: h.at, ShownH: h.v.num, Approximate: h.approx != ""}
			if t := h.e.remarkText(); t.set && h.c == nil {
				text := t.text
				r.Remark = &text
			}
			c.Readings = append(c.Readings, r)
		}
	}
}

// storedHeld finds this very reading among those that the register holds or a person has decided, nil for none.
func (g *group) storedHeld(h *hourReading) *assets.HeldReading {
	s := g.p.stored[g.key]
	if s == nil {
		return nil
	}
	if g.heldAt == nil {
		g.heldAt = make(map[heldKey]*assets.HeldReading, len(s.Held))
		for i := range s.Held {
			o := &s.Held[i]
			day := assets.DayOf(o.At.Time().In(g.p.zone).Add(-1)) // midnight ends the day before
			g.heldAt[heldKey{day, o.ShownH}] = o
		}
	}
	return g.heldAt[heldKey{h.day, h.v.num}]
}

// heldKey is how a held reading is found again.
type heldKey struct {
	day    assets.Day
	shownH float64
}

// when turns a value into a date of the register.
func (g *group) when(v value) assets.When {
	if !v.set {
		return assets.When{}
	}
	text := v.text
	if v.exact() {
		text = ""
	}
	w, err := assets.Between(v.from, v.to, text, g.p.zone, g.j.opt.Now)
	if err != nil {
		return assets.When{Earliest: v.from, Latest: v.to, AsWritten: text}
	}
	return w
}

// toConveyor is the conveyor as it is to stand.
func (th *thing) toConveyor(g *group) assets.Conveyor {
	c, v := th.conveyor, th.vals
	c.Tag, c.TagKey = th.tag, assets.TagKey(th.tag)
	if th.origin == nil {
		return c
	}
	c.Name, c.Product = v.get("conveyor_name").text, v.get("product").text
	c.IsolationGroup, c.AccessNote = v.get("isolation_group").text, v.get("access_note").text
	c.SpeedMPS, c.CentreDistanceM = v.get("speed").num, v.get("centre_distance").num
	c.TakeUpTravelM, c.InclineDeg = v.get("take_up_travel").num, v.get("incline").num
	c.Status = assets.ConveyorStatus(v.get("status").text)
	if c.Status == "" {
		c.Status = assets.ConveyorInUse
	}
	if d := v.get("retired_on"); d.set && (!th.stored || changed(th, "retired_on")) {
		c.Retired = g.when(d)
	}
	c.Remark = v.get("remark").text
	return c
}

func changed(th *thing, key string) bool {
	for i := range th.changes {
		if th.changes[i].Field == key {
			return true
		}
	}
	return false
}

// typed keeps what was written for quantities, so that it comes back exactly.
func (th *thing) typed(old assets.AsTyped) assets.AsTyped {
	out := assets.AsTyped{}
	for name, text := range old {
		out[name] = text
	}
	for f, v := range th.vals {
		if f.shape == shapeQuantity && v.set && (!th.stored || changed(th, f.key)) {
			out[f.name] = v.text
		}
	}
	if len(out) == 0 {
		return nil
	}
	return out
}

// toBelt is the belt as it is to stand.
func (th *thing) toBelt(g *group) assets.Belt {
	b, v := th.beltRec, th.vals
	b.Specification, b.RollNumber = v.get("specification").text, v.get("roll_number").text
	b.WidthM, b.LoopLengthM = v.get("width").num, v.get("loop_length").num
	b.ThicknessM, b.WorkingTensionNPerM = v.get("thickness").num, v.get("working_tension").num
	if !th.stored || changed(th, "fitted_on") {
		fitted := v.get("fitted_on")
		if !fitted.set {
			fitted = value{set: true, open: true}
		}
		b.Fitted = g.when(fitted)
	}
	b.FittedBy = v.get("fitted_by").text
	if d := v.get("removed_on"); d.set && (!th.stored || changed(th, "removed_on")) {
		b.RemovedWhen = g.when(d)
		at := b.RemovedWhen.At
		b.Removed = &at
	}
	b.RemovedWhy, b.Remark = v.get("removed_why").text, v.get("remark").text
	b.AsTyped = th.typed(b.AsTyped)
	return b
}

// toSplice is the splice as it is to stand.
func (th *thing) toSplice(g *group) assets.Splice {
	s, v := th.splice, th.vals
	s.Number = v.get("splice_number").text
	if p := v.get("splice_position"); p.set {
		at := p.num
		s.PositionM = &at
	}
	if k := v.get("splice_kind"); k.set && k.kind != nil {
		s.Form, s.Bond, s.KindWritten = k.kind.form, k.kind.bond, k.text
	}
	s.FingerPitchM, s.FingerLengthM = v.get("finger_pitch").num, v.get("finger_length").num
	s.StepLengthM, s.BiasAngleDeg = v.get("step_length").num, v.get("bias_angle").num
	if !th.stored || changed(th, "made_on") {
		s.Made = g.when(v.get("made_on"))
	}
	s.MadeBy = v.get("made_by").text
	if d := v.get("retired_on"); d.set && (!th.stored || changed(th, "retired_on")) {
		s.Retired = g.when(d)
		at := s.Retired.At
		s.Ended = &at
	}
	s.RetiredWhy = assets.RetiredWhy(v.get("retired_why").text)
	if s.Ended != nil && s.RetiredWhy == "" {
		s.RetiredWhy = assets.RetiredUnknown
	}
	s.FailureMode, s.Remark = v.get("failure_mode").text, v.get("remark").text
	s.AsTyped = th.typed(s.AsTyped)
	return s
}
