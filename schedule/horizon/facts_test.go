package horizon

import (
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
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
	if o.Kit[0] != (KitNeed{"press", 1200}) || o.Stock[0] != (StockNeed{61, 2900}) { // 0.5 kg + 2 kg/m x 1.2 m
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
	a := s.Ask(Placements{}, Move{OrderID: 41, StopID: 7})
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
			if a := Lay(f.Inputs()).Ask(Placements{}, Move{OrderID: 41, StopID: 7}); a.Fits || len(a.Why) == 0 {
				t.Errorf("fits: %+v", a.After)
			}
		})
	}
	f := grain()
	f.Lots[0].OnHand = 0
	f.Supply = []assets.SupplyOrder{{ItemID: 61, PlantID: 3, Quantity: 5000, State: assets.SupplyOrdered, ExpectedDay: "2026-11-26"}}
	if a := Lay(f.Inputs()).Ask(Placements{}, Move{OrderID: 41, StopID: 7}); !a.Fits {
		t.Errorf("stock that comes the day before: %v", a.Why)
	}
}

func TestAStopOutsideTheWorkingWeekCallsPeopleOut(t *testing.T) {
	f := grain() // the stop begins Friday 27 November, 06:40 in Oslo
	f.Members[1].CalloutCost = 900
	f.Members[1].WorkingWeek = []assets.Shift{{Weekday: 5, Start: "06:00", End: "14:00"}}
	cost := func() int {
		s := Lay(f.Inputs())
		return s.Cost(s.Ask(Placements{}, Move{OrderID: 41, StopID: 7}).After).Callout
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
