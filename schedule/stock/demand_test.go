package stock

import (
	"math"
	"testing"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// yard is a plant of two conveyors: A with two hot splices in a belt of 1.2 m and 96.4 m, B with a cold one in 0.8 m.
func yard() Demand {
	hot := func(id, belt int64, ended *assets.Instant) assets.Splice {
		return assets.Splice{Version: assets.Version{ID: id}, BeltID: belt, ConveyorID: belt, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, StepLengthM: 0.25, Steps: 3, Ended: ended}
	}
	cold := hot(3, 2, nil)
	cold.Bond = assets.BondColdBonded
	reg := &assets.Register{Plant: assets.Plant{CustomerID: 4, Zone: "Europe/Oslo"}, Conveyors: []assets.Conveyor{{Version: assets.Version{ID: 1}}, {Version: assets.Version{ID: 2}}},
		Belts:   []assets.Belt{{Version: assets.Version{ID: 1}, ConveyorID: 1, WidthM: 1.2, LoopLengthM: 96.4, SpecificationID: 7}, {Version: assets.Version{ID: 2}, ConveyorID: 2, WidthM: 0.8, LoopLengthM: 40, SpecificationID: 8}},
		Splices: []assets.Splice{hot(1, 1, nil), hot(2, 1, nil), cold}}
	reg.Arrange()
	ended := assets.Instant(5)
	return Demand{Register: reg, Items: []assets.StockItem{
		{Version: assets.Version{ID: 1}, Name: "gum", Unit: assets.UnitKilogram}, {Version: assets.Version{ID: 2}, Name: "blades", Unit: assets.UnitPiece},
		{Version: assets.Version{ID: 3}, Kind: assets.StockBelt, Unit: assets.UnitMetre, SpecificationID: 7, WidthM: 1.4}, {Version: assets.Version{ID: 4}, Kind: assets.StockBelt, Unit: assets.UnitMetre, SpecificationID: 7, WidthM: 1.2}},
		Templates: []assets.WorkTemplate{{OrderKind: "re-splice", Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Stock: []assets.StockNeed{{ItemID: 1, PerSplice: 0.5, PerMWidth: 5}, {ItemID: 2, PerSplice: 2.5}}}},
		StopDays:  map[int64]assets.Day{9: "2026-12-12"}, Failed: []assets.Splice{hot(8, 1, &ended), hot(9, 1, &ended)}}
}

// By hand: 0.5 kg + 5 kg/m x 1.2 m = 6.5 kg; two and a half blades are three. Two kilograms were issued.
func TestWhatAnOrderTakesByItsTemplate(t *testing.T) {
	d := yard()
	d.Orders = []workorder.Order{{Version: assets.Version{ID: 20}, Number: 412, Kind: workorder.KindResplice, State: workorder.Placed, SpliceID: 2, BeltID: 1, WindowID: 9, Title: "remake"},
		{Version: assets.Version{ID: 21}, Number: 413, Kind: workorder.KindResplice, State: workorder.Accepted, SpliceID: 3, BeltID: 2, LatestDay: "2027-01-05"}}
	d.Issued = map[OrderItem]assets.Quantity{{20, 1}: 2000}
	needs := d.Needs()
	if n := needs[1]; len(n) != 1 || n[0].Quantity != 4500 || n[0].Day != "2026-12-12" || !n[0].Placed {
		t.Errorf("gum: %+v", n)
	}
	if n := needs[2]; len(n) != 1 || n[0].Quantity != 3000 {
		t.Errorf("blades: %+v", n)
	}
}

// A change of belt takes the loop and one splice: 96.4 + 3 x 0.25 = 97.15 m, to the next decimetre 97.2 m, from the narrowest belt
// of its specification that is wide enough.
func TestAChangeOfBeltTakesTheLoopAndASplice(t *testing.T) {
	d := yard()
	d.Orders = []workorder.Order{{Version: assets.Version{ID: 30}, Number: 418, Kind: workorder.KindBeltChange, State: workorder.Accepted, ConveyorID: 1, LatestDay: "2027-02-01"}}
	needs := d.Needs()
	if n := needs[4]; len(n) != 1 || n[0].Quantity != 97200 || n[0].Placed || len(needs[3]) != 0 {
		t.Errorf("%+v", needs)
	}
	d.Orders[0].ConveyorID = 2 // no belt of its specification is kept
	if needs := d.Needs(); len(needs) != 0 {
		t.Errorf("%+v", needs)
	}
}

// Two failures of hot splices in three years and half a failure shared by three live splices: hot (2 + 0.5 x 2/3) / 1095.75 d.
// The cold splice has no template, so its share takes nothing.
func TestTheRateOfUnplannedJobsComesFromThePlantsOwnFailures(t *testing.T) {
	d := yard()
	jobs := d.Unplanned(30)
	if j := jobs[1]; len(j) != 1 || j[0].Each != 6500 || math.Abs(j[0].PerDay-(2+1.0/3)/1095.75) > 1e-12 {
		t.Errorf("%+v", j)
	}
	d.Failed = nil
	if j := d.Unplanned(30)[1]; len(j) != 1 || math.Abs(j[0].PerDay-(1.0/3)/1095.75) > 1e-12 {
		t.Errorf("without a failure: %+v", j)
	}
}

// The life figures foresee splice 1 to fail with 3 % within 30 days and splice 2 with 12 %; splice 2 is remade in ten days, with 4 % until then. So hot splices
// fail (0.03 + 0.04) / 30 a day, whatever failed before.
func TestUnplannedJobsComeFromTheLifeFiguresWhereTheyForesee(t *testing.T) {
	d := yard()
	d.Today = "2026-12-02"
	d.Foreseen = func(splice int64, days int) (float64, bool) {
		return map[int64]map[int]float64{1: {30: 0.03}, 2: {30: 0.12, 10: 0.04}}[splice][days], splice != 3
	}
	d.Orders = []workorder.Order{{Version: assets.Version{ID: 20}, Kind: workorder.KindResplice, State: workorder.Placed, SpliceID: 2, BeltID: 1, WindowID: 9}}
	if j := d.Unplanned(30)[1]; len(j) != 1 || math.Abs(j[0].PerDay-0.07/30) > 1e-12 || j[0].Each != 6500 {
		t.Errorf("%+v, want 6.5 kg each and %v a day", j, 0.07/30)
	}
	d.Orders = nil
	if j := d.Unplanned(30)[1]; len(j) != 1 || math.Abs(j[0].PerDay-0.15/30) > 1e-12 {
		t.Errorf("without the order: %+v, want %v a day", j, 0.15/30)
	}
}

// An insert piece takes its length from the rack: the take-up's travel of 1.9 m is under the least of two metres, and two splices of 3 x 0.25 m: 3.5 m; with 4.26 m of
// travel 5.76 m, to the next decimetre 5.8 m.
func TestAnInsertPieceTakesBeltFromTheRack(t *testing.T) {
	d := yard()
	d.Orders = []workorder.Order{{Version: assets.Version{ID: 30}, Number: 419, Kind: workorder.KindInsertPiece, State: workorder.Accepted, ConveyorID: 1, BeltID: 1, LatestDay: "2027-02-01"}}
	for travelM, want := range map[float64]assets.Quantity{1.9: 3500, 4.26: 5800} {
		d.Register.Conveyors[0].TakeUpTravelM = travelM
		if n := d.Needs()[4]; len(n) != 1 || n[0].Quantity != want {
			t.Errorf("travel %v m: %+v, want %v", travelM, n, want)
		}
	}
}
