package plantdb

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"

	"carryside/assets"
)

// ChainState is how far a chain reaches, and the hash of its newest entry: what a checkpoint says.
type ChainState struct {
	ChainID    int64
	CustomerID int64 // 0: the company
	Position   int64 // 0: no entry yet
	At         assets.Instant
	Hash       string
}

// Break is a broken link: an entry that is not as it was written, or a row that no longer is what its entry
// protects.
type Break struct {
	ChainID  int64
	Position int64 // of the entry; 0 when no entry knows of it
	Says     string
}

// Verdict is what Verify found.
type Verdict struct {
	Chains  []ChainState
	Entries int64
	Rows    int64
	Breaks  []Break // in the order of chains and positions; empty: whole. Not more than are worth reading
}

// mostBreaks are kept of the breaks of a database; the first is what matters.
const mostBreaks = 1000

// Checkpoint is a place in a chain that somebody keeps outside.
type Checkpoint struct {
	ChainID  int64
	Position int64
	Hash     string
}

// Checkpoint returns a place in the chain of a customer, 0 for the company: what a report prints of what it was
// built from. position 0 is the newest entry; -1 stands before the first.
func (db *DB) Checkpoint(ctx context.Context, customerID, position int64) (Checkpoint, error) {
	query := "SELECT c.id AS chain_id, c.head_position AS position, c.head_hash AS hash FROM chains c WHERE c.customer_id = ?"
	args := []any{customerID}
	switch {
	case position < 0:
		return Checkpoint{}, nil
	case position > 0:
		query = "SELECT e.chain_id, e.position, e.hash FROM journal_entries e JOIN chains c ON c.id = e.chain_id WHERE c.customer_id = ? AND e.position = ?"
		args = append(args, position)
	}
	var k Checkpoint
	err := db.SQL(ctx).Raw(query, args...).Scan(&k).Error
	return k, err
}

