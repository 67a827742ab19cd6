package plantdb

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
)

// leafRecord is what the journal says of a row in one of its entries.
type leafRecord struct {
	key      rowKey
	leaf     leaf
	chainID  int64
	position int64
	ended    bool
}

const (
	// recordSize is a leafRecord set aside: key, leaf, chain, position; an ended row has its position negative.
	recordSize = 3*8 + len(leaf{}) + 2*8
	// mostInMemory is how much is set aside in memory before it goes into a file.
	mostInMemory = 48 << 20
	// rangesOfALongTable is into how many ranges of keys a table with many rows is cut.
	rangesOfALongTable = 32
	// longTable is from which spread of keys on a table is cut.
	longTable = 2000
)

// keyRange is a stretch of the keys of one table, and what the journal says of its rows.
type keyRange struct {
	table    *protectedTable
	from, to int64 // of the key's first column, both included; the first and last range of a table are open
	first    bool
	last     bool

	mu     sync.Mutex // guards the rest
	memory []byte
	file   *os.File
	length int64 // in the file
}

// asideLeaves is what the journal says of rows, by table and range, until the rows are read.
type asideLeaves struct {
	ranges map[string][]*keyRange
	limit  int64
	held   atomic.Int64 // bytes in memory
}

func newAside(ctx context.Context, db *DB, tables map[string]*protectedTable, limit int) (*asideLeaves, error) {
	a := &asideLeaves{ranges: map[string][]*keyRange{}, limit: int64(limit)}
	for name, t := range tables {
		var reach struct{ First, Last int64 }
		query := fmt.Sprintf("SELECT coalesce((SELECT min(%[1]s) FROM %[2]s), 0) AS first, coalesce((SELECT max(%[1]s) FROM %[2]s), 0) AS last", t.key[0], name)
		if err := db.SQL(ctx).Raw(query).Scan(&reach).Error; err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		n := int64(1)
		if len(t.key) > 1 || reach.Last-reach.First >= longTable {
			n = min(rangesOfALongTable, max(1, (reach.Last-reach.First)/8))
		}
		width := (reach.Last-reach.First)/n + 1
		for i := range n {
			from := reach.First + i*width
			a.ranges[name] = append(a.ranges[name], &keyRange{table: t, from: from, to: from + width - 1, first: i == 0, last: i == n-1})
		}
	}
	return a, nil
}

// put sets a record aside.
func (a *asideLeaves) put(t *protectedTable, r leafRecord) error {
	ranges := a.ranges[t.name]
	at, found := slices.BinarySearchFunc(ranges, r.key[0], func(k *keyRange, key int64) int { return cmp.Compare(k.from, key) })
	if !found {
		at = max(0, at-1)
	}
	k := ranges[at]
	k.mu.Lock()
	defer k.mu.Unlock()
	k.memory = r.appendTo(k.memory)
	if a.held.Add(int64(recordSize)) <= a.limit {
		return nil
	}
	freed := len(k.memory)
	if err := k.toFile(); err != nil {
		return err
	}
	a.held.Add(-int64(freed))
	return nil
}

// toFile moves what is in memory behind what is in the file.
func (k *keyRange) toFile() (err error) {
	if k.file == nil {
		if k.file, err = os.CreateTemp("", "carryside-verify-*"); err != nil {
			return fmt.Errorf("set leaves aside: %w", err)
		}
	}
	if _, err := k.file.WriteAt(k.memory, k.length); err != nil {
		return fmt.Errorf("set leaves aside: %w", err)
	}
	k.length += int64(len(k.memory))
	k.memory = k.memory[:0]
	return nil
}

// close removes the files.
func (a *asideLeaves) close() error {
	if a == nil {
		return nil
	}
	var errs []error
	for _, ranges := range a.ranges {
		for _, k := range ranges {
			if k.file != nil {
				errs = append(errs, k.file.Close(), os.Remove(k.file.Name()))
				k.file = nil
			}
		}
	}
	return errors.Join(errs...)
}

func (r *leafRecord) appendTo(dst []byte) []byte {
	for _, k := range r.key {
		dst = binary.BigEndian.AppendUint64(dst, uint64(k))
	}
	dst = append(dst, r.leaf[:]...)
	dst = binary.BigEndian.AppendUint64(dst, uint64(r.chainID))
	position := r.position
	if r.ended {
		position = -position
	}
	return binary.BigEndian.AppendUint64(dst, uint64(position))
}

