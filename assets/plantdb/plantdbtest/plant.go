package plantdbtest

import (
	"context"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// Noon is the moment of entry of everything Plant writes.
var Noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// Site is a small invented plant: one line with one conveyor, its belt and a splice.
type Site struct {
	DB       *plantdb.DB
	Company  assets.Company
	Customer assets.Customer
	Plant    assets.Plant
	Line     assets.Line
	Conveyor assets.Conveyor
	Belt     assets.Belt
	Splice   assets.Splice
	Scope    assets.Scope
}

// Plant sets a company, a customer and a small plant up in a fresh database.
func Plant(t testing.TB) *Site {
	t.Helper()
	return PlantIn(t, Open(t), "Hollin Quarry")
}

// PlantIn sets a small plant of a customer of its own up, named as given; the company too when it is not
// there yet.
func PlantIn(t testing.TB, db *plantdb.DB, name string) *Site {
	t.Helper()
	s := &Site{DB: db}
	ctx := context.Background()
	act := plantdb.Act{Origin: plantdb.Command, Action: "set up", Now: Noon, Company: true}
	if company, err := registry.Company(ctx, db, plantdb.AsOf{}); err == nil {
		s.Company = company
	}
	err := db.Change(ctx, act, func(c *plantdb.Change) error {
		if s.Company.ID == 0 {
			s.Company = assets.Company{Name: "Brenna Belting", Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI}
			if err := registry.SaveCompany(c, &s.Company, 0); err != nil {
				return err
			}
		}
		s.Customer = assets.Customer{Name: name + " Works"}
		if err := registry.AddCustomer(c, &s.Customer); err != nil {
			return err
		}
		s.Plant = assets.Plant{CustomerID: s.Customer.ID, Name: name, Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI}
		return registry.AddPlant(c, &s.Plant)
	})
	if err != nil {
		t.Fatalf("set a plant up: %v", err)
	}
	s.Scope = assets.PlantScope(s.Plant.ID)
	s.Change(t, Noon, s.equip)
	return s
}

// equip gives the plant its line, conveyor, belt and splice.
func (s *Site) equip(c *plantdb.Change) error {
	s.Line = assets.Line{PlantID: s.Plant.ID, Name: "Crushing"}
	if err := registry.SaveLine(c, &s.Line, 0); err != nil {
		return err
	}
	s.Conveyor = assets.Conveyor{PlantID: s.Plant.ID, LineID: s.Line.ID, Tag: "Q1", Name: "Jaw discharge", SpeedMPS: 2}
	if err := registry.AddConveyor(c, &s.Conveyor); err != nil {
		return err
	}
	s.Belt = assets.Belt{ConveyorID: s.Conveyor.ID, Specification: "EP 630/4", WidthM: 1, LoopLengthM: 120, Fitted: s.On("2024-03-01")}
	if err := registry.FitBelt(c, &s.Belt, ""); err != nil {
		return err
	}
	s.Splice = assets.Splice{BeltID: s.Belt.ID, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: s.On("2024-03-01")}
	return registry.MakeSplice(c, &s.Splice)
}

// On is a day at the plant.
func (s *Site) On(day assets.Day) assets.When {
	w, err := assets.OnDay(day, s.Plant.Location(), Noon)
	if err != nil {
		panic(err) // a test's own date
	}
	return w
}

// Act is an act of person 7 at a screen, touching the plant.
func (s *Site) Act(now time.Time) plantdb.Act {
	return plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "test", Now: now, Plants: []int64{s.Plant.ID}}
}

// Try runs a change of the plant and returns its error.
func (s *Site) Try(now time.Time, fn func(*plantdb.Change) error) error {
	return s.DB.Change(context.Background(), s.Act(now), fn)
}

// Change runs a change of the plant and fails the test on an error.
func (s *Site) Change(t testing.TB, now time.Time, fn func(*plantdb.Change) error) {
	t.Helper()
	if err := s.Try(now, fn); err != nil {
		t.Fatal(err)
	}
}
