package crew_test

import (
	"errors"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

func TestOnlyWhoseTicketHeldOnTheDayOfTheWorkSigns(t *testing.T) {
	s := plantdbtest.Plant(t)
	okker := assets.Person{Name: "M. Okkerdal", Role: assets.RoleTechnician}
	sign := func(kind string, day assets.Day) error {
		return s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "sign", Now: plantdbtest.Noon, Plants: []int64{s.Plant.ID}}, func(c *plantdb.Change) error {
			return crew.MaySign(c, okker.ID, kind, assets.FormStepped, assets.BondHotVulcanised, day)
		})
	}
	company := func(fn func(*plantdb.Change) error) {
		t.Helper()
		if err := s.DB.Change(t.Context(), plantdb.Act{Origin: plantdb.Screen, Action: "tickets", Now: plantdbtest.Noon, Company: true}, fn); err != nil {
			t.Fatal(err)
		}
	}
	company(func(c *plantdb.Change) error { return registry.AddPerson(c, &okker) })
	if err := sign("re-splice", "2026-10-17"); err != nil {
		t.Errorf("no ticket is asked for yet: %v", err)
	}
	ticket := assets.Qualification{Name: "HV-2", OrderKinds: []string{"re-splice"}, SpliceKinds: []assets.KindPair{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised}}}
	company(func(c *plantdb.Change) error { return crew.SaveQualification(c, &ticket) })
	refused := func(day assets.Day, says string) {
		t.Helper()
		var bad assets.Invalid
		if err := sign("re-splice", day); !errors.As(err, &bad) || !strings.Contains(bad["at"], says) {
			t.Errorf("signed for %s: %v, want %q", day, err, says)
		}
	}
	refused("2026-10-17", "needs a ticket that held on 2026-10-17: HV-2")
	company(func(c *plantdb.Change) error {
		return crew.SaveTicket(c, &assets.PersonQualification{PersonID: okker.ID, QualificationID: ticket.ID, FromDay: "2025-06-01", UntilDay: "2026-10-16"})
	})
	refused("2026-10-17", "ran out on 2026-10-16")
	if err := sign("re-splice", "2026-10-16"); err != nil {
		t.Errorf("on the last day of the ticket: %v", err)
	}
	if err := sign("inspection", "2026-10-17"); err != nil {
		t.Errorf("an inspection asks for no ticket: %v", err)
	}
	by := func(day assets.Day) string {
		t.Helper()
		name, until, err := crew.SignedBy(t.Context(), s.DB, okker.ID, "re-splice", assets.FormStepped, assets.BondHotVulcanised, day)
		if err != nil {
			t.Fatal(err)
		}
		return name + " to " + string(until)
	}
	if got := by("2026-10-16") + ", " + by("2026-10-17"); got != "HV-2 to 2026-10-16,  to " {
		t.Errorf("signed by %q", got)
	}
	company(func(c *plantdb.Change) error { // renewed, and then without an end
		for _, renewed := range []assets.PersonQualification{{FromDay: "2026-10-10"}, {FromDay: "2026-10-12", UntilDay: "2028-10-11"}} {
			renewed.PersonID, renewed.QualificationID = okker.ID, ticket.ID
			if err := crew.SaveTicket(c, &renewed); err != nil {
				return err
			}
		}
		return nil
	})
	if got := by("2026-10-16"); got != "HV-2 to " {
		t.Errorf("signed by %q, want the ticket without an end", got)
	}
}
