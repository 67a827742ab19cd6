package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// Case is one case of a file: its fields, its name and the list it stands in.
type Case struct {
	Fields
	ID   any    // the id as written, or the place when there is none
	List string // the name of the array that holds it, when the file is an object of arrays

	beside Beside
}

// ErrNotCases is a document that is neither an array of cases nor an object holding arrays of them.
var ErrNotCases = errors.New("the file is not a list of cases: write a JSON array of objects, or an object holding such arrays")

// split reads a document into its cases, numbered from 1 by their place in the whole document.
func split(document []byte) ([]*Case, error) {
	document = bytes.TrimPrefix(document, []byte("\ufeff"))
	if !json.Valid(document) {
		return nil, whereBroken(document)
	}
	var array []json.RawMessage
	if json.Unmarshal(document, &array) == nil && array != nil {
		return number(nil, "", array)
	}
	lists, err := listsInOrder(document)
	if err != nil {
		return nil, err
	}
	var cases []*Case
	for _, l := range lists {
		if cases, err = number(cases, l.name, l.entries); err != nil {
			return nil, err
		}
	}
	return cases, nil
}

// whole reads a document that is one case.
func whole(document []byte) ([]*Case, error) {
	document = bytes.TrimPrefix(document, []byte("\ufeff"))
	if !json.Valid(document) {
		return nil, whereBroken(document)
	}
	return number(nil, "", []json.RawMessage{document})
}

// whereBroken says where a document stops being JSON.
func whereBroken(document []byte) error {
	var syntax *json.SyntaxError
	if errors.As(json.Unmarshal(document, new(any)), &syntax) {
		line := 1 + bytes.Count(document[:min(int(syntax.Offset), len(document))], []byte("\n"))
		return fmt.Errorf("the file is no JSON from line %d on; check quotes, commas and brackets there", line)
	}
	return ErrNotCases
}

// list is one array of an object of arrays.
type list struct {
	name    string
	entries []json.RawMessage
}

// listsInOrder reads the arrays of an object in the order in which they are written; a Go map would lose it, and with
// it the numbering.
func listsInOrder(document []byte) ([]list, error) {
	d := json.NewDecoder(bytes.NewReader(document))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return nil, ErrNotCases
	}
	var lists []list
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, ErrNotCases
		}
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			return nil, ErrNotCases
		}
		l := list{name: fmt.Sprint(name)}
		if json.Unmarshal(raw, &l.entries) == nil && l.entries != nil {
			lists = append(lists, l)
		}
	}
	if _, err := d.Token(); err != nil && !errors.Is(err, io.EOF) || len(lists) == 0 {
		return nil, ErrNotCases
	}
	return lists, nil
}

// number appends the entries of one array as cases.
func number(cases []*Case, name string, entries []json.RawMessage) ([]*Case, error) {
	for _, raw := range entries {
		place := len(cases) + 1
		c := &Case{ID: place, List: name}
		c.failed = new(*MissingField)
		if json.Unmarshal(raw, &c.raw) != nil || c.raw == nil {
			return nil, fmt.Errorf("case %d is not an object; write its fields in braces", place)
		}
		c.where = strconv.Itoa(place)
		if c.Has("id") {
			c.ID = c.raw["id"]
			c.where = string(bytes.Trim(c.raw["id"], `"`))
		}
		cases = append(cases, c)
	}
	return cases, nil
}
