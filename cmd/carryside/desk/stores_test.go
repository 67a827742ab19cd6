package desk_test

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stores"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// workshop gives a plant cement in two lots, blades, a press and a cutter with counters, and what a remake takes.
type workshop struct {
	*plantdbtest.Site
	desk   *desk.Desk
	now    time.Time
	cement assets.StockItem
	lots   [2]assets.StockLot
	press  assets.Kit
	cutter assets.Kit
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{Site: plantdbtest.Plant(t), now: plantdbtest.Noon}
	w.desk = desk.New(w.DB, func() time.Time { return w.now }, nil, "test")
	act := w.Act(w.now)
	act.Company, act.Customers = true, []int64{w.Customer.ID}
	err := w.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return w.fill(c) })
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func (w *workshop) fill(c *plantdb.Change) error {
	w.cement = assets.StockItem{Name: "Hot cement", Kind: assets.StockAdhesive, Unit: assets.UnitLitre, LeadTimeDays: 14, Class: assets.ClassD}
	if err := stores.SaveItem(c, &w.cement); err != nil {
		return err
	}
	for i, until := range []assets.Day{"2027-05-01", "2026-12-31"} {
		w.lots[i] = assets.StockLot{PlantID: w.Site.Plant.ID, ItemID: w.cement.ID, Lot: string(until), GoodUntil: until}
		if err := stores.Receive(c, nil, &w.lots[i], 3000, 0); err != nil {
			return err
		}
	}
	w.press = assets.Kit{Name: "Press 1", Class: assets.KitPress} // the company's, shared
	w.cutter = assets.Kit{Name: "Step cutter", Class: assets.KitCutter, CustomerID: w.Customer.ID, HomePlantID: w.Site.Plant.ID}
	for _, of := range []struct {
		kit      *assets.Kit
		counters []assets.KitCounter
	}{{&w.press, []assets.KitCounter{{Counts: assets.WearPressCycles, Limit: 400, PerJob: 1, Class: assets.ClassD}}},
		{&w.cutter, []assets.KitCounter{{Counts: assets.WearPadCutsA, Part: "pad 6", PerJob: 60}, {Counts: assets.WearPadCutsB, Part: "pad 6", PerJob: 60, InUse: true}}}} {
		if err := stores.SaveKit(c, of.kit); err != nil {
			return err
		}
		for _, k := range of.counters {
			k.KitID = of.kit.ID
			if err := stores.SaveCounter(c, &k); err != nil {
				return err
			}
		}
	}
	return crew.SaveTemplate(c, &assets.WorkTemplate{OrderKind: string(workorder.KindRetension), DurationMin: 60, Stock: []assets.StockNeed{{ItemID: w.cement.ID, PerSplice: 4}}, Class: assets.ClassD})
}

