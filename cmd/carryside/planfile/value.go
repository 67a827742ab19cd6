package planfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"unicode/utf8"
)

// maxWhole bounds every number of a case, so that no sum over a case's jobs can run over 64 bits.
const maxWhole = 1_000_000_000_000

// A value is a piece of the document with the words that say where it stands.
type value struct {
	where string
	any
}

// an object is a JSON object with the words that say where it stands.
type object struct {
	where  string
	fields map[string]any
}

// parse reads exactly one JSON value. Field names are matched exactly, which the standard decoder into structs does not do.
func parse(text []byte) (any, error) {
	if !utf8.Valid(text) {
		return nil, errors.New("this is not JSON in UTF-8: it holds bytes that are no text")
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, notJSON(text, d.InputOffset(), err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("this is not JSON: something follows the case after byte %d; leave one object in the file", d.InputOffset())
	}
	return v, nil
}

// notJSON says at which line the text stops being JSON.
func notJSON(text []byte, offset int64, err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("this is not JSON: the file ends in the middle; write it again whole")
	}
	if syntax := new(json.SyntaxError); errors.As(err, &syntax) {
		offset = syntax.Offset
	}
	line := 1 + bytes.Count(text[:min(int(offset), len(text))], []byte("\n"))
	return fmt.Errorf("this is not JSON: line %d, byte %d: %w", line, offset, err)
}

// object is the value as an object.
func (v value) object() (object, error) {
	m, ok := v.any.(map[string]any)
	if !ok {
		return object{}, fmt.Errorf("%s is not an object", v.where)
	}
	return object{v.where, m}, nil
}

// list is the value as a list, each entry knowing its place.
func (v value) list() ([]value, error) {
	entries, ok := v.any.([]any)
	if !ok {
		return nil, fmt.Errorf("%s is not a list", v.where)
	}
	out := make([]value, len(entries))
	for i, e := range entries {
		out[i] = value{fmt.Sprintf("%s[%d]", v.where, i), e}
	}
	return out, nil
}

// tuple is the value as a list of exactly n entries, all keeping the words of the whole.
func (v value) tuple(n int) ([]value, error) {
	entries, ok := v.any.([]any)
	if !ok || len(entries) != n {
		return nil, fmt.Errorf("%s is not a list of %d", v.where, n)
	}
	out := make([]value, n)
	for i, e := range entries {
		out[i] = value{v.where, e}
	}
	return out, nil
}

// text is the value as a text; must asks for at least one character.
func (v value) text(must bool) (string, error) {
	s, ok := v.any.(string)
	if !ok {
		return "", fmt.Errorf("%s is not a text", v.where)
	}
	if must && s == "" {
		return "", fmt.Errorf("%s is empty", v.where)
	}
	return s, nil
}

// whole is the value as a whole number of at least least, written without point and exponent.
func (v value) whole(least int) (int, error) {
	n, ok := v.any.(json.Number)
	if !ok {
		return 0, fmt.Errorf("%s is not a whole number", v.where)
	}
	i, err := strconv.ParseInt(n.String(), 10, 64)
	switch {
	case errors.Is(err, strconv.ErrRange), err == nil && i > maxWhole:
		return 0, fmt.Errorf("%s is %.40s, above %d", v.where, n, maxWhole)
	case err != nil:
		return 0, fmt.Errorf("%s is %.40s, not a whole number", v.where, n)
	case int(i) < least:
		return 0, fmt.Errorf("%s is %d, less than %d", v.where, i, least)
	}
	return int(i), nil
}

// flag is the value as true or false.
func (v value) flag() (bool, error) {
	b, ok := v.any.(bool)
	if !ok {
		return false, fmt.Errorf("%s is neither true nor false", v.where)
	}
	return b, nil
}

// field is a member of the object; an error when it is missing.
func (o object) field(name string) (value, error) {
	v, there := o.fields[name]
	if !there {
		return value{}, fmt.Errorf("%s has no %s", o.where, name)
	}
	return value{o.of(name), v}, nil
}

// of says where a member stands.
func (o object) of(name string) string {
	if o.where == "" {
		return name
	}
	return o.where + ": " + name
}

// optional is a member that may be missing; there says whether it is given and, with nullable, not null.
func (o object) optional(name string, nullable bool) (v value, there bool) {
	x, there := o.fields[name]
	if !there || nullable && x == nil {
		return value{}, false
	}
	return value{o.of(name), x}, true
}

// whole is a required whole number.
func (o object) whole(name string, least int) (int, error) {
	v, err := o.field(name)
	if err != nil {
		return 0, err
	}
	return v.whole(least)
}

// wholeOr is a whole number with a default; null counts as missing when nullable.
func (o object) wholeOr(name string, least, missing int, nullable bool) (int, error) {
	v, there := o.optional(name, nullable)
	if !there {
		return missing, nil
	}
	return v.whole(least)
}

// text is a required text of at least one character.
func (o object) text(name string) (string, error) {
	v, err := o.field(name)
	if err != nil {
		return "", err
	}
	return v.text(true)
}

// textOr is a describing text that may be missing or empty.
func (o object) textOr(name string) (string, error) {
	v, there := o.optional(name, false)
	if !there {
		return "", nil
	}
	return v.text(false)
}

// flagOr is true or false with a default.
func (o object) flagOr(name string, missing bool) (bool, error) {
	v, there := o.optional(name, false)
	if !there {
		return missing, nil
	}
	return v.flag()
}

// list is a required list.
func (o object) list(name string) ([]value, error) {
	v, err := o.field(name)
	if err != nil {
		return nil, err
	}
	return v.list()
}

// listOr is a list that may be missing.
func (o object) listOr(name string) ([]value, error) {
	v, there := o.optional(name, false)
	if !there {
		return nil, nil
	}
	return v.list()
}
