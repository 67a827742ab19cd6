package main

import (
	"slices"
	"strings"

	"carryside/assets"
)

// The role table of the product (its section 12), written down once more: the test of the walls does not ask the
// program what a role may. Deeds stand in the table's own words. The house has decided that a planner may do what a
// technician may (plants with one person in both chairs), and a lead 'all below'.
var roleTable = map[assets.Role][]string{
	assets.RoleAdministrator:  {"accounts"},
	assets.RoleLead:           {"reads", "costs", "journal", "catalogues", "registry", "imports", "held readings", "rules", "stops", "orders", "refuses", "readings", "findings", "jobs", "crews", "stores", "stock"},
	assets.RolePlanner:        {"reads", "costs", "registry", "imports", "held readings", "rules", "stops", "orders", "refuses", "readings", "findings", "jobs", "stores"},
	assets.RoleTechnician:     {"reads", "readings", "findings", "jobs", "stores"},
	assets.RoleStorekeeper:    {"reads", "stores", "stock"},
	assets.RoleAuditor:        {"reads", "costs", "journal", "stores"},
	assets.RoleCustomerViewer: {"reads"},
}

// doors says for every address which deed of the role table opens it. "open" is open to everybody, signed in or
// not; "signed in" to everybody signed in. An address without a door fails the test: say here who may use it.
var doors = map[string]string{
	"GET /static/*file": "open", "GET /round-worker.js": "open", "POST /theme": "open", "GET /signin": "open", "POST /signin": "open", "POST /signout": "open",
	"GET /join": "open", "POST /join": "open", "GET /signin/elsewhere": "open", "GET /signin/callback": "open", "POST /signin/passkey": "open", "POST /signin/passkey/ask": "open", "GET /signin/code": "open", "POST /signin/code": "open", "GET /signin/second": "open", "POST /signin/second": "open", "POST /signin/second/code": "open",
	"* /people": "accounts", "* /people/new": "accounts", "* /people/:person": "accounts", "* /people/:person/grants": "accounts", "* /people/:person/grants/end": "accounts",
	"* /people/:person/address": "accounts", "* /people/:person/second": "accounts", "* /people/:person/account": "accounts", "* /people/:person/sessions": "accounts",
	"GET /account": "own account", "POST /account/passkeys": "own account", "POST /account/passkeys/made": "own account", "POST /account/passkeys/remove": "own account", "POST /account/password": "own account", "POST /account/pin": "own account",
	"POST /account/sessions": "own account", "POST /account/second": "own account", "POST /account/second/code": "own account", "POST /account/second/recovery": "own account", "POST /account/second/remove": "own account", "* /tokens": "own account",
	"GET /": "signed in", "GET /plants": "reads", "* /plants/plan": "crews", "GET /plants/new": "registry", "POST /plants/new": "registry",

	"GET /healthz": "open", "GET /readyz": "open", "GET /api/v1/openapi.json": "open", "GET /metrics": "open",
	"GET /api/v1/plants": "reads", "GET /api/v1/plants/:plant": "reads", "GET /api/v1/plants/:plant/conveyors": "reads", "GET /api/v1/plants/:plant/conveyors/:conveyor": "reads",
	"GET /api/v1/plants/:plant/conveyors/:conveyor/readings": "reads", "GET /api/v1/plants/:plant/belts": "reads", "GET /api/v1/plants/:plant/belts/:belt": "reads",
	"GET /api/v1/plants/:plant/splices": "reads", "GET /api/v1/plants/:plant/splices/:splice": "reads", "GET /api/v1/plants/:plant/findings": "reads",
	"GET /api/v1/plants/:plant/findings/:finding": "reads", "GET /api/v1/plants/:plant/orders": "reads", "GET /api/v1/plants/:plant/orders/:order": "reads",
	"GET /api/v1/plants/:plant/lines": "reads", "GET /api/v1/plants/:plant/meters": "reads", "GET /api/v1/plants/:plant/held-readings": "reads", "GET /api/v1/plants/:plant/due": "reads",
	"GET /api/v1/plants/:plant/kit": "stores", "GET /api/v1/plants/:plant/stock": "stores", "GET /api/v1/plants/:plant/stock/movements": "stores", "GET /api/v1/plants/:plant/standstills": "reads",
	"GET /api/v1/reports": "reads", "GET /api/v1/reports/:report": "reads",
	"POST /api/v1/plants/:plant/conveyors/:conveyor/readings": "readings", "POST /api/v1/plants/:plant/readings": "readings", "POST /api/v1/plants/:plant/standstills": "findings", "POST /api/v1/plants/:plant/standstills/:standstill/end": "findings",

	"GET /plants/:plant": "reads", "GET /plants/:plant/about": "reads", "GET /plants/:plant/belts": "reads", "GET /plants/:plant/calculator": "reads", "POST /plants/:plant/calculator": "reads",
	"GET /plants/:plant/catalogues": "reads", "GET /plants/:plant/conveyors/:conveyor": "reads", "GET /plants/:plant/conveyors/:conveyor/readings": "reads", "GET /plants/:plant/find": "reads", "GET /plants/:plant/held": "reads",
	"GET /plants/:plant/life": "reads", "GET /plants/:plant/life/lives": "reads", "GET /plants/:plant/lines": "reads", "GET /plants/:plant/orders": "reads", "GET /plants/:plant/orders/:order": "reads", "POST /plants/:plant/orders/:order": "reads", "GET /plants/:plant/readings": "reads",
	"GET /plants/:plant/reports": "reads", "* /plants/:plant/reports/:report": "reads", "GET /plants/:plant/reports/make": "reads", "GET /plants/:plant/rules": "reads",
	"GET /plants/:plant/reports/issued/:issued": "reads", "GET /plants/:plant/reports/issued/:issued/proof": "reads", "GET /plants/:plant/journal": "journal", "POST /plants/:plant/journal/proof": "journal",
	"GET /plants/:plant/horizon": "reads", "* /plants/:plant/horizon/move": "orders", "* /plants/:plant/horizon/plan": "orders",
	"GET /plants/:plant/splices/:splice": "reads", "GET /plants/:plant/stops": "reads",

	"GET /plants/:plant/conveyors/:conveyor/files": "reads", "GET /plants/:plant/splices/:splice/files": "reads", "GET /plants/:plant/findings/:finding/files": "reads",
	"GET /plants/:plant/orders/:order/files": "reads", "GET /plants/:plant/attachments/:attachment": "reads",
	"POST /plants/:plant/conveyors/:conveyor/files": "findings", "POST /plants/:plant/splices/:splice/files": "findings", "POST /plants/:plant/findings/:finding/files": "findings",
	"POST /plants/:plant/orders/:order/files": "findings", "* /plants/:plant/attachments/:attachment/withdraw": "registry",

	"* /plants/:plant/belts/:belt/edit": "registry", "* /plants/:plant/belts/:belt/remove": "registry", "* /plants/:plant/calendar": "registry",
	"* /plants/:plant/contacts/:contact": "registry", "* /plants/:plant/contacts/new": "registry", "* /plants/:plant/contracts/:contract": "registry", "* /plants/:plant/contracts/new": "registry",
	"* /plants/:plant/conveyors/:conveyor/belt": "registry", "* /plants/:plant/conveyors/:conveyor/edit": "registry", "* /plants/:plant/conveyors/:conveyor/meter": "registry",
	"* /plants/:plant/conveyors/:conveyor/meter/:meter": "registry", "* /plants/:plant/conveyors/:conveyor/readings/:at": "registry", "* /plants/:plant/conveyors/:conveyor/retire": "registry",
	"* /plants/:plant/conveyors/:conveyor/splice": "registry", "* /plants/:plant/conveyors/new": "registry", "* /plants/:plant/customer": "registry", "* /plants/:plant/findings/:finding/correct": "registry",
	"* /plants/:plant/lines/:line": "registry", "* /plants/:plant/lines/:line/calendar": "registry", "* /plants/:plant/lines/new": "registry", "* /plants/:plant/settings": "registry",
	"* /plants/:plant/splices/:splice/correct": "registry", "* /plants/:plant/splices/:splice/retire": "registry",

	"* /plants/:plant/catalogues/kinds/:kind": "catalogues", "* /plants/:plant/catalogues/kinds/new": "catalogues", "* /plants/:plant/catalogues/specifications/:spec": "catalogues", "* /plants/:plant/catalogues/specifications/new": "catalogues",

	"GET /plants/:plant/recipes": "reads", "GET /plants/:plant/recipes/:recipe": "reads", "* /plants/:plant/recipes/new": "catalogues", "* /plants/:plant/recipes/:recipe/edit": "catalogues",
	"* /plants/:plant/orders/:order/sheet": "jobs", "GET /plants/:plant/orders/:order/along": "jobs", "GET /plants/:plant/orders/:order/along/facts": "jobs", "POST /plants/:plant/orders/:order/along/entries": "jobs", "* /plants/:plant/signatures/:signature": "crews", "* /plants/:plant/emergency": "jobs", "GET /plants/:plant/steps": "reads", "* /plants/:plant/steps/:work": "catalogues",
	"* /plants/:plant/splices/:splice/press": "jobs", "GET /plants/:plant/press/:record": "reads", "* /plants/:plant/press/:record/withdraw": "registry",

	"* /plants/:plant/conveyors/:conveyor/finding": "findings", "* /plants/:plant/findings/new": "findings", "* /plants/:plant/findings/:finding/refuse": "refuses",
	"* /plants/:plant/conveyors/:conveyor/reading": "readings", "POST /plants/:plant/readings": "readings", "* /plants/:plant/held/:held": "held readings",
	"* /plants/:plant/import": "imports", "POST /plants/:plant/import/headings/:headings": "imports", "* /plants/:plant/import/:trial": "imports", "GET /plants/:plant/import/:trial/refused": "imports",
	"GET /plants/:plant/rounds": "reads", "GET /plants/:plant/rounds/:round": "reads", "GET /plants/:plant/rounds/:round/points": "reads", "POST /plants/:plant/rounds/:round/entries": "findings",
	"GET /plants/:plant/standstills": "reads", "* /plants/:plant/standstills/new": "findings", "* /plants/:plant/standstills/:standstill": "findings",
	"* /plants/:plant/rounds/new": "orders", "* /plants/:plant/rounds/:round/edit": "orders", "* /plants/:plant/rounds/:round/done/:order": "jobs", "* /plants/:plant/rounds/clock/:entry": "findings", "* /plants/:plant/rounds/answer/:entry": "findings", "POST /plants/:plant/rounds/phones": "findings", "POST /plants/:plant/rounds/phones/others": "crews", "GET /plants/:plant/rounds/kinds": "reads", "* /plants/:plant/rounds/kinds/:category": "catalogues",
	"* /plants/:plant/orders/new": "orders", "POST /plants/:plant/reminders/:reminder/later": "orders", "POST /plants/:plant/reminders/:reminder/order": "orders",
	"* /plants/:plant/rules/:rule": "rules", "* /plants/:plant/rules/new": "rules", "* /plants/:plant/stops/:stop": "stops", "* /plants/:plant/stops/:stop/withdraw": "stops", "* /plants/:plant/stops/new": "stops",
	"* /plants/:plant/stops/:stop/answer": "stops", "GET /plants/:plant/stops/:stop/package": "reads", "* /plants/:plant/stops/recurring/new": "stops", "* /plants/:plant/stops/recurring/:recurrence": "stops", "* /plants/:plant/stops/recurring/:recurrence/withdraw": "stops",
	"GET /plants/:plant/crew": "reads", "GET /plants/week": "reads", "GET /plants/:plant/crew/catalogue": "reads", "* /plants/:plant/crew/tickets/new": "crews", "* /plants/:plant/crew/tickets/:ticket": "crews", "* /plants/:plant/crew/tickets/:ticket/files": "crews", "* /plants/:plant/crew/absences/new": "crews",
	"* /plants/:plant/crew/absences/:absence": "crews", "* /plants/:plant/crew/members/new": "crews", "* /plants/:plant/crew/members/:member": "crews", "* /plants/:plant/crew/catalogue/tickets/new": "crews",
	"* /plants/:plant/crew/catalogue/tickets/:qualification": "crews", "* /plants/:plant/crew/catalogue/ways/new": "crews", "* /plants/:plant/crew/catalogue/ways/:way": "crews", "* /plants/:plant/crew/catalogue/work/new": "crews",
	"* /plants/:plant/crew/catalogue/work/:template": "crews",
	"* /plants/:plant/stops/calendar":                "stops", "GET /plants/:plant/stops/isolation": "reads", "* /plants/:plant/stops/isolation/new": "registry", "* /plants/:plant/stops/isolation/:group": "registry",

	"GET /plants/:plant/stores/depot": "stores", "* /plants/:plant/stores/depot/receive": "stock", "* /plants/:plant/stores/depot/book": "stock",
	"GET /plants/:plant/stores": "stores", "GET /plants/:plant/stores/ledger": "stores", "GET /plants/:plant/stores/cutting": "stores", "GET /plants/:plant/stores/items/:item": "stores", "GET /plants/:plant/stores/kit/:kit": "stores",
	"* /plants/:plant/stores/items/new": "catalogues", "* /plants/:plant/stores/items/:item/edit": "catalogues", "* /plants/:plant/stores/items/:item/policy": "stock", "* /plants/:plant/stores/items/:item/order": "stock",
	"* /plants/:plant/stores/supply/:supply": "stock", "* /plants/:plant/stores/receive": "stock", "* /plants/:plant/stores/lots/:lot/issue": "stock", "* /plants/:plant/stores/lots/:lot/return": "stock",
	"* /plants/:plant/stores/count": "stock", "* /plants/:plant/stores/lots/:lot/count": "stock", "* /plants/:plant/stores/lots/:lot/scrap": "stock", "* /plants/:plant/stores/lots/:lot/offcut": "stock", "* /plants/:plant/stores/lots/:lot/move": "stock",
	"* /plants/:plant/stores/lots/:lot/edit": "stock", "* /plants/:plant/stores/kit/new": "stock", "* /plants/:plant/stores/kit/:kit/edit": "stock", "* /plants/:plant/stores/kit/:kit/away": "stock",
	"* /plants/:plant/stores/kit/:kit/calibration": "stock", "* /plants/:plant/stores/kit/:kit/counter": "stock", "* /plants/:plant/stores/kit/:kit/counters/:counter": "stock", "* /plants/:plant/stores/kit/:kit/cutter": "jobs",
}

