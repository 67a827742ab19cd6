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

// company runs a change of the company's own chain and the plant's customer.
func company(s *plantdbtest.Site, fn func(*plantdb.Change) error) error {
	act := s.Act(noon)
	act.Company, act.Customers = true, []int64{s.Customer.ID}
	return s.DB.Change(bg, act, fn)
}

func TestOwnersThatCannotBeAreRefusedByField(t *testing.T) {
	s := plantdbtest.Plant(t)
	plant := func(change func(*assets.Plant)) func(*plantdb.Change) error {
		p := s.Plant
		change(&p)
		return func(c *plantdb.Change) error { return registry.AlterPlant(c, &p, 0) }
	}
	contract := func(change func(*assets.Contract)) func(*plantdb.Change) error {
		k := assets.Contract{CustomerID: s.Customer.ID, Number: "C-7", FromDay: "2026-01-01", PlantIDs: []int64{s.Plant.ID}}
		change(&k)
		return func(c *plantdb.Change) error { return registry.SaveContract(c, &k, 0) }
	}
	tests := map[string]struct {
		field string
		do    func(*plantdb.Change) error
	}{
		"plant without a name":       {"name", plant(func(p *assets.Plant) { p.Name = " " })},
		"plant in no zone":           {"zone", plant(func(p *assets.Plant) { p.Zone = "Mid Europe" })},
		"plant in the host's zone":   {"zone", plant(func(p *assets.Plant) { p.Zone = "Local" })},
		"currency in words":          {"currency", plant(func(p *assets.Plant) { p.Currency = "euro" })},
		"units of its own":           {"unit_system", plant(func(p *assets.Plant) { p.UnitSystem = "ells" })},
		"contract that ends first":   {"until_day", contract(func(k *assets.Contract) { k.UntilDay = "2025-01-01" })},
		"contract without a number":  {"number", contract(func(k *assets.Contract) { k.Number = "" })},
		"contract of another's site": {"plant_ids", contract(func(k *assets.Contract) { k.PlantIDs = []int64{s.Plant.ID, 99} })},
		"customer of the same name": {"name", func(c *plantdb.Change) error {
			return registry.AddCustomer(c, &assets.Customer{Name: strings.ToUpper(s.Customer.Name)})
		}},
		"second company": {"", func(c *plantdb.Change) error {
			return registry.SaveCompany(c, &assets.Company{Name: "x", Zone: "UTC", Currency: "EUR", UnitSystem: assets.UnitsSI}, 0)
		}},
		"line of the same name": {"name", func(c *plantdb.Change) error {
			return registry.SaveLine(c, &assets.Line{PlantID: s.Plant.ID, Name: "crushing"}, 0)
		}},
		"line with conveyors on it taken out": {"", func(c *plantdb.Change) error { return registry.EndLine(c, s.Line.ID, 0, 0) }},
		"contact nobody can reach": {"phone", func(c *plantdb.Change) error {
			return registry.SaveContact(c, &assets.Contact{PlantID: s.Plant.ID, PersonID: 1}, 0)
		}},
		"specification with a value without source": {"values.thickness_m", func(c *plantdb.Change) error {
			return registry.SaveSpecification(c, &assets.Specification{Name: "a", Values: []assets.CatalogueValue{{Quantity: "thickness_m", Unit: "m", Class: assets.ClassB}}}, 0)
		}},
		"splice kind of no form": {"form", func(c *plantdb.Change) error {
			return registry.SaveSpliceKind(c, &assets.SpliceKind{Bond: assets.BondNone}, 0)
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var bad assets.Invalid
			if err := company(s, tt.do); !errors.As(err, &bad) || bad[tt.field] == "" {
				t.Errorf("got %v, want a refusal about %q", err, tt.field)
			}
		})
	}
}

func TestOwnersAreKeptAndChanged(t *testing.T) {
	s := plantdbtest.Plant(t)
	contract := assets.Contract{CustomerID: s.Customer.ID, Number: "C-7", FromDay: "2026-01-01", PlantIDs: []int64{s.Plant.ID}, ResponseHours: 4}
	contact := assets.Contact{PlantID: s.Plant.ID, Duty: "shift lead", Phone: "0100"}
	spare := assets.Line{PlantID: s.Plant.ID, Name: "Spare", Position: 2}
	err := company(s, func(c *plantdb.Change) (err error) {
		if contact.PersonID, err = registry.PersonNamed(c, s.Customer.ID, "S. Ilveth"); err != nil {
			return err
		}
		return errors.Join(registry.SaveContract(c, &contract, 0), registry.SaveContact(c, &contact, 0), registry.SaveLine(c, &spare, 0))
	})
	if err != nil {
		t.Fatal(err)
	}
	err = company(s, func(c *plantdb.Change) error {
		return errors.Join(registry.EndLine(c, spare.ID, spare.RowID, c.Now()), registry.EndContact(c, contact.ID, contact.RowID, c.Now()))
	})
	if err != nil {
		t.Fatal(err)
	}
	contracts, err := registry.Contracts(bg, s.DB, s.Scope, 0)
	if err != nil || len(contracts) != 1 || contracts[0].ResponseHours != 4 {
		t.Errorf("contracts %+v, %v", contracts, err)
	}
	lines, err := registry.Lines(bg, s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{})
	if err != nil || len(lines) != 1 {
		t.Errorf("lines now %+v, %v; want the one in use", lines, err)
	}
	then, err := registry.Lines(bg, s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{Valid: assets.InstantOf(noon) - 1})
	if err != nil || len(then) != 2 {
		t.Errorf("lines before %+v, %v; want the spare one too", then, err)
	}
	if contacts, err := registry.Contacts(bg, s.DB, s.Scope, s.Plant.ID); err != nil || len(contacts) != 0 {
		t.Errorf("contacts %+v, %v; want none left", contacts, err)
	}
	sizes, err := registry.Sizes(bg, s.DB, s.Scope, s.Plant.ID)
	if err != nil || len(sizes) != 1 || sizes[0].Conveyors != 1 || sizes[0].Splices != 1 {
		t.Errorf("sizes %+v, %v; want one conveyor with one splice", sizes, err)
	}
}

