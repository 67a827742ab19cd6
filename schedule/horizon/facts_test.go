package horizon

import (
	"context"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/plan"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// grain is a plant of the registry: a conveyor with a belt 1.2 m wide and a splice, one order for it, and one for another conveyor.
func grain() *Facts {
	now := time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)
	reg := &assets.Register{Company: assets.Company{Zone: "Europe/Oslo"}, Plant: assets.Plant{Version: assets.Version{ID: 3}, CustomerID: 1, Name: "Skarrow", Zone: "Europe/Oslo", Currency: "NOK"},
		Lines: []assets.Line{{Version: assets.Version{ID: 1}, Name: "Ship intake"}},
		Conveyors: []assets.Conveyor{{Version: assets.Version{ID: 11}, LineID: 1, Tag: "Q1", StopCostPerHour: 1000, Status: assets.ConveyorInUse},
			{Version: assets.Version{ID: 12}, LineID: 1, Tag: "Q2", StopCostPerHour: 1000, Status: assets.ConveyorInUse}},
		Belts:       []assets.Belt{{Version: assets.Version{ID: 21}, ConveyorID: 11, WidthM: 1.2}},
		Splices:     []assets.Splice{{Version: assets.Version{ID: 31}, ConveyorID: 11, BeltID: 21, Number: "1", Form: assets.FormStepped, Bond: assets.BondHotVulcanised}},
		SpliceKinds: []assets.SpliceKind{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Values: []assets.CatalogueValue{{Quantity: due.WorkH, Value: 8, Unit: "h"}, {Quantity: due.UnplannedStopH, Value: 14, Unit: "h"}}}},
	}
	reg.Arrange()
	start := assets.InstantOf(now.Add(48 * time.Hour))
	f := &Facts{Now: now, From: now, Until: now.AddDate(0, 0, 84), Company: reg.Company, Names: map[int64]string{5: "I. Vanterel", 6: "R. Asquenne"},
		Plants: []PlantFacts{{Register: reg,
			Stops: []assets.StopWindow{{Version: assets.Version{ID: 7}, PlantID: 3, LineID: 1, Start: start, End: start + assets.Instant(12*time.Hour/time.Microsecond)},
				{Version: assets.Version{ID: 8}, PlantID: 3, LineID: 1, Start: start + assets.Instant(240*time.Hour/time.Microsecond), End: start + assets.Instant(252*time.Hour/time.Microsecond), Answer: assets.StopAnswer{Word: assets.AnswerAsked}}},
			Groups: []assets.IsolationGroup{{Version: assets.Version{ID: 9}, Name: "Quay drives", IsolateMin: 30, RestartMin: 15, SetupCost: 400, ConveyorIDs: []int64{11, 12}}},
			Orders: []workorder.Order{{Version: assets.Version{ID: 41}, Number: 412, Kind: workorder.KindResplice, State: workorder.Accepted, ConveyorID: 11, SpliceID: 31, LatestDay: "2026-12-20"},
				{Version: assets.Version{ID: 42}, Number: 415, Kind: workorder.KindInspection, State: workorder.Accepted, ConveyorID: 12, WorkHours: 1.5}}}},
		Catalogue: []assets.Qualification{{Version: assets.Version{ID: 51}, Name: "hot splicing"}},
		Members:   []assets.CrewMember{{PersonID: 5, HomePlantID: 3}, {PersonID: 6, HomePlantID: 3}},
		Tickets:   []assets.PersonQualification{{PersonID: 5, QualificationID: 51, UntilDay: "2026-11-26"}, {PersonID: 6, QualificationID: 51}},
		Templates: []assets.WorkTemplate{{OrderKind: "re-splice", DurationMin: 100, Crew: []assets.CrewNeed{{QualificationID: 51, Number: 2}}},
			{OrderKind: "re-splice", Form: assets.FormStepped, Bond: assets.BondHotVulcanised, DurationMin: 480, Crew: []assets.CrewNeed{{QualificationID: 51, Number: 1}}, Isolation: true,
				Kit: []assets.KitNeed{{Class: "press", AsBelt: true}}, Stock: []assets.StockNeed{{ItemID: 61, PerSplice: 0.5, PerMWidth: 2}}}},
		Kit:   []assets.Kit{{Version: assets.Version{ID: 71}, Name: "Press 1", Class: assets.KitPress, WorkingWidthM: 1.0, HomePlantID: 3, Mobile: true}, {Version: assets.Version{ID: 72}, Name: "Press 2", Class: assets.KitPress, WorkingWidthM: 1.4, HomePlantID: 3, Mobile: true}},
		Items: []assets.StockItem{{Version: assets.Version{ID: 61}, Name: "rubber", Unit: assets.UnitKilogram}},
		Lots:  []stock.Lot{{StockLot: assets.StockLot{ItemID: 61, PlantID: 3}, OnHand: 5000}, {StockLot: assets.StockLot{ItemID: 61, PlantID: 3, GoodUntil: "2026-11-01"}, OnHand: 9000}, {StockLot: assets.StockLot{ItemID: 61, PlantID: 4}, OnHand: 9000}},
	}
	return f
}

