package web

import "carryside/schedule/people"

// crewRoutes are the pages of who can be sent, with which tickets, over which ways, and what work takes.
func crewRoutes() []Route {
	var out []Route
	add := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/crew" + path, May: may, Under: "horizon", Back: "crew", Do: do})
		}
	}
	form := func(path string, do func(*Site, *Request) error) { add(people.KeepCrew, path, do, get, post) }
	add(people.Read, "", (*Site).crew, get)
	form("/tickets/new", (*Site).newTicket)
	form("/tickets/:ticket", (*Site).editTicket)
	form("/absences/new", (*Site).newAbsence)
	form("/absences/:absence", (*Site).editAbsence)
	form("/members/new", (*Site).newMember)
	form("/members/:member", (*Site).editMember)
	add(people.Read, "/catalogue", (*Site).crewCatalogue, get)
	form("/catalogue/tickets/new", (*Site).newQualification)
	form("/catalogue/tickets/:qualification", (*Site).editQualification)
	form("/catalogue/ways/new", (*Site).newWay)
	form("/catalogue/ways/:way", (*Site).editWay)
	form("/catalogue/work/new", (*Site).newTemplate)
	form("/catalogue/work/:template", (*Site).editTemplate)
	return append(out, Route{Method: get, Path: "/plants/week", May: people.Read, Under: "plants", Do: (*Site).week})
}
