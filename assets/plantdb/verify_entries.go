package plantdb

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"sync"

	"carryside/assets"
)

// perStretch is how many entries are read at once.
const perStretch = 4000

// stretchOf is a stretch of a chain: entries from one position to another, both included.
type stretchOf struct {
	chain    chainRow
	from, to int64
}

// entrySeen is what is left of an entry once its own hash and leaves are judged: how it joins its neighbours.
type entrySeen struct {
	position       int64
	at             assets.Instant
	prevHash, hash string
	action         string
	says           string // what is wrong with the entry itself; "" nothing
}

// entries goes through the chains stretch by stretch and joins the stretches in their order.
func (v *verifying) entries() error {
	plan, err := v.stretches()
	if err != nil {
		return err
	}
	seen := make([][]entrySeen, len(plan))
	j := joining{v: v, plan: plan, seen: seen}
	next := make(chan int, len(plan))
	for i := range plan {
		next <- i
	}
	close(next)
	err = v.side(func(db *DB) error {
		for i := range next {
			s, err := v.stretch(db, plan[i])
			if err != nil {
				return err
			}
			v.looked(int64(len(s)))
			j.take(i, s)
		}
		return nil
	})
	j.end()
	slices.SortFunc(v.out.Chains, func(a, b ChainState) int { return cmp.Compare(a.ChainID, b.ChainID) })
	return err
}

// stretches cuts the chains up. The newest entry there is may stand before or behind the head.
func (v *verifying) stretches() (plan []stretchOf, err error) {
	for _, ch := range v.chains {
		var reach struct{ First, Last int64 }
		err := v.readers[0].SQL(v.ctx).Raw(`SELECT min(first) AS first, max(last) AS last FROM (
			SELECT coalesce(min(position), 1) AS first, coalesce(max(position), 0) AS last FROM journal_entries WHERE chain_id = ?
			UNION ALL SELECT coalesce(min(position), 1), coalesce(max(position), 0) FROM journal_rows WHERE chain_id = ?) AS reach`, ch.ID, ch.ID).Scan(&reach).Error
		if err != nil {
			return nil, err
		}
		// One wild position must not make a plan of millions of empty stretches.
		if reach.Last-reach.First > 2*ch.HeadPosition+10*perStretch {
			plan = append(plan, stretchOf{ch, reach.First, ch.HeadPosition}, stretchOf{ch, ch.HeadPosition + 1, reach.Last})
			continue
		}
		for from := reach.First; from <= max(reach.Last, reach.First); from += perStretch {
			plan = append(plan, stretchOf{ch, from, min(from+perStretch-1, max(reach.Last, reach.First))})
		}
	}
	return plan, nil
}

// stretch reads the entries of a stretch and the leaves kept of them, and judges each by itself.
func (v *verifying) stretch(db *DB, of stretchOf) ([]entrySeen, error) {
	entries, err := readEntries(v.ctx, db, of)
	if err != nil {
		return nil, err
	}
	trees, err := v.leaves(db, of, entries)
	if err != nil {
		return nil, err
	}
	seen := make([]entrySeen, len(entries))
	var buffer []byte
	for i := range entries {
		e := &entries[i]
		seen[i] = entrySeen{position: e.Position, at: e.At, prevHash: e.PrevHash, hash: e.Hash, action: e.Action}
		buffer = e.appendHashed(buffer[:0], of.chain.CustomerID)
		switch {
		case !writtenAs(sha256.Sum256(buffer), e.Hash):
			seen[i].says = "was changed: its hash does not fit what it says"
		case trees[i].bad:
			seen[i].says = "what is kept of its rows was changed"
		case int64(trees[i].size) != e.LeafCount || !writtenAs(trees[i].root(), e.RowsRoot):
			seen[i].says = "does not fit what is kept of its rows"
		}
	}
	return seen, nil
}