func TestTheRegistryBecomesWhatThePlannerTakes(t *testing.T) {
	f := grain()
	in := f.Inputs()
	if !in.Money {
		t.Error("every conveyor has a cost per hour in one currency, and costs are not in it")
	}
	o := in.Plants[0].Orders[0]
	if o.DurationMin != 480 || !o.Isolation || len(o.Crew) != 1 || o.Crew[0] != (CrewNeed{51, 1}) {
		t.Errorf("the template of the splice does not go before that of any: %+v", o)
	}
	if o.Kit[0] != (KitNeed{"press", 1200, 0}) || o.Stock[0] != (StockNeed{61, 2900}) { // 0.5 kg + 2 kg/m x 1.2 m
		t.Errorf("kit %v stock %v", o.Kit, o.Stock)
	}
	if o.Date.Planned != 8000 || o.Date.Unplanned != 14_000 || o.Date.PerDay != 8000.0/3650 {
		t.Errorf("costs %+v", o.Date)
	}
	if look := in.Plants[0].Orders[1]; look.DurationMin != 90 || look.Crew[0] != (CrewNeed{0, 1}) || !look.Isolation {
		t.Errorf("without a template the order itself says what it takes: %+v", look)
	}
	if len(in.Plants[0].Stops) != 1 {
		t.Errorf("%d stops, work is planned in the agreed one alone", len(in.Plants[0].Stops))
	}
	if in.Stock[0].OnHand != 5000 {
		t.Errorf("%d on hand: out of date, or at another plant, is not", in.Stock[0].OnHand)
	}
	s := Lay(in)
	a := s.Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7})
	if !a.Fits {
		t.Fatalf("%v", a.Why)
	}
	at := a.After[41]
	if at.Crew[0].PersonID != 6 || at.Kit[0] != 72 {
		t.Errorf("crew %v, kit %v: one's ticket has ended, one press is too narrow", at.Crew, at.Kit)
	}
	if want := f.Plants[0].Stops[0].Start.Time().Add(30 * time.Minute); at.Start.Before(want) {
		t.Errorf("begins %s, before isolation is done at %s", at.Start, want)
	}
}

