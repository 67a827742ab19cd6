package plantdb_test

import (
	"fmt"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
)

// TestNumbersOfOnePlantTellNothingOfTheOthers adds a line, lets other customers come and add theirs, and adds the next: its
// number follows, whoever the plant belongs to.
func TestNumbersOfOnePlantTellNothingOfTheOthers(t *testing.T) {
	first := plantdbtest.Plant(t)
	second := plantdbtest.PlantIn(t, first.DB, "Odden Mill")
	add := func(s *plantdbtest.Site, name string) int64 {
		t.Helper()
		line := assets.Line{PlantID: s.Plant.ID, Name: name, NameKey: name}
		s.Change(t, noon, func(c *plantdb.Change) error {
			ch, err := c.PlantChain(s.Plant.ID)
			if err != nil {
				return err
			}
			return plantdb.Create(c, ch, &line)
		})
		return line.ID
	}
	was := map[*plantdbtest.Site]int64{first: add(first, "A"), second: add(second, "A")}
	blocks := map[int64]string{}
	for i := range 4 {
		other := plantdbtest.PlantIn(t, first.DB, fmt.Sprint("Brack Pit ", i))
		block := add(other, "A") / 1_000_000_000
		if at := blocks[block]; at != "" || block == 0 {
			t.Errorf("%s numbers in block %d, where %q does", other.Plant.Name, block, at)
		}
		blocks[block] = other.Plant.Name
	}
	for s, before := range was {
		if next := add(s, "B"); next != before+1 {
			t.Errorf("after four customers came, the line of %s after number %d has %d", s.Plant.Name, before, next)
		}
	}
	if first.Plant.ID >= 1_000_000_000 || second.Plant.ID < 1_000_000_000 {
		t.Errorf("the first customer's plant has number %d and the next one's %d; the first alone shares the company's block", first.Plant.ID, second.Plant.ID)
	}
}

// TestNumbersOfCustomersTellNotHowManyCameBefore holds that neither a customer's number nor that of its journal, which its
// own people read in their reports, runs on from the customer before.
func TestNumbersOfCustomersTellNotHowManyCameBefore(t *testing.T) {
	first := plantdbtest.Plant(t)
	if first.Customer.ID != 1 {
		t.Errorf("the first customer has number %d, want 1", first.Customer.ID)
	}
	chainOf := func(s *plantdbtest.Site) (id int64) {
		t.Helper()
		if err := first.DB.SQL(t.Context()).Raw("SELECT id FROM chains WHERE customer_id = ?", s.Customer.ID).Scan(&id).Error; err != nil || id == 0 {
			t.Fatalf("chain of customer %d: %d, %v", s.Customer.ID, id, err)
		}
		return id
	}
	customer, chain := first.Customer.ID, chainOf(first)
	for i := range 5 {
		next := plantdbtest.PlantIn(t, first.DB, fmt.Sprint("Odden Mill ", i))
		if next.Customer.ID-customer == 1 || next.Customer.ID == int64(i+2) {
			t.Errorf("customer %d follows customer %d", next.Customer.ID, customer)
		}
		if at := chainOf(next); at-chain == 1 || at == int64(i+3) {
			t.Errorf("journal %d follows journal %d", at, chain)
		}
		customer, chain = next.Customer.ID, chainOf(next)
	}
}
