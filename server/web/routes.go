package web

import (
	"net/http"
	"slices"

	"carryside/schedule/people"
)

// Route is one address: who may use it, under which screen it stands, what answers it.
type Route struct {
	Method, Path string
	May          people.Deed // asked at the plant of the address; for addresses of no plant, anywhere
	Under        string      // screen of the head: today, horizon, belts, orders, life, reports, plants
	Back         string      // page of the return side that is current: its path below the plant
	Body         int64       // largest body taken; 0: formLimit
	Raw          bool        // the body is no form; what answers it reads it
	Do           func(*Site, *Request) error
}

// formLimit is the largest body of a form without a file.
const formLimit = 256 << 10

const (
	get  = http.MethodGet
	post = http.MethodPost
)

// routes returns every address of somebody signed in, with who may use it. A route that is not here is no page.
// Reading a plant shows that it is there: whoever may not read it is told that there is nothing. A deed that
// a role does not have is refused with a page that says so.
func routes() []Route {
	return append([]Route{
		{Method: get, Path: "/plants", May: people.Read, Under: "plants", Do: (*Site).plants},
		{Method: get, Path: "/plants/:plant", May: people.Read, Under: "today", Do: (*Site).today},
		{Method: post, Path: "/plants/:plant/reminders/:reminder/order", May: people.PlanOrders, Under: "today", Do: (*Site).makeOrder},
		{Method: post, Path: "/plants/:plant/reminders/:reminder/later", May: people.PlanOrders, Under: "today", Do: (*Site).notBefore},
		{Method: get, Path: "/plants/:plant/belts", May: people.Read, Under: "belts", Back: "belts", Do: (*Site).belts},
		{Method: get, Path: "/plants/:plant/orders", May: people.Read, Under: "orders", Back: "orders", Do: (*Site).orders},
		{Method: get, Path: "/plants/:plant/orders/:order", May: people.Read, Under: "orders", Back: "orders", Do: (*Site).order},
		{Method: post, Path: "/plants/:plant/orders/:order", May: people.Read, Under: "orders", Back: "orders", Do: (*Site).orderStep},
		{Method: get, Path: "/plants/:plant/emergency", May: people.EmergencySplice, Under: "orders", Back: "orders", Do: (*Site).emergencySplice},
		{Method: post, Path: "/plants/:plant/emergency", May: people.EmergencySplice, Under: "orders", Back: "orders", Do: (*Site).emergencySplice},
		{Method: get, Path: "/plants/:plant/orders/new", May: people.PlanOrders, Under: "orders", Back: "orders", Do: (*Site).raiseOrder},
		{Method: post, Path: "/plants/:plant/orders/new", May: people.PlanOrders, Under: "orders", Back: "orders", Do: (*Site).raiseOrder},
		{Method: get, Path: "/plants/:plant/splices/:splice", May: people.Read, Under: "belts", Back: "belts", Do: (*Site).splice},
		{Method: get, Path: "/plants/:plant/find", May: people.Read, Under: "find", Do: (*Site).find},
		{Method: get, Path: "/plants/:plant/life", May: people.Read, Under: "life", Do: (*Site).life},
		{Method: get, Path: "/plants/:plant/life/lives", May: people.Read, Under: "life", Do: (*Site).lives},
		{Method: get, Path: "/plants/:plant/conveyors/:conveyor", May: people.Read, Under: "belts", Back: "belts", Do: (*Site).conveyor},
	}, slices.Concat(attachmentRoutes(), pressRoutes(), jobRoutes(), roundRoutes(), standstillRoutes(), auditRoutes(), registerRoutes(), crewRoutes(), catalogueRoutes(), ownerRoutes(), horizonRoutes(), storeRoutes(), tokenRoutes(), accountRoutes(), peopleRoutes())...)
}

// screens is every template of templates/screens. A file that is not named here, and a name without its
// file, fails at start.
var screens = []string{
	"signin", "code", "second", "recovery", "problem", "join", "account", "people", "person", "invited",
	"form", "readings", "decided", "meter", "rules", "rule", "stops", "calculator", "reports", "report", "journal",
	"recipes", "recipe", "sheet", "steps", "press", "pressnew", "stores", "depot", "stockitem", "stockledger", "kit", "cutter", "cutting", "catalogues", "lines", "import", "trial", "attachments", "tokens",
	"stopseries", "stopcalendar", "isolation", "windowpackage", "week", "crew", "crewcatalogue",
	"rounds", "kinds", "walk", "along", "standstills", "horizon", "move", "plan", "companyplan", "plants", "plant", "today", "belts", "conveyor", "splice", "orders", "order", "find", "life", "lives",
}

// heads is the names that ride on the belt, in order; one without a route is absent.
var heads = []struct{ word, screen, path string }{
	{"Today", "today", ""},
	{"Horizon", "horizon", "horizon"},
	{"Belts", "belts", "belts"},
	{"Orders", "orders", "orders"},
	{"Rounds", "rounds", "rounds"},
	{"Stores & kit", "stores", "stores"},
	{"Life", "life", "life"},
	{"Reports", "reports", "reports"},
}

// returns is the return side of each screen: its pages in words; one without a route is absent.
var returns = map[string][]struct{ word, path string }{
	"belts": {
		{"Belts", "belts"}, {"Readings", "readings"}, {"Calculator", "calculator"},
		{"Bring in a list", "import"}, {"Catalogues", "catalogues"},
		{"Lines", "lines"}, {"Plant", "about"},
	},
	"orders":  {{"Orders", "orders"}, {"Rules", "rules"}, {"Recipes", "recipes"}, {"Steps", "steps"}},
	"horizon": {{"Horizon", "horizon"}, {"Stops", "stops"}, {"Isolation", "stops/isolation"}, {"Standstills", "standstills"}, {"People", "crew"}},
	"reports": {{"Catalogue", "reports"}, {"Journal", "journal"}},
}
