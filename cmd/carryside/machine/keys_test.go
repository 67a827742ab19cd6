package machine

import (
	"fmt"
	"slices"
	"testing"

	"carryside/assets"
)

// Customer 1 owns plants 11 and 12, customer 2 owns plant 21.
var owners = map[int64]int64{11: 1, 12: 1, 21: 2}

func TestTokenNeverReachesBeyondItsPersonNorItself(t *testing.T) {
	everything := assets.Grant{Role: assets.RolePlanner}
	ofOne := assets.Grant{Role: assets.RoleTechnician, CustomerID: 1}
	of12 := assets.Grant{Role: assets.RoleAuditor, PlantID: 12}
	of21 := assets.Grant{Role: assets.RoleAuditor, PlantID: 21}
	for name, tt := range map[string]struct {
		grants          []assets.Grant
		customer, plant int64
		want            []string // role customer plant
	}{
		"a grant for all, a token for a plant":           {[]assets.Grant{everything}, 0, 11, []string{"planner 1 11"}},
		"a grant for all, a token for a customer":        {[]assets.Grant{everything}, 1, 0, []string{"planner 1 0"}},
		"a grant for a customer, a token for its plant":  {[]assets.Grant{ofOne}, 0, 12, []string{"technician 1 12"}},
		"a grant for a customer, a token for another's":  {[]assets.Grant{ofOne}, 0, 21, nil},
		"a grant for a customer, a token for another":    {[]assets.Grant{ofOne}, 2, 0, nil},
		"a grant for a plant, a token for its customer":  {[]assets.Grant{of12}, 1, 0, []string{"auditor 0 12"}},
		"a grant for a plant, a token for its neighbour": {[]assets.Grant{of12}, 0, 11, nil},
		"several grants, a token for a customer":         {[]assets.Grant{ofOne, of12, of21}, 1, 0, []string{"technician 1 0", "auditor 0 12"}},
		"several grants, a token for a plant":            {[]assets.Grant{everything, of12, of21}, 0, 12, []string{"planner 1 12", "auditor 0 12"}},
		"a plant that is reached no more":                {[]assets.Grant{everything}, 0, 99, nil},
	} {
		t.Run(name, func(t *testing.T) {
			reached := map[int64]int64{} // as the grants reach
			_, customers, plants := assets.ScopeOf(tt.grants).Reaches()
			all, _, _ := assets.ScopeOf(tt.grants).Reaches()
			for p, c := range owners {
				if all || slices.Contains(customers, c) || slices.Contains(plants, p) {
					reached[p] = c
				}
			}
			var got []string
			for _, g := range narrow(tt.grants, tt.customer, tt.plant, reached) {
				got = append(got, fmt.Sprintf("%s %d %d", g.Role, g.CustomerID, g.PlantID))
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("%v, want %v", got, tt.want)
			}
		})
	}
}
