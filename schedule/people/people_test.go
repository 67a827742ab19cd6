package people

import (
	"slices"
	"testing"

	"carryside/assets"
)

// The product's role table, row by row.
func TestEachRoleMayWhatTheTableSays(t *testing.T) {
	tests := []struct {
		role     assets.Role
		may, not []Deed
	}{
		{assets.RoleAdministrator, []Deed{KeepPeople}, []Deed{Read, EditRegister, ReadJournal}},
		{assets.RoleLead, []Deed{Read, ReadJournal, EditCatalogues, KeepCrew, PlanOrders, SignJob}, []Deed{KeepPeople}},
		{assets.RolePlanner, []Deed{ReadCosts, EditRegister, Import, DecideReading, EditRules, EditStops, PlanOrders, RefuseFollowUp}, []Deed{EditCatalogues, KeepCrew, ReadJournal, KeepPeople}},
		{assets.RoleTechnician, []Deed{Read, EnterReading, RecordFinding, DoJob, EmergencySplice, SignJob}, []Deed{PlanOrders, EditRules, RefuseFollowUp, ReadCosts, Import}},
		{assets.RoleStorekeeper, []Deed{Read}, []Deed{EnterReading, EditRegister, ReadCosts}},
		{assets.RoleAuditor, []Deed{Read, ReadCosts, ReadJournal}, []Deed{EnterReading, RecordFinding, EditRegister, SignJob, PlanOrders}},
		{assets.RoleCustomerViewer, []Deed{Read}, []Deed{ReadCosts, ReadJournal, RecordFinding}},
		{"somebody", nil, []Deed{Read}},
	}
	for _, tt := range tests {
		for _, d := range tt.may {
			if !May(tt.role, d) {
				t.Errorf("%s may not %s", tt.role, d)
			}
		}
		for _, d := range tt.not {
			if May(tt.role, d) {
				t.Errorf("%s may %s", tt.role, d)
			}
		}
	}
}

func TestGrantsReachTheirPlantsOnly(t *testing.T) {
	ended := int64(9)
	grants := []assets.Grant{
		{Role: assets.RolePlanner, PlantID: 3},
		{Role: assets.RoleAuditor, CustomerID: 7},
		{Role: assets.RoleLead, KnownTo: &ended},
	}
	tests := []struct {
		name            string
		customer, plant int64
		want            []assets.Role
	}{
		{"plant of the grant, other customer", 1, 3, []assets.Role{assets.RolePlanner}},
		{"other plant of the customer granted", 7, 5, []assets.Role{assets.RoleAuditor}},
		{"plant granted twice over", 7, 3, []assets.Role{assets.RolePlanner, assets.RoleAuditor}},
		{"neither", 1, 4, nil},
	}
	for _, tt := range tests {
		if got := RolesAt(grants, tt.customer, tt.plant); !slices.Equal(got, tt.want) {
			t.Errorf("%s: roles %v, want %v", tt.name, got, tt.want)
		}
	}
	if MayAt(grants, 7, 5, EditRegister) {
		t.Error("an auditor of the customer may change the register")
	}
	if !MayAt(grants, 7, 3, EditRegister) {
		t.Error("the planner of plant 3 may not change its register")
	}
	if MayAnywhere(grants, EditCatalogues) {
		t.Error("a lead's grant that has ended still opens the catalogues")
	}
}

func TestAnAdministratorOfOnePlantKeepsNobodysAccount(t *testing.T) {
	for name, tt := range map[string]struct {
		grant assets.Grant
		may   bool
	}{
		"for all":        {assets.Grant{Role: assets.RoleAdministrator}, true},
		"for a customer": {assets.Grant{Role: assets.RoleAdministrator, CustomerID: 7}, false},
		"for a plant":    {assets.Grant{Role: assets.RoleAdministrator, PlantID: 3}, false},
	} {
		if got := MayAnywhere([]assets.Grant{tt.grant}, KeepPeople); got != tt.may {
			t.Errorf("%s: may keep people: %v", name, got)
		}
		if !MayAnywhere([]assets.Grant{tt.grant}, KeepOwnAccount) {
			t.Errorf("%s: may not keep their own account", name)
		}
	}
}

func TestRolesListsEveryRoleOnce(t *testing.T) {
	if len(Roles) != len(table) {
		t.Fatalf("forms offer %d roles, the table has %d", len(Roles), len(table))
	}
	for _, r := range Roles {
		if !Known(r) {
			t.Errorf("forms offer %q, which may nothing", r)
		}
	}
}
