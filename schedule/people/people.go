// Package people is the roles of a plant's people and what each may do. It is a table and a few questions
// put to it; it stores nothing, reads no clock and does not know how a browser proves who someone is
// (server/signin).
//
//	people.May(assets.RoleTechnician, people.RecordFinding) // true
//	people.May(assets.RoleAuditor, people.RecordFinding)    // false
package people

import (
	"slices"

	"carryside/assets"
)

// Deed is something a person does, or sees, that not everybody may.
type Deed string

// Deeds, as the role table of the product names them.
const (
	Read            Deed = "read"             // registry, orders, plan and reports of the grant
	ReadCosts       Deed = "read costs"       // costs of stops and work
	ReadJournal     Deed = "read the journal" // who changed what
	EnterReading    Deed = "enter a reading"  // hour meters
	RecordFinding   Deed = "record a finding" // what was seen at a conveyor
	DoJob           Deed = "do a job"         // start an order, report it done
	EmergencySplice Deed = "record an emergency splice"
	SignJob         Deed = "sign a job"
	EditRegister    Deed = "change the register" // plants, lines, conveyors, belts, splices, meters; corrections too
	Import          Deed = "bring in a list"
	DecideReading   Deed = "decide a held reading"
	EditRules       Deed = "change rules"
	EditStops       Deed = "change stops"
	PlanOrders      Deed = "plan orders" // raise, accept, place, put off, withdraw
	RefuseFollowUp  Deed = "refuse a follow-up"
	EditCatalogues  Deed = "change catalogues"
	ReadStores      Deed = "read stores and kit"
	KeepStores      Deed = "keep stores and kit" // book stock, kit, orders of supply
	KeepCrew        Deed = "keep crews"          // who can be sent, tickets, absences, ways, what work takes
	KeepPeople      Deed = "keep people and settings"
	KeepOwnAccount  Deed = "keep one's own account"
)

var (
	reads       = []Deed{Read, KeepOwnAccount}
	technician  = append(slices.Clone(reads), ReadStores, EnterReading, RecordFinding, DoJob, EmergencySplice, SignJob)
	planner     = append(slices.Clone(technician), ReadCosts, EditRegister, Import, DecideReading, EditRules, EditStops, PlanOrders, RefuseFollowUp)
	lead        = append(slices.Clone(planner), ReadJournal, EditCatalogues, KeepStores, KeepCrew)
	storekeeper = append(slices.Clone(reads), ReadStores, KeepStores)
	auditor     = append(slices.Clone(reads), ReadStores, ReadCosts, ReadJournal)
)

// table is what each role may. A planner may what a technician may: plants with one person in both chairs
// would otherwise need two names for one person.
var table = map[assets.Role][]Deed{
	assets.RoleAdministrator:  {KeepPeople, KeepOwnAccount},
	assets.RoleLead:           lead,
	assets.RolePlanner:        planner,
	assets.RoleTechnician:     technician,
	assets.RoleStorekeeper:    storekeeper,
	assets.RoleAuditor:        auditor,
	assets.RoleCustomerViewer: reads,
}

// Roles lists the roles in the order forms offer them.
var Roles = []assets.Role{
	assets.RolePlanner, assets.RoleTechnician, assets.RoleLead, assets.RoleStorekeeper,
	assets.RoleAuditor, assets.RoleCustomerViewer, assets.RoleAdministrator,
}

// May tells whether a role may do a deed. An unknown role may nothing.
func May(r assets.Role, d Deed) bool { return slices.Contains(table[r], d) }

// Known tells whether r is one of the roles.
func Known(r assets.Role) bool { _, ok := table[r]; return ok }

// RolesAt returns the roles that grants in force give at a plant of a customer, without doubles.
func RolesAt(grants []assets.Grant, customerID, plantID int64) []assets.Role {
	var roles []assets.Role
	for _, g := range grants {
		here := g.PlantID == plantID || g.PlantID == 0 && (g.CustomerID == customerID || g.CustomerID == 0)
		if g.KnownTo == nil && here && !slices.Contains(roles, g.Role) {
			roles = append(roles, g.Role)
		}
	}
	return roles
}

// MayAt tells whether any grant in force lets its holder do a deed at a plant of a customer.
func MayAt(grants []assets.Grant, customerID, plantID int64, d Deed) bool {
	return slices.ContainsFunc(RolesAt(grants, customerID, plantID), func(r assets.Role) bool { return May(r, d) })
}

// MayAnywhere tells whether any grant in force allows a deed somewhere: what belongs to the company and to no
// plant (catalogues, a new plant) asks this. People and settings are the whole company's: whoever keeps them could give
// themselves any grant, so only a grant for all lets them.
func MayAnywhere(grants []assets.Grant, d Deed) bool {
	return slices.ContainsFunc(grants, func(g assets.Grant) bool {
		forAll := g.CustomerID == 0 && g.PlantID == 0
		return g.KnownTo == nil && May(g.Role, d) && (forAll || d != KeepPeople)
	})
}

// KeepScope is where grants in force let their holder keep people: the plants whose grants they may see, give and take
// back. It is no scope to read plants by.
func KeepScope(grants []assets.Grant) assets.Scope {
	var keeping []assets.Grant
	for _, g := range grants {
		if g.KnownTo == nil && May(g.Role, KeepPeople) {
			keeping = append(keeping, assets.Grant{Role: assets.RoleLead, CustomerID: g.CustomerID, PlantID: g.PlantID})
		}
	}
	return assets.ScopeOf(keeping)
}
