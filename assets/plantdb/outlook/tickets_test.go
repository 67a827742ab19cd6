package outlook_test

import (
	"context"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// TestTicketsOfThoseAtHomeHereAreRead: a renewed ticket has not ended, and whoever is at home elsewhere is no matter of this plant.
func TestTicketsOfThoseAtHomeHereAreRead(t *testing.T) {
	s := plantdbtest.Plant(t)
	act := s.Act(plantdbtest.Noon)
	act.Company = true
	var here int64
	err := s.DB.Change(context.Background(), act, func(c *plantdb.Change) error {
		q := assets.Qualification{Name: "hot vulcanising"}
		if err := crew.SaveQualification(c, &q); err != nil {
			return err
		}
		for i, until := range []assets.Day{"2027-02-12", "2027-03-01"} {
			p := assets.Person{Name: []string{"S. Ilveth", "R. Asquenne"}[i]}
			if err := registry.AddPerson(c, &p); err != nil {
				return err
			}
			m := assets.CrewMember{PersonID: p.ID}
			if i == 0 {
				m.HomePlantID, here = s.Plant.ID, p.ID
			}
			if err := crew.SaveMember(c, &m); err != nil {
				return err
			}
			for _, k := range []assets.PersonQualification{{FromDay: "2017-01-01", UntilDay: "2021-12-31"}, {FromDay: "2022-01-01", UntilDay: until}} {
				k.PersonID, k.QualificationID = p.ID, q.ID
				if err := crew.SaveTicket(c, &k); err != nil {
					return err
				}
			}
		}
		return orders.SaveRule(c, &rules.Rule{PlantID: s.Plant.ID, CustomerID: s.Customer.ID, Name: "ticket ends", Class: assets.ClassP, Scope: rules.Scope{Target: rules.TargetPlant},
			Trigger: rules.Trigger{Kind: rules.TriggerTicket}, Template: rules.Template{Kind: workorder.KindOther, Title: "renew {target}", LeadDays: 90}})
	})
	if err != nil {
		t.Fatal(err)
	}
	p, err := outlook.Load(context.Background(), s.DB, s.Scope, s.Plant.ID, plantdbtest.Noon)
	if err != nil {
		t.Fatal(err)
	}
	if got := p.Inputs.Tickets; len(got) != 1 || got[0].PersonID != here || got[0].Until != "2027-02-12" || got[0].Ticket != "hot vulcanising" {
		t.Errorf("tickets that end: %+v", got)
	}
}
