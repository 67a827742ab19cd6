package plantdb

import (
	"context"
	"encoding/binary"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"carryside/migrations"
)

// touched are the keys of the rows of a table that a change wrote and ended.
type touched struct {
	written, ended []rowKey
}

// Wrote says which row of a table a statement wrote or changed in place, by its key: row_id for facts, the three
// of a reading, id otherwise. Every statement must say so, or the row is one that no entry protects.
func (c *Change) Wrote(ch *Chain, table string, key ...int64) {
	t := ch.touch(table)
	t.written = append(t.written, keyFrom(key))
}

// Ended says of which row a statement set known_to.
func (c *Change) Ended(ch *Chain, table string, key ...int64) {
	t := ch.touch(table)
	t.ended = append(t.ended, keyFrom(key))
}

// WroteRows is Wrote for rows as they were written.
func WroteRows[T any](c *Change, ch *Chain, rows []T) error {
	tables, err := c.protected(c.ctx)
	if err != nil || len(rows) == 0 {
		return err
	}
	s, err := c.schemaOf(&rows[0])
	if err != nil {
		return err
	}
	t := tables[s.Table]
	if t == nil {
		return fmt.Errorf("no entry can protect a row of %s", s.Table)
	}
	for i := range rows {
		var key rowKey
		for k, name := range t.key {
			key[k] = s.FieldsByDBName[name].ReflectValueOf(c.ctx, reflect.ValueOf(&rows[i]).Elem()).Int()
		}
		c.Wrote(ch, s.Table, key[:len(t.key)]...)
	}
	return nil
}

func keyFrom(key []int64) (k rowKey) {
	copy(k[:], key)
	return k
}

func (ch *Chain) touch(table string) *touched {
	if ch.touched == nil {
		ch.touched = map[string]*touched{}
	}
	if ch.touched[table] == nil {
		ch.touched[table] = &touched{}
	}
	return ch.touched[table]
}

// Kinds of leaves.
const (
	kindWritten = "written"
	kindEnded   = "ended"
)

// leavesPerPart is how many leaves stand in one row of journal_rows.
const leavesPerPart = 1000

// keepLeaves reads back the rows that the change wrote, as the database holds them, and keeps their keys and
// leaves. What is stored is what is proved, whichever statement stored it.
func (c *Change) keepLeaves(ch *Chain) (root string, count int64, err error) {
	tables, err := c.protected(c.ctx)
	if err != nil {
		return "", 0, err
	}
	k := leafKeeper{db: c.DB, ctx: c.ctx, chainID: ch.ID, position: ch.Position}
	for _, name := range slices.Sorted(maps.Keys(ch.touched)) {
		t := tables[name]
		if t == nil {
			return "", 0, fmt.Errorf("no entry can protect a row of %s", name)
		}
		if err := k.ended(t, ch.touched[name].ended); err != nil {
			return "", 0, err
		}
		if err := k.written(t, ch.touched[name].written); err != nil {
			return "", 0, err
		}
	}
	return hexOf(k.tree.root()), int64(k.tree.size), nil
}

// leafKeeper writes the leaves of one entry in the order of its tree.
type leafKeeper struct {
	db                *DB
	ctx               context.Context
	chainID, position int64
	parts             int64
	tree              tree
}

func distinct(keys []rowKey) []rowKey {
	slices.SortFunc(keys, func(a, b rowKey) int { return slices.Compare(a[:], b[:]) })
	return slices.Compact(keys)
}

func (k *leafKeeper) ended(t *protectedTable, keys []rowKey) error {
	for some := range slices.Chunk(distinct(keys), leavesPerPart) {
		var data []byte
		for _, key := range some {
			data = t.appendLeaf(data, key, t.endedLeaf(key))
			k.tree.add(t.endedLeaf(key))
		}
		if err := k.keep(t, kindEnded, data); err != nil {
			return err
		}
	}
	return nil
}

func (k *leafKeeper) written(t *protectedTable, keys []rowKey) error {
	for some := range slices.Chunk(distinct(keys), leavesPerPart) {
		if private[t.name] != nil {
			if err := k.sealPrivate(t, some); err != nil {
				return err
			}
		}
		leaves := make([]keyedLeaf, 0, len(some))
		err := k.stored(t, some, func(r *storedRow) error {
			leaves = append(leaves, keyedLeaf{r.key, r.leaf})
			return nil
		})
		if err != nil {
			return err
		}
		if len(leaves) != len(some) {
			return fmt.Errorf("%d rows of %s were written and %d are there", len(some), t.name, len(leaves))
		}
		if err := k.keepWritten(t, leaves); err != nil {
			return err
		}
	}
	return nil
}

