package stores_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/stock"

	"pgregory.net/rapid"
)

var bg = context.Background()

// both runs a change of the plant's chain and the company's.
func both(s *plantdbtest.Site, now time.Time, fn func(*plantdb.Change) error) error {
	act := s.Act(now)
	act.Company = true
	return s.DB.Change(bg, act, fn)
}

func done(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// storeroom has an item of the company's list with a lot at the plant and one at the depot.
func storeroom(t *testing.T, s *plantdbtest.Site) (item assets.StockItem, here, depot assets.StockLot) {
	t.Helper()
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		item = assets.StockItem{Name: "release cloth", Kind: assets.StockCloth, Unit: assets.UnitMetre, Critical: true, LeadTimeDays: 42, ServiceLevel: 0.95, Class: assets.ClassD}
		if err := stores.SaveItem(c, &item); err != nil {
			return err
		}
		here = assets.StockLot{PlantID: s.Plant.ID, ItemID: item.ID, Lot: "31", Shelf: "rack 2"}
		depot = assets.StockLot{ItemID: item.ID, Lot: "44"}
		for lot, q := range map[*assets.StockLot]assets.Quantity{&here: 50000, &depot: 20000} {
			if err := stores.Receive(c, nil, lot, q, 0); err != nil {
				return err
			}
		}
		return nil
	}))
	return item, here, depot
}

func onHand(t *testing.T, db *plantdb.DB, scope assets.Scope, lotID int64) assets.Quantity {
	t.Helper()
	l, err := stores.OneLot(bg, db, scope, lotID)
	done(t, err)
	return l.OnHand
}

func TestAMoveLeavesOnePlaceAsItComesToAnother(t *testing.T) {
	s := plantdbtest.Plant(t)
	_, here, depot := storeroom(t, s)
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		return stores.Post(c, []assets.StockMovement{{LotID: depot.ID, Quantity: -8000, Why: assets.MoveMoved}, {LotID: here.ID, Quantity: 8000, Why: assets.MoveMoved}})
	}))
	if a, b := onHand(t, s.DB, assets.JobScope(), here.ID), onHand(t, s.DB, assets.JobScope(), depot.ID); a != 58000 || b != 12000 {
		t.Errorf("%v here, %v at the depot; want 58 and 12", a, b)
	}
	for name, lines := range map[string][]assets.StockMovement{
		"more than the depot has": {{LotID: depot.ID, Quantity: -12001, Why: assets.MoveMoved}, {LotID: here.ID, Quantity: 12001, Why: assets.MoveMoved}},
		"one end only":            {{LotID: here.ID, Quantity: 1000, Why: assets.MoveMoved}},
		"no lot of ours":          {{LotID: 999, Quantity: 1000, Why: assets.MoveReceived}},
		"in the future":           {{LotID: here.ID, Quantity: 1000, Why: assets.MoveReceived, At: assets.InstantOf(plantdbtest.Noon.Add(time.Hour))}},
	} {
		if err := both(s, plantdbtest.Noon, func(c *plantdb.Change) error { return stores.Post(c, lines) }); err == nil {
			t.Errorf("%s: booked", name)
		}
	}
}

func TestTheDepotIsNotAPlantsToSee(t *testing.T) {
	s := plantdbtest.Plant(t)
	_, here, depot := storeroom(t, s)
	other := plantdbtest.PlantIn(t, s.DB, "Korva Mine")
	if _, err := stores.OneLot(bg, s.DB, s.Scope, depot.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the depot's lot: %v", err)
	}
	for who, scope := range map[string]assets.Scope{"another plant": other.Scope, "nobody": {}} {
		if _, err := stores.OneLot(bg, s.DB, scope, here.ID); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("%s finds the lot: %v", who, err)
		}
		if lots, err := stores.Lots(bg, s.DB, scope, plantdb.AsOf{}, true); err != nil || len(lots) != 0 {
			t.Errorf("%s lists %d lots (%v)", who, len(lots), err)
		}
		if m, err := stores.Movements(bg, s.DB, scope, plantdb.AsOf{}, stores.MovementFilter{}); err != nil || len(m) != 0 {
			t.Errorf("%s lists %d movements (%v)", who, len(m), err)
		}
	}
	err := other.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
		return stores.Post(c, []assets.StockMovement{{LotID: here.ID, Quantity: -1000, Why: assets.MoveScrapped, Reason: "torn"}})
	})
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("another plant scraps the lot: %v", err)
	}
}

