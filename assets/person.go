package assets

import "slices"

// Role is what a person may do; see the role table of the product.
type Role string

// Roles.
const (
	RoleAdministrator  Role = "administrator"
	RoleLead           Role = "lead"
	RolePlanner        Role = "planner"
	RoleTechnician     Role = "technician"
	RoleStorekeeper    Role = "storekeeper"
	RoleAuditor        Role = "auditor"
	RoleCustomerViewer Role = "customer viewer"
)

// Person is a name in the table of people: somebody who signs in, or only somebody (or a crew) a list names
// as the maker of a splice. Names stand nowhere else, so that one can be erased.
type Person struct {
	ID         int64 `gorm:"primaryKey"`
	CustomerID int64 // 0: of the service company
	Name       string
	NameKey    string
	Role       Role // "": only named in records
	KnownFrom  int64

	PrivateSalt string `json:"-"` // kept by the storage: the journal sees the name through it
	PrivateHash string `json:"-"`
}

// Grant gives a person a role for all, a customer or a plant.
type Grant struct {
	ID         int64 `gorm:"primaryKey"`
	PersonID   int64
	Role       Role
	CustomerID int64 // 0 with PlantID 0: for all
	PlantID    int64
	FromAt     *Instant // nil: from when it was given
	UntilAt    *Instant // nil: until it is taken back
	KnownFrom  int64
	KnownTo    *int64
}

// Holds tells whether a grant that nobody took back is in force at an instant: from its beginning, up to but not at
// its end.
func (g Grant) Holds(at Instant) bool {
	return g.KnownTo == nil && (g.FromAt == nil || *g.FromAt <= at) && !g.Over(at)
}

// Over tells whether its end has come.
func (g Grant) Over(at Instant) bool { return g.UntilAt != nil && *g.UntilAt <= at }

// Scope is what whoever asks may see. Every query that returns rows of a plant takes one; the zero Scope
// sees nothing.
type Scope struct {
	all       bool
	customers []int64
	plants    []int64
}

// ScopeOf returns the plants a person's grants reach. An administrator's grant alone reaches none.
func ScopeOf(grants []Grant) Scope {
	var s Scope
	for _, g := range grants {
		switch {
		case g.KnownTo != nil || g.Role == RoleAdministrator || g.Role == "":
		case g.PlantID != 0:
			s.plants = append(s.plants, g.PlantID)
		case g.CustomerID != 0:
			s.customers = append(s.customers, g.CustomerID)
		default:
			s.all = true
		}
	}
	return s
}

// JobScope is the scope of the scheduler's own jobs and of commands run by the operator of the installation.
func JobScope() Scope { return Scope{all: true} }

// PlantScope is the scope of one plant.
func PlantScope(plantID int64) Scope { return Scope{plants: []int64{plantID}} }

// Holds tells whether a plant of a customer is in scope.
func (s Scope) Holds(customerID, plantID int64) bool {
	return s.all || slices.Contains(s.customers, customerID) || slices.Contains(s.plants, plantID)
}

// Reaches returns whether everything is in scope and otherwise the customers and plants that are.
func (s Scope) Reaches() (all bool, customers, plants []int64) { return s.all, s.customers, s.plants }