// writtenAs tells whether a hash is written so, in hexadecimal digits.
func writtenAs(sum leaf, text string) bool {
	var digits [2 * len(leaf{})]byte
	hex.Encode(digits[:], sum[:])
	return string(digits[:]) == text
}

func readEntries(ctx context.Context, db *DB, of stretchOf) ([]Entry, error) {
	rows, err := queryRows(ctx, db, fmt.Sprintf(`SELECT position, at, clock_at, plant_id, person_id, origin, action, reason, changes,
		prev_hash, hash, rows_root, leaf_count FROM journal_entries WHERE chain_id = %d AND position BETWEEN %d AND %d ORDER BY position`, of.chain.ID, of.from, of.to))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	entries := make([]Entry, 0, min(perStretch, of.to-of.from+1))
	plain := newPlainRow(13)
	for rows.Next() {
		if err := plain.scan(rows); err != nil {
			return nil, err
		}
		entries = append(entries, Entry{ChainID: of.chain.ID,
			Position: plain.number(0), At: assets.Instant(plain.number(1)), ClockAt: assets.Instant(plain.number(2)), PlantID: plain.number(3), PersonID: plain.number(4),
			Origin: Origin(plain.text(5)), Action: plain.text(6), Reason: plain.text(7), Changes: plain.text(8),
			PrevHash: plain.text(9), Hash: plain.text(10), RowsRoot: plain.text(11), LeafCount: plain.number(12)})
		if plain.odd {
			entries[len(entries)-1].Hash = "" // fits nothing
		}
	}
	return entries, rows.Err()
}

// plainRow reads rows as the driver gives them: a million times what becomes of each value is asked once less.
type plainRow struct {
	values, places []any
	odd            bool // a value was of another kind than asked for
}

func newPlainRow(columns int) *plainRow {
	p := &plainRow{values: make([]any, columns), places: make([]any, columns)}
	for i := range p.values {
		p.places[i] = &p.values[i]
	}
	return p
}

func (p *plainRow) scan(rows *Found) error {
	p.odd = false
	return rows.Scan(p.places...)
}

func (p *plainRow) number(i int) int64 {
	n, ok := p.values[i].(int64)
	p.odd = p.odd || !ok
	return n
}

func (p *plainRow) text(i int) string {
	switch v := p.values[i].(type) {
	case string:
		return v
	case []byte:
		return string(v)
	}
	p.odd = true
	return ""
}

// bytes are the driver's own copy: they are good for as long as they are kept.
func (p *plainRow) bytes(i int) []byte {
	b, ok := p.values[i].([]byte)
	p.odd = p.odd || !ok
	return b
}

// entryTree is the tree over the leaves of an entry.
type entryTree struct {
	tree
	parts int64
	bad   bool // what is kept of its rows is not in order
}

// leaves reads what is kept of the rows of a stretch, sets it aside and builds the entries' trees.
func (v *verifying) leaves(db *DB, of stretchOf, entries []Entry) ([]entryTree, error) {
	trees, first := make([]entryTree, len(entries)), make([]leaf, len(entries))
	for i := range trees {
		trees[i].full = first[i : i : i+1] // most entries have one leaf
	}
	rows, err := queryRows(v.ctx, db, fmt.Sprintf(`SELECT position, part, table_name, kind, leaves FROM journal_rows
		WHERE chain_id = %d AND position BETWEEN %d AND %d ORDER BY position, part`, of.chain.ID, of.from, of.to))
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var p journalPart
	at, lost, plain := 0, int64(-1), newPlainRow(5)
	for rows.Next() {
		if err := plain.scan(rows); err != nil {
			return nil, err
		}
		p = journalPart{plain.number(0), plain.number(1), plain.text(2), plain.text(3), plain.bytes(4), plain.odd}
		for at < len(entries) && entries[at].Position < p.position {
			at++
		}
		if at == len(entries) || entries[at].Position != p.position {
			if lost != p.position {
				v.broken(of.chain.ID, p.position, "Entry %d of chain %d is missing, though leaves of its rows are kept.", p.position, of.chain.ID)
			}
			lost = p.position
			continue
		}
		if err := v.part(of.chain.ID, &trees[at], &p); err != nil {
			return nil, err
		}
	}
	return trees, rows.Err()
}

