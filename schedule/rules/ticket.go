package rules

import (
	"fmt"

	"carryside/assets"
)

// TriggerTicket watches the last days of the tickets that people hold who are at home at the plant.
const TriggerTicket TriggerKind = "qualification"

// TargetPerson is a person, by number: names stand in no rule and in no order.
const TargetPerson TargetKind = "person"

// TicketEnd is a ticket of somebody at home at the plant that has a last day and no successor.
type TicketEnd struct {
	PersonID        int64
	QualificationID int64
	Ticket          string     // what the ticket is called
	Until           assets.Day // last day on which it holds
}

// words names a ticket's holder by number, so that erasing a person leaves no name behind.
func (t TicketEnd) words() string { return fmt.Sprintf("%s of person %d", t.Ticket, t.PersonID) }

// eachTicket visits the tickets that end. The cycle is person, qualification and last day: a renewed ticket is another one. The
// order is raised its lead before the last day.
func (o *Outlook) eachTicket(r Rule, visit func(Proposal)) {
	for _, t := range o.in.Tickets {
		at, err := t.Until.End(o.in.Plant.Location())
		if t.Until == "" || err != nil {
			continue
		}
		due := micro(at)
		p := o.proposal(r, Target{Kind: TargetPerson, ID: t.PersonID, Words: t.words()}, fmt.Sprintf("person %d, qualification %d, %s", t.PersonID, t.QualificationID, t.Until), due, t.Until, o.raiseAt(r, inScope{}, due))
		p.Values = map[string]any{"clock": "qualification", "due": t.Until, "person": t.PersonID, "qualification": t.QualificationID}
		p.Why = o.because(r, fmt.Sprintf("the ticket %s holds to %s and no later", t.words(), dueWords(t.Until)))
		visit(p)
	}
}

// ticketTarget returns a person of whom a ticket ends.
func (o *Outlook) ticketTarget(id int64) (Target, bool) {
	for _, t := range o.in.Tickets {
		if t.PersonID == id {
			return Target{Kind: TargetPerson, ID: id, Words: t.words()}, true
		}
	}
	return Target{}, false
}

// checkTicket holds what the trigger needs.
func checkTicket(sc Scope, wrong assets.Invalid) {
	if sc.Target != TargetPlant {
		wrong.Add("target", "tickets are looked at for everybody at home at the plant: let the rule look at the plant")
	}
}