func TestWhoIsAwayOrBusyElsewhereIsNotFreeThen(t *testing.T) {
	stop := grain().Plants[0].Stops[0]
	for name, change := range map[string]func(f *Facts){
		"days away": func(f *Facts) {
			f.Absences = []assets.Absence{{PersonID: 6, FromDay: "2026-11-27", UntilDay: "2026-11-27"}}
		},
		"at work elsewhere": func(f *Facts) {
			f.Elsewhere = []Taken{{PersonID: 6, PlantID: 9, Span: Span{stop.Start.Time(), stop.End.Time()}}}
		},
		"press at service": func(f *Facts) { f.Aways = []assets.KitAway{{KitID: 72, FromAt: stop.Start, Why: assets.AwayService}} },
		"press elsewhere": func(f *Facts) {
			f.Elsewhere = []Taken{{KitID: 72, PlantID: 9, Span: Span{stop.Start.Time(), stop.Start.Time().Add(time.Hour)}}}
		},
		"press out of use":      func(f *Facts) { f.Kit[1].InUseUntilDay = "2026-11-26" },
		"too little stock":      func(f *Facts) { f.Lots[0].OnHand = 2899 },
		"latest date before it": func(f *Facts) { f.Plants[0].Orders[0].LatestDay = "2026-11-26" },
		"latest date is over":   func(f *Facts) { f.Plants[0].Orders[0].LatestDay = "2026-11-24" },
		"not accepted":          func(f *Facts) { f.Plants[0].Orders[0].State = workorder.Raised },
	} {
		t.Run(name, func(t *testing.T) {
			f := grain()
			change(f)
			if a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); a.Fits || len(a.Why) == 0 {
				t.Errorf("fits: %+v", a.After)
			}
		})
	}
	f := grain()
	f.Lots[0].OnHand = 0
	f.Supply = []assets.SupplyOrder{{ItemID: 61, PlantID: 3, Quantity: 5000, State: assets.SupplyOrdered, ExpectedDay: "2026-11-26"}}
	if a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); !a.Fits {
		t.Errorf("stock that comes the day before: %v", a.Why)
	}
}

// TestATicketRenewedToTheDayHoldsThroughTheNight: the stop is from Thursday 20:00 to Friday 08:00, the ticket ends with Thursday.
func TestATicketRenewedToTheDayHoldsThroughTheNight(t *testing.T) {
	for name, tt := range map[string]struct {
		renewed assets.Day
		fits    bool
	}{"not renewed": {"", false}, "from Friday on": {"2026-11-27", true}, "from Saturday on": {"2026-11-28", false}, "early, from Monday on": {"2026-11-23", true}} {
		f := grain()
		stop := &f.Plants[0].Stops[0]
		stop.Start, stop.End = assets.InstantOf(f.Now.Add(37*time.Hour+20*time.Minute)), assets.InstantOf(f.Now.Add(49*time.Hour+20*time.Minute))
		f.Tickets = []assets.PersonQualification{{PersonID: 6, QualificationID: 51, UntilDay: "2026-11-26"}}
		if tt.renewed != "" {
			f.Tickets = append(f.Tickets, assets.PersonQualification{PersonID: 6, QualificationID: 51, FromDay: tt.renewed, UntilDay: "2031-11-26"})
		}
		if a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); a.Fits != tt.fits {
			t.Errorf("%s: fits %v, %v", name, a.Fits, a.Why)
		}
	}
}

func TestAStopOutsideTheWorkingWeekCallsPeopleOut(t *testing.T) {
	f := grain() // the stop begins Friday 27 November, 06:40 in Oslo
	f.Members[1].CalloutCost = 900
	f.Members[1].WorkingWeek = []assets.Shift{{Weekday: 5, Start: "06:00", End: "14:00"}}
	cost := func() int {
		s := Lay(f.Inputs())
		return s.Cost(s.Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}).After).Callout
	}
	if got := cost(); got != 0 {
		t.Errorf("within the week it costs %d", got)
	}
	f.Members[1].WorkingWeek[0].Weekday = 4
	if got := cost(); got != 900 {
		t.Errorf("outside the week it costs %d, want 900", got)
	}
}

func TestWithoutACostPerHourEverythingIsInHoursOfStop(t *testing.T) {
	f := grain()
	f.Plants[0].Register.Conveyors[1].StopCostPerHour = 0
	in := f.Inputs()
	if in.Money {
		t.Fatal("costs of one conveyor are not known, and still all are in money")
	}
	if d := in.Plants[0].Orders[0].Date; d.Planned != 800 || d.Unplanned != 1400 {
		t.Errorf("%+v, want 8 and 14 hours in hundredths", d)
	}
	if g := in.Plants[0].Groups[0]; g.SetupCost != 75 {
		t.Errorf("set-up %v, want the 45 min of isolating and restarting", g.SetupCost)
	}
}

