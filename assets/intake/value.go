package intake

import (
	"math"

	"carryside/assets"
)

// value is what a cell says, or what the register holds: one of text, number, date, splice kind or yes and no.
type value struct {
	set    bool
	flag   bool
	timed  bool
	open   bool // a date of which nothing is known but that the thing exists
	minute int16
	num    float64
	step   float64 // one of the last digit written; 0 for a stored value
	text   string  // text; of a date its words, of a quantity what was typed
	from   assets.Day
	to     assets.Day
	kind   *spliceKind
}

func textValue(s string) value { return value{set: s != "", text: s} }

func numValue(n float64) value { return value{set: n != 0, num: n} }

// whenValue is a date of the register.
func whenValue(w assets.When) value {
	if w.IsZero() {
		return value{}
	}
	return value{set: true, from: w.Earliest, to: w.Latest, text: w.AsWritten, timed: w.Timed, open: w.Latest == "" && (w.AsWritten == "" || noWord(w.AsWritten))}
}

// exact tells whether a date is one day.
func (v value) exact() bool { return v.from != "" && v.from == v.to }

// printed is a value as the outcome prints it.
func (v value) printed(f *field) any {
	switch f.shape {
	case shapeQuantity, shapeHours:
		return v.num
	case shapeGrade:
		return int(v.num)
	case shapeMeasured:
		return v.num
	case shapeFlag:
		return v.flag
	case shapeSpliceKind:
		return v.kind.word
	case shapeDate:
		return v.printedDate()
	}
	return v.text
}

func (v value) printedDate() any {
	switch {
	case v.exact() && v.timed:
		return string(v.from) + "T" + clockText(int(v.minute))
	case v.exact() && v.text == "":
		return v.from
	}
	w := WhenJSON{AsWritten: v.text}
	if v.from != "" {
		w.Earliest = &v.from
	}
	if v.to != "" {
		w.Latest = &v.to
	}
	return w
}

func clockText(minute int) string {
	d := func(n int) string { return string(rune('0'+n/10)) + string(rune('0'+n%10)) }
	return d(minute/60) + ":" + d(minute%60) + ":00"
}

// sameAsStored tells whether the register's value is the one written in the file: put into the file's unit and rounded
// to the digits written there. A date is compared by its days, a splice kind by the halves that both name.
func (v value) sameAsStored(f *field, stored value) bool {
	switch f.shape {
	case shapeQuantity, shapeMeasured, shapeHours:
		return math.Abs(v.num-stored.num) <= v.step/2+1e-9*math.Max(1e-3, math.Abs(v.num))
	case shapeGrade:
		return v.num == stored.num
	case shapeFlag:
		return v.flag == stored.flag
	case shapeSpliceKind:
		return stored.kind.agrees(*v.kind) && (stored.kind.form != "" || v.kind.form == "") && (stored.kind.bond != "" || v.kind.bond == "")
	case shapeDate:
		return v.sameDays(stored)
	}
	return sameText(v.text, stored.text)
}

func (v value) sameDays(o value) bool {
	if v.open || o.open {
		return v.open == o.open
	}
	return v.from == o.from && v.to == o.to
}

// agrees tells whether two values of one file can both be: quantities within 1 % are rounding, the rest must be equal.
func (v value) agrees(f *field, o value) bool {
	switch f.shape {
	case shapeQuantity, shapeMeasured:
		return math.Abs(v.num-o.num) <= 0.01*math.Max(math.Abs(v.num), math.Abs(o.num))+1e-12
	case shapeHours:
		return v.num == o.num
	case shapeSpliceKind:
		return v.kind.agrees(*o.kind)
	}
	if o.step == 0 {
		return v.sameAsStored(f, o)
	}
	return o.sameAsStored(f, v)
}

// fills tells whether o says more than v does of the same thing.
func (v value) fills(f *field, o value) bool {
	if !o.set {
		return false
	}
	if !v.set {
		return true
	}
	return f.shape == shapeSpliceKind && (v.kind.form == "" && o.kind.form != "" || v.kind.bond == "" && o.kind.bond != "")
}

// values are the values of one record by field.
type values map[*field]value

func (m values) get(name string) value { return m[fieldNamed[name]] }

func (m values) put(name string, v value) {
	if v.set {
		m[fieldNamed[name]] = v
	}
}
