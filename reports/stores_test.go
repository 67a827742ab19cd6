package reports_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

// PackagesAt is a stop two weeks ahead with the first live splice's remake and the change of its belt in it.
func (s *smallPlant) PackagesAt(_ context.Context, _ int64, at time.Time) ([]reports.WindowFacts, []reports.ChainRead, error) {
	reg := s.plant.Register
	sp := reg.Splices[0]
	start := assets.InstantOf(at.AddDate(0, 0, 14))
	w := assets.StopWindow{Version: assets.Version{ID: 900}, PlantID: reg.Plant.ID, LineID: reg.Lines[0].ID, Start: start, End: start + assets.Instant(8*time.Hour/time.Microsecond)}
	work := []workorder.Order{{Number: 7, Kind: workorder.KindResplice, ConveyorID: sp.ConveyorID, BeltID: sp.BeltID, SpliceID: sp.ID, Title: "remake it", WorkHours: 6, WindowID: 900, PlacedPeople: []int64{4}},
		{Number: 8, Kind: workorder.KindBeltChange, ConveyorID: sp.ConveyorID, BeltID: sp.BeltID, Title: "change the belt", WorkHours: 6, WindowID: 900}}
	return []reports.WindowFacts{{Window: w, Register: reg, Orders: work, Names: map[int64]string{4: "M. Okkerdal"}}}, nil, nil
}

// StoresAt is a storeroom of two lots, a supply that is late, a press with a spent counter, and a thermometer.
func (s *smallPlant) StoresAt(_ context.Context, _ int64, at time.Time) (reports.Stores, error) {
	gum := assets.StockItem{Version: assets.Version{ID: 1}, Name: "Tie gum", Kind: assets.StockFilm, Unit: assets.UnitKilogram}
	lot := func(id int64, name string, q assets.Quantity, until assets.Day) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{Version: assets.Version{ID: id}, ItemID: 1, Lot: name, GoodUntil: until, Shelf: s.plant.Register.Lines[0].Name}, OnHand: q}
	}
	press := assets.Kit{Version: assets.Version{ID: 1}, Name: "Press 1", Class: assets.KitPress}
	probe := assets.Kit{Version: assets.Version{ID: 2}, Name: "TH-1", Class: assets.KitThermometer}
	gauge := assets.Kit{Version: assets.Version{ID: 3}, Name: "PG-1", Class: assets.KitGauge}
	return reports.Stores{Items: []assets.StockItem{gum}, Lots: []stock.Lot{lot(1, "7710", 26000, "2027-02-28"), lot(2, "=7701", 1250, "2026-11-24")},
		Supplies: []assets.SupplyOrder{{ItemID: 1, Number: 31, Quantity: 10000, Received: 4000, State: assets.SupplyOrdered, ExpectedDay: "2026-11-20"}},
		Kit:      []assets.Kit{press, probe, gauge},
		Counters: []kit.Counter{{KitCounter: assets.KitCounter{KitID: 1, Counts: assets.WearPressCycles, Limit: 400, Class: assets.ClassD}, Count: 399},
			{KitCounter: assets.KitCounter{KitID: 1, Counts: assets.WearPadCycles, Part: "pads 3", Limit: 200, Class: assets.ClassA}, Count: 200}},
		Calibrations: []assets.Calibration{{Version: assets.Version{ID: 1}, KitID: 2, OnDay: "2025-11-24", DueDay: "2026-11-24", Certificate: "K-1", Class: assets.ClassP}}, Chains: s.plant.Chains}, nil
}

func TestKitAndStockOnAPage(t *testing.T) {
	entry := must(reports.Find("kit-and-stock"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: newSmallPlant(), Built: built, By: "N. Corvane", Version: "1.0", Zone: berlin}, ""))
	var b bytes.Buffer
	proof := must(r.WriteCSV(t.Context(), &b))
	records := must(csv.NewReader(&b).ReadAll())
	var got []string
	for _, rec := range records[1:] {
		got = append(got, strings.Join(rec[2:], "|"))
	}
	shelf := newSmallPlant().plant.Register.Lines[0].Name
	want := []string{
		"stock|Tie gum|film and rubber|7710|26|kg||||2027-02-28|fit|" + shelf,
		"stock|Tie gum|film and rubber|'=7701|1.25|kg||||2026-11-24|out of date|" + shelf,
		"on order|Tie gum|film and rubber|31|6|kg||||2026-11-20|late|",
		"counter|Press 1|press|press cycles|399|cycles|400|99|D||below its limit|",
		"counter|Press 1|press|pads 3, pad cycles|200|cycles|200|100|A||at its limit|",
		"calibration|TH-1|thermometer|K-1|||||P|2026-11-24|overdue|",
		"calibration|PG-1|gauge||||||||none on record|",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("the rows are\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if proof.Rows != 7 || r.Tally[0].Rows != 2 || r.Tally[2].Rows != 2 {
		t.Errorf("%+v, %+v", proof, r.Tally)
	}
	if entry.Deed() != people.ReadStores {
		t.Error("the report is open to whoever may not see stores")
	}
	for _, write := range []func(*reports.Report) error{
		func(r *reports.Report) error { _, err := r.WriteXLSX(t.Context(), &bytes.Buffer{}); return err },
		func(r *reports.Report) error { _, err := r.WriteJSON(t.Context(), &bytes.Buffer{}); return err },
	} {
		if err := write(must(entry.Build(t.Context(), reports.Inputs{Source: newSmallPlant(), Built: built, Zone: berlin}, "2026-11-01"))); err != nil {
			t.Error(err)
		}
	}
}

func TestKitAndStockIsOfAWholePlant(t *testing.T) {
	entry := must(reports.Find("kit-and-stock"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: newSmallPlant(), Built: built, Zone: berlin, Filter: must(reports.ParseFilter("conveyor=Q3"))}, ""))
	_, err := r.WriteCSV(t.Context(), &bytes.Buffer{})
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad["scope"] == "" {
		t.Errorf("narrowed to a conveyor: %v", err)
	}
}
