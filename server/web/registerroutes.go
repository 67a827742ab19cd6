package web

import "carryside/schedule/people"

// registerRoutes are the addresses of the register's forms and of the hour meters.
func registerRoutes() []Route {
	var out []Route
	add := func(may people.Deed, under, back, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: under, Back: back, Do: do})
		}
	}
	form := func(may people.Deed, path string, do func(*Site, *Request) error) {
		add(may, "belts", "belts", path, do, get, post)
	}
	form(people.EditRegister, "conveyors/new", (*Site).newConveyor)
	form(people.EditRegister, "conveyors/:conveyor/edit", (*Site).editConveyor)
	form(people.EditRegister, "conveyors/:conveyor/retire", (*Site).retireConveyor)
	form(people.EditRegister, "conveyors/:conveyor/belt", (*Site).fitBelt)
	form(people.EditRegister, "conveyors/:conveyor/splice", (*Site).makeSplice)
	form(people.EditRegister, "belts/:belt/edit", (*Site).editBelt)
	form(people.EditRegister, "belts/:belt/remove", (*Site).removeBelt)
	form(people.EditRegister, "splices/:splice/correct", (*Site).correctSplice)
	form(people.EditRegister, "splices/:splice/retire", (*Site).retireSplice)
	form(people.RecordFinding, "findings/new", (*Site).findingAnywhere)
	form(people.RecordFinding, "conveyors/:conveyor/finding", (*Site).newFinding)
	form(people.EditRegister, "findings/:finding/correct", (*Site).correctFinding)
	form(people.RefuseFollowUp, "findings/:finding/refuse", (*Site).refuseFollowUp)

	add(people.Read, "belts", "readings", "readings", (*Site).readings, get)
	add(people.EnterReading, "belts", "readings", "readings", (*Site).readings, post)
	add(people.Read, "belts", "readings", "conveyors/:conveyor/readings", (*Site).conveyorReadings, get)
	meter := func(may people.Deed, path string, do func(*Site, *Request) error) {
		add(may, "belts", "readings", path, do, get, post)
	}
	meter(people.EnterReading, "conveyors/:conveyor/reading", (*Site).newReading)
	meter(people.EditRegister, "conveyors/:conveyor/meter", (*Site).replaceMeter)
	meter(people.EditRegister, "conveyors/:conveyor/meter/:meter", (*Site).correctMeter)
	meter(people.EditRegister, "conveyors/:conveyor/readings/:at", (*Site).correctReading)
	add(people.Read, "belts", "readings", "held", (*Site).decidedReadings, get)
	meter(people.DecideReading, "held/:held", (*Site).decideHeld)
	rule := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		add(may, "orders", "rules", path, do, methods...)
	}
	rule(people.Read, "rules", (*Site).rules, get)
	rule(people.EditRules, "rules/new", (*Site).newRule, get, post)
	rule(people.EditRules, "rules/:rule", (*Site).editRule, get, post)
	stop := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		add(may, "horizon", "stops", path, do, methods...)
	}
	stop(people.Read, "stops", (*Site).stops, get)
	stop(people.EditStops, "stops/new", (*Site).newStop, get, post)
	stop(people.EditStops, "stops/:stop", (*Site).editStop, get, post)
	stop(people.EditStops, "stops/:stop/withdraw", (*Site).withdrawStop, get, post)
	stop(people.EditStops, "stops/:stop/answer", (*Site).answerStop, get, post)
	stop(people.Read, "stops/:stop/package", (*Site).windowPackage, get)
	stop(people.EditStops, "stops/recurring/new", (*Site).newSeries, get, post)
	stop(people.EditStops, "stops/recurring/:recurrence", (*Site).editSeries, get, post)
	stop(people.EditStops, "stops/recurring/:recurrence/withdraw", (*Site).withdrawSeries, get, post)
	stop(people.Read, "stops/isolation", (*Site).isolationGroups, get)
	stop(people.EditRegister, "stops/isolation/new", (*Site).newGroup, get, post)
	stop(people.EditRegister, "stops/isolation/:group", (*Site).editGroup, get, post)
	stop(people.EditStops, "stops/calendar", (*Site).stopCalendar, get)
	out = append(out, Route{Method: post, Path: "/plants/:plant/stops/calendar", May: people.EditStops, Under: "horizon", Back: "stops", Body: 4 << 20, Do: (*Site).stopCalendar})
	add(people.Read, "belts", "calculator", "calculator", (*Site).calculator, get, post)
	add(people.Read, "reports", "reports", "reports", (*Site).reports, get)
	add(people.Read, "reports", "reports", "reports/make", (*Site).makeReport, get)
	add(people.Read, "reports", "reports", "reports/:report", (*Site).report, get, post)
	return out
}
