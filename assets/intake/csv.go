package intake

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// Limits of a file. A plant's list is a hundredth of them; what is beyond is a mistake or an attack.
const (
	MaxFileBytes = 64 << 20
	MaxRows      = 250_000
	MaxColumns   = 1_000
	MaxCellChars = 32_767
	MaxCells     = 6_000_000 // keeps the memory of a full-width file bounded
	maxLineBytes = 1 << 20
)

// CSVOptions are what a mapping tells of a CSV; empty means by content.
type CSVOptions struct {
	Separator string
	Encoding  string
}

// encodings by the names a mapping may use.
var encodings = map[string]encoding.Encoding{
	"utf-8":        unicode.UTF8BOM,
	"windows-1252": charmap.Windows1252,
	"iso-8859-1":   charmap.Windows1252, // what calls itself so is windows-1252 in practice
	"utf-16":       unicode.UTF16(unicode.LittleEndian, unicode.UseBOM),
	"utf-16le":     unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM),
	"utf-16be":     unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM),
}

// ReadCSV reads a CSV whole: encoding and separator by content unless told, quotes doubled, line ends CRLF, LF or CR.
//
// A row's number is the line of the file on which its record begins, counted from 1, blank lines counted. Errors say in
// one sentence why the file cannot be taken and what to do.
func ReadCSV(name string, data []byte, opt CSVOptions) (*Book, error) {
	sum := sha256.Sum256(data)
	book := &Book{Name: name, SHA256: hex.EncodeToString(sum[:]), CSV: true, Styles: make([]Style, 1)}
	if len(data) > MaxFileBytes {
		return nil, fmt.Errorf("%s is larger than %d MB, the limit for one file; split it", name, MaxFileBytes>>20)
	}
	text, enc, err := decode(data, opt.Encoding)
	if err != nil {
		return nil, fmt.Errorf("%s %w", name, err)
	}
	book.Encoding = enc
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, fmt.Errorf("%s is empty: there are no rows to read; save the list again and check that it holds the table", name)
	}
	if err := longestLine(text); err != nil {
		return nil, fmt.Errorf("%s %w", name, err)
	}
	book.Separator = opt.Separator
	start, told := separatorLine(text)
	if book.Separator == "" {
		if book.Separator = told; told == "" {
			book.Separator = guessSeparator(text)
		}
	}
	r := csvReader{text: text, at: start, line: 1, sep: book.Separator[0]}
	if start > 0 {
		r.line = 2
	}
	rows, err := r.all()
	if err != nil {
		return nil, fmt.Errorf("%s %w", name, err)
	}
	book.Sheets = []*Sheet{{Rows: rows}}
	return book, nil
}

// decode turns the bytes into UTF-8 without a byte order mark.
func decode(data []byte, told string) (text []byte, name string, err error) {
	utf16 := bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff})
	switch {
	case told != "":
		name = strings.ToLower(told)
	case utf16:
		name = "utf-16"
	case utf8.Valid(data):
		name = "utf-8"
	default:
		name = "windows-1252"
	}
	e, ok := encodings[name]
	if !ok {
		return nil, "", fmt.Errorf("cannot be read as %s; use utf-8, windows-1252 or utf-16", quoted(told))
	}
	if !strings.HasPrefix(name, "utf-16") && bytes.IndexByte(data, 0) >= 0 {
		return nil, "", errors.New("holds NUL bytes, so it is not a text file; save the list as CSV (UTF-8) or as .xlsx and bring that in")
	}
	if name == "utf-8" {
		return bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")), name, nil
	}
	if text, err = e.NewDecoder().Bytes(data); err != nil {
		return nil, "", fmt.Errorf("cannot be read as %s; save it as CSV (UTF-8)", name)
	}
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, "", errors.New("holds NUL characters, so it is not a text file; save the list as CSV (UTF-8)")
	}
	return text, name, nil
}

// longestLine refuses a line beyond the limit before anything is built from it.
func longestLine(text []byte) error {
	line := 1
	for len(text) > 0 {
		end := bytes.IndexAny(text, "\r\n")
		if end < 0 {
			end = len(text)
		}
		if end > maxLineBytes {
			return fmt.Errorf("has a line longer than 1 MB (line %d), which no list has; check how it was saved and bring in the table itself", line)
		}
		if end == len(text) {
			return nil
		}
		text, line = text[end+1:], line+1
	}
	return nil
}

// separatorLine reads a first line "sep=;", which some programs write to tell the separator.
func separatorLine(text []byte) (length int, sep string) {
	if len(text) < 5 || !strings.EqualFold(string(text[:4]), "sep=") {
		return 0, ""
	}
	end := bytes.IndexByte(text, '\n')
	if rest := bytes.TrimRight(text[4:max(end, 4)], "\r"); end > 0 && len(rest) == 1 {
		return end + 1, string(rest)
	}
	return 0, ""
}

// separators in the order that decides a tie.
var separators = []string{";", "\t", ",", "|"}

// guessSeparator takes the sign that splits most of the first lines into the same number of fields.
func guessSeparator(text []byte) string {
	best, bestWeight := ",", 0
	for _, sep := range separators {
		r := csvReader{text: text, line: 1, sep: sep[0], limit: 200}
		rows, err := r.fieldCounts()
		if err != nil {
			continue
		}
		counts := map[int]int{}
		weight := 0
		for _, n := range rows {
			if n > 1 {
				counts[n]++
				weight = max(weight, counts[n]*(n-1))
			}
		}
		if weight > bestWeight {
			best, bestWeight = sep, weight
		}
	}
	return best
}

