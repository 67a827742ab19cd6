package stores_test

import (
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stores"
)

// What a plant is sent leaves the depot: the ledger of both together holds what was delivered.
func TestWhatIsSentFromTheDepotComesToThePlant(t *testing.T) {
	s := plantdbtest.Plant(t)
	cloth := assets.StockItem{Name: "Depot cloth", Kind: assets.StockCloth, Unit: assets.UnitMetre, Class: assets.ClassP, Source: "own"}
	lot := assets.StockLot{Lot: "D-1"}
	act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "depot", Now: plantdbtest.Noon, Company: true, Plants: []int64{s.Plant.ID}}
	err := s.DB.Change(bg, act, func(c *plantdb.Change) error {
		if err := stores.SaveItem(c, &cloth); err != nil {
			return err
		}
		lot.ItemID = cloth.ID
		if err := stores.Receive(c, nil, &lot, 50000, 0); err != nil {
			return err
		}
		into := assets.StockLot{PlantID: s.Plant.ID, ItemID: cloth.ID, Lot: "D-1"}
		if err := stores.SaveLot(c, &into); err != nil {
			return err
		}
		return stores.Post(c, []assets.StockMovement{{LotID: lot.ID, Quantity: -20000, Why: assets.MoveMoved}, {LotID: into.ID, Quantity: 20000, Why: assets.MoveMoved}})
	})
	if err != nil {
		t.Fatal(err)
	}
	lots, lines, all, err := stores.Depot(bg, s.DB, assets.JobScope(), 0, 10)
	if err != nil || len(lots) != 1 || lots[0].OnHand != 30000 || len(lines) != 2 || all != 2 {
		t.Errorf("the depot holds %+v with %+v, %v; want 30 m and two lines", lots, lines, err)
	}
	if _, rest, all, err := stores.Depot(bg, s.DB, assets.JobScope(), 1, 10); err != nil || len(rest) != 1 || all != 2 || rest[0].ID != lines[1].ID {
		t.Errorf("from the second line on the depot's ledger is %+v of %d, %v", rest, all, err)
	}
	here, err := stores.LotsOfItem(bg, s.DB, s.Scope, cloth.ID, false)
	if err != nil || len(here) != 1 || here[0].OnHand != 20000 {
		t.Errorf("the plant holds %+v, %v; want 20 m", here, err)
	}
	if _, _, _, err := stores.Depot(bg, s.DB, s.Scope, 0, 10); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a grant for a plant sees the depot: %v", err)
	}
}