// The same acts on the database and on a list in memory: what is on hand is what the lines sum to, now and as known before.
func TestTheKeptLedgerBalances(t *testing.T) {
	s := plantdbtest.Plant(t)
	item, here, depot := storeroom(t, s)
	held := map[int64]assets.Quantity{here.ID: 50000, depot.ID: 20000}
	now := plantdbtest.Noon
	rapid.Check(t, func(rt *rapid.T) {
		for range rapid.IntRange(1, 3).Draw(rt, "acts") {
			now = now.Add(time.Minute)
			why := rapid.SampledFrom(assets.MovementWhys).Draw(rt, "why")
			q := assets.Quantity(rapid.IntRange(-9000, 9000).Draw(rt, "thousandths"))
			lines := []assets.StockMovement{{LotID: here.ID, Quantity: q, Why: why, Reason: "drawn"}}
			if why == assets.MoveMoved {
				lines = append(lines, assets.StockMovement{LotID: depot.ID, Quantity: -q, Why: why})
			}
			want := stock.Check(item, lines, held)
			got := both(s, now, func(c *plantdb.Change) error { return stores.Post(c, lines) })
			if (want == nil) != (got == nil) {
				rt.Fatalf("%s %v: %v, the ledger's rules say %v", why, q, got, want)
			}
			if got == nil {
				for _, l := range lines {
					held[l.LotID] += l.Quantity
				}
			}
		}
	})
	all, err := stores.Movements(bg, s.DB, assets.JobScope(), plantdb.AsOf{}, stores.MovementFilter{ItemID: item.ID})
	done(t, err)
	sum, outside := stock.Balance(all)
	for _, q := range outside {
		sum += q
	}
	if sum != 0 || outside[assets.MoveMoved] != 0 {
		t.Errorf("the ledger of %d lines is out by %v, %v on the way", len(all), sum, outside[assets.MoveMoved])
	}
	for id, want := range held {
		if got := onHand(t, s.DB, assets.JobScope(), id); got != want {
			t.Errorf("lot %d holds %v, want %v", id, got, want)
		}
	}
	position, err := s.DB.HeadPosition(bg, s.Plant.ID)
	done(t, err)
	early, err := stores.Lots(bg, s.DB, s.Scope, plantdb.AsOf{Known: position, Valid: assets.InstantOf(plantdbtest.Noon)}, true)
	done(t, err)
	if len(early) != 1 || early[0].OnHand != 50000 {
		t.Errorf("as it was at noon: %+v, want the 50 m received", early)
	}
}

func TestACounterIsMovedByAJobOrWithAReason(t *testing.T) {
	s := plantdbtest.Plant(t)
	press := assets.Kit{HomePlantID: s.Plant.ID, Name: "Press 1", Class: assets.KitPress, WorkingWidthM: 1.4}
	cycles := assets.KitCounter{Counts: assets.WearPressCycles, Limit: 400, PerJob: 1, Class: assets.ClassD}
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		if err := stores.SaveKit(c, &press); err != nil {
			return err
		}
		cycles.KitID = press.ID
		return stores.SaveCounter(c, &cycles)
	}))
	count := func(line assets.KitCount) error {
		line.CounterID = cycles.ID
		return both(s, plantdbtest.Noon, func(c *plantdb.Change) error { return stores.Count(c, &line) })
	}
	done(t, count(assets.KitCount{Quantity: 215, Reason: "as the old book says"}))
	done(t, count(assets.KitCount{Quantity: 1, OrderID: 7}))
	var bad assets.Invalid
	if err := count(assets.KitCount{Quantity: 1}); !errors.As(err, &bad) || bad["reason"] == "" {
		t.Errorf("by hand without a reason: %v", err)
	}
	if err := count(assets.KitCount{Quantity: 1, OrderID: 7}); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("the same order again: %v", err)
	}
	if err := count(assets.KitCount{Quantity: -300, Reason: "mistyped"}); !errors.As(err, &bad) {
		t.Errorf("below nothing: %v", err)
	}
	all, err := stores.Counters(bg, s.DB, plantdb.AsOf{}, []int64{press.ID})
	done(t, err)
	if len(all) != 1 || all[0].Count != 216 {
		t.Fatalf("%+v; want 216 cycles", all)
	}
	done(t, both(s, plantdbtest.Noon.Add(time.Hour), func(c *plantdb.Change) error { return stores.EndCounter(c, cycles.ID, all[0].RowID, "new platens") }))
	if err := count(assets.KitCount{Quantity: 1, OrderID: 8, At: assets.InstantOf(plantdbtest.Noon.Add(2 * time.Hour))}); err == nil {
		t.Error("a part that was taken out was counted on")
	}
}

