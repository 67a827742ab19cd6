package plantdb

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"carryside/migrations"
)

// unprotected are the tables whose rows no entry of the journal covers: the journal itself, which its own hashes
// cover, and what is progress or bookkeeping and no fact.
var unprotected = []string{"api_token_uses", "chains", "device_contacts", "goose_db_version", "id_counters", "idempotency_keys", "job_runs", "journal_entries",
	"journal_rows", "meta", "number_blocks", "passkey_uses", "plan_drafts", "rule_progress", "second_factor_uses", "sessions", "sign_up_codes"}

// private are the columns with personal data. The chain sees a salted hash of them.
var private = map[string][]string{"people": {"name", "name_key"}, "contacts": {"email", "phone"}, "accounts": {"sign_in_key", "sign_in_name"}}

// protectedTable is how the journal sees a table: its key and its columns, from the schema of the database.
type protectedTable struct {
	name    string
	key     []string
	columns []protectedColumn // sorted by name
	keyAt   []int             // where the key stands among the columns
	knownTo int               // where known_to stands; -1: the table has none
	list    string            // of the columns, for SELECT
}

type protectedColumn struct {
	name    string
	boolean bool
	private bool // not in the leaf: personal data and their salt
}

// rowKey is the key of a row; tables with a single number leave the rest 0.
type rowKey [3]int64

// shapes keeps the tables of an open database, once they are read.
type shapes struct {
	mu     sync.Mutex
	tables map[string]*protectedTable
}

// protected returns the tables the journal covers, by name.
func (db *DB) protected(ctx context.Context) (map[string]*protectedTable, error) {
	db.shapes.mu.Lock()
	defer db.shapes.mu.Unlock()
	if db.shapes.tables != nil {
		return db.shapes.tables, nil
	}
	query := `SELECT m.name AS t, p.name AS c, lower(p.type) AS kind, p.pk AS in_key FROM sqlite_schema m JOIN pragma_table_info(m.name) p
		WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' ORDER BY m.name, p.name`
	if db.engine == migrations.PostgreSQL {
		query = `SELECT c.table_name::text COLLATE "C" AS t, c.column_name::text COLLATE "C" AS c, c.data_type AS kind, coalesce(k.ordinal_position, 0) AS in_key
			FROM information_schema.columns c
			LEFT JOIN information_schema.table_constraints p ON p.table_schema = c.table_schema AND p.table_name = c.table_name AND p.constraint_type = 'PRIMARY KEY'
			LEFT JOIN information_schema.key_column_usage k ON k.constraint_schema = p.constraint_schema AND k.constraint_name = p.constraint_name AND k.column_name = c.column_name
			WHERE c.table_schema = 'public' ORDER BY 1, 2`
	}
	var columns []struct {
		T, C, Kind string
		InKey      int // place in the primary key, from 1; 0: not in it
	}
	if err := db.SQL(ctx).Raw(query).Scan(&columns).Error; err != nil {
		return nil, fmt.Errorf("read the tables: %w", err)
	}
	tables := map[string]*protectedTable{}
	for _, c := range columns {
		if slices.Contains(unprotected, c.T) {
			continue
		}
		t := tables[c.T]
		if t == nil {
			t = &protectedTable{name: c.T}
			tables[c.T] = t
		}
		t.columns = append(t.columns, protectedColumn{c.C, c.Kind == "boolean", slices.Contains(private[c.T], c.C) || c.C == "private_salt"})
		if c.InKey > 0 {
			t.key = append(t.key, c.C)
			t.keyAt = append(t.keyAt, c.InKey)
		}
	}
	for _, t := range tables {
		if err := t.arrange(db.engine); err != nil {
			return nil, err
		}
	}
	db.shapes.tables = tables
	return tables, nil
}

// arrange works out key and column list once the columns are known. Until then keyAt holds the places of the key's
// columns in the primary key.
func (t *protectedTable) arrange(engine migrations.Engine) error {
	if len(t.key) == 0 || len(t.key) > len(rowKey{}) {
		return fmt.Errorf("the table %s has a primary key of %d columns; the journal takes one to three integers", t.name, len(t.key))
	}
	key := make([]string, len(t.key))
	for i, place := range t.keyAt {
		key[place-1] = t.key[i]
	}
	t.key = key
	for i, name := range t.key {
		t.keyAt[i] = t.place(name)
	}
	t.knownTo = t.place("known_to")
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = `t."` + c.name + `"`
		if c.boolean && engine == migrations.SQLite {
			names[i] = "+" + names[i] // the number as stored, not what the driver makes of a column called boolean
		}
	}
	t.list = strings.Join(names, ", ")
	return nil
}

// place returns where a column stands, -1 when there is none.
func (t *protectedTable) place(name string) int {
	return slices.IndexFunc(t.columns, func(c protectedColumn) bool { return c.name == name })
}