func TestAnOccurrenceIsFoundByTheNumberItHadBeforeItsRow(t *testing.T) {
	f := grain()
	f.Plants[0].Stops[0].Source = assets.StopSource{RecurrenceID: 4, PlannedLocal: "2026-11-27T06:00"}
	in := f.Inputs()
	alias := in.Plants[0].Stops[0].Alias
	if alias >= 0 {
		t.Fatalf("its number before was %d, want one below 0", alias)
	}
	if w, ok := Lay(in).Window(alias); !ok || w.Minutes() != 720 {
		t.Errorf("%+v %v", w, ok)
	}
}

func TestKitWhoseCalibrationIsDueIsBarredFromThePlan(t *testing.T) {
	f := grain() // the stop is on 27 November
	f.Kit = append(f.Kit, assets.Kit{Version: assets.Version{ID: 73}, Name: "Thermometer 1", Class: assets.KitThermometer, HomePlantID: 3, Mobile: true})
	f.Templates[1].Kit = append(f.Templates[1].Kit, assets.KitNeed{Class: string(assets.KitThermometer)})
	ask := func() Answer { return Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}) }
	if a := ask(); !a.Fits {
		t.Fatalf("a thermometer nobody said is calibrated: %v", a.Why)
	}
	f.Calibrations = []assets.Calibration{{KitID: 73, OnDay: "2025-11-01", DueDay: "2026-11-27"}}
	if a := ask(); !a.Fits {
		t.Errorf("on the last day of its calibration: %v", a.Why)
	}
	f.Calibrations[0].DueDay = "2026-11-26"
	a := ask()
	if text := strings.Join(a.Why, " "); a.Fits || !strings.Contains(text, "Thermometer 1: its calibration is due on 26 Nov 2026") {
		t.Errorf("fits %v, why %s", a.Fits, text)
	}
	if text := strings.Join(a.Help, " "); !strings.Contains(text, "Thermometer 1: its calibration is due on 26 Nov 2026; calibrate it before") {
		t.Errorf("help %s", text)
	}
	s := Lay(f.Inputs())
	found, err := plan.Solve(context.Background(), s.Case, plan.Settings{Seed: 1, Steps: 500})
	if left := s.LeftOut(found)[41]; err != nil || len(left.Why) == 0 || !strings.Contains(strings.Join(left.Help, " "), "calibrat") {
		t.Errorf("the plan leaves it out for %q, help %q, %v", left.Why, left.Help, err)
	}
	f.Calibrations = append(f.Calibrations, assets.Calibration{Version: assets.Version{ID: 2}, KitID: 73, OnDay: "2026-11-24", DueDay: "2027-11-24"})
	if a := ask(); !a.Fits {
		t.Errorf("calibrated again: %v", a.Why)
	}
}

