package reports

import (
	"context"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

func packed() WindowFacts {
	v := func(id int64) assets.Version { return assets.Version{ID: id, RowID: id} }
	day := time.Date(2026, 12, 12, 5, 0, 0, 0, time.UTC)
	at := func(h int) *assets.Instant { i := assets.InstantOf(day.Add(time.Duration(h) * time.Hour)); return &i }
	reg := &assets.Register{Plant: assets.Plant{Version: v(3), CustomerID: 1, Name: "Skarrow Grain Terminal", Zone: "Europe/Oslo", SiteRules: "Permit office first."},
		Lines:     []assets.Line{{Version: v(2), Name: "Ship intake"}},
		Conveyors: []assets.Conveyor{{Version: v(11), LineID: 2, Tag: "Q1"}, {Version: v(12), LineID: 2, Tag: "Q2"}},
		Belts:     []assets.Belt{{Version: v(21), ConveyorID: 11, Specification: "EP 1000/4", WidthM: 1.4, LoopLengthM: 580}, {Version: v(22), ConveyorID: 12, Specification: "=EP 800/4", WidthM: 1.2, LoopLengthM: 130.5}},
		Splices:   []assets.Splice{{Version: v(31), BeltID: 21, Bond: assets.BondHotVulcanised}}}
	reg.Arrange()
	return WindowFacts{Window: assets.StopWindow{Version: v(91), PlantID: 3, LineID: 2, Start: assets.InstantOf(day), End: assets.InstantOf(day.Add(14 * time.Hour))}, Register: reg,
		Orders: []workorder.Order{
			{Version: v(2), Number: 420, Kind: workorder.KindBeltChange, ConveyorID: 12, BeltID: 22, Title: "change the belt", WorkHours: 9, Crew: 2, PlacedPeople: []int64{5}, PlacedStart: at(5)},
			{Version: v(1), Number: 412, Kind: workorder.KindResplice, ConveyorID: 11, BeltID: 21, SpliceID: 31, Title: "remake splice 2", WorkHours: 8, Crew: 2, PlacedPeople: []int64{4, 5}, PlacedTools: []int64{71}, PlacedKit: "press 1", PlacedStart: at(1)},
		},
		Groups: []assets.IsolationGroup{{Version: v(61), Name: "MCC-1", Point: "E-14", IsolateMin: 20, RestartMin: 15, ConveyorIDs: []int64{11}}},
		Roster: crew.Roster{Qualifications: []assets.Qualification{{Version: v(1), Name: "hot vulcanising", OrderKinds: []string{"re-splice"}}},
			Tickets: []assets.PersonQualification{{PersonID: 4, QualificationID: 1, FromDay: "2022-01-01", UntilDay: "2028-05-31"}, {PersonID: 5, QualificationID: 1, FromDay: "2022-01-01", UntilDay: "2026-12-11"}}},
		Templates: []assets.WorkTemplate{{Version: v(1), OrderKind: "re-splice", Bond: assets.BondHotVulcanised, DurationMin: 480, Isolation: true, Kit: []assets.KitNeed{{Class: "press"}, {Class: "cutter"}},
			Crew: []assets.CrewNeed{{QualificationID: 1, Number: 2}}, Stock: []assets.StockNeed{{ItemID: 81, PerSplice: 1, PerMWidth: 2.5}}}},
		Names: map[int64]string{4: "M. Okkerdal", 5: "S. Ilveth"}, Kit: []assets.Kit{{Version: v(71), Name: "press 1", Class: assets.KitPress}},
		Items: []assets.StockItem{{Version: v(81), Name: "release cloth", Unit: assets.UnitMetre}}, WithStores: true, Built: day,
		Lots: []stock.Lot{{StockLot: assets.StockLot{Version: v(82), PlantID: 3, ItemID: 81, Lot: "31", Shelf: "rack 2"}, OnHand: 5000}, {StockLot: assets.StockLot{Version: v(83), PlantID: 3, ItemID: 81, Lot: "29", GoodUntil: "2026-12-11"}, OnHand: 9000},
			{StockLot: assets.StockLot{Version: v(84), PlantID: 4, ItemID: 81, Lot: "33"}, OnHand: 9000}}}
}

// texts writes a section's rows as people read them.
func texts(s Section) []string {
	var out []string
	for _, row := range s.Rows {
		var cells []string
		for _, c := range row {
			cells = append(cells, strings.ReplaceAll(c.Shown(), "\u00a0", " "))
		}
		out = append(out, strings.Join(cells, "|"))
	}
	return out
}

func TestAWindowPackageTellsTheWholeStop(t *testing.T) {
	p := NewWindowPackage(packed())
	got := map[string][]string{}
	for _, s := range p.Sections {
		got[s.Name] = texts(s)
	}
	for name, want := range map[string][]string{
		"Order of jobs":    {"1|12 Dec 2026, 07:00|412|Q1|remake splice 2|8|M. Okkerdal, S. Ilveth|E-14", "2|12 Dec 2026, 11:00|420|Q2|change the belt|9|S. Ilveth|by itself, point not entered"},
		"Isolation points": {"MCC-1|E-14|Q1|12 Dec 2026, 06:20|12 Dec 2026, 19:45", "|not entered|Q2|12 Dec 2026, 06:00|12 Dec 2026, 20:00"},
		"People":           {"M. Okkerdal|412|hot vulcanising|", "S. Ilveth|412, 420||order 412: ticket ended"},
		"Belts to cut":     {"420|Q2|=EP 800/4|1 200|130.5|loop as it is now; add what the splice takes"},
		"Kit":              {"press 1|press|412|", "|cutter|412|asked for, no piece named"},
		"Stock to pick":    {"release cloth|4.5|m|412|4.5 m of lot 31, rack 2"}, // 1 + 2.5 x 1.4
	} {
		if strings.Join(got[name], "\n") != strings.Join(want, "\n") {
			t.Errorf("%s:\n%s\nwant\n%s", name, strings.Join(got[name], "\n"), strings.Join(want, "\n"))
		}
	}
	lacks := strings.Join(p.Lacks, "\n")
	for _, want := range []string{"Q2 is in no isolation group", "S. Ilveth, order 412: ticket ended", "No cutter is named for order 412", "Order 420 needs 2 people and has 1", "17.0 h, the stop 14.0 h"} {
		if !strings.Contains(lacks, want) {
			t.Errorf("it does not say %q:\n%s", want, lacks)
		}
	}
	if p.Cautions[0] != "Permit office first." {
		t.Errorf("the site's rules do not stand first: %q", p.Cautions[0])
	}
}

// TestAWindowPackageSaysWhatDoesNotFitItsStop: the stop is 12 December, 06:00 to 20:00 in Oslo (UTC+1); isolating takes 20 min, restarting 15.
func TestAWindowPackageSaysWhatDoesNotFitItsStop(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(f *WindowFacts)
		want   string
	}{
		"the stop moved to the next day and the work did not": {func(f *WindowFacts) { f.Window.Start, f.Window.End = f.Window.Start+day, f.Window.End+day },
			"Order 412 is set for 12 Dec 2026, 07:00 to 12 Dec 2026, 15:00; work in this stop is from 13 Dec 2026, 06:20 to 13 Dec 2026, 19:45"},
		"the work begins before isolation is done":      {func(f *WindowFacts) { *f.Orders[0].PlacedStart = f.Window.Start }, "Order 412 is set for 12 Dec 2026, 06:00"},
		"the stop is too short by a minute":             {func(f *WindowFacts) { f.Window.End = f.Window.Start + (8*60+34)*minute }, "Order 412 takes 8.0 h and the stop leaves 8.0 h for it"},
		"the stop is of another line":                   {func(f *WindowFacts) { f.Window.LineID = 7 }, "Order 412 is at Q1, which does not stand still in this stop"},
		"the roll at the plant is shorter than the cut": {func(f *WindowFacts) { f.Lots[0].OnHand = 4499 }, "bring it along: 4.5 m of release cloth"},
		"the press is away at service": {func(f *WindowFacts) {
			f.Aways = []assets.KitAway{{KitID: 71, FromAt: f.Window.Start - day, Why: assets.AwayService}}
		}, "press 1: it is away then"},
		"the press is to be calibrated first": {func(f *WindowFacts) {
			f.Checked = []assets.Calibration{{KitID: 71, OnDay: "2025-12-01", DueDay: "2026-12-11"}}
		}, "press 1: its calibration is due on 11 Dec 2026"},
		"the press is out of use":             {func(f *WindowFacts) { f.Kit[0].InUseUntilDay = "2026-12-11" }, "press 1: it is not in use then"},
		"the press is narrower than the belt": {func(f *WindowFacts) { f.Kit[0].WorkingWidthM, f.Templates[0].Kit[0].AsBelt = 1.2, true }, "press 1: it is narrower than the belt of Q1"},
	} {
		t.Run(name, func(t *testing.T) {
			f := packed()
			if said := lacksOf(f); strings.Contains(said, tt.want) {
				t.Fatalf("it says so of a stop that fits: %s", said)
			}
			tt.change(&f)
			if said := lacksOf(f); !strings.Contains(said, tt.want) {
				t.Errorf("it does not say %q:\n%s", tt.want, said)
			}
		})
	}
}

