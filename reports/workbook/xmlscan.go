package workbook

import (
	"bytes"
	"errors"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// errXML tells that a part of a workbook is no well-formed XML.
var errXML = errors.New("is damaged: a part of it is not well-formed XML; open it and save it as .xlsx")

// errDTD tells that a part declares entities or a document type, which workbooks never do.
var errDTD = errors.New("holds a DOCTYPE or ENTITY declaration in its XML, which workbooks do not have; open it and save it as .xlsx")

// maxToken is the longest tag or text between two tags that is read.
const maxToken = 1 << 20

// xmlScanner walks over the XML of a part tag by tag.
//
// The parts of a workbook can be 200 MB of nothing; encoding/xml makes several objects for each tag and takes a minute for
// what this scanner passes in two seconds. It reads what workbooks hold: elements, attributes, text, CDATA and the five
// built-in entities. Names lose their prefix. Declarations are refused, nothing is expanded or fetched.
type xmlScanner struct {
	r     io.Reader
	buf   []byte
	from  int // unread bytes are buf[from:to]
	to    int
	ended bool

	name    []byte // of the last tag, without prefix
	attrs   []byte // between name and >
	closing bool   // </name>
	single  bool   // <name/>
}

func newXMLScanner(r io.Reader) *xmlScanner { return &xmlScanner{r: r, buf: make([]byte, 1<<16)} }

// fill reads more, moving what is unread to the front. It returns false at the end.
func (s *xmlScanner) fill() (bool, error) {
	if s.ended {
		return false, nil
	}
	if s.from > 0 {
		copy(s.buf, s.buf[s.from:s.to])
		s.to -= s.from
		s.from = 0
	}
	if s.to == len(s.buf) {
		if len(s.buf) >= 2*maxToken {
			return false, errXML
		}
		s.buf = append(s.buf, make([]byte, len(s.buf))...)
	}
	n, err := s.r.Read(s.buf[s.to:])
	s.to += n
	if errors.Is(err, io.EOF) {
		s.ended = true
		return n > 0, nil
	}
	if err != nil {
		return false, errXML
	}
	return true, nil
}

// until finds end behind from, reading more as needed, and returns its place relative to from.
func (s *xmlScanner) until(end string, from int) (int, error) {
	for {
		if i := bytes.Index(s.buf[s.from+from:s.to], []byte(end)); i >= 0 {
			return from + i, nil
		}
		from = max(from, s.to-s.from-len(end)+1)
		more, err := s.fill()
		if err != nil {
			return 0, err
		}
		if !more {
			return 0, io.ErrUnexpectedEOF
		}
	}
}

// next moves to the next tag and passes the text before it over. It returns false at the end of the part.
func (s *xmlScanner) next() (bool, error) {
	for {
		for {
			if i := bytes.IndexByte(s.buf[s.from:s.to], '<'); i >= 0 {
				s.from += i
				break
			}
			s.from = s.to
			more, err := s.fill()
			if err != nil || !more {
				return false, err
			}
		}
		tag, err := s.tag()
		if err != nil || tag {
			return tag, err
		}
	}
}

// tag reads the tag at from; false for a comment, an instruction or a CDATA section, which are passed over.
func (s *xmlScanner) tag() (bool, error) {
	for s.to-s.from < 9 {
		more, err := s.fill()
		if err != nil {
			return false, err
		}
		if !more {
			break
		}
	}
	b := s.buf[s.from:s.to]
	end := ">"
	switch {
	case bytes.HasPrefix(b, []byte("<!--")):
		end = "-->"
	case bytes.HasPrefix(b, []byte("<![CDATA[")):
		end = "]]>"
	case bytes.HasPrefix(b, []byte("<!")):
		return false, errDTD
	case bytes.HasPrefix(b, []byte("<?")):
		end = "?>"
	default:
		return true, s.element()
	}
	i, err := s.skipTo(end)
	if err != nil {
		return false, err
	}
	s.from += i
	return false, nil
}

// skipTo passes a section of any length over and returns the length of what is left of it.
func (s *xmlScanner) skipTo(end string) (int, error) {
	for {
		if i := bytes.Index(s.buf[s.from:s.to], []byte(end)); i >= 0 {
			return i + len(end), nil
		}
		s.from = max(s.from, s.to-len(end)+1)
		more, err := s.fill()
		if err != nil {
			return 0, err
		}
		if !more {
			return 0, errXML
		}
	}
}

// element reads <name attrs>, </name> or <name/>. A > inside quotes does not end it.
func (s *xmlScanner) element() error {
	at := 1
	for {
		i, err := s.until(">", at)
		if err != nil {
			return errXML
		}
		body := s.buf[s.from+1 : s.from+i]
		if quotesClosed(body) {
			s.split(body)
			s.from += i + 1
			return nil
		}
		if at = i + 1; at > maxToken {
			return errXML
		}
	}
}

// quotesClosed tells whether every quote of a tag is closed.
func quotesClosed(b []byte) bool {
	if bytes.IndexByte(b, '"') < 0 && bytes.IndexByte(b, '\'') < 0 {
		return true
	}
	var open byte
	for _, c := range b {
		switch {
		case open == 0 && (c == '"' || c == '\''):
			open = c
		case c == open:
			open = 0
		}
	}
	return open == 0
}

// split takes a tag's body apart.
func (s *xmlScanner) split(body []byte) {
	s.closing = len(body) > 0 && body[0] == '/'
	if s.closing {
		body = body[1:]
	}
	s.single = len(body) > 0 && body[len(body)-1] == '/'
	if s.single {
		body = body[:len(body)-1]
	}
	end := 0
	for end < len(body) && body[end] > ' ' {
		end++
	}
	s.name, s.attrs = body[:end], body[end:]
	if i := bytes.IndexByte(s.name, ':'); i >= 0 {
		s.name = s.name[i+1:]
	}
}

// is tells whether the last tag opens an element of that name.
func (s *xmlScanner) is(name string) bool { return !s.closing && string(s.name) == name }

// closes tells whether the last tag ends an element of that name, or is one without content.
func (s *xmlScanner) closes(name string) bool {
	return (s.closing || s.single) && string(s.name) == name
}

// attr returns an attribute of the last tag by its name without prefix, "" for none.
func (s *xmlScanner) attr(name string) string {
	b := s.attrs
	for {
		b = bytes.TrimLeft(b, " \t\r\n")
		eq := bytes.IndexByte(b, '=')
		if eq < 0 {
			return ""
		}
		key := bytes.TrimSpace(b[:eq])
		if i := bytes.IndexByte(key, ':'); i >= 0 {
			key = key[i+1:]
		}
		b = bytes.TrimLeft(b[eq+1:], " \t\r\n")
		if len(b) == 0 || (b[0] != '"' && b[0] != '\'') {
			return ""
		}
		end := bytes.IndexByte(b[1:], b[0])
		if end < 0 {
			return ""
		}
		if string(key) == name {
			return unescape(b[1 : 1+end])
		}
		b = b[end+2:]
	}
}

// text reads the text up to the end of the element that the last tag opened; elements inside are not expected in it.
func (s *xmlScanner) text(limit int) (string, error) {
	if s.single {
		return "", nil
	}
	var out []byte
	for {
		i, err := s.until("<", 0)
		if err != nil {
			return "", errXML
		}
		out = append(out, unescape(s.buf[s.from:s.from+i])...)
		if len(out) > limit {
			return "", errLongCell
		}
		s.from += i
		if s.to-s.from < 9 {
			if _, err := s.fill(); err != nil {
				return "", err
			}
		}
		if !bytes.HasPrefix(s.buf[s.from:s.to], []byte("<![CDATA[")) {
			return string(out), nil
		}
		end, err := s.until("]]>", 9)
		if err != nil {
			return "", errXML
		}
		out = append(out, s.buf[s.from+9:s.from+end]...)
		s.from += end + 3
	}
}

// unescape replaces the built-in entities and character numbers; any other entity stays as it is written.
func unescape(b []byte) string {
	if bytes.IndexByte(b, '&') < 0 {
		return string(b)
	}
	var out strings.Builder
	for len(b) > 0 {
		i := bytes.IndexByte(b, '&')
		if i < 0 {
			out.Write(b)
			break
		}
		out.Write(b[:i])
		b = b[i:]
		end := bytes.IndexByte(b[:min(len(b), 12)], ';')
		if end < 0 {
			out.WriteByte('&')
			b = b[1:]
			continue
		}
		out.WriteString(entity(string(b[1:end])))
		b = b[end+1:]
	}
	return out.String()
}

func entity(name string) string {
	switch name {
	case "amp":
		return "&"
	case "lt":
		return "<"
	case "gt":
		return ">"
	case "quot":
		return `"`
	case "apos":
		return "'"
	}
	if n, ok := strings.CutPrefix(name, "#"); ok {
		base := 10
		if h, isHex := strings.CutPrefix(strings.ToLower(n), "x"); isHex {
			n, base = h, 16
		}
		if c, err := strconv.ParseUint(n, base, 32); err == nil && c > 0 && utf8.ValidRune(rune(c)) {
			return string(rune(c))
		}
		return ""
	}
	return "&" + name + ";"
}