// TestOnePlantsShelfIsNotAnothers: work at each of two plants takes 2.9 kg of rubber.
func TestOnePlantsShelfIsNotAnothers(t *testing.T) {
	lot := func(plant int64, q assets.Quantity) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{ItemID: 61, PlantID: plant}, OnHand: q}
	}
	for name, tt := range map[string]struct {
		lots        []stock.Lot
		here, there bool // the work fits at the first plant, at the second
	}{
		"enough at the one, nothing at the other":    {[]stock.Lot{lot(3, 9000)}, true, false},
		"enough at the one, enough at the depot":     {[]stock.Lot{lot(3, 2900), lot(0, 2900)}, true, true},
		"enough for one at the depot":                {[]stock.Lot{lot(0, 2900)}, true, true},
		"a part at the plant, the rest at the depot": {[]stock.Lot{lot(3, 1000), lot(0, 1900)}, true, true},
		"at a plant that is not of the sheet":        {[]stock.Lot{lot(9, 9000)}, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			f, other := grain(), grain().Plants[0]
			f.Plants[0].Orders[0].LatestDay = ""
			other.Register.Plant.ID, other.Register.Plant.Name = 4, "Dunmarrow"
			other.Stops[0].ID, other.Stops[0].PlantID, other.Orders[0].ID, other.Orders[0].Number = 17, 4, 141, 512
			other.Register.Conveyors[0].ID, other.Orders[0].ConveyorID, other.Register.Belts[0].ConveyorID = 111, 111, 111
			other.Register.Conveyors = other.Register.Conveyors[:1]
			other.Orders, other.Groups = other.Orders[:1], nil
			f.Plants = append(f.Plants, other)
			f.Ways = []assets.TravelTime{{FromPlantID: 3, ToPlantID: 4, Minutes: 20}}
			f.Lots = tt.lots
			s := Lay(f.Inputs())
			if a := s.Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); a.Fits != tt.here {
				t.Errorf("at the first plant it fits: %v, %v", a.Fits, a.Why)
			}
			if a := s.Ask(t.Context(), Placements{}, Move{OrderID: 141, StopID: 17}); a.Fits != tt.there {
				t.Errorf("at the second plant it fits: %v, %v", a.Fits, a.Why)
			}
		})
	}
}

// TestEndsTooShortForACutAreNoStock: work takes 2.9 m of cloth in one piece.
func TestEndsTooShortForACutAreNoStock(t *testing.T) {
	f := grain()
	f.Items[0].Unit, f.Items[0].Kind = assets.UnitMetre, assets.StockCloth
	end := func(q assets.Quantity) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{ItemID: 61, PlantID: 3}, OnHand: q}
	}
	f.Lots = []stock.Lot{end(1500), end(1500)}
	a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7})
	if a.Fits || !strings.Contains(strings.Join(a.Why, " "), "0 m have come by then") {
		t.Errorf("two ends of 1.5 m are taken for a cut of 2.9 m: %v, %q", a.Fits, a.Why)
	}
	f.Lots[1].OnHand = 2900
	if a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); !a.Fits {
		t.Errorf("a roll that is just long enough: %q", a.Why)
	}
	f.Items[0].Unit = assets.UnitKilogram
	f.Lots[1].OnHand = 1500
	if a := Lay(f.Inputs()).Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); !a.Fits {
		t.Errorf("what does not go in cuts adds up: %q", a.Why)
	}
}

// Work of the first order takes 2.9 kg. The second stop is ten days after the first.
func TestStockThatExpiresOnTheSheetCountsUntilItsDay(t *testing.T) {
	f := grain()
	f.Plants[0].Stops[1].Answer = assets.StopAnswer{}
	f.Tickets[0].UntilDay = ""
	f.Lots = []stock.Lot{{StockLot: assets.StockLot{ItemID: 61, PlantID: 3, GoodUntil: "2026-11-30"}, OnHand: 6000}}
	fits := func(at Placements, order, stop int64) bool {
		return Lay(f.Inputs()).Ask(t.Context(), at, Move{OrderID: order, StopID: stop}).Fits
	}
	if !fits(Placements{}, 41, 7) || fits(Placements{}, 41, 8) {
		t.Errorf("before its day %v, after it %v", fits(Placements{}, 41, 7), fits(Placements{}, 41, 8))
	}
	s := Lay(f.Inputs())
	found, err := plan.Solve(context.Background(), s.Case, plan.Settings{Seed: 1, Steps: 500})
	if at := s.Placements(found)[41]; err != nil || at.StopID != 7 {
		t.Errorf("planned in stop %d, %v", at.StopID, err)
	}
	// 3 kg more that last: one order after the day takes them, whatever was taken before it.
	f.Lots = append(f.Lots, stock.Lot{StockLot: assets.StockLot{ItemID: 61, PlantID: 3}, OnHand: 3000})
	second := f.Plants[0].Orders[0]
	second.ID, second.Number = 43, 416
	f.Plants[0].Orders = append(f.Plants[0].Orders, second)
	sheet := Lay(f.Inputs())
	late := sheet.Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 8})
	if !late.Fits {
		t.Fatalf("what lasts is enough for one: %v", late.Why)
	}
	if a := sheet.Ask(t.Context(), late.After, Move{OrderID: 43, StopID: 8}); a.Fits {
		t.Error("two after the day take more than what lasts")
	}
	if a := sheet.Ask(t.Context(), late.After, Move{OrderID: 43, StopID: 7}); !a.Fits {
		t.Errorf("one before the day and one after: %v", a.Why)
	}
}

