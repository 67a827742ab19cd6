package web

import "carryside/schedule/people"

// crewRoutes are the pages of who can be sent, with which tickets, over which ways, and what work takes.
func crewRoutes() []Route {
	var out []Route
	add := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "horizon", Back: "crew", Do: do})
		}
	}
	form := func(path string, do func(*Site, *Request) error) { add(people.KeepCrew, path, do, get, post) }
	add(people.Read, "crew", (*Site).crew, get)
	form("crew/tickets/new", (*Site).newTicket)
	form("crew/tickets/:ticket", (*Site).editTicket)
	form("crew/absences/new", (*Site).newAbsence)
	form("crew/absences/:absence", (*Site).editAbsence)
	form("crew/members/new", (*Site).newMember)
	form("crew/members/:member", (*Site).editMember)
	add(people.Read, "crew/catalogue", (*Site).crewCatalogue, get)
	form("crew/catalogue/tickets/new", (*Site).newQualification)
	form("crew/catalogue/tickets/:qualification", (*Site).editQualification)
	form("crew/catalogue/ways/new", (*Site).newWay)
	form("crew/catalogue/ways/:way", (*Site).editWay)
	form("crew/catalogue/work/new", (*Site).newTemplate)
	form("crew/catalogue/work/:template", (*Site).editTemplate)
	return append(out, Route{Method: get, Path: "/plants/week", May: people.Read, Under: "plants", Do: (*Site).week})
}