func readRecord(b []byte) (r leafRecord) {
	for i := range r.key {
		r.key[i] = int64(binary.BigEndian.Uint64(b[8*i:]))
	}
	copy(r.leaf[:], b[24:])
	r.chainID = int64(binary.BigEndian.Uint64(b[24+len(leaf{}):]))
	r.position = int64(binary.BigEndian.Uint64(b[32+len(leaf{}):]))
	if r.position < 0 {
		r.position, r.ended = -r.position, true
	}
	return r
}

// records returns what was set aside of the range in the order of keys, and of one key in that of the entries.
func (k *keyRange) records() ([]leafRecord, error) {
	records := make([]leafRecord, 0, (int(k.length)+len(k.memory))/recordSize)
	if k.file != nil {
		buffer := make([]byte, 4096*recordSize)
		from := io.NewSectionReader(k.file, 0, k.length)
		for {
			n, err := io.ReadFull(from, buffer)
			for at := 0; at+recordSize <= n; at += recordSize {
				records = append(records, readRecord(buffer[at:]))
			}
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				break
			}
			if err != nil {
				return nil, fmt.Errorf("read what was set aside: %w", err)
			}
		}
	}
	for at := 0; at < len(k.memory); at += recordSize {
		records = append(records, readRecord(k.memory[at:]))
	}
	k.memory = nil
	return inOrder(records), nil
}

// inOrder sorts records: their places rather than themselves, which are long.
func inOrder(records []leafRecord) []leafRecord {
	order := make([]int32, len(records))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, j int32) int {
		a, b := &records[i], &records[j]
		for k := range a.key {
			if a.key[k] != b.key[k] {
				return cmp.Compare(a.key[k], b.key[k])
			}
		}
		return cmp.Or(cmp.Compare(a.chainID, b.chainID), cmp.Compare(a.position, b.position))
	})
	sorted := make([]leafRecord, len(records))
	for to, from := range order {
		sorted[to] = records[from]
	}
	return sorted
}

// protectedRow is what the journal says of a row altogether.
type protectedRow struct {
	key      rowKey
	leaf     leaf
	chainID  int64
	position int64 // of the newest entry that wrote it
	endedAt  int64 // position of the entry that ended it; 0: open
	ended    bool
}

// said walks through sorted records key by key.
type said struct {
	records []leafRecord
	at      int
	row     protectedRow
}

// next moves to the next key.
func (s *said) next() bool {
	if s.at >= len(s.records) {
		return false
	}
	s.row = protectedRow{key: s.records[s.at].key}
	for ; s.at < len(s.records) && s.records[s.at].key == s.row.key; s.at++ {
		r := &s.records[s.at]
		if r.ended {
			s.row.ended, s.row.endedAt = true, r.position
			if s.row.chainID == 0 {
				s.row.chainID, s.row.position = r.chainID, r.position
			}
			continue
		}
		s.row.leaf, s.row.chainID, s.row.position = r.leaf, r.chainID, r.position
	}
	return true
}

// stored compares every row with what the journal says of it.
func (v *verifying) stored() error {
	var all []*keyRange
	for _, name := range slices.Sorted(maps.Keys(v.aside.ranges)) {
		all = append(all, v.aside.ranges[name]...)
	}
	next := make(chan *keyRange, len(all))
	for _, k := range all {
		next <- k
	}
	close(next)
	return v.side(func(db *DB) error {
		for k := range next {
			if err := v.storedIn(db, k); err != nil {
				return fmt.Errorf("%s: %w", k.table.name, err)
			}
		}
		return nil
	})
}

// storedIn reads one range of a table beside what was set aside of it, both in the order of their keys.
func (v *verifying) storedIn(db *DB, k *keyRange) error {
	records, err := k.records()
	if err != nil {
		return err
	}
	s := &said{records: records}
	more, lost, strange, n := s.next(), []protectedRow{}, []rowKey{}, int64(0)
	rows, err := queryRows(v.ctx, db, v.query(k))
	if err != nil {
		return err
	}
	defer rows.Close()
	err = k.table.each(rows, nil, func(r *storedRow) error {
		n++
		for more && slices.Compare(s.row.key[:], r.key[:]) < 0 {
			lost, more = append(lost, s.row), s.next()
		}
		if !more || s.row.key != r.key {
			strange = append(strange, r.key)
			return nil
		}
		v.row(k.table, &s.row, r)
		more = s.next()
		return nil
	})
	for ; more; more = s.next() {
		lost = append(lost, s.row)
	}
	v.counted(n)
	if err != nil {
		return err
	}
	if err := rows.Close(); err != nil {
		return err
	}
	if err := v.strange(db, k.table, strange); err != nil {
		return err
	}
	return v.lost(db, k.table, lost)
}

