package plantdb

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
)

// Chain is the journal of one customer, or of the company (CustomerID 0), at the place where the entry of
// a change under way will stand.
type Chain struct {
	ID         int64
	CustomerID int64
	Position   int64 // of this change's entry; rows carry it as KnownFrom
	block      int64 // of the numbers of its things, see blocks.go
	headAt     assets.Instant
	headHash   string // of the entry ahead
	written    []Written
	rows       int
	touched    map[string]*touched // keys of rows written and ended, by table
}

type chainRow struct {
	ID           int64 `gorm:"primaryKey;autoIncrement:false"`
	CustomerID   int64
	HeadPosition int64
	HeadAt       assets.Instant
	HeadHash     string
}

// TableName is "chains".
func (chainRow) TableName() string { return "chains" }

// Chain returns the chain of a customer, 0 for the company. The act must have declared it: chains are locked in
// order before anything is written, and what an act does not name it does not touch.
func (c *Change) Chain(customerID int64) (*Chain, error) {
	if ch, ok := c.chains[customerID]; ok {
		return ch, nil
	}
	return nil, fmt.Errorf("the act %q does not declare that it touches customer %d: %w", c.Act.Action, customerID, assets.ErrNotFound)
}

// PlantChain returns the chain that a plant's facts are journalled in: its customer's. Where the act names
// the plants it touches, a thing of another plant is not found: a number guessed in a form ends here.
func (c *Change) PlantChain(plantID int64) (*Chain, error) {
	customer, err := c.customerOf(plantID)
	if err != nil {
		return nil, err
	}
	if len(c.Act.Plants) > 0 && !slices.Contains(c.Act.Plants, plantID) && !slices.Contains(c.made, plantID) && !slices.Contains(c.Act.Customers, customer) {
		return nil, fmt.Errorf("plant %d: %w", plantID, assets.ErrNotFound)
	}
	return c.Chain(customer)
}

// NewChain begins the chain of a new customer.
func (c *Change) NewChain(customerID int64) (*Chain, error) {
	block, err := c.newBlock(customerID)
	if err != nil {
		return nil, err
	}
	id := block // drawn by chance too: reports name it, and a running number would count the customers before
	if block == 0 {
		if id, err = c.count(0, "chains", 1); err != nil {
			return nil, err
		}
	}
	if err := c.Tx().Create(&chainRow{ID: id, CustomerID: customerID, HeadHash: noHash}).Error; err != nil {
		return nil, fmt.Errorf("begin a customer's journal: %w", err)
	}
	ch := &Chain{ID: id, CustomerID: customerID, Position: 1, block: block, headHash: noHash}
	c.chains[customerID] = ch
	return ch, nil
}

// PositionAt returns the position a chain had reached at an instant, -1 when it had no entry yet: the
// Known of an AsOf that shows what was known then.
func (db *DB) PositionAt(ctx context.Context, customerID int64, at assets.Instant) (int64, error) {
	var position int64
	err := db.SQL(ctx).Raw(`SELECT coalesce((SELECT e.position FROM journal_entries e JOIN chains c ON c.id = e.chain_id
		WHERE c.customer_id = ? AND e.at <= ? ORDER BY e.at DESC, e.position DESC LIMIT 1), -1)`, customerID, at).Scan(&position).Error
	return position, err
}

// HeadPosition returns the newest position of the chain of a plant's customer: what a cache of anything
// computed from that plant is keyed by.
func (db *DB) HeadPosition(ctx context.Context, plantID int64) (int64, error) {
	var position int64
	err := db.SQL(ctx).Raw(`SELECT coalesce((SELECT c.head_position FROM chains c JOIN plants p ON p.customer_id = c.customer_id
		WHERE p.id = ? AND p.known_to IS NULL AND p.valid_to IS NULL), 0)`, plantID).Scan(&position).Error
	return position, err
}

// CompanyPosition returns the newest position of the company's own chain (catalogues, company-wide rules).
func (db *DB) CompanyPosition(ctx context.Context) (int64, error) {
	var position int64
	err := db.SQL(ctx).Raw("SELECT head_position FROM chains WHERE id = 1").Scan(&position).Error
	return position, err
}