func TestSharedKitIsKnownAndAPlantsOwnIsNot(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Korva Mine")
	save := func(k assets.Kit) assets.Kit {
		act := s.Act(plantdbtest.Noon)
		act.Company, act.Customers = true, []int64{k.CustomerID}
		if k.CustomerID == 0 {
			act.Customers = nil
		}
		done(t, s.DB.Change(bg, act, func(c *plantdb.Change) error { return stores.SaveKit(c, &k) }))
		return k
	}
	shared := save(assets.Kit{Name: "Press 1", Class: assets.KitPress})
	theirs := save(assets.Kit{Name: "Press 2", Class: assets.KitPress, CustomerID: other.Customer.ID, HomePlantID: other.Plant.ID})
	seen, err := stores.Kit(bg, s.DB, s.Scope, plantdb.AsOf{})
	done(t, err)
	if len(seen) != 1 || seen[0].ID != shared.ID {
		t.Errorf("a reader of one plant knows of %+v, want the shared press alone", seen)
	}
	if _, err := stores.OneKit(bg, s.DB, s.Scope, theirs.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("another plant's press: %v", err)
	}
	if seen, err := stores.Kit(bg, s.DB, assets.Scope{}, plantdb.AsOf{}); err != nil || len(seen) != 0 {
		t.Errorf("nobody knows of %+v (%v)", seen, err)
	}
}

func TestADeliveryBooksItsOrder(t *testing.T) {
	s := plantdbtest.Plant(t)
	item, _, _ := storeroom(t, s)
	o := assets.SupplyOrder{PlantID: s.Plant.ID, ItemID: item.ID, Quantity: 50000, State: assets.SupplyOrdered, OrderedDay: "2026-11-25", ExpectedDay: "2027-01-06"}
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error { return stores.SaveSupplyOrder(c, &o) }))
	reg := &assets.Register{Plant: s.Plant, Splices: []assets.Splice{s.Splice}, Belts: []assets.Belt{s.Belt}, Conveyors: []assets.Conveyor{s.Conveyor}}
	reg.Arrange()
	look := func() stock.Outlook {
		room, err := stores.Look(bg, s.DB, s.Scope, reg, nil, plantdbtest.Noon.Add(2*time.Hour))
		done(t, err)
		of, ok := room.Outlook(item.ID)
		if !ok {
			t.Fatal("the cloth is not looked at")
		}
		return of
	}
	if of := look(); of.OnHand != 50000 || of.Coming != 50000 {
		t.Errorf("%v on hand, %v coming", of.OnHand, of.Coming)
	}
	lot := assets.StockLot{Lot: "52"}
	done(t, both(s, plantdbtest.Noon.Add(time.Hour), func(c *plantdb.Change) error { return stores.Receive(c, &o, &lot, 50000, 0) }))
	if of := look(); of.OnHand != 100000 || of.Coming != 0 || of.OrderDay != "" {
		t.Errorf("after the delivery: %+v", of)
	}
	got, err := stores.OneSupplyOrder(bg, s.DB, s.Scope, o.ID)
	if err != nil || got.State != assets.SupplyReceived || got.Received != 50000 || got.Number != 1 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestClothCannotHaveGoneOutBeforeItCame(t *testing.T) {
	s := plantdbtest.Plant(t)
	item, here, _ := storeroom(t, s)
	later := plantdbtest.Noon.Add(48 * time.Hour)
	issue := func(q assets.Quantity, at time.Time) error {
		return both(s, later, func(c *plantdb.Change) error {
			return stores.Post(c, []assets.StockMovement{{LotID: here.ID, Quantity: -q, Why: assets.MoveIssued, Reason: "splice on Q3", At: assets.InstantOf(at)}})
		})
	}
	done(t, issue(45000, plantdbtest.Noon.Add(24*time.Hour)))
	done(t, both(s, later, func(c *plantdb.Change) error { return stores.Receive(c, nil, &here, 20000, 0) }))
	var bad assets.Invalid
	for why, err := range map[string]error{"before the roll came": issue(1000, plantdbtest.Noon.Add(-time.Hour)), "when it held enough, but too little the day after": issue(6000, plantdbtest.Noon.Add(time.Hour))} {
		if !errors.As(err, &bad) || bad["at"] == "" {
			t.Errorf("%s: %v, want it refused at its time", why, err)
		}
	}
	done(t, issue(5000, plantdbtest.Noon.Add(time.Hour)))
	lots, err := stores.LotsOfItem(bg, s.DB, s.Scope, item.ID, true)
	done(t, err)
	if len(lots) != 1 || lots[0].OnHand != 20000 {
		t.Errorf("%+v, want what came last", lots)
	}
}