// has tells whether the table has a column.
func (t *protectedTable) has(name string) bool { return t.place(name) >= 0 }

// storedRow is a row as read for the journal.
type storedRow struct {
	key     rowKey
	knownTo int64 // 0: open
	leaf    leaf
	values  []any // in the order of the columns; only until the next row
	apart   bool  // its personal data do not fit their hash
}

// each hands over rows of a query whose columns are t.list and, behind it, those scanned into extra.
func (t *protectedTable) each(rows *Found, extra []any, fn func(*storedRow) error) error {
	r := storedRow{values: make([]any, len(t.columns))}
	places := make([]any, 0, len(t.columns)+len(extra))
	for i := range r.values {
		places = append(places, &r.values[i])
	}
	places = append(places, extra...)
	var buffer []byte
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return err
		}
		r.key, r.knownTo = t.keyOf(r.values), 0
		if t.knownTo >= 0 {
			r.knownTo, _ = r.values[t.knownTo].(int64)
		}
		buffer = t.appendRow(append(buffer[:0], 0), r.values)
		r.leaf = sha256.Sum256(buffer)
		r.apart = private[t.name] != nil && !t.privateFits(r.values)
		if err := fn(&r); err != nil {
			return err
		}
	}
	return rows.Err()
}

// appendRow writes the canonical row: what is empty and known_to, which a later entry protects, are left out.
func (t *protectedTable) appendRow(dst []byte, values []any) []byte {
	dst = append(dst, `{"row":{`...)
	first := true
	for i, c := range t.columns {
		if values[i] == nil || i == t.knownTo || c.private {
			continue
		}
		if !first {
			dst = append(dst, ',')
		}
		first = false
		dst = append(append(append(dst, '"'), c.name...), '"', ':')
		dst = appendValue(dst, c.boolean, values[i])
	}
	return append(append(append(dst, `},"table":"`...), t.name...), '"', '}')
}

// endedLeaf is the leaf of "this row is no longer held to be so".
func (t *protectedTable) endedLeaf(key rowKey) leaf {
	dst := []byte(`{"ended":{`)
	order := make([]int, len(t.key))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(t.key[a], t.key[b]) })
	for n, i := range order {
		if n > 0 {
			dst = append(dst, ',')
		}
		dst = strconv.AppendInt(append(append(append(dst, '"'), t.key[i]...), '"', ':'), key[i], 10)
	}
	return leafOf(append(append(append(dst, `},"table":"`...), t.name...), '"', '}'))
}

// describe names a row in a sentence.
func (t *protectedTable) describe(key rowKey) string {
	if len(t.key) == 1 {
		return fmt.Sprintf("Row %d of %s", key[0], t.name)
	}
	parts := make([]string, len(t.key))
	for i, name := range t.key {
		parts[i] = fmt.Sprintf("%s %d", name, key[i])
	}
	return "The row of " + t.name + " with " + strings.Join(parts, ", ")
}

// Erased stands as hash of personal data that were erased.
const Erased = "erased"

// ErasedName stands in place of the name of a person who was erased.
func ErasedName(personID int64) string { return fmt.Sprintf("erased person %d", personID) }

// privateFits tells whether the personal data of a row are those its hash was made of, or nothing where they
// were erased.
func (t *protectedTable) privateFits(values []any) bool {
	salt, hash := t.text(values, "private_salt"), t.text(values, "private_hash")
	if hash != Erased {
		return salt != "" && hash == t.privateHash(values, salt)
	}
	for i, c := range t.columns {
		if c.private && values[i] != "" && values[i] != ErasedName(t.keyOf(values)[0]) {
			return false
		}
	}
	return true
}

func (t *protectedTable) keyOf(values []any) (key rowKey) {
	for i, at := range t.keyAt {
		key[i], _ = values[at].(int64)
	}
	return key
}

// privateHash is the SHA-256 of the salt, a line feed and the personal columns as a canonical object.
func (t *protectedTable) privateHash(values []any, salt string) string {
	data := append([]byte(salt), "\n{"...)
	first := true
	for i, c := range t.columns {
		if !c.private || c.name == "private_salt" {
			continue
		}
		if !first {
			data = append(data, ',')
		}
		first = false
		data = append(appendText(data, c.name), ':')
		data = appendValue(data, false, values[i])
	}
	return fmt.Sprintf("%x", sha256.Sum256(append(data, '}')))
}

func (t *protectedTable) text(values []any, column string) string {
	for i, c := range t.columns {
		if c.name == column {
			s, _ := values[i].(string)
			return s
		}
	}
	return ""
}

// newSalt is 128 random bits.
func newSalt() string {
	var b [16]byte
	rand.Read(b[:]) // never fails (crypto/rand)
	return fmt.Sprintf("%x", b[:])
}
