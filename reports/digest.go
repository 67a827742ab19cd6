package reports

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"sort"
	"strconv"
	"time"
	"unicode/utf8"
)

// digest proves a report's rows whatever form they are given in.
//
// It is SHA-256 over one line per row, each the JSON object of the row in the canonical form of RFC 8785
// (keys sorted, no blanks, numbers as ECMAScript writes them, only the escapes that must be) and a line
// feed. Before the rows stands one line: the JSON array of the column keys in the order of the columns. A
// text is a string, a number a number, a date "YYYY-MM-DD", an instant RFC 3339 in UTC, an empty cell null.
// Values are those shown: rounded to the column's decimals. In a shell:
//
//	(jq -c '[.columns[].key]' FILE.json; jq -cS '.rows[]' FILE.json) | sha256sum
type digest struct {
	sum   hash.Hash
	order []int    // columns sorted by key
	keys  [][]byte // the keys in that order, as JSON with the colon
	line  []byte
	rows  int

	columns []columnDigest // in the order of the columns; nil: not taken
}

// columnDigest digests one column by the way: its values are gathered and hashed some thousand bytes at a time.
type columnDigest struct {
	sum     hash.Hash
	waiting []byte
}

// enough is how many bytes of a column are hashed at once.
const enough = 4000

// byColumn lets the digest of each column be taken too.
func (d *digest) byColumn() {
	d.columns = make([]columnDigest, len(d.order))
	for i := range d.columns {
		d.columns[i].sum = sha256.New()
	}
}

func (c *columnDigest) add(value []byte) {
	c.waiting = append(append(c.waiting, value...), '\n')
	if len(c.waiting) >= enough {
		c.sum.Write(c.waiting)
		c.waiting = c.waiting[:0]
	}
}

// columnProofs returns the digests of the columns.
func (d *digest) columnProofs(columns []Column) []ColumnProof {
	out := make([]ColumnProof, len(columns))
	for i, c := range columns {
		d.columns[i].sum.Write(d.columns[i].waiting)
		d.columns[i].waiting = nil
		out[i] = ColumnProof{Key: c.Key, Title: c.Title(), SHA256: hex.EncodeToString(d.columns[i].sum.Sum(nil))}
	}
	return out
}

func newDigest(columns []Column) *digest {
	d := &digest{sum: sha256.New()}
	head := []byte{'['}
	for i, c := range columns {
		d.order = append(d.order, i)
		if i > 0 {
			head = append(head, ',')
		}
		head = appendString(head, c.Key)
	}
	d.sum.Write(append(head, ']', '\n'))
	sort.Slice(d.order, func(a, b int) bool { return columns[d.order[a]].Key < columns[d.order[b]].Key })
	for _, i := range d.order {
		d.keys = append(d.keys, append(appendString(nil, columns[i].Key), ':'))
	}
	return d
}

// add takes the next row in and returns its canonical line, good until the next one.
func (d *digest) add(row []Cell) []byte {
	b := append(d.line[:0], '{')
	for n, i := range d.order {
		if n > 0 {
			b = append(b, ',')
		}
		b = append(b, d.keys[n]...)
		from := len(b)
		b = appendCell(b, row[i])
		if d.columns != nil {
			d.columns[i].add(b[from:])
		}
	}
	d.line = append(b, '}', '\n')
	d.sum.Write(d.line)
	d.rows++
	return d.line[:len(d.line)-1]
}

func (d *digest) proof() Proof {
	return Proof{Rows: d.rows, Digest: hex.EncodeToString(d.sum.Sum(nil))}
}

func appendCell(b []byte, c Cell) []byte {
	switch c.kind {
	case "":
		return append(b, "null"...)
	case KindInteger, KindNumber:
		return appendNumber(b, c.num)
	case KindInstant:
		return appendString(b, c.at.Format(time.RFC3339Nano))
	}
	return appendString(b, c.text)
}

// appendNumber writes a number as ECMAScript does (RFC 8785, 3.2.2.3): plain from 1e-6 up to below 1e21,
// with an exponent without leading zeros beyond.
func appendNumber(b []byte, v float64) []byte {
	if v == 0 {
		return append(b, '0')
	}
	if a := max(v, -v); a >= 1e-6 && a < 1e21 {
		return strconv.AppendFloat(b, v, 'f', -1, 64)
	}
	s := strconv.FormatFloat(v, 'e', -1, 64)
	if n := len(s); s[n-2] == '0' && (s[n-3] == '-' || s[n-3] == '+') {
		s = s[:n-2] + s[n-1:]
	}
	return append(b, s...)
}

const hexDigits = "0123456789abcdef"

// appendString writes a JSON string with the escapes of RFC 8785, 3.2.2.2; what is no UTF-8 becomes U+FFFD.
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r == '\b':
			b = append(b, '\\', 'b')
		case r == '\t':
			b = append(b, '\\', 't')
		case r == '\n':
			b = append(b, '\\', 'n')
		case r == '\f':
			b = append(b, '\\', 'f')
		case r == '\r':
			b = append(b, '\\', 'r')
		case r < 0x20:
			b = append(b, '\\', 'u', '0', '0', hexDigits[r>>4], hexDigits[r&15])
		default:
			b = utf8.AppendRune(b, r)
		}
	}
	return append(b, '"')
}
