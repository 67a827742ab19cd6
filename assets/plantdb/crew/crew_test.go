package crew_test

import (
	"context"
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

var bg = context.Background()

// company runs a change of the service company's own chain and of a plant.
func company(t *testing.T, s *plantdbtest.Site, fn func(*plantdb.Change) error) error {
	t.Helper()
	act := s.Act(plantdbtest.Noon)
	act.Company = true
	return s.DB.Change(bg, act, fn)
}

func mustHave(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestTicketsHoldFromAndToTheirDays(t *testing.T) {
	s := plantdbtest.Plant(t)
	p := assets.Person{Name: "S. Ilveth"}
	q := assets.Qualification{Name: "hot vulcanising", OrderKinds: []string{"re-splice"}, ValidMonths: 60}
	k := assets.PersonQualification{FromDay: "2022-02-13", UntilDay: "2027-02-12"}
	mustHave(t, company(t, s, func(c *plantdb.Change) error {
		if err := errors.Join(registry.AddPerson(c, &p), crew.SaveQualification(c, &q)); err != nil {
			return err
		}
		k.PersonID, k.QualificationID = p.ID, q.ID
		return crew.SaveTicket(c, &k)
	}))
	for day, want := range map[assets.Day]bool{"2022-02-12": false, "2022-02-13": true, "2027-02-12": true, "2027-02-13": false} {
		if k.HoldsOn(day) != want {
			t.Errorf("the ticket holds on %s: %v", day, !want)
		}
	}
	var bad assets.Invalid
	again := k
	again.Version = assets.Version{}
	if err := company(t, s, func(c *plantdb.Change) error { return crew.SaveTicket(c, &again) }); !errors.As(err, &bad) || bad["from_day"] == "" {
		t.Errorf("the same ticket twice: %v", err)
	}
	backwards := assets.PersonQualification{PersonID: p.ID, QualificationID: q.ID, FromDay: "2027-02-13", UntilDay: "2027-02-01"}
	if err := company(t, s, func(c *plantdb.Change) error { return crew.SaveTicket(c, &backwards) }); !errors.As(err, &bad) || bad["until_day"] == "" {
		t.Errorf("a ticket that ends before it begins: %v", err)
	}
	if held, err := crew.Tickets(bg, s.DB, s.Scope); err != nil || len(held) != 1 || held[0].UntilDay != "2027-02-12" {
		t.Errorf("tickets %+v, %v", held, err)
	}
}

// TestACustomersOwnCrewIsSeenByItsReadersOnly: the company's crew is shared, a customer's own is not.
func TestACustomersOwnCrewIsSeenByItsReadersOnly(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	own := assets.Person{CustomerID: s.Customer.ID, Name: "P. Ulmeck"}
	m := assets.CrewMember{HomePlantID: s.Plant.ID, WorkingWeek: []assets.Shift{{Weekday: 1, Start: "06:00", End: "14:00"}}, CalloutCost: 120}
	a := assets.Absence{FromDay: "2026-12-07", UntilDay: "2026-12-18", Why: "leave"}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		if err := registry.AddPerson(c, &own); err != nil {
			return err
		}
		m.PersonID, a.PersonID = own.ID, own.ID
		return errors.Join(crew.SaveMember(c, &m), crew.SaveAbsence(c, &a))
	})
	for scope, want := range map[*assets.Scope]int{&s.Scope: 1, &other.Scope: 0} {
		members, err := crew.Members(bg, s.DB, *scope)
		away, err2 := crew.Absences(bg, s.DB, *scope, "2026-12-18")
		if err != nil || err2 != nil || len(members) != want || len(away) != want {
			t.Errorf("%d members and %d absences are seen, want %d; %v %v", len(members), len(away), want, err, err2)
		}
	}
	if past, err := crew.Absences(bg, s.DB, s.Scope, "2026-12-19"); err != nil || len(past) != 0 {
		t.Errorf("an absence that is over is listed: %v, %v", past, err)
	}
}

func TestWaysAreKnownOnlyBetweenPlantsOfTheScope(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	mustHave(t, company(t, s, func(c *plantdb.Change) error {
		for _, w := range []assets.TravelTime{{ToPlantID: s.Plant.ID, Minutes: 40}, {ToPlantID: other.Plant.ID, Minutes: 75}, {FromPlantID: s.Plant.ID, ToPlantID: other.Plant.ID, Minutes: 50}} {
			if err := crew.SaveTravel(c, &w); err != nil {
				return err
			}
		}
		return nil
	}))
	ways, err := crew.Travel(bg, s.DB, s.Scope)
	if err != nil || len(ways) != 1 || ways[0].Minutes != 40 {
		t.Errorf("a reader of one plant sees the ways %+v, %v", ways, err)
	}
	if ways, err = crew.Travel(bg, s.DB, assets.JobScope()); err != nil || len(ways) != 3 {
		t.Errorf("%d ways in all, %v", len(ways), err)
	}
}

func TestTheClosestTemplateIsTaken(t *testing.T) {
	any := assets.WorkTemplate{OrderKind: "re-splice", DurationMin: 240}
	hot := assets.WorkTemplate{OrderKind: "re-splice", Bond: assets.BondHotVulcanised, DurationMin: 360}
	own := assets.WorkTemplate{OrderKind: "re-splice", CustomerID: 4, Bond: assets.BondHotVulcanised, DurationMin: 420}
	all := []assets.WorkTemplate{any, hot, own}
	for name, tt := range map[string]struct {
		customer int64
		kind     string
		bond     assets.Bond
		want     int
	}{
		"a customer with its own":      {4, "re-splice", assets.BondHotVulcanised, 420},
		"another customer":             {5, "re-splice", assets.BondHotVulcanised, 360},
		"a bond that nobody has given": {4, "re-splice", "cold", 240},
		"work that nobody has given":   {4, "belt change", "", 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, ok := assets.TemplateFor(all, tt.customer, tt.kind, assets.FormStepped, tt.bond)
			if got.DurationMin != tt.want || ok != (tt.want > 0) {
				t.Errorf("%d minutes, want %d", got.DurationMin, tt.want)
			}
		})
	}
}