// keyedLeaf is a leaf with the key of its row.
type keyedLeaf struct {
	key  rowKey
	leaf leaf
}

func (k *leafKeeper) keepWritten(t *protectedTable, leaves []keyedLeaf) error {
	slices.SortFunc(leaves, func(a, b keyedLeaf) int { return slices.Compare(a.key[:], b.key[:]) })
	data := make([]byte, 0, len(leaves)*t.leafSize())
	for _, l := range leaves {
		data = t.appendLeaf(data, l.key, l.leaf)
		k.tree.add(l.leaf)
	}
	return k.keep(t, kindWritten, data)
}

// keep writes one part.
func (k *leafKeeper) keep(t *protectedTable, kind string, data []byte) error {
	err := k.db.SQL(k.ctx).Exec("INSERT INTO journal_rows (chain_id, position, part, table_name, kind, leaves) VALUES (?, ?, ?, ?, ?, ?)",
		k.chainID, k.position, k.parts, t.name, kind, data).Error
	k.parts++
	return err
}

func (t *protectedTable) leafSize() int { return 8*len(t.key) + len(leaf{}) }

func (t *protectedTable) appendLeaf(dst []byte, key rowKey, l leaf) []byte {
	for i := range t.key {
		dst = binary.BigEndian.AppendUint64(dst, uint64(key[i]))
	}
	return append(dst, l[:]...)
}

// sealPrivate gives rows whose personal data are new or changed a salt and the hash of both.
func (k *leafKeeper) sealPrivate(t *protectedTable, keys []rowKey) error {
	type sealed struct {
		key        int64
		salt, hash string
	}
	var rows []sealed
	err := k.stored(t, keys, func(r *storedRow) error {
		if r.apart {
			salt := newSalt()
			rows = append(rows, sealed{r.key[0], salt, t.privateHash(r.values, salt)})
		}
		return nil
	})
	for _, s := range rows {
		if err == nil {
			err = k.db.SQL(k.ctx).Exec("UPDATE "+t.name+" SET private_salt = ?, private_hash = ? WHERE "+t.key[0]+" = ?", s.salt, s.hash, s.key).Error
		}
	}
	return err
}

// stored reads rows by their keys.
func (k *leafKeeper) stored(t *protectedTable, keys []rowKey, fn func(*storedRow) error) error {
	query, args := t.byKeys(keys, k.db.engine)
	rows, err := queryRows(k.ctx, k.db, query, args...)
	if err != nil {
		return fmt.Errorf("read back %s: %w", t.name, err)
	}
	defer rows.Close()
	return t.each(rows, nil, fn)
}

// byKeys is the query for rows by their keys. PostgreSQL keeps a plan for each text of a statement and gets lists
// as parameters; SQLite is faster with the numbers written out.
func (t *protectedTable) byKeys(keys []rowKey, engine migrations.Engine) (query string, args []any) {
	on := make([]string, len(t.key))
	for i, name := range t.key {
		on[i] = "t." + name + " = k.k" + strconv.Itoa(i)
	}
	tail := " WHERE " + strings.Join(on, " AND ")
	names := []string{"k0", "k1", "k2"}[:len(t.key)]
	if engine == migrations.PostgreSQL {
		lists := make([]string, len(t.key))
		for i := range t.key {
			list := make([]int64, len(keys))
			for n, key := range keys {
				list[n] = key[i]
			}
			lists[i], args = "$"+strconv.Itoa(i+1)+"::bigint[]", append(args, list)
		}
		return "SELECT " + t.list + " FROM unnest(" + strings.Join(lists, ", ") + ") AS k(" + strings.Join(names, ", ") + ") JOIN " + t.name + " t ON" + tail[len(" WHERE"):], args
	}
	sql := []byte("WITH k(" + strings.Join(names, ", ") + ") AS (VALUES ")
	for n, key := range keys {
		if n > 0 {
			sql = append(sql, ',')
		}
		sql = append(sql, '(')
		for i := range t.key {
			if i > 0 {
				sql = append(sql, ',')
			}
			sql = strconv.AppendInt(sql, key[i], 10)
		}
		sql = append(sql, ')')
	}
	return string(sql) + ") SELECT " + t.list + " FROM k CROSS JOIN " + t.name + " t" + tail, nil
}

