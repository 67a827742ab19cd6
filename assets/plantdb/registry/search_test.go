package registry_test

import (
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

func TestFindingAConveyorByWhatPeopleCallIt(t *testing.T) {
	s := plantdbtest.Plant(t)
	plantdbtest.PlantIn(t, s.DB, "Odden Mill")
	s.Change(t, noon, func(c *plantdb.Change) error {
		return registry.AddConveyor(c, &assets.Conveyor{PlantID: s.Plant.ID, Tag: "Q10", Name: "Long haul 50%", OtherNames: []string{"the snake"}})
	})
	tests := map[string]struct {
		typed string
		scope assets.Scope
		want  []string // tag, or tag with splice
	}{
		"exact tag before longer ones": {"q1", s.Scope, []string{"Q1", "Q10"}},
		"tag with separators":          {"Q-01", s.Scope, []string{"Q1", "Q10"}},
		"a word of its name":           {"haul", s.Scope, []string{"Q10"}},
		"another name":                 {"snake", s.Scope, []string{"Q10"}},
		"a per cent sign is a sign":    {"50%", s.Scope, []string{"Q10"}},
		"a splice":                     {"Q1 S1", s.Scope, []string{"Q1 splice 1"}},
		"a splice in words":            {"q1 splice 1", s.Scope, []string{"Q1 splice 1"}},
		"nothing":                      {"zebra", s.Scope, nil},
		"both plants in scope":         {"Q1 S1", assets.JobScope(), []string{"Q1 splice 1", "Q1 splice 1"}},
		"the zero scope sees nothing":  {"Q1", assets.Scope{}, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			hits, err := registry.Search(bg, s.DB, tt.scope, 0, tt.typed, 10)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, h := range hits {
				what := h.Tag
				if h.Kind == registry.HitSplice {
					what += " splice " + h.SpliceNumber
				}
				got = append(got, what)
			}
			if len(got) != len(tt.want) {
				t.Fatalf("found %v, want %v", got, tt.want)
			}
			for i := range got {
				if got[i] != tt.want[i] {
					t.Errorf("found %v, want %v", got, tt.want)
				}
			}
		})
	}
}
