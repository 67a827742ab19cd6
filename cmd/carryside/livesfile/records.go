package livesfile

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// record is one line of the file, or several when a quoted field holds line breaks.
type record struct {
	fields      []string // without the spaces round them
	first, last int      // lines, counted from 1 in the file
}

// where names the line, or the lines, of a record.
func (r *record) where() string {
	if r.last > r.first {
		return fmt.Sprintf("lines %d to %d", r.first, r.last)
	}
	return fmt.Sprintf("line %d", r.first)
}

// scanner cuts a text into records by RFC 4180, forgiving spaces round quoted fields and quotes inside bare ones.
type scanner struct {
	text []byte
	line int // of the next byte
}

// newScanner starts a text, past its byte order mark.
func newScanner(text []byte) *scanner {
	return &scanner{text: bytes.TrimPrefix(text, []byte("\ufeff")), line: 1}
}

// next returns the next record that is not blank, nil at the end.
func (s *scanner) next() (*record, error) {
	for len(s.text) > 0 {
		r, err := s.record()
		if err != nil {
			return nil, err
		}
		if len(r.fields) > 1 || r.fields[0] != "" {
			return r, nil
		}
	}
	return nil, nil
}

// record reads up to the line break that ends a record.
func (s *scanner) record() (*record, error) {
	r := &record{first: s.line}
	for {
		field, more, err := s.field()
		if err != nil {
			return nil, err
		}
		if !utf8.ValidString(field) {
			return nil, fmt.Errorf("line %d, field %d is not UTF-8 text; save the file as UTF-8", r.first, len(r.fields)+1)
		}
		r.fields = append(r.fields, field)
		if !more {
			break
		}
	}
	r.last = s.line
	s.endLine()
	return r, nil
}

// endLine steps over a line break.
func (s *scanner) endLine() {
	if len(s.text) == 0 {
		return
	}
	n := 1
	if bytes.HasPrefix(s.text, []byte("\r\n")) {
		n = 2
	}
	s.text = s.text[n:]
	s.line++
}

// field reads one field and says whether a comma, and so another one, follows.
func (s *scanner) field() (field string, more bool, err error) {
	s.text = bytes.TrimLeft(s.text, " \t")
	if len(s.text) > 0 && s.text[0] == '"' {
		return s.quoted()
	}
	end := bytes.IndexAny(s.text, ",\r\n")
	if end < 0 {
		end = len(s.text)
	}
	field = strings.TrimSpace(string(s.text[:end]))
	s.text = s.text[end:]
	return field, s.comma(), nil
}

// quoted reads a field in quotes.
func (s *scanner) quoted() (field string, more bool, err error) {
	opened, inside := s.line, []byte(nil)
	s.text = s.text[1:]
	for {
		end := bytes.IndexByte(s.text, '"')
		if end < 0 {
			return "", false, fmt.Errorf("line %d: a quoted field is opened and never closed; close it with a quote", opened)
		}
		inside = append(inside, s.text[:end]...)
		s.line += bytes.Count(s.text[:end], []byte("\n"))
		s.text = s.text[end+1:]
		if len(s.text) == 0 || s.text[0] != '"' {
			break
		}
		inside = append(inside, '"')
		s.text = s.text[1:]
	}
	s.text = bytes.TrimLeft(s.text, " \t")
	if len(s.text) > 0 && !strings.ContainsRune(",\r\n", rune(s.text[0])) {
		return "", false, fmt.Errorf("line %d: text follows a quoted field; put the whole field in quotes and double the quotes inside", s.line)
	}
	return strings.TrimSpace(string(inside)), s.comma(), nil
}

// comma steps over a comma and says whether there was one.
func (s *scanner) comma() bool {
	if len(s.text) == 0 || s.text[0] != ',' {
		return false
	}
	s.text = s.text[1:]
	return true
}
