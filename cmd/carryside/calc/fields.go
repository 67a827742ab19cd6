package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
)

// MissingField is a field that a case needs and does not have, or has in another form than a number, text, list or object.
type MissingField struct {
	Case  string // the case's id, or its place counted from 1
	Field string // the path of the field, such as input.pulleys[2].diameter_mm
	Want  string // what belongs there; empty when the field is absent
}

// Error names case and field in one line.
func (m *MissingField) Error() string {
	if m.Want == "" {
		return fmt.Sprintf("case %s: the field %s is missing; add it", m.Case, m.Field)
	}
	return fmt.Sprintf("case %s: the field %s is not %s; correct it", m.Case, m.Field, m.Want)
}

// Fields reads the fields of one object of a case.
//
// The first field found missing is kept and every later read gives a zero value, so that a kind reads all it needs and
// asks Err once, before it computes.
type Fields struct {
	where  string // the case, as a person would look it up
	path   string // the path of this object inside the case, with a final dot unless it is the case itself
	raw    map[string]json.RawMessage
	failed **MissingField // shared by all objects of one case
}

// Err returns the first field found missing, or nil.
func (f *Fields) Err() error {
	if *f.failed == nil {
		return nil
	}
	return *f.failed
}

// Has reports whether the field is there and not null.
func (f *Fields) Has(name string) bool {
	raw, there := f.raw[name]
	return there && !bytes.Equal(bytes.TrimSpace(raw), []byte("null"))
}

// Raw returns the field as it is written, or nil when it is not there.
func (f *Fields) Raw(name string) json.RawMessage {
	if !f.Has(name) {
		return nil
	}
	return f.raw[name]
}

// Number reads a needed number. One too large for a float64 is read as an infinity, for the computing package to refuse.
func (f *Fields) Number(name string) float64 {
	var n json.Number
	if !f.need(name, "a number", &n) {
		return 0
	}
	v, err := strconv.ParseFloat(n.String(), 64)
	if err != nil && !errors.Is(err, strconv.ErrRange) {
		f.fail(name, "a number")
	}
	return v
}

// NumberOr reads a number that may be absent.
func (f *Fields) NumberOr(name string, absent float64) float64 {
	if !f.Has(name) {
		return absent
	}
	return f.Number(name)
}

// Whole reads a needed whole number, 4.0 like 4.
func (f *Fields) Whole(name string) int64 {
	v := f.Number(name)
	if v != math.Trunc(v) || math.Abs(v) > 1<<53 {
		f.fail(name, "a whole number")
		return 0
	}
	return int64(v)
}

// Exact reads a needed number, written as a number or as text, without rounding it to binary.
func (f *Fields) Exact(name string) *big.Rat {
	text := string(bytes.Trim(f.Raw(name), `"`))
	// A float64 first: it keeps an exponent of a thousand million from being written out digit by digit.
	v, err := strconv.ParseFloat(text, 64)
	exact, ok := new(big.Rat), false
	if err == nil && (v == 0 || v > 1e-300 || v < -1e-300) {
		exact, ok = exact.SetString(text)
	}
	if !ok {
		f.need(name, "a number", new(json.RawMessage))
		f.fail(name, "a number")
		return new(big.Rat)
	}
	return exact
}

// Text reads a needed text.
func (f *Fields) Text(name string) string {
	var s string
	f.need(name, "text", &s)
	return s
}

// TextOr reads a text that may be absent.
func (f *Fields) TextOr(name, absent string) string {
	if !f.Has(name) {
		return absent
	}
	return f.Text(name)
}

// Flag reads a needed true or false.
func (f *Fields) Flag(name string) bool {
	var b bool
	f.need(name, "true or false", &b)
	return b
}

// Object reads a needed object. Missing, it reads as one without fields whose absence is not reported again.
func (f *Fields) Object(name string) *Fields {
	child := &Fields{where: f.where, path: f.path + name + ".", failed: f.failed}
	f.need(name, "an object", &child.raw)
	return child
}

// Objects reads a needed list of objects.
func (f *Fields) Objects(name string) []*Fields {
	var list []json.RawMessage
	f.need(name, "a list", &list)
	children := make([]*Fields, len(list))
	for i, raw := range list {
		at := fmt.Sprintf("%s[%d]", name, i)
		children[i] = &Fields{where: f.where, path: f.path + at + ".", failed: f.failed}
		if json.Unmarshal(raw, &children[i].raw) != nil || children[i].raw == nil {
			f.fail(at, "an object")
		}
	}
	return children
}

// Decode reads a needed field into any Go value; want says in words what belongs there.
func (f *Fields) Decode(name, want string, into any) { f.need(name, want, into) }

// need decodes a field and reports whether that went well.
func (f *Fields) need(name, want string, into any) bool {
	if !f.Has(name) {
		f.fail(name, "")
		return false
	}
	if json.Unmarshal(f.raw[name], into) != nil {
		f.fail(name, want)
		return false
	}
	return true
}

// fail keeps the first missing field only: the ones after it often follow from it.
func (f *Fields) fail(name, want string) {
	if *f.failed == nil {
		*f.failed = &MissingField{Case: f.where, Field: f.path + name, Want: want}
	}
}
