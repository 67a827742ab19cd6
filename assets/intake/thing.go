package intake

import (
	"fmt"

	"carryside/assets"
)

// thing is a conveyor, belt or splice while its rows are judged.
type thing struct {
	kind    Kind
	stored  bool
	implied bool // a belt that the file says nothing of
	tag     string
	vals    values
	given   values // what rows of this file gave, apart from what the register has
	origin  *entry // the row of this file that gives it; nil: none yet
	cause   *entry // the row of this file that ended it
	changes []FieldChange
	remarks []Remark
	belt    *thing // of a splice

	conveyor assets.Conveyor
	beltRec  assets.Belt
	splice   assets.Splice
}

// clash is a value of a row that disagrees with what another row of the file gives.
type clash struct {
	f          *field
	have, want value
}

// clash finds a value that disagrees with those that rows of this file gave before. A blank never does.
func (th *thing) clash(vals values) *clash {
	for _, f := range fields {
		v, ok := vals[f]
		have, known := th.given[f]
		if ok && known && v.set && f.name != "remark" && !have.agrees(f, v) {
			return &clash{f, have, v}
		}
	}
	return nil
}

// merge takes a row's values in: against the register they change what differs, against the file they fill what is blank.
// Whether a row brings news is told by the file alone, so that it is the same at every import.
func (th *thing) merge(e *entry, vals values) {
	first := th.origin == nil
	if first {
		th.origin, th.given = e, values{}
	}
	for _, f := range fields {
		v, ok := vals[f]
		if !ok || !v.set {
			continue
		}
		before, was := th.given[f]
		if was && !before.fills(f, v) {
			continue
		}
		th.given[f] = v.joined(f, before)
		th.take(f, v)
		e.news++
	}
	if first {
		e.news++
	} else if e.twin == nil {
		e.twin = th.origin
	}
	e.things = append(e.things, th)
}

// take sets a value that the file gives: blank ones are filled, other ones changed.
func (th *thing) take(f *field, v value) {
	have, known := th.vals[f]
	switch {
	case !known || !have.set, !th.stored:
		th.change(f, v, false)
	case !v.sameAsStored(f, have):
		th.change(f, v, f.fromNow)
	}
}

// joined is a splice kind with the half that an earlier row named; other values stay.
func (v value) joined(f *field, before value) value {
	if f.shape == shapeSpliceKind && before.kind != nil {
		k := v.kind.with(*before.kind)
		v.kind = &k
	}
	return v
}

// change sets a value, and notes it for a thing of the register.
func (th *thing) change(f *field, v value, fromNow bool) {
	have, known := th.vals[f]
	if f.shape == shapeSpliceKind && known && have.kind != nil {
		k := v.kind.with(*have.kind)
		v.kind = &k
	}
	th.vals[f] = v
	if !th.stored {
		return
	}
	c := FieldChange{Field: f.key, After: v.printed(f), FromNow: fromNow}
	if known && have.set {
		c.Before = have.printed(f)
	}
	for i := range th.changes {
		if th.changes[i].Field == f.key {
			th.changes[i].After = c.After
			return
		}
	}
	th.changes = append(th.changes, c)
}

// action says what becomes of the thing.
func (th *thing) action() string {
	switch {
	case !th.stored:
		return "created"
	case len(th.changes) > 0:
		return "changed"
	}
	return "unchanged"
}

// remark adds a remark to the thing's record.
func (th *thing) remark(class, fieldName, text string) {
	th.remarks = append(th.remarks, Remark{class, fieldName, text})
}

// refuseClash refuses a row for a value that disagrees with another row's.
func (e *entry) refuseClash(c *clash, other *entry, what string) {
	col := e.t.byField[c.f.name]
	e.refuse(col, faultContradicts, c.f.shown(c.want), fmt.Sprintf("contradicts %s, which gives %s for the same %s; correct one of them", e.other(other), quoted(c.f.shown(c.have)), what))
}

// shown is a value as a sentence says it.
func (f *field) shown(v value) string {
	switch f.shape {
	case shapeQuantity, shapeHours, shapeMeasured, shapeGrade:
		if v.text != "" {
			return v.text
		}
		return digits(v.num)
	case shapeFlag:
		if v.flag {
			return "yes"
		}
		return "no"
	case shapeDate:
		if v.text != "" {
			return v.text
		}
		if v.exact() {
			return string(v.from)
		}
		return intervalWords(v.from, v.to)
	}
	return v.text
}

// printedFields lists a record's values in the order of the contract.
func printedFields(vals values) Fields {
	out := make(Fields, 0, len(vals))
	for _, f := range fields {
		v, ok := vals[f]
		if !ok || !v.set {
			continue
		}
		if f.shape == shapeMeasured {
			if v.kind != nil {
				out = append(out, Field{"measurement", v.num}, Field{"measurement_unit", v.kind.word})
			} else {
				out = append(out, Field{"measurement_m", v.num})
			}
			continue
		}
		out = append(out, Field{f.key, v.printed(f)})
	}
	return out
}
