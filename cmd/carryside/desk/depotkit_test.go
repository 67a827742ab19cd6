package desk_test

import (
	"log/slog"
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stores"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// job keeps an order of a plant and counts so many cycles of the press for it.
func (w *workshop) job(t *testing.T, s *plantdbtest.Site, number int64, counter int64, cycles float64) {
	t.Helper()
	w.now = w.now.Add(time.Hour)
	act := s.Act(w.now)
	act.Company = true
	if err := w.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(s.Plant.ID)
		if err != nil {
			return err
		}
		o := workorder.Order{PlantID: s.Plant.ID, Number: number, Kind: workorder.KindResplice, State: workorder.Signed, ConveyorID: s.Conveyor.ID, Title: "remake splice 1"}
		if err := plantdb.Create(c, ch, &o); err != nil {
			return err
		}
		return stores.Count(c, &assets.KitCount{CounterID: counter, Quantity: cycles, OrderID: o.ID})
	}); err != nil {
		t.Fatal(err)
	}
}

// watchKit gives a plant the rule that raises service orders for kit at its limit.
func watchKit(t *testing.T, s *plantdbtest.Site, now time.Time) {
	t.Helper()
	if err := s.DB.Change(t.Context(), s.Act(now), func(c *plantdb.Change) error {
		return orders.SaveRule(c, &rules.Rule{PlantID: s.Plant.ID, CustomerID: s.Customer.ID, Name: "kit at its limit", Class: assets.ClassP, Scope: rules.Scope{Target: rules.TargetPlant},
			Trigger: rules.Trigger{Kind: rules.TriggerKit, Watches: rules.KitLimit}, Template: rules.Template{Kind: workorder.KindKitService, Title: "service {target}", LeadDays: 14}})
	}); err != nil {
		t.Fatal(err)
	}
}

// serviceOf are the open service orders of a plant.
func serviceOf(t *testing.T, s *plantdbtest.Site) []workorder.Order {
	t.Helper()
	list, _, err := orders.List(t.Context(), s.DB, assets.JobScope(), orders.Filter{PlantID: s.Plant.ID, Kind: workorder.KindKitService})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// The depot's press makes its 400th cycle at Korva Mine and is used at the first plant again before anybody has looked: one service order, at
// Korva Mine. The next, at 800, is raised where that one is reached.
func TestThePressOfTheDepotIsPutToServiceWhereItReachedItsLimit(t *testing.T) {
	w := newWorkshop(t)
	mine := plantdbtest.PlantIn(t, w.DB, "Korva Mine")
	counters, err := stores.Counters(t.Context(), w.DB, plantdb.AsOf{}, []int64{w.press.ID})
	if err != nil || len(counters) != 1 {
		t.Fatalf("%+v (%v)", counters, err)
	}
	cycles := counters[0].KitCounter
	cycles.Class, cycles.Source = assets.ClassA, "the maker's instruction"
	act := w.Act(w.now)
	act.Company = true
	if err := w.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return stores.SaveCounter(c, &cycles) }); err != nil {
		t.Fatal(err)
	}
	watchKit(t, w.Site, w.now)
	watchKit(t, mine, w.now)
	look := func() {
		t.Helper()
		w.now = w.now.Add(time.Hour)
		if _, err := jobs.Evaluator(w.DB, slog.New(slog.DiscardHandler)).Evaluate(t.Context(), w.now); err != nil {
			t.Fatal(err)
		}
	}
	worn := func(scope assets.Scope) []web.DepotEnd {
		t.Helper()
		ends, err := w.desk.DepotEnds(t.Context(), scope, w.now, assets.DayOf(w.now.AddDate(0, 0, 60)))
		if err != nil {
			t.Fatal(err)
		}
		return slices.DeleteFunc(ends, func(e web.DepotEnd) bool { return e.KitID != w.press.ID })
	}
	w.job(t, w.Site, 901, cycles.ID, 399)
	if look(); len(serviceOf(t, w.Site))+len(serviceOf(t, mine)) != 0 || len(worn(assets.JobScope())) != 0 {
		t.Fatal("a cycle before its limit the press is put to service")
	}
	w.job(t, mine, 902, cycles.ID, 1)
	w.job(t, w.Site, 903, cycles.ID, 1)
	if got := worn(assets.JobScope()); len(got) != 1 || got[0].Ordered || got[0].Count != "401 of 400 cycles" || got[0].What != "press cycles" {
		t.Errorf("before anybody has looked: %+v, want it due without an order", got)
	}
	look()
	look()
	here, there := serviceOf(t, w.Site), serviceOf(t, mine)
	if len(here) != 0 || len(there) != 1 {
		t.Fatalf("%d orders at the first plant, %d at Korva Mine; want the one at Korva Mine", len(here), len(there))
	}
	if got := worn(assets.JobScope()); len(got) != 1 || !got[0].Ordered || got[0].PlantID != mine.Plant.ID || got[0].Number != there[0].Number {
		t.Errorf("%+v; want it on order %d of Korva Mine", got, there[0].Number)
	}
	if got := worn(w.Scope); len(got) != 1 || !got[0].Ordered || got[0].Number != 0 || got[0].PlantID != 0 {
		t.Errorf("%+v; who does not reach Korva Mine is told of no order there", got)
	}
	w.job(t, w.Site, 904, cycles.ID, 399)
	look()
	if here, there = serviceOf(t, w.Site), serviceOf(t, mine); len(here) != 1 || len(there) != 1 {
		t.Errorf("at 800 cycles %d orders at the first plant, %d at Korva Mine; want one each", len(here), len(there))
	}
}
