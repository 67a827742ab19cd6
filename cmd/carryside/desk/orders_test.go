package desk_test

import (
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// A planner clicks four times before the page answers: one order is raised, and every click lands on it. Another person's, or
// one about something else, is an order of its own.
func TestAnOrderSentFourTimesIsRaisedOnce(t *testing.T) {
	s := plantdbtest.Plant(t)
	now := plantdbtest.Noon
	d := desk.New(s.DB, func() time.Time { return now }, nil, "test")
	raise := func(person int64, title string) int64 {
		o := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindInspection, Title: title, Reason: "heard a knock", State: workorder.Raised, RaisedAt: assets.InstantOf(now)}
		number, err := d.Raise(t.Context(), s.Scope, web.Act{PersonID: person, Action: "raise an order", Now: now}, o, workorder.Event{Why: "heard a knock"})
		if err != nil {
			t.Error(err)
		}
		return number
	}
	var all sync.WaitGroup
	numbers := make([]int64, 4)
	for i := range numbers {
		all.Go(func() { numbers[i] = raise(1, "look at the tail pulley") })
	}
	all.Wait()
	for _, n := range numbers {
		if n == 0 || n != numbers[0] {
			t.Fatalf("orders %v, want one number", numbers)
		}
	}
	if raise(2, "look at the tail pulley") == numbers[0] || raise(1, "look at the head pulley") == numbers[0] {
		t.Error("another person's order, or another one, was taken for the same")
	}
	if _, n, err := orders.List(t.Context(), s.DB, s.Scope, orders.Filter{PlantID: s.Plant.ID, Limit: 9}); err != nil || n != 3 {
		t.Errorf("%d orders, %v", n, err)
	}
}

// A planner finds on the page of conflicts what was done last to each of several orders, one of them closed since, and by whom.
func TestTheLastStepOfSeveralOrdersIsTold(t *testing.T) {
	s := plantdbtest.Plant(t)
	now := plantdbtest.Noon
	d := desk.New(s.DB, func() time.Time { return now }, nil, "test")
	var planner assets.Person
	act := s.Act(now)
	act.Company = true
	if err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		planner = assets.Person{Name: "R. Asquenne"}
		return registry.AddPerson(c, &planner)
	}); err != nil {
		t.Fatal(err)
	}
	by := workorder.Actor{PersonID: planner.ID, Roles: []assets.Role{assets.RolePlanner}}
	var ids []int64
	for i, title := range []string{"look at the tail pulley", "look at the head pulley", "look at the take-up"} {
		o := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindInspection, Title: title, Reason: "heard a knock", State: workorder.Raised, RaisedAt: assets.InstantOf(now)}
		number, err := d.Raise(t.Context(), s.Scope, web.Act{PersonID: 7, Action: "raise an order", Now: now}, o, workorder.Event{Why: "heard a knock"})
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Order(t.Context(), s.Scope, s.Plant.ID, number)
		if err != nil {
			t.Fatal(err)
		}
		if i < 2 {
			ids = append(ids, f.Order.ID)
		}
		if i != 1 {
			continue
		}
		if err := d.Step(t.Context(), s.Scope, web.Act{PersonID: planner.ID, Action: "withdraw", Now: now}, s.Plant.ID, number, f.Order.EditVersion, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Withdraw(o, by, now, now, "2026-11-25", workorder.Withdrawal{Why: "looked at it on the round", InError: true})
		}); err != nil {
			t.Fatal(err)
		}
	}
	last, err := d.LastChanges(t.Context(), s.Scope, s.Plant.ID, ids)
	told := map[string]string{}
	for _, l := range last {
		told[l.Order.Title] = l.Event.What + " by " + l.By
	}
	if err != nil || len(told) != 2 || told["look at the head pulley"] != "withdrawn by R. Asquenne" || told["look at the tail pulley"] != "raised by " {
		t.Errorf("told %v, %v", told, err)
	}
	if other, err := d.LastChanges(t.Context(), assets.PlantScope(s.Plant.ID+1), s.Plant.ID, ids); err != nil || len(other) != 0 {
		t.Errorf("somebody of another plant is told %v, %v", other, err)
	}
}
