// Package crew tells who may do which work on which day: by tickets that hold on the day of the work, not today, and by who is
// away. It knows no database and no screen, and asks nothing about where else somebody is sent.
//
//	state := roster.On(person, need, "2027-02-20")
package crew

import (
	"cmp"
	"slices"

	"carryside/assets"
)

// Roster is who can be sent, with what they hold.
type Roster struct {
	Qualifications []assets.Qualification
	Tickets        []assets.PersonQualification
	Members        []assets.CrewMember
	Absences       []assets.Absence
}

// Need is the work somebody is looked for.
type Need struct {
	OrderKind string
	Form      assets.Form // of the splice worked at; "": none, or not known
	Bond      assets.Bond
	Named     []int64 // tickets that a work template asks for; empty: any ticket that lets one do the kind of order
}

// Of is the need of a kind of work by its template, where there is one.
func Of(templates []assets.WorkTemplate, customer int64, orderKind string, form assets.Form, bond assets.Bond) Need {
	n := Need{OrderKind: orderKind, Form: form, Bond: bond}
	if t, ok := assets.TemplateFor(templates, customer, orderKind, form, bond); ok {
		for _, c := range t.Crew {
			n.Named = append(n.Named, c.QualificationID)
		}
	}
	return n
}

// State is how somebody stands to a piece of work on a day.
type State string

// States.
const (
	May         State = "free"
	Away        State = "away"
	NoTicket    State = "no ticket"
	TicketEnded State = "ticket ended"
	TicketLater State = "ticket begins later"
)

// Asked are the tickets of which somebody needs one for the work; none where the catalogue asks for none.
func (r Roster) Asked(n Need) []assets.Qualification {
	var out []assets.Qualification
	for _, q := range r.Qualifications {
		if len(n.Named) > 0 && slices.Contains(n.Named, q.ID) || len(n.Named) == 0 && lets(q, n) {
			out = append(out, q)
		}
	}
	return out
}

// lets tells whether a ticket lets its holder do the work.
func lets(q assets.Qualification, n Need) bool {
	if !slices.Contains(q.OrderKinds, n.OrderKind) {
		return false
	}
	return len(q.SpliceKinds) == 0 || n.Form == "" && n.Bond == "" || slices.ContainsFunc(q.SpliceKinds, func(k assets.KindPair) bool {
		return (k.Form == n.Form || k.Form == "" || n.Form == "") && (k.Bond == n.Bond || k.Bond == "" || n.Bond == "")
	})
}

// On tells whether a person may do the work on a day, and otherwise why not. Who is away is not asked for a ticket.
func (r Roster) On(personID int64, n Need, day assets.Day) State {
	if slices.ContainsFunc(r.Absences, func(a assets.Absence) bool { return a.PersonID == personID && a.Covers(day) }) {
		return Away
	}
	asked := r.Asked(n)
	if len(asked) == 0 {
		return May
	}
	worst := NoTicket
	for _, t := range r.Tickets {
		if t.PersonID != personID || !slices.ContainsFunc(asked, func(q assets.Qualification) bool { return q.ID == t.QualificationID }) {
			continue
		}
		switch {
		case t.HoldsOn(day):
			return May
		case t.FromDay > day:
			worst = cmp.Or(map[bool]State{true: TicketLater}[worst == NoTicket], worst)
		default:
			worst = TicketEnded
		}
	}
	return worst
}

// Count counts the members who may do the work on a day.
func (r Roster) Count(n Need, day assets.Day) int {
	may := 0
	for _, m := range r.Members {
		if r.On(m.PersonID, n, day) == May {
			may++
		}
	}
	return may
}

// Ending lists the tickets of members that end in [from, until], each person's latest of a kind only: a renewed one has not
// ended. In order of their last day.
func (r Roster) Ending(from, until assets.Day) []assets.PersonQualification {
	latest := map[[2]int64]assets.PersonQualification{}
	for _, t := range r.Tickets {
		key := [2]int64{t.PersonID, t.QualificationID}
		held, some := latest[key]
		if !some || held.UntilDay != "" && (t.UntilDay == "" || t.UntilDay > held.UntilDay) {
			latest[key] = t
		}
	}
	var out []assets.PersonQualification
	for _, t := range latest {
		member := slices.ContainsFunc(r.Members, func(m assets.CrewMember) bool { return m.PersonID == t.PersonID })
		if member && t.UntilDay != "" && from <= t.UntilDay && t.UntilDay <= until {
			out = append(out, t)
		}
	}
	slices.SortFunc(out, func(a, b assets.PersonQualification) int {
		return cmp.Or(cmp.Compare(a.UntilDay, b.UntilDay), cmp.Compare(a.PersonID, b.PersonID), cmp.Compare(a.QualificationID, b.QualificationID))
	})
	return out
}
