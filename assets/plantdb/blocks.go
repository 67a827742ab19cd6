package plantdb

import (
	"crypto/rand"
	"fmt"
	"math/big"
	"slices"
)

// A block holds the numbers of one customer's things: with one sequence over all of them the gaps between one's own
// numbers would tell how much others add, and with blocks in the order in which customers came how many came before.
const (
	blockSize = 1_000_000_000
	mostBlock = 4_000_000 // times blockSize stays below 2^53, the largest whole number every reader of JSON keeps
)

// numberBlock is the block of one customer. Who has no row has block 0, the company's.
type numberBlock struct {
	CustomerID int64 `gorm:"primaryKey;autoIncrement:false"`
	Block      int64
}

// TableName is "number_blocks".
func (numberBlock) TableName() string { return "number_blocks" }

// blocks reads the blocks of customers.
func (c *Change) blocks(customers []int64) (map[int64]int64, error) {
	var rows []numberBlock
	if err := c.Tx().Where("customer_id IN ?", customers).Find(&rows).Error; err != nil {
		return nil, fmt.Errorf("read the blocks of numbers: %w", err)
	}
	of := map[int64]int64{}
	for _, r := range rows {
		of[r.CustomerID] = r.Block
	}
	return of, nil
}

// newBlock draws the block of a new customer. The first customer of an installation has the company's, block 0: a plant
// that runs its own registry reads 1, 2, 3 in its addresses, and there is nobody else to be told anything of.
func (c *Change) newBlock(customerID int64) (int64, error) {
	if first, err := c.firstCustomer(); err != nil || first {
		return 0, err
	}
	block, err := c.draw("SELECT block FROM number_blocks UNION SELECT id FROM chains")
	if err != nil {
		return 0, err
	}
	if err := c.Tx().Create(&numberBlock{CustomerID: customerID, Block: block}).Error; err != nil {
		return 0, fmt.Errorf("keep a block of numbers: %w", err)
	}
	return block, nil
}

// NewCustomerID returns the number of a customer to come: 1 for the first, drawn by chance for those after, since a
// customer's own people read it and a running number would tell them how many came before.
func (c *Change) NewCustomerID() (int64, error) {
	company, err := c.Chain(0)
	if err != nil {
		return 0, err
	}
	first, err := c.firstCustomer()
	if err != nil {
		return 0, err
	}
	if first {
		return c.NewIDs(company, "customers", 1)
	}
	return c.draw("SELECT customer_id FROM chains")
}

// firstCustomer tells whether no customer has a chain yet.
func (c *Change) firstCustomer() (bool, error) {
	var others int64
	if err := c.Tx().Raw("SELECT count(*) FROM chains WHERE customer_id <> 0").Scan(&others).Error; err != nil {
		return false, fmt.Errorf("count the customers' journals: %w", err)
	}
	return others == 0, nil
}

// NewPersonID returns the number of a person to come: 1 for the first, drawn by chance for those after. Whoever is signed
// in learns their own and that of those they name, and a running number would tell how many people there are.
func (c *Change) NewPersonID() (int64, error) {
	var some int64
	if err := c.Tx().Raw("SELECT count(*) FROM (SELECT id FROM people LIMIT 1) AS anybody").Scan(&some).Error; err != nil {
		return 0, fmt.Errorf("count the people: %w", err)
	}
	if some == 0 {
		return 1, nil
	}
	return c.draw("SELECT id FROM people")
}

// draw draws a number from 1 on that a statement does not list.
func (c *Change) draw(listed string) (int64, error) {
	var taken []int64
	if err := c.Tx().Raw(listed).Scan(&taken).Error; err != nil {
		return 0, fmt.Errorf("draw a number: %w", err)
	}
	if len(taken) > mostBlock/2 {
		return 0, fmt.Errorf("all %d numbers that this database has for customers or for people are given out; put the next into another one", len(taken))
	}
	n := int64(0)
	for n == 0 || slices.Contains(taken, n) {
		n = below(mostBlock)
	}
	return n, nil
}

// Scattered returns a number of chance for what belongs to a person and not to a plant (a token, a passkey, a phone): no
// number of it tells how many there are.
func (c *Change) Scattered() int64 { return 1 + below(mostBlock*blockSize) }

// below draws a whole number from 0 up to most, without it.
func below(most int64) int64 {
	n, err := rand.Int(rand.Reader, big.NewInt(most))
	if err != nil {
		panic(err) // crypto/rand ends the program itself before it hands out anything guessable
	}
	return n.Int64()
}
