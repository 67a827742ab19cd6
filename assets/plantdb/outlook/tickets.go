package outlook

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/schedule/rules"

	roster "carryside/schedule/crew"
)

// tickets reads the tickets that end of those at home at the plant; nothing where no rule asks. People at home in the depot are
// looked at on the page of people: their orders would have no plant.
func (l loader) tickets(ctx context.Context) error {
	if !slices.ContainsFunc(slices.Concat(l.p.Inputs.Rules, l.p.Before), func(r rules.Rule) bool { return r.Trigger.Kind == rules.TriggerTicket }) {
		return nil
	}
	var r roster.Roster
	members, err := crew.Members(ctx, l.db, l.scope)
	if err != nil {
		return err
	}
	r.Members = slices.DeleteFunc(members, func(m assets.CrewMember) bool { return m.HomePlantID != l.plant })
	if r.Tickets, err = crew.Tickets(ctx, l.db, l.scope); err != nil {
		return err
	}
	if r.Qualifications, err = crew.Qualifications(ctx, l.db, plantdb.AsOf{}); err != nil {
		return err
	}
	names := map[int64]string{}
	for _, q := range r.Qualifications {
		names[q.ID] = q.Name
	}
	for _, t := range r.Ending("", "9999-12-31") {
		l.p.Inputs.Tickets = append(l.p.Inputs.Tickets, rules.TicketEnd{PersonID: t.PersonID, QualificationID: t.QualificationID, Ticket: names[t.QualificationID], Until: t.UntilDay})
	}
	return nil
}
