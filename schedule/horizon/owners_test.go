package horizon

import (
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/stock"
)

// Three plants on one sheet: Skarrow and its sister of one customer, Brask of another. What Skarrow's customer owns goes to the sister and never to
// Brask; what the service company owns goes to all.
func TestPressAndPeopleOfACustomerGoToItsOwnPlantsAlone(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	sheet := func(owner int64) *Sheet {
		in := quay(z)
		in.Plants[0].Customer = 1
		in.Plants[0].Orders = nil
		for i, customer := range []int64{1, 2} {
			p := quay(z).Plants[0]
			p.ID, p.Customer, p.Name = int64(4+i), customer, []string{"Tarn Mill", "Brask"}[i]
			p.Groups, p.Conveyors = []Group{{ID: int64(50 + i), Name: "drives", IsolateMin: 30, RestartMin: 20}}, []Conveyor{{ID: int64(110 + i), LineID: 1, GroupID: int64(50 + i), Tag: "B1"}}
			p.Stops = []Stop{{ID: int64(201 + i), LineID: 1, Start: at(z, "2026-12-12 06:00"), End: at(z, "2026-12-13 06:00"), Name: "12 Dec"}}
			p.Orders = []Order{{ID: int64(91 + i), Number: int64(91 + i), ConveyorID: int64(110 + i), DurationMin: 300, Crew: []CrewNeed{{7, 2}}, Kit: []KitNeed{{"press", 1000, 0}}, Isolation: true, Date: Date{Due: at(z, "2026-12-20 00:00"), Planned: 1000, Unplanned: 3000, PerDay: 1}}}
			in.Plants = append(in.Plants, p)
			in.Ways = append(in.Ways, Way{3, p.ID, 60})
		}
		in.Ways = append(in.Ways, Way{4, 5, 60})
		in.Kit[0].Customer = owner
		for i := range in.People {
			in.People[i].Customer, in.People[i].Callout = owner, 40
		}
		return Lay(in)
	}
	for owner, want := range map[int64]map[int64]bool{0: {91: true, 92: true}, 1: {91: true, 92: false}, 2: {91: false, 92: true}} {
		s := sheet(owner)
		for order, stop := range map[int64]int64{91: 201, 92: 202} {
			if a := s.Ask(t.Context(), Placements{}, Move{OrderID: order, StopID: stop}); a.Fits != want[order] {
				t.Errorf("owned by %d, order %d fits %v: %v", owner, order, a.Fits, a.Why)
			}
		}
		for id, p := range s.Placements(solved(t, s)) {
			if !want[id] {
				t.Errorf("owned by %d, order %d is planned in stop %d", owner, id, p.StopID)
			}
		}
	}
	// At home nobody is called out, though plants of others stand on the sheet.
	s := sheet(1)
	for w := range s.Case.Windows {
		for i := range s.Case.Technicians {
			if home := s.Case.Windows[w].Site == 0; s.Case.Technicians[i].CalloutIn(w, s.Case.Windows[w].Site) != map[bool]int{true: 0, false: 40}[home] {
				t.Errorf("calling %s into window %s costs %d", s.Case.Technicians[i].ID, s.Case.Windows[w].ID, s.Case.Technicians[i].CalloutIn(w, s.Case.Windows[w].Site))
			}
		}
	}
}

// Rubber of another customer in the depot is not this one's; of two customers who lack rubber each has its own and is dealt of the company's, none of
// it twice, and neither takes what lies at the other's plant.
func TestRubberOfOneCustomerIsNotAnothers(t *testing.T) {
	lot := func(plant, customer int64, kg int) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{ItemID: 61, PlantID: plant, CustomerID: customer}, OnHand: assets.Quantity(kg * 1000)}
	}
	f := grain()
	f.Lots = []stock.Lot{lot(3, 0, 1), lot(0, 2, 50), lot(0, 1, 2), lot(0, 0, 1)}
	if got := f.Inputs().Stock[0].OnHand; got != 4000 {
		t.Errorf("on a sheet of one plant %d g, want 1 kg there, 2 kg of its customer's and 1 kg of the company's in the depot", got)
	}
	other := *f.Plants[0].Register
	other.Plant.ID, other.Plant.CustomerID, other.Plant.Name = 4, 2, "Brask"
	f.Plants = append(f.Plants, PlantFacts{Register: &other, Orders: f.Plants[0].Orders})
	f.Lots = []stock.Lot{lot(3, 0, 1), lot(4, 0, 2), lot(0, 0, 2)} // each order takes 2.9 kg: Skarrow lacks 1.9, Brask 0.9
	f.Supply = []assets.SupplyOrder{{ItemID: 61, Quantity: 5000, State: assets.SupplyOrdered, ExpectedDay: "2026-12-01"}}
	in := f.Inputs()
	has := map[int64]Item{}
	for _, it := range in.Stock {
		has[it.ID] = it
	}
	var sum, coming int64
	for i, want := range []int64{2900, 2100} {
		it := has[in.Plants[i].Orders[0].Stock[0].Item]
		if it.OnHand != want {
			t.Errorf("%s has %d g on hand, want %d", in.Plants[i].Name, it.OnHand, want)
		}
		sum, coming = sum+it.OnHand, coming+it.arriving()
	}
	if sum != 5000 || coming != 800 || len(in.Stock) != 2 {
		t.Errorf("%d g on hand and %d g coming among %+v: Brask lacks 0.8 kg of the 5 that come", sum, coming, in.Stock)
	}
	// Alone in lacking it, Brask counts on all that comes.
	f.Lots[0].OnHand = 3000
	in = f.Inputs()
	for _, it := range in.Stock {
		if it.ID == in.Plants[1].Orders[0].Stock[0].Item && (it.OnHand != 4000 || it.arriving() != 5000) {
			t.Errorf("Brask has %d g and %d g coming", it.OnHand, it.arriving())
		}
	}
}

// A lot that expires is dealt after what lasts, and expires for whom it was dealt to.
func TestWhatExpiresIsDealtAfterWhatLasts(t *testing.T) {
	day := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	from := Item{OnHand: 5, Expire: []Arrival{{At: day, Quantity: 3}}, Arrivals: []Arrival{{At: day, Quantity: 4}}}
	var first, second Item
	first.deal(&from, 3)
	second.deal(&from, 9)
	if first.OnHand != 3 || first.lasting() != 2 || second.OnHand != 2 || second.lasting() != 0 || second.arriving() != 4 || from.OnHand != 0 || len(from.Expire)+len(from.Arrivals) != 0 {
		t.Errorf("first %+v, second %+v, left %+v", first, second, from)
	}
}