// doorOf returns the deed that opens an address; "" when the table does not know it. HEAD is GET without a body.
func doorOf(method, path string) string {
	if method == "HEAD" {
		method = "GET"
	}
	if d := doors[method+" "+path]; d != "" {
		return d
	}
	return doors["* "+path]
}

// company are the parameters that name things of the service company or of nobody: they are the same for every
// plant, so there is no foreign one. The other parameters are the names of estate.ids.
var company = []string{"item", "spec", "kind", "recipe", "work", "category", "report", "file", "person", "qualification", "template"}

// parts returns the parameters of an address in order.
func parts(path string) []string {
	var out []string
	for _, p := range strings.Split(path, "/") {
		if strings.HasPrefix(p, ":") || strings.HasPrefix(p, "*") {
			out = append(out, p[1:])
		}
	}
	return out
}

// within are the grants that do not reach somebody else's plant.
var within = grants[max(0, len(grants)-2):]

// reaches tells whether a grant on the home plant's side reaches a plant.
func (w *walled) reaches(grant string, e *estate) bool {
	switch grant {
	case "all":
		return true
	case "customer":
		return e != w.foreign
	}
	return e == w.home
}

// may tells what the table says.
func may(role assets.Role, deed string) bool { return slices.Contains(roleTable[role], deed) }
