package plantdb

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/migrations"

	"github.com/jackc/pgx/v5/pgconn"
	"gorm.io/gorm"
)

// Origin is the way a change came in.
type Origin string

// Origins.
const (
	Screen  Origin = "screen"
	Import  Origin = "import"
	Job     Origin = "job"
	Command Origin = "command"
	Demo    Origin = "demo"
)

// Act is who changes something, from where, why and when, and whose chains it touches. Now is the moment
// of entry, not the moment the fact became so.
type Act struct {
	PersonID  int64 // 0: the program itself (a job, an operator's command)
	Origin    Origin
	Action    string // in the plant's words: "fit a belt"
	Reason    string // what the person gave as reason; "" when none was asked
	Now       time.Time
	Plants    []int64 // plants touched: their customers' chains
	Customers []int64 // customers touched
	Company   bool    // the company's own chain too (catalogues, customers, people)
}

// Change is a change under way: a transaction, and the place in each chain where its entry will stand.
type Change struct {
	*DB
	Act    Act
	ctx    context.Context // of the transaction, which ends with it
	now    assets.Instant
	chains map[int64]*Chain // by customer
	plants map[int64]int64  // plant -> customer, as looked up
	made   []int64          // plants created by this change
	counts bool             // the counters of numbers are ours until the end
	bulk   any
}

// Change runs fn in one transaction and appends what it wrote to the journal, an entry in each chain it
// wrote to; an act that writes nothing leaves no entry. assets.ErrConflict when somebody else entered the same
// at the same time, or two changes waited for each other and the database ended this one.
func (db *DB) Change(ctx context.Context, act Act, fn func(*Change) error) error {
	if db.tx != nil {
		return errors.New("a change inside a change: pass the first one on")
	}
	if act.Now.IsZero() || act.Action == "" {
		return errors.New("a change needs its action in words and the time")
	}
	err := db.change(ctx, act, fn)
	switch {
	case deadlock(err):
		return fmt.Errorf("somebody else was changing the same things; try again: %w", assets.ErrConflict)
	case IsDuplicate(err):
		return fmt.Errorf("somebody else has just entered the same; look again: %w", errors.Join(assets.ErrConflict, err))
	}
	return err
}

func (db *DB) change(ctx context.Context, act Act, fn func(*Change) error) error {
	return db.InTx(ctx, func(tx *DB) error {
		c := &Change{DB: tx, Act: act, ctx: ctx, now: assets.InstantOf(act.Now),
			chains: map[int64]*Chain{}, plants: map[int64]int64{}}
		if err := c.lockChains(); err != nil {
			return err
		}
		if err := fn(c); err != nil {
			return err
		}
		return c.append()
	})
}

// deadlock tells whether PostgreSQL chose this transaction to end one.
func deadlock(err error) bool {
	var e *pgconn.PgError
	return errors.As(err, &e) && (e.Code == "40P01" || e.Code == "40001")
}

// Context returns the context of the transaction.
func (c *Change) Context() context.Context { return c.ctx }

// Tx returns the handle for the change's statements.
func (c *Change) Tx() *gorm.DB { return c.SQL(c.ctx) }

// Now is the time of the entry: the clock's, or the last entry's where the clock was set back behind it.
func (c *Change) Now() assets.Instant { return c.now }

// Compact makes the entry of a bulk import carry a summary (counts, hash of the file) in place of each
// row's before and after; the rows carry the entry's number all the same.
func (c *Change) Compact(summary any) { c.bulk = summary }

// NewIDs takes n numbers for things of a kind (the table's name) out of the block of the chain they are written in and
// returns the first. Within a block they are free of gaps: a change that fails gives them back, and what other
// customers add moves nothing in it.
func (c *Change) NewIDs(ch *Chain, kind string, n int) (int64, error) {
	next, err := c.count(ch.block, kind, n)
	return ch.block*blockSize + next, err
}

// NewNumber takes the next running number of a kind within its chain, 1 for the first: what people read out, not the
// key of a row.
func (c *Change) NewNumber(ch *Chain, kind string) (int64, error) { return c.count(ch.block, kind, 1) }

// count takes n running numbers of a kind in a block and returns the first, from 1 on.
func (c *Change) count(block int64, kind string, n int) (int64, error) {
	if err := c.holdCounters(); err != nil {
		return 0, err
	}
	if block > 0 {
		kind = fmt.Sprintf("%s %d", kind, block)
	}
	var next int64
	err := c.Tx().Raw(`INSERT INTO id_counters (kind, next) VALUES (?, ?)
		ON CONFLICT (kind) DO UPDATE SET next = id_counters.next + ? RETURNING next`, kind, int64(n)+1, n).Scan(&next).Error
	if err != nil {
		return 0, fmt.Errorf("take numbers for %s: %w", kind, err)
	}
	return next - int64(n), nil
}

// holdCounters keeps other changes from taking numbers until this one ends. Counters are rows that a change
// locks in whatever order it makes things; without one lock before them two changes could each hold what the
// other wants. SQLite has one writer anyway.
func (c *Change) holdCounters() error {
	if c.counts || c.engine != migrations.PostgreSQL {
		return nil
	}
	c.counts = true
	return c.Tx().Exec("SELECT pg_advisory_xact_lock(4839217)").Error
}

// Made tells the change of a plant it has created: facts of that plant may be written, and the entry names it.
func (c *Change) Made(plantID, customerID int64) {
	c.plants[plantID] = customerID
	c.made = append(c.made, plantID)
}

// lockChains takes the heads of the declared chains in the order of their numbers, so that two changes
// never wait for each other.
func (c *Change) lockChains() error {
	customers := slices.Clone(c.Act.Customers)
	for _, p := range c.Act.Plants {
		customer, err := c.customerOf(p)
		if err != nil {
			return err
		}
		customers = append(customers, customer)
	}
	if c.Act.Company {
		customers = append(customers, 0)
	}
	if len(customers) == 0 {
		return nil
	}
	slices.Sort(customers)
	return c.lock(slices.Compact(customers))
}

func (c *Change) lock(customers []int64) error {
	query := "SELECT id, customer_id, head_position, head_at, head_hash FROM chains WHERE customer_id IN ? ORDER BY id"
	if c.engine == migrations.PostgreSQL {
		query += " FOR UPDATE"
	}
	var heads []chainRow
	if err := c.Tx().Raw(query, customers).Scan(&heads).Error; err != nil {
		return fmt.Errorf("lock the journal: %w", err)
	}
	if len(heads) != len(customers) {
		return fmt.Errorf("a customer of this change: %w", assets.ErrNotFound)
	}
	blocks, err := c.blocks(customers)
	if err != nil {
		return err
	}
	for _, h := range heads {
		c.chains[h.CustomerID] = &Chain{ID: h.ID, CustomerID: h.CustomerID, Position: h.HeadPosition + 1, block: blocks[h.CustomerID], headAt: h.HeadAt, headHash: h.HeadHash}
		c.now = max(c.now, h.HeadAt)
	}
	return nil
}

// customerOf finds the customer of a plant.
func (c *Change) customerOf(plantID int64) (int64, error) {
	if customer, ok := c.plants[plantID]; ok {
		return customer, nil
	}
	var found []int64
	err := c.Tx().Raw("SELECT customer_id FROM plants WHERE id = ? AND known_to IS NULL AND valid_to IS NULL", plantID).Scan(&found).Error
	if err != nil {
		return 0, err
	}
	if len(found) == 0 {
		return 0, fmt.Errorf("plant %d: %w", plantID, assets.ErrNotFound)
	}
	c.plants[plantID] = found[0]
	return found[0], nil
}
