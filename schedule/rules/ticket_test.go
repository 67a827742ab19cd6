package rules

import (
	"strings"
	"testing"

	"carryside/assets"
)

func TestATicketThatEndsIsRaisedItsLeadBefore(t *testing.T) {
	in := storesInputs()
	in.Tickets = []TicketEnd{{PersonID: 5, QualificationID: 1, Ticket: "hot vulcanising", Until: "2027-02-12"}, {PersonID: 4, QualificationID: 2, Ticket: "lock-out", Until: "2027-06-30"}}
	r := storesRule(Trigger{Kind: TriggerTicket})
	r.Template.LeadDays, r.Template.Title, r.Template.LatestDays = 90, "renew {target}", 0
	ps := proposed(t, in, r)
	if len(ps) != 1 {
		t.Fatalf("%d proposals, want the one that ends within 90 days", len(ps))
	}
	p := ps[0]
	if p.Target.Kind != TargetPerson || p.Target.ID != 5 || p.Cycle != "person 5, qualification 1, 2027-02-12" || p.DueDay != "2027-02-12" || p.Reminder() || p.Title() != "renew hot vulcanising of person 5" {
		t.Errorf("%+v: %s", p, p.Title())
	}
	if !strings.Contains(strings.ReplaceAll(p.Why, "\u00a0", " "), "12 Feb 2027") {
		t.Errorf("why: %s", p.Why)
	}
	in.Occurrences = []Occurrence{p.Occurrence(in.Now)}
	if again := proposed(t, in, r); len(again) != 0 {
		t.Errorf("evaluated twice it raises %d more", len(again))
	}
	in.Tickets[0].Until = "2027-02-20" // the date was corrected: another ticket
	if again := proposed(t, in, r); len(again) != 1 || again[0].Cycle != "person 5, qualification 1, 2027-02-20" {
		t.Errorf("another last day: %+v", again)
	}
}

func TestATicketRuleLooksAtThePlant(t *testing.T) {
	wrong := assets.Invalid{}
	checkTicket(Scope{Target: TargetBelt}, wrong)
	if wrong["target"] == "" {
		t.Error("a rule about tickets looks at belts")
	}
	if got := (Trigger{Kind: TriggerTicket}).Words(); got != "ticket ends" {
		t.Errorf("said as %q", got)
	}
}