// sealOld gives the entries of a database from before the hash chain their hashes, once. What was written
// before is protected as it stands now.
func (db *DB) sealOld(ctx context.Context) error {
	if v, err := db.Meta(ctx, unsealedMark); err != nil || v == "" {
		return err
	}
	err := db.InTx(ctx, func(tx *DB) error {
		lock := "SELECT id, customer_id, head_position FROM chains ORDER BY id"
		if tx.engine == migrations.PostgreSQL {
			lock += " FOR UPDATE"
		}
		var chains []chainRow
		if err := tx.SQL(ctx).Raw(lock).Scan(&chains).Error; err != nil {
			return err
		}
		if v, err := tx.Meta(ctx, unsealedMark); err != nil || v == "" {
			return err // another program did it in the meantime
		}
		s := sealing{db: tx, ctx: ctx, chains: chains, of: map[entryKey]map[string]*sealedRows{}}
		if err := s.run(); err != nil {
			return err
		}
		return tx.SQL(ctx).Exec("DELETE FROM meta WHERE name = ?", unsealedMark).Error
	})
	if err != nil {
		return fmt.Errorf("give the journal its hashes: %w", err)
	}
	return nil
}

// unsealedMark stands in meta until the entries from before the hash chain have their hashes.
const unsealedMark = "journal_unsealed"

type entryKey struct{ chainID, position int64 }

// sealedRows are the rows of one table that an old entry wrote and ended.
type sealedRows struct {
	written []keyedLeaf
	ended   []rowKey
}

// sealing goes through all rows once, sorts them to their entries and hashes chain after chain.
type sealing struct {
	db     *DB
	ctx    context.Context
	chains []chainRow
	tables map[string]*protectedTable
	heads  map[int64]chainRow // by customer
	of     map[entryKey]map[string]*sealedRows
}

func (s *sealing) run() (err error) {
	if s.tables, err = s.db.protected(s.ctx); err != nil {
		return err
	}
	s.heads = map[int64]chainRow{}
	for _, ch := range s.chains {
		s.heads[ch.CustomerID] = ch
	}
	for _, t := range s.tables {
		if err := s.collect(t); err != nil {
			return fmt.Errorf("%s: %w", t.name, err)
		}
	}
	for _, ch := range s.chains {
		if err := s.hash(ch); err != nil {
			return fmt.Errorf("chain %d: %w", ch.ID, err)
		}
	}
	return nil
}

// owner is the SQL for the customer in whose chain a table's rows are journalled.
func (t *protectedTable) owner() string {
	const ofPlant = "(SELECT p.customer_id FROM plants p WHERE p.id = %s ORDER BY p.row_id LIMIT 1)"
	switch {
	case slices.Contains(ofTheCompany, t.name):
		return "0"
	case t.name == "readings":
		return fmt.Sprintf(ofPlant, "(SELECT v.plant_id FROM conveyors v WHERE v.id = t.conveyor_id ORDER BY v.row_id LIMIT 1)")
	case t.has("plant_id") && t.has("customer_id"):
		return "CASE WHEN t.plant_id = 0 THEN t.customer_id ELSE " + fmt.Sprintf(ofPlant, "t.plant_id") + " END"
	case t.has("plant_id"):
		return fmt.Sprintf(ofPlant, "t.plant_id")
	case t.has("customer_id"):
		return "t.customer_id"
	}
	return "0"
}

// ownedBy is the SQL for the rows of a table that are journalled in a customer's chain, 0 for the company's, as far as
// the row itself tells.
func (t *protectedTable) ownedBy(customerID int64) string {
	const plants = "(SELECT p.id FROM plants p WHERE p.customer_id = %d)"
	switch {
	case t.name == "readings":
		return fmt.Sprintf("t.conveyor_id IN (SELECT v.id FROM conveyors v WHERE v.plant_id IN "+plants+")", customerID)
	case slices.Contains(ofTheCompany, t.name):
	case t.has("plant_id") && t.has("customer_id"):
		return fmt.Sprintf("(t.plant_id IN "+plants+" OR t.plant_id = 0 AND t.customer_id = %[1]d)", customerID)
	case t.has("plant_id"):
		return fmt.Sprintf("t.plant_id IN "+plants, customerID)
	case t.has("customer_id"):
		return fmt.Sprintf("t.customer_id = %d", customerID)
	}
	if customerID == 0 && !t.has("attachment_id") && !t.has("report_id") {
		return "1 = 1"
	}
	return "1 = 0" // what its parts say of a thing is looked up by their keys
}