func TestAnOrderThatWaitsForAnotherIsPlannedAfterIt(t *testing.T) {
	f := grain()
	f.Tickets[0].UntilDay = ""
	first, wait := int64(42), int64(120)
	f.Plants[0].Orders[0].AfterID, f.Plants[0].Orders[0].AfterMin = &first, &wait // 412, of 8 h, waits for 415, of 1.5 h, and two hours more
	s := Lay(f.Inputs())
	if a := s.Ask(t.Context(), Placements{}, Move{OrderID: 41, StopID: 7}); a.Fits || !strings.Contains(a.Why[0], "it waits for order 415, which stands in no stop") {
		t.Errorf("before what it waits for is placed: %v %v", a.Fits, a.Why)
	}
	found, err := plan.Solve(context.Background(), s.Case, plan.Settings{Seed: 1, Steps: 500})
	if err != nil || len(s.Case.Precedences) != 1 {
		t.Fatalf("%v, %+v", err, s.Case.Precedences)
	}
	// 1.5 + 2 + 8 h, and 45 min of isolating and restarting, are more than the twelve hours of the stop.
	if at := s.Placements(found); len(at) != 1 || at[42].StopID != 7 {
		t.Errorf("planned %+v", at)
	}
	wait = 30
	s = Lay(f.Inputs())
	placed := s.Ask(t.Context(), Placements{}, Move{OrderID: 42, StopID: 7})
	both := s.Ask(t.Context(), placed.After, Move{OrderID: 41, StopID: 7})
	if !both.Fits || both.After[41].Start.Before(both.After[42].Start.Add(2*time.Hour)) {
		t.Fatalf("%v: %+v", both.Why, both.After)
	}
	if a := s.Ask(t.Context(), both.After, Move{OrderID: 42}); a.Fits || !strings.Contains(a.Why[0], "order 412 waits for it") {
		t.Errorf("taken out though another waits for it: %v", a.Why)
	}
	early := Placements{41: both.After[42], 42: both.After[41]}
	if broken := s.Check(early, []int64{7}); len(broken) == 0 {
		t.Error("the wrong way round is not said to be wrong")
	}
	if _, broken := s.Settle(t.Context(), early); len(broken) == 0 {
		t.Error("and not where it stands so already")
	}
	f.Plants[0].Orders[1].State = workorder.Raised
	if s = Lay(f.Inputs()); len(s.Unplanned) != 2 || !strings.Contains(s.Unplanned[0].Why, "order 415, which cannot be planned: it is raised and not accepted yet") {
		t.Errorf("waits for an order nobody accepted: %+v", s.Unplanned)
	}
	f.Plants[0].Orders[1].State, f.Plants[0].Orders[1].AfterID = workorder.Accepted, new(int64(41))
	if s = Lay(f.Inputs()); len(s.Unplanned) != 2 || !strings.Contains(s.Unplanned[0].Why, "waits for itself") {
		t.Errorf("a ring: %+v", s.Unplanned)
	}
	done := f.Plants[0].Orders[1]
	done.State, done.AfterID, done.DoneAt = workorder.Done, nil, f.Plants[0].Stops[0].Start
	f.Plants[0].Waited, f.Plants[0].Orders = []workorder.Order{done}, f.Plants[0].Orders[:1]
	if o := f.Inputs().Plants[0].Orders[0]; !o.NotBefore.Equal(done.DoneAt.Time().Add(30 * time.Minute)) {
		t.Errorf("after one that is done it may begin at %s", o.NotBefore)
	}
}
