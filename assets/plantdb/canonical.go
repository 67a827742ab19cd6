package plantdb

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
)

// The journal's canonical form of a value is that of RFC 8785 (JSON Canonicalization Scheme): sorted names, no
// blanks, numbers as ECMAScript writes them, the fewest escapes. It is written from the values as the
// database holds them, so that both engines and any other language come to the same bytes.

// appendValue writes a column's value as the database returned it.
func appendValue(dst []byte, boolean bool, v any) []byte {
	switch v := v.(type) {
	case int64:
		if boolean && (v == 0 || v == 1) {
			return strconv.AppendBool(dst, v == 1)
		}
		return strconv.AppendInt(dst, v, 10)
	case float64:
		return appendNumber(dst, v)
	case bool:
		return strconv.AppendBool(dst, v)
	case string:
		return appendText(dst, v)
	case []byte:
		sum := sha256.Sum256(v) // a piece of a file: its own digest stands for it
		return appendText(dst, "sha256:"+hexOf(sum))
	}
	return fmt.Append(dst, v)
}

// appendNumber writes a number as ECMAScript does (ECMA-262, Number::toString; RFC 8785, section 3.2.2.3): the
// fewest digits that read back as the same value, with an exponent below 1e-6 and from 1e21 on.
func appendNumber(dst []byte, f float64) []byte {
	if f == 0 {
		return append(dst, '0') // minus zero too
	}
	if size := math.Abs(f); size >= 1e-6 && size < 1e21 {
		return strconv.AppendFloat(dst, f, 'f', -1, 64)
	}
	dst = strconv.AppendFloat(dst, f, 'e', -1, 64)
	if n := len(dst); n > 3 && dst[n-4] == 'e' && dst[n-3] == '-' && dst[n-2] == '0' { // e-07 is written e-7
		dst[n-2] = dst[n-1]
		dst = dst[:n-1]
	}
	return dst
}

// appendText writes a string (RFC 8785, section 3.2.2.2). Bytes that are no UTF-8 stay as they are: a changed
// byte must change the hash.
func appendText(dst []byte, s string) []byte {
	const hex = "0123456789abcdef"
	dst = append(dst, '"')
	plain := 0
	for i := range len(s) {
		b := s[i]
		if b >= 0x20 && b != '"' && b != '\\' {
			continue
		}
		dst = append(dst, s[plain:i]...)
		plain = i + 1
		switch b {
		case '"', '\\':
			dst = append(dst, '\\', b)
		case '\b':
			dst = append(dst, '\\', 'b')
		case '\t':
			dst = append(dst, '\\', 't')
		case '\n':
			dst = append(dst, '\\', 'n')
		case '\f':
			dst = append(dst, '\\', 'f')
		case '\r':
			dst = append(dst, '\\', 'r')
		default:
			dst = append(dst, '\\', 'u', '0', '0', hex[b>>4], hex[b&15])
		}
	}
	return append(append(dst, s[plain:]...), '"')
}

// A leaf is the hash of one row in the tree of its entry.
type leaf [sha256.Size]byte

// leafOf is the leaf of a canonical row (RFC 9162, section 2.1.1: a zero byte, then the data).
func leafOf(data []byte) leaf {
	return sha256.Sum256(append([]byte{0}, data...))
}

// tree computes the root over leaves in their order as they come (RFC 9162, section 2.1.1: a node is the hash of
// a one byte and its two children; the left one is the largest full tree). It keeps one hash for each full tree.
type tree struct {
	full []leaf // of falling size
	size int
}

func (t *tree) add(l leaf) {
	t.full = append(t.full, l)
	t.size++
	for n := t.size; n%2 == 0; n /= 2 {
		last := len(t.full) - 1
		t.full[last-1] = node(t.full[last-1], t.full[last])
		t.full = t.full[:last]
	}
}

// root is the hash over all leaves; over none it is the hash of nothing.
func (t *tree) root() leaf {
	if t.size == 0 {
		return sha256.Sum256(nil)
	}
	right := t.full[len(t.full)-1]
	for i := len(t.full) - 2; i >= 0; i-- {
		right = node(t.full[i], right)
	}
	return right
}

func hexOf(sum leaf) string { return hex.EncodeToString(sum[:]) }

func node(left, right leaf) leaf {
	var data [1 + 2*sha256.Size]byte
	data[0] = 1
	copy(data[1:], left[:])
	copy(data[1+sha256.Size:], right[:])
	return sha256.Sum256(data[:])
}

// noHash stands before the first entry of a chain.
const noHash = "0000000000000000000000000000000000000000000000000000000000000000"

// appendCanonical writes the entry as its hash sees it.
func (e *Entry) appendCanonical(b []byte, customerID int64) []byte {
	number := func(name string, v int64) { b = strconv.AppendInt(append(b, name...), v, 10) }
	text := func(name, v string) { b = appendText(append(b, name...), v) }
	text(`{"action":`, e.Action)
	number(`,"at":`, int64(e.At))
	number(`,"chain_id":`, e.ChainID)
	text(`,"changes":`, e.Changes)
	number(`,"clock_at":`, int64(e.ClockAt))
	number(`,"customer_id":`, customerID)
	number(`,"leaf_count":`, e.LeafCount)
	text(`,"origin":`, string(e.Origin))
	number(`,"person_id":`, e.PersonID)
	number(`,"plant_id":`, e.PlantID)
	number(`,"position":`, e.Position)
	text(`,"reason":`, e.Reason)
	text(`,"rows_root":`, e.RowsRoot)
	return append(b, '}')
}

// hashOf is the hash of an entry: over the hash of the entry before it, a line feed and the canonical entry.
func (e *Entry) hashOf(customerID int64) string {
	return hexOf(sha256.Sum256(e.appendHashed(make([]byte, 0, 400+len(e.Changes)+len(e.Reason)), customerID)))
}

// appendHashed writes what the hash is over.
func (e *Entry) appendHashed(b []byte, customerID int64) []byte {
	return e.appendCanonical(append(append(b, e.PrevHash...), '\n'), customerID)
}
