package moving

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets/plantdb"
	"carryside/migrations"
)

// kind is what a column holds, on either engine.
type kind string

const (
	integer kind = "integer"
	number  kind = "number"
	text    kind = "text"
	yesNo   kind = "yes or no"
	bytes   kind = "bytes"
)

// kinds are the declared types of both engines.
var kinds = map[string]kind{
	"integer": integer, "bigint": integer, "smallint": integer, "real": number, "double precision": number, "text": text,
	"boolean": yesNo, "blob": bytes, "bytea": bytes,
}

type column struct {
	name string
	kind kind
}

// table is a table as both engines have it: columns sorted by name, and the key that orders its rows.
type table struct {
	name    string
	columns []column
	key     []string
	refers  []string // tables that must be filled before
}

// notCarried are tables that belong to the database and not to the installation in it.
var notCarried = []string{"goose_db_version"}

// tablesOf reads the tables of a database in an order in which they can be filled.
func tablesOf(ctx context.Context, db *plantdb.DB) ([]table, error) {
	columns, refers := sqliteColumns, sqliteRefers
	if db.Engine() == migrations.PostgreSQL {
		columns, refers = postgresColumns, postgresRefers
	}
	var rows []struct {
		T, C, Kind string
		Place      int // in the key, from 1; 0: not part of it
	}
	if err := db.SQL(ctx).Raw(columns).Scan(&rows).Error; err != nil {
		return nil, fmt.Errorf("read the tables: %w", err)
	}
	var list []table
	keys := map[string]map[int]string{}
	for _, r := range rows {
		if slices.Contains(notCarried, r.T) {
			continue
		}
		if len(list) == 0 || list[len(list)-1].name != r.T {
			list, keys[r.T] = append(list, table{name: r.T}), map[int]string{}
		}
		t := &list[len(list)-1]
		k, known := kinds[strings.ToLower(r.Kind)]
		if !known {
			return nil, fmt.Errorf("%s.%s is a %s, which cannot be carried", r.T, r.C, r.Kind)
		}
		t.columns = append(t.columns, column{r.C, k})
		if r.Place > 0 {
			keys[r.T][r.Place] = r.C
		}
	}
	for i := range list {
		for place := 1; place <= len(keys[list[i].name]); place++ {
			list[i].key = append(list[i].key, keys[list[i].name][place])
		}
		if len(list[i].key) == 0 {
			return nil, fmt.Errorf("%s has no key to order its rows by", list[i].name)
		}
	}
	var refs []struct{ T, Refers string }
	if err := db.SQL(ctx).Raw(refers).Scan(&refs).Error; err != nil {
		return nil, fmt.Errorf("read the tables: %w", err)
	}
	for _, r := range refs {
		if i := slices.IndexFunc(list, func(t table) bool { return t.name == r.T }); i >= 0 && r.T != r.Refers {
			list[i].refers = append(list[i].refers, r.Refers)
		}
	}
	return inOrder(list), nil
}

const (
	sqliteColumns = `SELECT m.name AS t, p.name AS c, p.type AS kind, p.pk AS place FROM sqlite_schema m JOIN pragma_table_info(m.name) p
		WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' ORDER BY m.name, p.name`
	sqliteRefers = `SELECT DISTINCT m.name AS t, f."table" AS refers FROM sqlite_schema m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table' ORDER BY 1, 2`

	postgresColumns = `SELECT c.table_name::text COLLATE "C" AS t, c.column_name::text COLLATE "C" AS c, c.data_type AS kind, coalesce(k.ordinal_position, 0) AS place
		FROM information_schema.columns c
		LEFT JOIN information_schema.table_constraints tc ON tc.table_schema = 'public' AND tc.table_name = c.table_name AND tc.constraint_type = 'PRIMARY KEY'
		LEFT JOIN information_schema.key_column_usage k ON k.table_schema = 'public' AND k.constraint_name = tc.constraint_name AND k.table_name = c.table_name AND k.column_name = c.column_name
		WHERE c.table_schema = 'public' ORDER BY 1, 2`
	postgresRefers = `SELECT DISTINCT a.relname::text AS t, b.relname::text AS refers FROM pg_constraint f JOIN pg_class a ON a.oid = f.conrelid
		JOIN pg_class b ON b.oid = f.confrelid WHERE f.contype = 'f' AND f.connamespace = 'public'::regnamespace ORDER BY 1, 2`
)

// inOrder puts tables behind those they refer to and otherwise leaves them by name.
func inOrder(list []table) []table {
	var out []table
	placed := map[string]bool{}
	for len(list) > 0 {
		i := slices.IndexFunc(list, func(t table) bool {
			return !slices.ContainsFunc(t.refers, func(r string) bool { return !placed[r] })
		})
		i = max(i, 0) // a circle cannot be filled in any order; the engine then says so
		out, placed[list[i].name] = append(out, list[i]), true
		list = slices.Delete(list, i, i+1)
	}
	return out
}

// sameTables says in what two databases differ, nil when rows of one fit the other.
func sameTables(a, b []table) error {
	of := map[string]table{}
	for _, t := range b {
		of[t.name] = t
	}
	for _, t := range a {
		other, ok := of[t.name]
		if !ok || !slices.Equal(t.columns, other.columns) || !slices.Equal(t.key, other.key) {
			return fmt.Errorf("the table %s is not the same on both sides; bring both to this version with carryside serve", t.name)
		}
		delete(of, t.name)
	}
	for name := range of {
		return fmt.Errorf("the table %s is on one side only; bring both to this version with carryside serve", name)
	}
	return nil
}

// selection is the query for all rows in the order of their key.
func (t table) selection(engine migrations.Engine) string {
	names := make([]string, len(t.columns))
	for i, c := range t.columns {
		names[i] = quoted(c.name)
		if c.kind == yesNo && engine == migrations.SQLite {
			names[i] = "+" + names[i] // the number as stored, not what the driver makes of it
		}
	}
	return "SELECT " + strings.Join(names, ", ") + " FROM " + quoted(t.name) + " ORDER BY " + quotedList(t.key)
}

func quoted(name string) string { return `"` + name + `"` }

func quotedList(names []string) string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = quoted(n)
	}
	return strings.Join(out, ", ")
}

func (t table) names() []string {
	out := make([]string, len(t.columns))
	for i, c := range t.columns {
		out[i] = c.name
	}
	return out
}

// plain brings the values of a row to the same Go types whichever engine they came from.
func (t table) plain(values []any) error {
	for i, c := range t.columns {
		v, ok := plain(c.kind, values[i])
		if !ok {
			return fmt.Errorf("%s.%s holds a %T where a %s belongs; run carryside verify", t.name, c.name, values[i], c.kind)
		}
		values[i] = v
	}
	return nil
}

func plain(k kind, v any) (any, bool) {
	switch v := v.(type) {
	case nil:
		return nil, true
	case int64:
		if k == yesNo {
			return v == 1, v == 0 || v == 1
		}
		return v, k == integer
	case bool:
		return v, k == yesNo
	case float64:
		return v, k == number
	case string:
		return v, k == text
	case []byte:
		if k == text {
			return string(v), true
		}
		return v, k == bytes
	}
	return v, false
}
