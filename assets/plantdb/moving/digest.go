package moving

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"strconv"
	"strings"

	"carryside/assets/plantdb"
)

// Digest is the SHA-256 over all rows of a table: equal on both engines when the rows are.
type Digest struct {
	Table  string
	Rows   int64
	SHA256 string
}

// String is the line that move prints.
func (d Digest) String() string { return fmt.Sprintf("%s %d rows %s", d.Table, d.Rows, d.SHA256) }

// summing computes a digest as rows come by in the order of their key.
//
// It is taken over a first line with the table's name and its columns, sorted by name, and a line for each row with
// the values in that order, apart by commas: nothing for an empty value, integers in decimal, numbers with the fewest
// digits that read back as the same value, true or false, text in quotes with Go's escapes, bytes as hexadecimal digits.
type summing struct {
	Digest
	sum  hash.Hash
	line []byte
}

func newSumming(t table) *summing {
	s := &summing{Digest: Digest{Table: t.name}, sum: sha256.New()}
	s.sum.Write([]byte(t.name + " " + strings.Join(t.names(), ",") + "\n"))
	return s
}

// add takes in a row whose values are plain.
func (s *summing) add(values []any) {
	line := s.line[:0]
	for i, v := range values {
		if i > 0 {
			line = append(line, ',')
		}
		switch v := v.(type) {
		case int64:
			line = strconv.AppendInt(line, v, 10)
		case float64:
			line = strconv.AppendFloat(line, v+0, 'g', -1, 64) // minus zero is zero: SQLite keeps it so
		case bool:
			line = strconv.AppendBool(line, v)
		case string:
			line = strconv.AppendQuote(line, v)
		case []byte:
			line = hex.AppendEncode(append(line, 'x'), v)
		}
	}
	s.line = append(line, '\n')
	s.sum.Write(s.line)
	s.Rows++
}

func (s *summing) digest() Digest {
	s.SHA256 = hex.EncodeToString(s.sum.Sum(nil))
	return s.Digest
}

// Digests returns the digest of every table, all of one moment.
func Digests(ctx context.Context, db *plantdb.DB) (all []Digest, err error) {
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		tables, err := tablesOf(ctx, tx)
		for _, t := range tables {
			if err != nil {
				break
			}
			s := newSumming(t)
			err = rowsOf(ctx, tx, t, func(values []any) error { s.add(values); return nil })
			all = append(all, s.digest())
		}
		return err
	})
	return all, err
}

// rowsOf hands over every row of a table in the order of its key; the values are good until the next.
func rowsOf(ctx context.Context, db *plantdb.DB, t table, fn func(values []any) error) error {
	rows, err := db.Query(ctx, t.selection(db.Engine()))
	if err != nil {
		return fmt.Errorf("read %s: %w", t.name, err)
	}
	return eachRow(rows, t, fn)
}

// rowsRead are rows of a connection, or of a database that says in a sentence what goes wrong with them.
type rowsRead interface {
	Next() bool
	Scan(places ...any) error
	Err() error
	Close() error
}

func eachRow(rows rowsRead, t table, fn func(values []any) error) error {
	defer rows.Close()
	values, places := make([]any, len(t.columns)), make([]any, len(t.columns))
	for i := range values {
		places[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return fmt.Errorf("read %s: %w", t.name, err)
		}
		if err := t.plain(values); err != nil {
			return err
		}
		if err := fn(values); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read %s: %w", t.name, err)
	}
	return nil
}