// strange names rows that stand in no entry. Of one customer's chain it first looks whether the company's chain has
// them: some of what belongs to a customer, as its people, may have been entered there.
func (v *verifying) strange(db *DB, t *protectedTable, keys []rowKey) error {
	if len(keys) > 0 && v.asked.OneChain && v.asked.CustomerID != 0 {
		known, err := v.ofCompany(db, t)
		if err != nil {
			return err
		}
		keys = slices.DeleteFunc(keys, func(key rowKey) bool { return known[key] })
	}
	for _, key := range keys {
		v.broken(0, 0, "%s stands in no entry of the journal: it was added past it, or its key was changed.", t.describe(key))
	}
	return nil
}

// ofCompany are the keys of a table's rows that the company's chain has.
func (v *verifying) ofCompany(db *DB, t *protectedTable) (map[rowKey]bool, error) {
	rows, err := queryRows(v.ctx, db, "SELECT r.leaves FROM journal_rows r JOIN chains c ON c.id = r.chain_id WHERE c.customer_id = 0 AND r.table_name = '"+t.name+"'")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	known := map[rowKey]bool{}
	var leaves []byte
	for rows.Next() {
		if err := rows.Scan(&leaves); err != nil {
			return nil, err
		}
		for size := t.leafSize(); len(leaves) >= size; leaves = leaves[size:] {
			known[t.keyIn(leaves)] = true
		}
	}
	return known, rows.Err()
}

// keyIn reads the key at the beginning of a leaf as it is kept.
func (t *protectedTable) keyIn(leaves []byte) (key rowKey) {
	for i := range t.key {
		key[i] = int64(binary.BigEndian.Uint64(leaves[8*i:]))
	}
	return key
}

func (v *verifying) counted(rows int64) {
	v.mu.Lock()
	v.out.Rows += rows
	v.mu.Unlock()
	v.looked(rows)
}

// query reads a range of a table in the order of its keys; of one chain, the rows of its customer.
func (v *verifying) query(k *keyRange) string {
	t := k.table
	var where []string
	if !k.first {
		where = append(where, fmt.Sprintf("t.%s >= %d", t.key[0], k.from))
	}
	if !k.last {
		where = append(where, fmt.Sprintf("t.%s <= %d", t.key[0], k.to))
	}
	if v.asked.OneChain {
		where = append(where, t.ownedBy(v.asked.CustomerID))
	}
	order := make([]string, len(t.key))
	for i, name := range t.key {
		order[i] = "t." + name
	}
	query := "SELECT " + t.list + " FROM " + t.name + " t"
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	return query + " ORDER BY " + strings.Join(order, ", ")
}

// row judges one stored row.
func (v *verifying) row(t *protectedTable, row *protectedRow, r *storedRow) {
	switch {
	case row.leaf != r.leaf || r.apart:
		v.broken(row.chainID, row.position, "%s was changed after entry %d of chain %d wrote it.", t.describe(r.key), row.position, row.chainID)
	case (r.knownTo != 0) != row.ended || r.knownTo != row.endedAt:
		v.broken(row.chainID, max(row.position, row.endedAt, r.knownTo), "%s says it was ended by entry %d; the journal says %d (0: none).", t.describe(r.key), r.knownTo, row.endedAt)
	}
}

// lost names rows that the journal knows and that were not among those read. Of one chain they are looked for by
// their keys: a row that says it is another customer's is there, and was changed or is journalled so.
func (v *verifying) lost(db *DB, t *protectedTable, lost []protectedRow) error {
	there := map[rowKey]bool{}
	if v.asked.OneChain {
		of := make(map[rowKey]*protectedRow, len(lost))
		keys := make([]rowKey, len(lost))
		for i := range lost {
			of[lost[i].key], keys[i] = &lost[i], lost[i].key
		}
		for some := range slices.Chunk(keys, leavesPerPart) {
			k := leafKeeper{db: db, ctx: v.ctx}
			err := k.stored(t, some, func(r *storedRow) error {
				there[r.key] = true
				v.row(t, of[r.key], r)
				v.counted(1)
				return nil
			})
			if err != nil {
				return err
			}
		}
	}
	for _, row := range lost {
		if !there[row.key] {
			v.broken(row.chainID, row.position, "%s is missing; entry %d of chain %d wrote it.", t.describe(row.key), row.position, row.chainID)
		}
	}
	return nil
}