// take takes one step of an order a minute after the last.
func (w *workshop) take(t *testing.T, number int64, step func(workorder.Order) (workorder.Order, workorder.Event, error)) {
	t.Helper()
	w.now = w.now.Add(time.Minute)
	f, err := w.desk.Order(t.Context(), w.Scope, w.Site.Plant.ID, number)
	if err == nil {
		err = w.desk.Step(t.Context(), w.Scope, web.Act{PersonID: 1, Action: "step", Now: w.now}, w.Site.Plant.ID, number, f.Order.EditVersion, step)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestASignedJobCountsOnItsKitAndBooksItsStock(t *testing.T) {
	w := newWorkshop(t)
	o := workorder.Order{PlantID: w.Site.Plant.ID, Kind: workorder.KindRetension, Title: "re-tension", Reason: "slack", State: workorder.Raised, RaisedAt: assets.InstantOf(w.now), ConveyorID: w.Conveyor.ID, SpliceID: w.Splice.ID, BeltID: w.Belt.ID}
	number, err := w.desk.Raise(t.Context(), w.Scope, web.Act{PersonID: 1, Action: "raise", Now: w.now}, o, workorder.Event{})
	if err != nil {
		t.Fatal(err)
	}
	by := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RoleLead}}
	w.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Accept(o, by, w.now, w.now)
	})
	w.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, by, w.now, w.now, workorder.Placement{Where: "the round", WindowDay: "2026-11-26", People: []int64{1}, Tools: []int64{w.press.ID, w.cutter.ID}})
	})
	room, err := w.desk.Room(t.Context(), w.Scope, w.Site.Plant.ID, w.now)
	if err != nil || len(room.Outlooks) != 1 || room.Outlooks[0].Reserved != 4000 || room.Outlooks[0].Held[0].Takes[0].LotID != w.lots[1].ID {
		t.Fatalf("placed, it holds %+v (%v); want 4 l, the lot that goes out of date first", room.Outlooks, err)
	}
	w.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Start(o, by, w.now, w.now)
	})
	w.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Finish(o, by, w.now, w.now, workorder.Work{Hours: 1, Note: "done"})
	})
	if book, err := w.desk.KitCounts(t.Context(), assets.JobScope(), w.Site.Plant.ID, w.press.ID, 0, 9); err != nil || len(book.Lines) != 0 || book.All != 0 {
		t.Fatalf("done and not signed, it counted already: %+v (%v)", book, err)
	}
	w.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Sign(o, by, w.now, w.now)
	})
	kits, err := w.desk.KitRoom(t.Context(), w.Scope, w.Site.Plant.ID, w.now)
	if err != nil || kits.Counters[w.press.ID][0].Count != 1 || kits.Counters[w.cutter.ID][0].Count != 0 || kits.Counters[w.cutter.ID][1].Count != 60 {
		t.Errorf("%+v (%v); want a cycle, and 60 cuts on the side that is up", kits.Counters, err)
	}
	ledger, err := w.desk.Ledger(t.Context(), w.Scope, w.Site.Plant.ID, w.cement.ID, 0, 9)
	if err != nil || len(ledger.Lines) != 4 {
		t.Fatalf("%+v (%v)", ledger, err)
	}
	taken := map[int64]assets.Quantity{}
	for _, l := range ledger.Lines {
		if l.Why == assets.MoveIssued {
			taken[l.LotID] += l.Quantity
			if ledger.Orders[l.OrderID] != number {
				t.Errorf("booked on order %d", ledger.Orders[l.OrderID])
			}
		}
	}
	if taken[w.lots[1].ID] != -3000 || taken[w.lots[0].ID] != -1000 {
		t.Errorf("taken %v; want the 3 l that expire first and 1 l of the other", taken)
	}
}

func TestWhatAnotherPlantDoesWithSharedKitHasNoPlace(t *testing.T) {
	w := newWorkshop(t)
	other := plantdbtest.PlantIn(t, w.DB, "Korva Mine")
	start := assets.InstantOf(w.now.AddDate(0, 0, 2))
	act := other.Act(w.now)
	if err := w.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(other.Plant.ID)
		if err != nil {
			return err
		}
		o := workorder.Order{PlantID: other.Plant.ID, Number: 1, Kind: workorder.KindResplice, State: workorder.Placed, ConveyorID: other.Conveyor.ID, Title: "secret", PlacedTools: []int64{w.press.ID}, PlacedStart: &start, WorkHours: 4}
		return plantdb.Create(c, ch, &o)
	}); err != nil {
		t.Fatal(err)
	}
	kits, err := w.desk.KitRoom(t.Context(), w.Scope, w.Site.Plant.ID, w.now)
	if err != nil || len(kits.Jobs[w.press.ID]) != 1 {
		t.Fatalf("%+v (%v)", kits.Jobs, err)
	}
	if j := kits.Jobs[w.press.ID][0]; !j.Hidden || j.Number != 0 || j.Where != "" || j.From != start || strings.Contains(j.Where, "Korva") {
		t.Errorf("%+v; want its time and nothing else", j)
	}
	all, err := w.desk.KitRoom(t.Context(), assets.JobScope(), w.Site.Plant.ID, w.now)
	if err != nil || all.Jobs[w.press.ID][0].Hidden || all.Jobs[w.press.ID][0].Where != "Korva Mine" {
		t.Errorf("for everything: %+v (%v)", all.Jobs, err)
	}
}