const (
	minute = assets.Instant(time.Minute / time.Microsecond)
	day    = 24 * 60 * minute
)

func lacksOf(f WindowFacts) string {
	return strings.ReplaceAll(strings.Join(NewWindowPackage(f).Lacks, "\n"), "\u00a0", " ")
}

func TestAWindowPackageWithoutStoresNamesNone(t *testing.T) {
	f := packed()
	f.WithStores = false
	p := NewWindowPackage(f)
	for _, s := range p.Sections {
		if s.Name == "Kit" || s.Name == "Stock to pick" {
			t.Errorf("it has the list %s", s.Name)
		}
	}
	if strings.Contains(strings.Join(p.Lacks, ""), "cutter") {
		t.Error("it tells of kit")
	}
}

func TestAWindowPackageIsInTheUnitsOfItsPlant(t *testing.T) {
	f := packed()
	f.Register.Plant.UnitSystem = assets.UnitsUS
	for _, s := range NewWindowPackage(f).Sections {
		if s.Name == "Belts to cut" {
			// 1.2 m / 0.0254 = 47.24 in, 130.5 m / 0.3048 = 428.15 ft (NIST SP 811, appendix B.8).
			if got := strings.Join(texts(s), "; "); got != "420|Q2|=EP 800/4|47.24|428.15|loop as it is now; add what the splice takes" || s.Columns[3].Title() != "Width, in" || s.Columns[4].Title() != "Loop, ft" {
				t.Errorf("%s under %s and %s", got, s.Columns[3].Title(), s.Columns[4].Title())
			}
		}
	}
}