func TestAnOffcutHasAMarkOfItsOwnAndIsNoWiderThanItsRoll(t *testing.T) {
	s := plantdbtest.Plant(t)
	_, here, _ := storeroom(t, s)
	cut := func(mark string, width float64) error {
		return both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
			into := assets.StockLot{PlantID: s.Plant.ID, ItemID: here.ItemID, Lot: mark, WidthM: width, CutFromID: here.ID}
			if err := stores.SaveLot(c, &into); err != nil {
				return err
			}
			return stores.Post(c, []assets.StockMovement{{LotID: here.ID, Quantity: -3000, Why: assets.MoveCut}, {LotID: into.ID, Quantity: 3000, Why: assets.MoveCut}})
		})
	}
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		wide := here
		wide.WidthM = 1.6
		err := stores.SaveLot(c, &wide)
		here.RowID = wide.RowID
		return err
	}))
	done(t, cut("31-1", 0.8))
	var bad assets.Invalid
	if err := cut("31-1", 0.8); !errors.As(err, &bad) || bad["lot"] == "" {
		t.Errorf("the mark of another offcut: %v", err)
	}
	if err := cut("31", 0.8); !errors.As(err, &bad) || bad["lot"] == "" {
		t.Errorf("the number of the roll itself: %v", err)
	}
	if err := cut("31-2", 5); !errors.As(err, &bad) || bad["width_m"] == "" {
		t.Errorf("5 m wide off a roll of 1.6 m: %v", err)
	}
	if got := onHand(t, s.DB, s.Scope, here.ID); got != 47000 {
		t.Errorf("%v left on the roll, want 47 m: the refused cuts book nothing", got)
	}
}

func TestASecondDeliveryOfALotIsPartOfIt(t *testing.T) {
	s := plantdbtest.Plant(t)
	item, here, _ := storeroom(t, s)
	done(t, both(s, plantdbtest.Noon.Add(time.Hour), func(c *plantdb.Change) error { return stores.Receive(c, nil, &here, 20000, 0) }))
	lots, err := stores.LotsOfItem(bg, s.DB, s.Scope, item.ID, true)
	done(t, err)
	if len(lots) != 1 || lots[0].OnHand != 70000 {
		t.Errorf("%+v, want one lot of 70 m", lots)
	}
}

func TestLinesWithoutAReasonOrAPersonAreCounted(t *testing.T) {
	s := plantdbtest.Plant(t)
	_, here, _ := storeroom(t, s)
	before, err := stores.Sums(bg, s.DB, s.Plant.ID)
	done(t, err)
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		return stores.Post(c, []assets.StockMovement{{LotID: here.ID, Quantity: -2000, Why: assets.MoveIssued, OrderID: 7}, {LotID: here.ID, Quantity: 1000, Why: assets.MoveReturned}})
	}))
	after, err := stores.Sums(bg, s.DB, s.Plant.ID)
	done(t, err)
	if after.Unsaid != before.Unsaid+1 {
		t.Errorf("%d lines with nothing said before, %d after one was taken back without a word", before.Unsaid, after.Unsaid)
	}
}

func TestAPressIsNotAwayTwiceAtOnce(t *testing.T) {
	s := plantdbtest.Plant(t)
	press := assets.Kit{HomePlantID: s.Plant.ID, Name: "Press 1", Class: assets.KitPress}
	gauge := assets.Kit{HomePlantID: s.Plant.ID, Name: "PG-1", Class: assets.KitGauge}
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error {
		if err := stores.SaveKit(c, &press); err != nil {
			return err
		}
		return stores.SaveKit(c, &gauge)
	}))
	day := func(n int) assets.Instant { return assets.InstantOf(plantdbtest.Noon.AddDate(0, 0, n)) }
	away := func(from, to assets.Instant) (assets.KitAway, error) {
		a := assets.KitAway{KitID: press.ID, FromAt: from, ToAt: to, Why: assets.AwayService}
		return a, both(s, plantdbtest.Noon, func(c *plantdb.Change) error { return stores.SaveAway(c, &a) })
	}
	kept, err := away(day(10), day(20))
	done(t, err)
	var bad assets.Invalid
	for _, again := range [][2]assets.Instant{{day(10), day(20)}, {day(5), 0}, {day(19), day(30)}} {
		if _, err := away(again[0], again[1]); !errors.As(err, &bad) || bad["from"] == "" {
			t.Errorf("away %v a second time: %v", again, err)
		}
	}
	_, err = away(day(20), 0)
	done(t, err)
	kept.ToAt = day(15) // back early
	done(t, both(s, plantdbtest.Noon, func(c *plantdb.Change) error { return stores.SaveAway(c, &kept) }))
	c := assets.Calibration{KitID: gauge.ID, OnDay: "2026-11-20", DueDay: "2999-01-01", Class: assets.ClassD, Source: "common practice"}
	if err := both(s, plantdbtest.Noon, func(ch *plantdb.Change) error { return stores.SaveCalibration(ch, &c) }); !errors.As(err, &bad) || bad["due_day"] == "" {
		t.Errorf("next calibration in 2999: %v", err)
	}
}
