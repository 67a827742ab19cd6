package intakedb_test

import (
	"errors"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/plantdbtest"
)

// A planner keeps the headings of two monthly sheets, mixes up their names and puts that right. The journal is checked
// when the test ends.
func TestKeptHeadingsAreRenamedRemovedAndKeptAgain(t *testing.T) {
	s := plantdbtest.Plant(t)
	keep := func(name, mapping string) int64 {
		t.Helper()
		m := intakedb.ImportMapping{CustomerID: s.Plant.CustomerID, Name: name, Mapping: mapping}
		if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return intakedb.SaveMapping(c, &m) }); err != nil {
			t.Fatal(err)
		}
		return m.ID
	}
	names := func() string {
		t.Helper()
		kept, err := intakedb.Mappings(bg, s.DB, s.Scope)
		if err != nil {
			t.Fatal(err)
		}
		out := ""
		for _, m := range kept {
			out += m.Name + "=" + m.Mapping + " "
		}
		return out
	}
	rename := func(id int64, name string) error {
		return s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
			return intakedb.RenameMapping(c, s.Plant.CustomerID, id, name)
		})
	}
	hours, joints := keep("Hours", "{1}"), keep("Joints", "{2}")
	var bad assets.Invalid
	if err := rename(hours, "Joints"); !errors.As(err, &bad) || bad["name"] == "" {
		t.Errorf("a name that is taken: %v", err)
	}
	if err := rename(hours, " Monthly hours "); err != nil {
		t.Fatal(err)
	}
	if got := names(); got != "Joints={2} Monthly hours={1} " {
		t.Errorf("kept %q", got)
	}
	if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return intakedb.RemoveMapping(c, s.Plant.CustomerID, joints) }); err != nil {
		t.Fatal(err)
	}
	if err := rename(joints, "Joints again"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("what was removed is renamed: %v", err)
	}
	if again := keep("Joints", "{3}"); again != joints {
		t.Errorf("a name that comes back has the number %d, had %d", again, joints)
	}
	if got := names(); got != "Joints={3} Monthly hours={1} " {
		t.Errorf("kept %q", got)
	}
	if err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
		return intakedb.RemoveMapping(c, s.Plant.CustomerID+1, hours)
	}); err == nil {
		t.Error("headings of another customer are removed")
	}
}