// oneStop is a source with one stop.
type oneStop struct {
	Source
	facts WindowFacts
}

func (s oneStop) Plants(context.Context) ([]PlantName, error) {
	return []PlantName{{ID: 3, Name: "Skarrow Grain Terminal", CustomerID: 1, Customer: "Skarrow Harbour", Zone: s.facts.Register.Plant.Location()}}, nil
}

func (s oneStop) PackagesAt(context.Context, int64, time.Time) ([]WindowFacts, []ChainRead, error) {
	return []WindowFacts{s.facts}, []ChainRead{{Name: "Journal of Skarrow Harbour", Chain: 2, Entry: 9, Hash: "ab"}}, nil
}

func TestWindowPackagesAreAReport(t *testing.T) {
	f := packed()
	rows := func(filter Filter, now time.Time) []string {
		t.Helper()
		r, err := windowPackages.Build(t.Context(), Inputs{Source: oneStop{facts: f}, Filter: filter, Built: now, Version: "test"}, "")
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for row, err := range r.Rows(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			var cells []string
			for i, c := range row {
				if k := r.Columns[i].Key; k != "customer" && k != "plant" && k != "from" && k != "to" && k != "where" && c.Plain() != "" {
					cells = append(cells, strings.ReplaceAll(c.Shown(), "\u00a0", " "))
				}
			}
			out = append(out, strings.Join(cells, "|"))
		}
		return out
	}
	before := f.Window.Start.Time().AddDate(0, 0, -3)
	got := strings.Join(rows(Filter{}, before), "\n")
	for _, want := range []string{"look|Q2 is in no isolation group: no time is kept free for isolating and restarting it.", "job|1|412|Q1|remake splice 2|M. Okkerdal, S. Ilveth|12 Dec 2026, 07:00|8|h|E-14",
		"isolation|Q1|MCC-1|12 Dec 2026, 06:20|12 Dec 2026, 19:45|E-14", "person|412|M. Okkerdal|hot vulcanising", "belt|420|Q2|=EP 800/4|1 200 mm|130.5|m|loop as it is now; add what the splice takes",
		"kit|412|press 1|press", "stock|412|release cloth|4.5 m of lot 31, rack 2|4.5|m", "rules|Permit office first."} {
		if !strings.Contains(got+"\n", want+"\n") {
			t.Errorf("no row %q in\n%s", want, got)
		}
	}
	after := f.Window.End.Time().AddDate(0, 0, 3)
	if n := len(rows(Filter{}, after)); n != 0 {
		t.Errorf("%d rows of a stop that is over", n)
	}
	if n := len(rows(Filter{Stop: "2026-12-12T06:00"}, after)); n == 0 {
		t.Error("the one stop asked for is not told once it is over")
	}
	if n := len(rows(Filter{Stop: "2026-12-12T07:00"}, before)); n != 0 {
		t.Errorf("%d rows of a stop that begins at another time", n)
	}
	for filter, e := range map[Filter]Entry{{Stop: "12 Dec"}: windowPackages, {Stop: "2026-12-12T06:00"}: spliceAge} {
		if _, err := e.Build(t.Context(), Inputs{Source: oneStop{facts: f}, Filter: filter, Built: before}, ""); err == nil {
			t.Errorf("%s takes the stop %q", e.Slug, filter.Stop)
		}
	}
}