// Verify rebuilds every hash of the journal from the rows it protects, all of one moment, and compares the chains
// with checkpoints kept outside.
func (db *DB) Verify(ctx context.Context, kept []Checkpoint) (Verdict, error) {
	var v *verifying
	err := db.InSnapshot(ctx, func(tx *DB) (err error) {
		tables, err := tx.protected(ctx)
		if err != nil {
			return err
		}
		v = &verifying{db: tx, ctx: ctx, tables: tables, rows: map[string]map[rowKey]*protectedRow{}, kept: kept}
		for _, step := range []func() error{v.readChains, v.entries, v.loose, v.stored, v.checkpoints} {
			if err := step(); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return Verdict{}, fmt.Errorf("verify the journal: %w", err)
	}
	slices.SortFunc(v.out.Breaks, func(a, b Break) int {
		// Rows that no entry knows of stand in no chain and come last.
		return cmp.Or(cmp.Compare(min(a.Position, 1), min(b.Position, 1))*-1, cmp.Compare(a.ChainID, b.ChainID), cmp.Compare(a.Position, b.Position), cmp.Compare(a.Says, b.Says))
	})
	return v.out, nil
}

// protectedRow is what the journal says of a row.
type protectedRow struct {
	leaf     leaf
	chainID  int64
	position int64 // of the newest entry that wrote it
	endedAt  int64 // position of the entry that ended it; 0: open
	ended    bool
	seen     bool
}

type verifying struct {
	db     *DB
	ctx    context.Context
	tables map[string]*protectedTable
	chains map[int64]chainRow
	rows   map[string]map[rowKey]*protectedRow // by table
	kept   []Checkpoint
	passed map[entryKey]string // hashes at the places of checkpoints
	out    Verdict
}

func (v *verifying) broken(chainID, position int64, format string, args ...any) {
	if len(v.out.Breaks) < mostBreaks {
		v.out.Breaks = append(v.out.Breaks, Break{chainID, position, fmt.Sprintf(format, args...)})
	}
}

func (v *verifying) readChains() error {
	var list []chainRow
	if err := v.db.SQL(v.ctx).Order("id").Find(&list).Error; err != nil {
		return err
	}
	v.chains, v.passed = map[int64]chainRow{}, map[entryKey]string{}
	for _, ch := range list {
		v.chains[ch.ID] = ch
	}
	for _, k := range v.kept {
		v.passed[entryKey{k.ChainID, k.Position}] = ""
	}
	return nil
}

// entryWalk is the entry at hand while its parts come in.
type entryWalk struct {
	Entry
	any  bool
	tree tree
	part int64
	bad  string // what is wrong with its parts
}

// entries goes through entries and the leaves kept of them, in their order.
func (v *verifying) entries() error {
	rows, err := queryRows(v.ctx, v.db, `SELECT e.chain_id, e.position, e.at, e.clock_at, e.plant_id, e.person_id, e.origin, e.action, e.reason, e.changes,
		e.prev_hash, e.hash, e.rows_root, e.leaf_count, coalesce(r.part, -1), coalesce(r.table_name, ''), coalesce(r.kind, ''), r.leaves
		FROM journal_entries e LEFT JOIN journal_rows r ON r.chain_id = e.chain_id AND r.position = e.position ORDER BY e.chain_id, e.position, r.part`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var next, e entryWalk
	last := map[int64]ChainState{}
	end := func() {
		if e.any {
			v.entry(&e, last)
		}
	}
	var part int64
	var table, kind string
	var leaves []byte
	for rows.Next() {
		n := &next.Entry
		if err := rows.Scan(&n.ChainID, &n.Position, &n.At, &n.ClockAt, &n.PlantID, &n.PersonID, &n.Origin, &n.Action, &n.Reason, &n.Changes,
			&n.PrevHash, &n.Hash, &n.RowsRoot, &n.LeafCount, &part, &table, &kind, &leaves); err != nil {
			return err
		}
		if !e.any || n.ChainID != e.ChainID || n.Position != e.Position {
			end()
			e = entryWalk{Entry: *n, any: true, tree: tree{full: e.tree.full[:0]}}
		}
		if part >= 0 {
			v.part(&e, part, table, kind, leaves)
		}
	}
	end()
	for id, ch := range v.chains {
		v.head(id, ch, last[id])
	}
	slices.SortFunc(v.out.Chains, func(a, b ChainState) int { return cmp.Compare(a.ChainID, b.ChainID) })
	return rows.Err()
}

// part takes in the leaves kept of an entry.
func (v *verifying) part(e *entryWalk, part int64, table, kind string, leaves []byte) {
	t := v.tables[table]
	if t == nil || part != e.part || len(leaves)%t.leafSize() != 0 || kind != kindWritten && kind != kindEnded {
		e.bad = "what is kept of its rows was changed"
		return
	}
	e.part++
	of := v.rows[table]
	if of == nil {
		of = map[rowKey]*protectedRow{}
		v.rows[table] = of
	}
	size := t.leafSize()
	for ; len(leaves) > 0; leaves = leaves[size:] {
		var key rowKey
		for i := range t.key {
			key[i] = int64(binary.BigEndian.Uint64(leaves[8*i:]))
		}
		l := leaf(leaves[8*len(t.key) : size])
		e.tree.add(l)
		v.protect(e, t, of, key, kind, l)
	}
}

// protect notes what an entry says of a row.
func (v *verifying) protect(e *entryWalk, t *protectedTable, of map[rowKey]*protectedRow, key rowKey, kind string, l leaf) {
	row := of[key]
	if row == nil {
		row = &protectedRow{}
		of[key] = row
	}
	if kind == kindWritten {
		row.leaf, row.chainID, row.position = l, e.ChainID, e.Position
		return
	}
	row.ended, row.endedAt = true, e.Position
	if row.chainID == 0 {
		row.chainID, row.position = e.ChainID, e.Position
	}
	if l != t.endedLeaf(key) {
		e.bad = "what is kept of its rows was changed"
	}
}

// entry judges an entry once all its parts are in.
func (v *verifying) entry(e *entryWalk, last map[int64]ChainState) {
	v.out.Entries++
	before, begun := last[e.ChainID]
	ch, known := v.chains[e.ChainID]
	if !begun {
		before.Hash = noHash
	}
	says := ""
	switch hash := e.hashOf(ch.CustomerID); {
	case !known:
		says = "belongs to a chain that is gone"
	case hash != e.Hash:
		says = "was changed: its hash does not fit what it says"
	case e.Position != before.Position+1:
		says = fmt.Sprintf("follows entry %d: those between are missing", before.Position)
	case e.PrevHash != before.Hash:
		says = "does not follow the entry before it: one of them was written anew"
	case e.At < before.At:
		says = "was entered before the entry ahead of it"
	case e.bad != "":
		says = e.bad
	case int64(e.tree.size) != e.LeafCount || e.tree.root() != e.RowsRoot:
		says = "does not fit what is kept of its rows"
	}
	if says != "" {
		v.broken(e.ChainID, e.Position, "Entry %d of chain %d (%s) %s.", e.Position, e.ChainID, e.Action, says)
	}
	last[e.ChainID] = ChainState{e.ChainID, ch.CustomerID, e.Position, e.At, e.Hash}
	if _, wanted := v.passed[entryKey{e.ChainID, e.Position}]; wanted {
		v.passed[entryKey{e.ChainID, e.Position}] = e.Hash
	}
}

// head compares the end of a chain with what its row says.
func (v *verifying) head(id int64, ch chainRow, last ChainState) {
	if last.ChainID == 0 {
		last = ChainState{ChainID: id, CustomerID: ch.CustomerID, Hash: noHash}
	}
	if ch.HeadPosition != last.Position || ch.HeadHash != last.Hash || ch.HeadAt != last.At {
		v.broken(id, last.Position+1, "Chain %d ends at entry %d, but entry %d was its newest: entries are missing or the chain's row was changed.", id, last.Position, ch.HeadPosition)
	}
	v.out.Chains = append(v.out.Chains, last)
}

// loose looks for leaves without an entry.
func (v *verifying) loose() error {
	var keys []struct{ ChainID, Position int64 }
	err := v.db.SQL(v.ctx).Raw(`SELECT DISTINCT r.chain_id, r.position FROM journal_rows r WHERE NOT EXISTS
		(SELECT 1 FROM journal_entries e WHERE e.chain_id = r.chain_id AND e.position = r.position) ORDER BY 1, 2 LIMIT 10`).Scan(&keys).Error
	for _, k := range keys {
		v.broken(k.ChainID, k.Position, "Entry %d of chain %d is missing, though leaves of its rows are kept.", k.Position, k.ChainID)
	}
	if err != nil {
		return err
	}
	var orphans []int64
	err = v.db.SQL(v.ctx).Raw(`SELECT c.id FROM chains c WHERE c.customer_id <> 0 AND NOT EXISTS (SELECT 1 FROM customers r WHERE r.id = c.customer_id) ORDER BY c.id`).Scan(&orphans).Error
	for _, id := range orphans {
		v.broken(id, 1, "Chain %d is of a customer that is not there.", id)
	}
	return err
}

// stored compares every row with what the journal says of it.
func (v *verifying) stored() error {
	for _, name := range slices.Sorted(maps.Keys(v.tables)) {
		t := v.tables[name]
		if err := v.table(t, v.rows[name]); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		for key, row := range v.rows[name] {
			if !row.seen {
				v.broken(row.chainID, row.position, "%s is missing; entry %d of chain %d wrote it.", t.describe(key), row.position, row.chainID)
			}
		}
	}
	return nil
}

func (v *verifying) table(t *protectedTable, of map[rowKey]*protectedRow) error {
	rows, err := queryRows(v.ctx, v.db, "SELECT "+t.list+" FROM "+t.name+" t")
	if err != nil {
		return err
	}
	defer rows.Close()
	return t.each(rows, nil, func(r *storedRow) error {
		v.out.Rows++
		row := of[r.key]
		switch {
		case row == nil:
			v.broken(0, 0, "%s stands in no entry of the journal: it was added past it, or its key was changed.", t.describe(r.key))
			return nil
		case row.leaf != r.leaf || r.apart:
			v.broken(row.chainID, row.position, "%s was changed after entry %d of chain %d wrote it.", t.describe(r.key), row.position, row.chainID)
		case (r.knownTo != 0) != row.ended || r.knownTo != row.endedAt:
			v.broken(row.chainID, max(row.position, row.endedAt, r.knownTo), "%s says it was ended by entry %d; the journal says %d (0: none).", t.describe(r.key), r.knownTo, row.endedAt)
		}
		row.seen = true
		return nil
	})
}

// checkpoints compares the chains with what somebody kept outside.
func (v *verifying) checkpoints() error {
	for _, k := range v.kept {
		switch hash := v.passed[entryKey{k.ChainID, k.Position}]; {
		case k.Position == 0:
		case hash == "":
			v.broken(k.ChainID, k.Position, "Entry %d of chain %d, which the checkpoint names, is not there.", k.Position, k.ChainID)
		case hash != k.Hash:
			v.broken(k.ChainID, k.Position, "Entry %d of chain %d is not the one the checkpoint names: the chain was written anew.", k.Position, k.ChainID)
		}
	}
	return nil
}

// ErrBroken is a journal that does not fit the rows it protects.
var ErrBroken = errors.New("the journal is broken")
