package crew

import (
	"testing"

	"carryside/assets"
)

func roster() Roster {
	hot := assets.Qualification{Version: assets.Version{ID: 1}, Name: "hot vulcanising", OrderKinds: []string{"re-splice"}, SpliceKinds: []assets.KindPair{{Bond: assets.BondHotVulcanised}}}
	lock := assets.Qualification{Version: assets.Version{ID: 2}, Name: "lock-out"}
	t := func(person, q int64, from, until assets.Day) assets.PersonQualification {
		return assets.PersonQualification{PersonID: person, QualificationID: q, FromDay: from, UntilDay: until}
	}
	return Roster{Qualifications: []assets.Qualification{hot, lock},
		Tickets:  []assets.PersonQualification{t(11, 1, "2022-02-13", "2027-02-12"), t(12, 1, "2026-01-01", ""), t(12, 2, "2024-07-01", "2027-06-30"), t(13, 1, "2027-01-15", "2032-01-14"), t(14, 1, "2017-01-01", "2021-12-31"), t(14, 1, "2022-01-01", "2026-12-31"), t(14, 1, "2026-11-01", "2031-12-31")},
		Members:  []assets.CrewMember{{PersonID: 11}, {PersonID: 12}, {PersonID: 13}, {PersonID: 14}, {PersonID: 15}},
		Absences: []assets.Absence{{PersonID: 12, FromDay: "2026-12-07", UntilDay: "2026-12-18"}}}
}

func TestATicketCountsOnTheDayOfTheWork(t *testing.T) {
	r := roster()
	hot := Need{OrderKind: "re-splice", Bond: assets.BondHotVulcanised}
	for _, tt := range []struct {
		name   string
		person int64
		need   Need
		day    assets.Day
		want   State
	}{
		{"on its last day", 11, hot, "2027-02-12", May},
		{"the day after", 11, hot, "2027-02-13", TicketEnded},
		{"away on the last day of the leave", 12, hot, "2026-12-18", Away},
		{"back", 12, hot, "2026-12-19", May},
		{"before the course", 13, hot, "2026-12-12", TicketLater},
		{"renewed", 14, hot, "2027-01-10", May},
		{"none", 15, hot, "2026-12-12", NoTicket},
		{"work that nobody needs a ticket for", 15, Need{OrderKind: "inspection"}, "2026-12-12", May},
		{"a ticket for another bond", 11, Need{OrderKind: "re-splice", Bond: "cold bonded"}, "2026-12-12", May}, // no ticket of the catalogue is for it
		{"what the template names", 11, Need{OrderKind: "re-splice", Named: []int64{2}}, "2026-12-12", NoTicket},
		{"what the template names, held", 12, Need{OrderKind: "re-splice", Named: []int64{2}}, "2026-12-20", May},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := r.On(tt.person, tt.need, tt.day); got != tt.want {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
	if n := r.Count(hot, "2026-12-12"); n != 2 {
		t.Errorf("%d may work on 12 December, want 2", n)
	}
}

func TestARenewedTicketHasNotEnded(t *testing.T) {
	var got []assets.Day
	for _, e := range roster().Ending("2026-11-25", "2027-12-31") {
		got = append(got, e.UntilDay)
	}
	if len(got) != 2 || got[0] != "2027-02-12" || got[1] != "2027-06-30" {
		t.Errorf("ending: %v", got)
	}
}

func TestTheTemplateNamesTheTickets(t *testing.T) {
	templates := []assets.WorkTemplate{{OrderKind: "re-splice", Crew: []assets.CrewNeed{{QualificationID: 1, Number: 2}, {QualificationID: 2, Number: 1}}}}
	if n := Of(templates, 4, "re-splice", "", ""); len(n.Named) != 2 {
		t.Errorf("named %v", n.Named)
	}
	if n := Of(templates, 4, "belt change", "", ""); len(n.Named) != 0 {
		t.Errorf("named %v for work without a template", n.Named)
	}
}