func TestNamesOfPeopleStandInTheTableOnly(t *testing.T) {
	s := plantdbtest.Plant(t)
	var id, again int64
	err := company(s, func(c *plantdb.Change) (err error) {
		if id, err = registry.PersonNamed(c, s.Customer.ID, "R. Asquenne"); err != nil {
			return err
		}
		again, err = registry.PersonNamed(c, s.Customer.ID, " r.  asquenne ")
		return err
	})
	if err != nil || id == 0 || id != again {
		t.Fatalf("numbers %d and %d, %v; want one person", id, again, err)
	}
	own := assets.Person{Name: "I. Vanterel", Role: assets.RolePlanner}
	err = company(s, func(c *plantdb.Change) (err error) {
		if err := registry.AddPerson(c, &own); err != nil {
			return err
		}
		again, err = registry.PersonNamed(c, s.Customer.ID, "i. vanterel")
		return err
	})
	if err != nil || again != own.ID {
		t.Errorf("the company's own planner got number %d beside %d, %v", again, own.ID, err)
	}
	var written int64
	if err := s.DB.SQL(bg).Raw("SELECT count(*) FROM journal_entries WHERE lower(changes) LIKE '%asquenne%'").Scan(&written).Error; err != nil || written != 0 {
		t.Errorf("the journal names a person in %d entries, %v", written, err)
	}
	splice := s.Splice
	splice.MadeByID = id
	s.Change(t, noon, func(c *plantdb.Change) error { return registry.CorrectSplice(c, &splice) })
	if r := register(t, s, plantdb.AsOf{}); r.Splices[0].MadeBy != "R. Asquenne" || r.People[id] != "R. Asquenne" {
		t.Errorf("made by %q", r.Splices[0].MadeBy)
	}
}

func TestGrantsGivenAndTakenBack(t *testing.T) {
	s := plantdbtest.Plant(t)
	person := assets.Person{Name: "M. Okkerdal", Role: assets.RolePlanner}
	grant := assets.Grant{Role: assets.RolePlanner, PlantID: s.Plant.ID}
	err := company(s, func(c *plantdb.Change) error {
		if err := registry.AddPerson(c, &person); err != nil {
			return err
		}
		grant.PersonID = person.ID
		return registry.GiveGrant(c, &grant)
	})
	if err != nil {
		t.Fatal(err)
	}
	grants, err := registry.GrantsOf(bg, s.DB, person.ID, assets.InstantOf(plantdbtest.Noon))
	if err != nil || len(grants) != 1 {
		t.Fatalf("grants %+v, %v", grants, err)
	}
	if err := s.DB.Reach(bg, assets.ScopeOf(grants), s.Plant.ID); err != nil {
		t.Errorf("the plant is out of reach: %v", err)
	}
	if err := company(s, func(c *plantdb.Change) error { return registry.TakeGrant(c, grant.ID) }); err != nil {
		t.Fatal(err)
	}
	if grants, err = registry.GrantsOf(bg, s.DB, person.ID, assets.InstantOf(plantdbtest.Noon)); err != nil || len(grants) != 0 {
		t.Errorf("grants afterwards %+v, %v", grants, err)
	}
	if err := s.DB.Reach(bg, assets.ScopeOf(grants), s.Plant.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the plant is still in reach: %v", err)
	}
}

func TestCatalogueIsKeptWithItsSources(t *testing.T) {
	s := plantdbtest.Plant(t)
	spec := assets.Specification{Name: "EP 630/4", Family: "RB-EP", Values: []assets.CatalogueValue{{Quantity: "thickness_m", Value: 0.014, Unit: "m", Class: assets.ClassD}}}
	kind := assets.SpliceKind{Form: assets.FormStepped, Bond: assets.BondHotVulcanised}
	save := func() error {
		return company(s, func(c *plantdb.Change) error {
			return errors.Join(registry.SaveSpecification(c, &spec, 0), registry.SaveSpliceKind(c, &kind, 0))
		})
	}
	if err := save(); err != nil {
		t.Fatal(err)
	}
	spec.Values = []assets.CatalogueValue{{Quantity: "thickness_m", Value: 0.015, Unit: "m", Class: assets.ClassP, Source: "measured on the store's rolls"}}
	if err := save(); err != nil {
		t.Fatal(err)
	}
	r := register(t, s, plantdb.AsOf{})
	got, ok := r.Specification(spec.ID)
	if v, has := assets.ValueOf(got.Values, "thickness_m"); !ok || !has || v.Value != 0.015 || v.Class != assets.ClassP {
		t.Errorf("specification %+v", got)
	}
	if _, ok := r.Kind(assets.FormStepped, assets.BondHotVulcanised); !ok {
		t.Error("the splice kind is not in the register")
	}
	known, err := s.DB.KnownAt(bg, s.Plant.ID, 0, assets.InstantOf(noon)-1)
	if err != nil || known.Known != -1 || known.CompanyKnown != -1 {
		t.Errorf("known before anything was entered: %+v, %v", known, err)
	}
}
