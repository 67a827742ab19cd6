package plantdb

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"

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

// Asked says what Prove is to look at.
type Asked struct {
	Kept       []Checkpoint            // places in the chains that somebody kept outside
	OneChain   bool                    // only the chain of CustomerID, and the rows it protects
	CustomerID int64                   // 0: the company
	Progress   func(done, total int64) // told now and then, of several at once, how many entries and rows were looked at
	Memory     int                     // bytes that may be set aside in memory; 0: 48 MiB
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

// CustomerOfChain returns whose chain it is, 0: the company's.
func (db *DB) CustomerOfChain(ctx context.Context, chainID int64) (int64, error) {
	var found []int64
	err := db.SQL(ctx).Raw("SELECT customer_id FROM chains WHERE id = ?", chainID).Scan(&found).Error
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("chain %d: %w", chainID, assets.ErrNotFound)
	}
	if err != nil {
		return 0, err
	}
	return found[0], nil
}

// Verify rebuilds every hash of the journal from the rows it protects, all of one moment, and compares the chains
// with checkpoints kept outside.
func (db *DB) Verify(ctx context.Context, kept []Checkpoint) (Verdict, error) {
	return db.Prove(ctx, Asked{Kept: kept})
}

// Prove is Verify of all chains or of one.
//
// The journal is read in stretches of entries, each on whatever connection is free; what it says of rows is set aside
// by table and range of keys, in memory or, where there is much of it, in a temporary file. Then each range of a
// table is read in the order of its keys beside what was set aside of it. Memory does not grow with the database.
func (db *DB) Prove(ctx context.Context, asked Asked) (Verdict, error) {
	var v *verifying
	err := db.ofOneMoment(ctx, func(readers []*DB) (err error) {
		v = &verifying{ctx: ctx, readers: readers, asked: asked}
		defer func() { err = errors.Join(err, v.aside.close()) }()
		for _, step := range []func() error{v.readChains, v.readTables, v.entries, v.orphans, v.stored, v.checkpoints} {
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

type verifying struct {
	ctx     context.Context
	readers []*DB // each a connection that sees the same moment
	asked   Asked
	tables  map[string]*protectedTable
	chains  []chainRow
	passed  map[entryKey]string // hashes at the places of checkpoints
	aside   *asideLeaves
	done    atomic.Int64
	total   int64

	mu  sync.Mutex // guards out
	out Verdict
}

func (v *verifying) broken(chainID, position int64, format string, args ...any) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if len(v.out.Breaks) < mostBreaks {
		v.out.Breaks = append(v.out.Breaks, Break{chainID, position, fmt.Sprintf(format, args...)})
	}
}

// looked counts entries or rows and tells whoever waits.
func (v *verifying) looked(n int64) {
	done := v.done.Add(n)
	if v.asked.Progress != nil {
		v.asked.Progress(done, max(done, v.total))
	}
}

// readChains reads the heads of the chains asked for.
func (v *verifying) readChains() error {
	tx := v.readers[0].SQL(v.ctx).Order("id")
	if v.asked.OneChain {
		tx = tx.Where("customer_id = ?", v.asked.CustomerID)
	}
	if err := tx.Find(&v.chains).Error; err != nil {
		return err
	}
	if v.asked.OneChain && len(v.chains) == 0 {
		return fmt.Errorf("the chain of customer %d: %w", v.asked.CustomerID, assets.ErrNotFound)
	}
	v.passed = map[entryKey]string{}
	for _, k := range v.asked.Kept {
		if _, ours := v.chain(k.ChainID); ours {
			v.passed[entryKey{k.ChainID, k.Position}] = ""
		}
	}
	for _, ch := range v.chains {
		v.total += ch.HeadPosition
	}
	return nil
}

func (v *verifying) chain(id int64) (chainRow, bool) {
	at, found := slices.BinarySearchFunc(v.chains, id, func(ch chainRow, id int64) int { return cmp.Compare(ch.ID, id) })
	if !found {
		return chainRow{}, false
	}
	return v.chains[at], true
}

// readTables reads the schema and cuts the tables into ranges.
func (v *verifying) readTables() (err error) {
	db := v.readers[0]
	if v.tables, err = db.protected(v.ctx); err != nil {
		return err
	}
	v.aside, err = newAside(v.ctx, db, v.tables, cmp.Or(v.asked.Memory, mostInMemory))
	return err
}

// orphans looks for entries and leaves of chains that are not there, and for chains of customers that are not.
func (v *verifying) orphans() error {
	if v.asked.OneChain {
		return nil
	}
	sql := v.readers[0].SQL(v.ctx)
	for _, table := range []string{"journal_entries", "journal_rows"} {
		var keys []struct{ ChainID, Position int64 }
		err := sql.Raw("SELECT DISTINCT r.chain_id, r.position FROM " + table + " r WHERE r.chain_id NOT IN (SELECT c.id FROM chains c) ORDER BY 1, 2 LIMIT 10").Scan(&keys).Error
		if err != nil {
			return err
		}
		for _, k := range keys {
			v.broken(k.ChainID, k.Position, "Entry %d of chain %d belongs to a chain that is gone.", k.Position, k.ChainID)
		}
	}
	var orphans []int64
	err := sql.Raw(`SELECT c.id FROM chains c WHERE c.customer_id <> 0 AND NOT EXISTS (SELECT 1 FROM customers r WHERE r.id = c.customer_id) ORDER BY c.id`).Scan(&orphans).Error
	for _, id := range orphans {
		v.broken(id, 1, "Chain %d is of a customer that is not there.", id)
	}
	return err
}

// checkpoints compares the chains with what somebody kept outside.
func (v *verifying) checkpoints() error {
	for _, k := range v.asked.Kept {
		hash, ours := v.passed[entryKey{k.ChainID, k.Position}]
		switch {
		case k.Position == 0 || !ours && v.asked.OneChain:
		case hash == "":
			v.broken(k.ChainID, k.Position, "Entry %d of chain %d, which the checkpoint names, is not there.", k.Position, k.ChainID)
		case hash != k.Hash:
			v.broken(k.ChainID, k.Position, "Entry %d of chain %d is not the one the checkpoint names: the chain was written anew.", k.Position, k.ChainID)
		}
	}
	return nil
}

// side runs work for each reader beside the others and returns the errors.
func (v *verifying) side(work func(db *DB) error) error {
	errs := make([]error, len(v.readers))
	var all sync.WaitGroup
	for i, db := range v.readers {
		all.Go(func() { errs[i] = work(db) })
	}
	all.Wait()
	return errors.Join(errs...)
}

// ErrBroken is a journal that does not fit the rows it protects.
var ErrBroken = errors.New("the journal is broken")
