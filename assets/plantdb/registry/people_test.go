package registry_test

import (
	"fmt"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

// TestNumbersOfPeopleTellNotHowManyThereAre holds that people are not numbered one after the other: whoever is signed in
// reads their own number and those of people they name.
func TestNumbersOfPeopleTellNotHowManyThereAre(t *testing.T) {
	s := plantdbtest.Plant(t)
	seen := map[int64]bool{}
	before := int64(0)
	for i := range 6 {
		p := assets.Person{Name: fmt.Sprint("R. Asquenne ", i)}
		act := s.Act(noon)
		act.Company = true
		if err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return registry.AddPerson(c, &p) }); err != nil {
			t.Fatal(err)
		}
		if p.ID <= 0 || seen[p.ID] || i > 0 && p.ID == before+1 || i > 0 && p.ID == int64(i+1) || i == 0 && p.ID != 1 {
			t.Errorf("person %d after person %d", p.ID, before)
		}
		seen[p.ID], before = true, p.ID
	}
}