// journalPart is a row of journal_rows.
type journalPart struct {
	position, part int64
	table, kind    string
	leaves         []byte
	odd            bool // a value is of another kind than its column
}

// part takes in the leaves of one part of an entry.
func (v *verifying) part(chainID int64, of *entryTree, p *journalPart) error {
	t := v.tables[p.table]
	if t == nil || p.odd || p.part != of.parts || len(p.leaves)%t.leafSize() != 0 || p.kind != kindWritten && p.kind != kindEnded {
		of.bad = true
		return nil
	}
	of.parts++
	size := t.leafSize()
	for leaves := p.leaves; len(leaves) > 0; leaves = leaves[size:] {
		r := leafRecord{key: t.keyIn(leaves), chainID: chainID, position: p.position, ended: p.kind == kindEnded}
		r.leaf = leaf(leaves[8*len(t.key) : size])
		of.add(r.leaf)
		if r.ended && r.leaf != t.endedLeaf(r.key) {
			of.bad = true
		}
		if err := v.aside.put(t, r); err != nil {
			return err
		}
	}
	return nil
}

// joining puts stretches that were read beside each other into their order.
type joining struct {
	v    *verifying
	plan []stretchOf

	mu   sync.Mutex // guards the rest
	seen [][]entrySeen
	next int
	last ChainState
	at   int64 // chain whose stretches are being joined; 0: none yet
}

// take keeps what was seen of a stretch until those ahead of it are in.
func (j *joining) take(i int, seen []entrySeen) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if seen == nil {
		seen = []entrySeen{}
	}
	j.seen[i] = seen
	for j.next < len(j.plan) && j.seen[j.next] != nil {
		j.join(j.plan[j.next].chain, j.seen[j.next])
		j.seen[j.next] = nil
		j.next++
	}
}

func (j *joining) join(ch chainRow, seen []entrySeen) {
	if j.at != ch.ID {
		j.end()
		j.at, j.last = ch.ID, ChainState{ChainID: ch.ID, CustomerID: ch.CustomerID, Hash: noHash}
	}
	for _, e := range seen {
		j.entry(&e)
	}
}

// entry judges how an entry follows the one ahead of it.
func (j *joining) entry(e *entrySeen) {
	v := j.v
	v.out.Entries++
	says := e.says
	switch {
	case says != "":
	case e.position != j.last.Position+1:
		says = fmt.Sprintf("follows entry %d: those between are missing", j.last.Position)
	case e.prevHash != j.last.Hash:
		says = "does not follow the entry before it: one of them was written anew"
	case e.at < j.last.At:
		says = "was entered before the entry ahead of it"
	}
	if says != "" {
		v.broken(j.at, e.position, "Entry %d of chain %d (%s) %s.", e.position, j.at, e.action, says)
	}
	j.last.Position, j.last.At, j.last.Hash = e.position, e.at, e.hash
	if _, wanted := v.passed[entryKey{j.at, e.position}]; wanted {
		v.passed[entryKey{j.at, e.position}] = e.hash
	}
}

// end compares the end of the chain with what its row says.
func (j *joining) end() {
	if j.at == 0 {
		return
	}
	ch, _ := j.v.chain(j.at)
	if ch.HeadPosition != j.last.Position || ch.HeadHash != j.last.Hash || ch.HeadAt != j.last.At {
		j.v.broken(ch.ID, j.last.Position+1, "Chain %d ends at entry %d, but entry %d was its newest: entries are missing or the chain's row was changed.", ch.ID, j.last.Position, ch.HeadPosition)
	}
	j.v.out.Chains = append(j.v.out.Chains, j.last)
}