// ofTheCompany are tables that name customers or plants and are journalled in the company's chain all the same.
var ofTheCompany = []string{"api_tokens", "grants"}

// collect sorts the rows of a table to the entries that wrote and ended them.
func (s *sealing) collect(t *protectedTable) error {
	if private[t.name] != nil {
		var keys []int64
		if err := s.db.SQL(s.ctx).Raw("SELECT " + t.key[0] + " FROM " + t.name).Scan(&keys).Error; err != nil {
			return err
		}
		k := leafKeeper{db: s.db, ctx: s.ctx}
		for some := range slices.Chunk(keys, leavesPerPart) {
			list := make([]rowKey, len(some))
			for i, key := range some {
				list[i] = rowKey{key}
			}
			if err := k.sealPrivate(t, list); err != nil {
				return err
			}
		}
	}
	rows, err := queryRows(s.ctx, s.db, "SELECT "+t.list+", coalesce("+t.owner()+", 0) FROM "+t.name+" t")
	if err != nil {
		return err
	}
	defer rows.Close()
	knownFrom := slices.IndexFunc(t.columns, func(c protectedColumn) bool { return c.name == "known_from" })
	var owner int64
	return t.each(rows, []any{&owner}, func(r *storedRow) error {
		from := int64(-1)
		if knownFrom >= 0 {
			from, _ = r.values[knownFrom].(int64)
		}
		at := s.at(owner, from, t.name)
		at.written = append(at.written, keyedLeaf{r.key, r.leaf})
		if r.knownTo != 0 {
			at := s.at(owner, r.knownTo, t.name)
			at.ended = append(at.ended, r.key)
		}
		return nil
	})
}

// at finds the rows of the entry at a position of a customer's chain; a position that the chain has not is taken
// for its newest, and a chain without entries for the company's.
func (s *sealing) at(customerID, position int64, table string) *sealedRows {
	ch, ok := s.heads[customerID]
	if !ok || ch.HeadPosition == 0 {
		ch = s.heads[0]
	}
	if position < 1 || position > ch.HeadPosition {
		position = ch.HeadPosition
	}
	key := entryKey{ch.ID, position}
	if s.of[key] == nil {
		s.of[key] = map[string]*sealedRows{}
	}
	if s.of[key][table] == nil {
		s.of[key][table] = &sealedRows{}
	}
	return s.of[key][table]
}

// hash gives the entries of a chain their hashes in their order.
func (s *sealing) hash(ch chainRow) error {
	prev := noHash
	var some []Entry
	after := int64(0)
	for {
		err := s.db.SQL(s.ctx).Where("chain_id = ? AND position > ?", ch.ID, after).Order("position").Limit(1000).Find(&some).Error
		if err != nil {
			return err
		}
		for i := range some {
			e := &some[i]
			after, e.PrevHash = e.Position, prev
			if err := s.leaves(e); err != nil {
				return err
			}
			e.Hash = e.hashOf(ch.CustomerID)
			prev = e.Hash
			err := s.db.SQL(s.ctx).Exec("UPDATE journal_entries SET prev_hash = ?, hash = ?, rows_root = ?, leaf_count = ? WHERE chain_id = ? AND position = ?",
				e.PrevHash, e.Hash, e.RowsRoot, e.LeafCount, e.ChainID, e.Position).Error
			if err != nil {
				return err
			}
		}
		if len(some) < 1000 {
			return s.db.SQL(s.ctx).Exec("UPDATE chains SET head_hash = ? WHERE id = ?", prev, ch.ID).Error
		}
		some = some[:0]
	}
}

func (s *sealing) leaves(e *Entry) error {
	k := leafKeeper{db: s.db, ctx: s.ctx, chainID: e.ChainID, position: e.Position}
	of := s.of[entryKey{e.ChainID, e.Position}]
	for _, name := range slices.Sorted(maps.Keys(of)) {
		t := s.tables[name]
		if err := k.ended(t, of[name].ended); err != nil {
			return err
		}
		slices.SortFunc(of[name].written, func(a, b keyedLeaf) int { return slices.Compare(a.key[:], b.key[:]) })
		for some := range slices.Chunk(of[name].written, leavesPerPart) {
			if err := k.keepWritten(t, some); err != nil {
				return err
			}
		}
	}
	e.RowsRoot, e.LeafCount = hexOf(k.tree.root()), int64(k.tree.size)
	return nil
}
