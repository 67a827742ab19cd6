package desk_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Two tickets end: one order is raised, one reminder waits. Screens say whose they are; the rows keep the number, so an erased person is named
// nowhere, and a number typed into a title by hand names nobody.
func TestAnOrderForATicketSaysWhoseItIsUntilThePersonIsErased(t *testing.T) {
	s := plantdbtest.Plant(t)
	d := desk.New(s.DB, func() time.Time { return plantdbtest.Noon }, nil, "test")
	screens := d.Sources()
	holder, other := assets.Person{Name: "S. Ilveth"}, assets.Person{Name: "R. Asquenne"}
	act := s.Act(plantdbtest.Noon)
	act.Company = true
	err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		for _, p := range []*assets.Person{&holder, &other} {
			if err := registry.AddPerson(c, p); err != nil {
				return err
			}
		}
		rule := rules.Rule{PlantID: s.Plant.ID, CustomerID: s.Customer.ID, Name: "ticket ends", Class: assets.ClassP, Scope: rules.Scope{Target: rules.TargetPlant},
			Trigger: rules.Trigger{Kind: rules.TriggerTicket}, Template: rules.Template{Kind: workorder.KindOther, Title: "renew {target}"}}
		if err := orders.SaveRule(c, &rule); err != nil {
			return err
		}
		ends := func(class assets.Class, ticket string) rules.Proposal {
			of, words := rule, fmt.Sprintf("%s of person %d", ticket, holder.ID)
			of.Class = class
			return rules.Proposal{Rule: of, PlantID: s.Plant.ID,
				Target: rules.Target{Kind: rules.TargetPerson, ID: holder.ID, Words: words}, Cycle: ticket, DueAt: plantdbtest.Noon, DueDay: "2026-11-25", RaiseAt: plantdbtest.Noon, LatestDay: "2026-11-25", Why: "the ticket " + words + " holds to 25 Nov 2026 and no later"}
		}
		_, err := orders.Raise(c, s.Plant.ID, []rules.Proposal{ends(assets.ClassP, "hot vulcanising"), ends(assets.ClassD, "cold bonding")}, nil, assets.InstantOf(plantdbtest.Noon))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	byHand := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindOther, Title: fmt.Sprintf("ask person %d", other.ID), Reason: "shift", State: workorder.Raised, RaisedAt: assets.InstantOf(plantdbtest.Noon)}
	typed, err := d.Raise(t.Context(), s.Scope, web.Act{PersonID: 7, Action: "raise an order", Now: plantdbtest.Noon}, byHand, workorder.Event{Why: "shift"})
	if err != nil {
		t.Fatal(err)
	}
	told := func() string {
		t.Helper()
		open, err := screens.Orders.OpenOrders(t.Context(), s.Scope, s.Plant.ID)
		list, _, err2 := screens.Orders.OrderList(t.Context(), s.Scope, s.Plant.ID, web.OrderFilter{Open: true})
		if err != nil || err2 != nil || len(open) != 2 || len(list) != 2 {
			t.Fatalf("%d open, %d listed, %v, %v", len(open), len(list), err, err2)
		}
		var says []string
		for _, o := range append(open, list...) {
			says = append(says, o.Title, o.Reason)
			if o.Number == typed {
				continue
			}
			f, err := screens.Orders.Order(t.Context(), s.Scope, s.Plant.ID, o.Number)
			if err != nil {
				t.Fatal(err)
			}
			says = append(says, f.Order.Title, f.Order.Reason, f.Events[0].Why)
		}
		waiting, err := screens.Days.Reminders(t.Context(), s.Scope, s.Plant.ID, "2026-11-25")
		news, err2 := screens.Days.News(t.Context(), s.Scope, s.Plant.ID, plantdbtest.Noon.AddDate(0, 0, -1))
		hits, err3 := screens.Finds.Find(t.Context(), s.Scope, s.Plant.ID, fmt.Sprint(typed-1))
		if err != nil || err2 != nil || err3 != nil || len(waiting) != 1 || len(news.Steps) != 2 || len(hits) != 1 {
			t.Fatalf("%d reminders, %d steps, %d found, %v, %v, %v", len(waiting), len(news.Steps), len(hits), err, err2, err3)
		}
		for _, n := range news.Steps {
			says = append(says, n.Title, n.Event.Why)
		}
		ahead, err := screens.WeekBook.VisitsAhead(t.Context(), s.Scope, plantdbtest.Noon, plantdbtest.Noon.AddDate(0, 3, 0))
		if err != nil || len(ahead) != 1 {
			t.Fatalf("%d orders call somebody, %v", len(ahead), err)
		}
		says = append(says, ahead[0].Title)
		return strings.Join(append(says, waiting[0].Why, hits[0].Says), "\n")
	}
	number, typedTitle := fmt.Sprintf("person %d", holder.ID), byHand.Title
	whole := regexp.MustCompile(number + `\b`) // the other person's number may begin with this one
	if text := told(); whole.MatchString(text) || strings.Count(text, "S. Ilveth") != 15 || strings.Contains(text, other.Name) || !strings.Contains(text, typedTitle) {
		t.Errorf("screens say:\n%s", text)
	}
	kept, _, err := d.OrderList(t.Context(), s.Scope, s.Plant.ID, web.OrderFilter{Open: true})
	for _, o := range kept {
		if err != nil || strings.Contains(o.Title+o.Reason, holder.Name) {
			t.Errorf("the row names a person: %+v, %v", o, err)
		}
	}
	if err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return registry.ErasePerson(c, holder.ID) }); err != nil {
		t.Fatal(err)
	}
	if text := told(); strings.Contains(text, "S. Ilveth") || !strings.Contains(text, "renew hot vulcanising of erased "+number) {
		t.Errorf("of an erased person screens say:\n%s", text)
	}
}
