package registry_test

import (
	"errors"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

func TestKindsOfFindingAreTheTradesUntilALeadSaysOtherwise(t *testing.T) {
	s := plantdbtest.Plant(t)
	kinds := func() assets.FindingKinds {
		t.Helper()
		all, err := registry.FindingKinds(bg, s.DB, plantdb.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	save := func(k *assets.FindingKind) error {
		return s.DB.Change(bg, plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "kinds", Now: noon, Company: true}, func(c *plantdb.Change) error { return registry.SaveFindingKind(c, k) })
	}
	before := len(kinds())
	edge := kinds().Of("Edge  damage")
	edge.GradeWords = []string{"whole", "frayed", "notched", "torn", "torn through: stop"}
	if err := save(&edge); err != nil {
		t.Fatal(err)
	}
	if got := kinds(); len(got) != before || got.Of("edge damage").Words(3) != "torn" {
		t.Errorf("%d kinds, grade 3 of edge damage means %q", len(got), got.Of("edge damage").Words(3))
	}
	own := assets.FindingKind{Name: "dust on the return  side", GradeWords: []string{"a", "b", "c", "d", "e"}}
	if err := save(&own); err != nil {
		t.Fatal(err)
	}
	left := kinds().Of("dust on the return side")
	left.LeftOut = true
	if err := save(&left); err != nil {
		t.Fatal(err)
	}
	if all := kinds(); len(all) != before+1 || len(all.Offered()) != before {
		t.Errorf("%d kinds, %d offered, want %d and %d", len(all), len(all.Offered()), before+1, before)
	}
	for name, k := range map[string]assets.FindingKind{
		"name twice":       {Name: "Edge damage", GradeWords: own.GradeWords},
		"words missing":    {Name: "new", GradeWords: []string{"a"}},
		"no name":          {GradeWords: own.GradeWords},
		"other left out":   {Name: "other", GradeWords: own.GradeWords, LeftOut: true},
		"a kind renamed":   {Version: left.Version, Name: "renamed", GradeWords: own.GradeWords},
		"words for a book": {Name: "new", GradeWords: []string{"a", "b", "c", "d", strings.Repeat("long ", 40)}},
	} {
		var bad assets.Invalid
		if err := save(&k); !errors.As(err, &bad) {
			t.Errorf("%s: %v, want it refused", name, err)
		}
	}
}
