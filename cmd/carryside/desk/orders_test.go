package desk_test

import (
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
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