// csvReader walks over the text record by record.
type csvReader struct {
	text   []byte
	at     int
	line   int
	sep    byte
	limit  int // records at most; 0 all
	fields []string
}

var errOpenQuote = errors.New("has a quote that is opened and never closed")

// record reads one record into fields and returns the line it began on; ok is false at the end.
func (r *csvReader) record() (line int, ok bool, err error) {
	r.fields = r.fields[:0]
	if r.at >= len(r.text) {
		return 0, false, nil
	}
	line, begin := r.line, r.at
	for {
		field, err := r.field()
		if err != nil {
			return line, false, fmt.Errorf("%w (line %d); close it or leave it out", err, line)
		}
		if r.at-begin > maxLineBytes {
			return line, false, fmt.Errorf("has a row longer than 1 MB (line %d); check its quotes", line)
		}
		r.fields = append(r.fields, field)
		if r.at >= len(r.text) {
			return line, true, nil
		}
		switch c := r.text[r.at]; {
		case c == r.sep:
			r.at++
			if r.at == len(r.text) {
				r.fields = append(r.fields, "")
				return line, true, nil
			}
		default:
			r.lineEnd()
			return line, true, nil
		}
	}
}

// lineEnd steps over CRLF, LF or CR.
func (r *csvReader) lineEnd() {
	if r.text[r.at] == '\r' && r.at+1 < len(r.text) && r.text[r.at+1] == '\n' {
		r.at++
	}
	r.at++
	r.line++
}

// field reads up to the next separator or line end outside quotes.
func (r *csvReader) field() (string, error) {
	if r.at < len(r.text) && r.text[r.at] == '"' {
		return r.quotedField()
	}
	begin := r.at
	for r.at < len(r.text) && !r.stop(r.text[r.at]) {
		r.at++
	}
	return string(r.text[begin:r.at]), nil
}

func (r *csvReader) stop(c byte) bool { return c == r.sep || c == '\n' || c == '\r' }

// quotedField reads a field in quotes; what follows the closing quote up to the separator belongs to it too, as programs
// that write 24" without doubling the quote leave it.
func (r *csvReader) quotedField() (string, error) {
	var b strings.Builder
	r.at++
	for r.at < len(r.text) {
		c := r.text[r.at]
		switch {
		case c == '"' && r.at+1 < len(r.text) && r.text[r.at+1] == '"':
			b.WriteByte('"')
			r.at += 2
			continue
		case c == '"':
			r.at++
			begin := r.at
			for r.at < len(r.text) && !r.stop(r.text[r.at]) {
				r.at++
			}
			b.Write(r.text[begin:r.at])
			return b.String(), nil
		case c == '\n' || (c == '\r' && (r.at+1 == len(r.text) || r.text[r.at+1] != '\n')):
			r.line++
		}
		b.WriteByte(c)
		r.at++
	}
	return "", errOpenQuote
}

// fieldCounts tells how many fields the first records have.
func (r *csvReader) fieldCounts() ([]int, error) {
	var counts []int
	for len(counts) < r.limit {
		_, ok, err := r.record()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
		counts = append(counts, len(r.fields))
	}
	return counts, nil
}

// all reads every record with content.
func (r *csvReader) all() ([]Row, error) {
	var rows []Row
	cells := 0
	for {
		line, ok, err := r.record()
		if err != nil {
			return nil, err
		}
		if !ok {
			return rows, nil
		}
		row := Row{Number: line}
		for i, f := range r.fields {
			if trimmed(f) == "" {
				continue
			}
			if i >= MaxColumns {
				return nil, fmt.Errorf("has more than %d columns with content (line %d); bring in the columns of the list only", MaxColumns, line)
			}
			if len(f) > MaxCellChars && utf8.RuneCountInString(f) > MaxCellChars {
				return nil, fmt.Errorf("has a cell longer than %d characters (line %d); shorten it", MaxCellChars, line)
			}
			row.Cells = append(row.Cells, Cell{Col: int32(i + 1), Kind: textKind(f), Text: inert(f)})
		}
		if len(row.Cells) == 0 {
			continue
		}
		cells += len(row.Cells)
		if rows = append(rows, row); len(rows) > MaxRows || cells > MaxCells {
			return nil, fmt.Errorf("has more than %d rows or %d cells with content, the limit for one file; split it", MaxRows, MaxCells)
		}
	}
}

// inert takes off the apostrophe that an export puts before a text which would run in a spreadsheet.
func inert(s string) string {
	if len(s) > 1 && s[0] == '\'' && strings.IndexByte("=+-@\t\r", s[1]) >= 0 {
		return s[1:]
	}
	return s
}

// errorWords are how spreadsheets write an error value into a text file.
var errorWords = set("#N/A", "#NV", "#REF!", "#BEZUG!", "#VALUE!", "#WERT!", "#DIV/0!", "#NAME?", "#NUM!", "#ZAHL!", "#NULL!", "#¡REF!", "#¡VALOR!", "#¡DIV/0!", "#¿NOMBRE?", "#SPILL!")

// textKind tells an error value that was saved as text from other texts.
func textKind(s string) CellKind {
	if t := trimmed(s); strings.HasPrefix(t, "#") && errorWords[strings.ToUpper(t)] {
		return Failed
	}
	return Text
}

// KindOfText tells what a text cell of a workbook holds: nothing but blanks, an error value, or text.
func KindOfText(s string) CellKind {
	if trimmed(s) == "" {
		return Blank
	}
	return textKind(s)
}
