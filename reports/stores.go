package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// The report of kit and stock answers, to a storekeeper, a planner and an auditor: what lay in the stores on a day, what was on
// order, and how far presses, cutters and their instruments were used. One row per lot, supply order, counter and instrument.
var kitAndStock = Entry{
	Slug:     "kit-and-stock",
	Title:    "Kit and stock",
	Question: "What is in the stores, what is on order, and how worn is the kit?",
	Columns:  kitAndStockColumns,
	tallied:  "part",
	says:     []string{partStock, partSupply, partCounter, partCalibration},
	key:      []string{"part", "thing", "mark"},
	deed:     people.ReadStores,
	rows:     Inputs.kitAndStockRows,
	notes: []string{
		"What is on hand of a lot is the sum of its lines in the ledger up to the as-of moment; lines are added and never changed.",
		"A count at its limit says that the part is to be looked at or changed; it says nothing about whether the kit is safe to use. The maker's instructions, site rules and qualified people decide that.",
	},
}

// The parts of the report.
const (
	partStock       = "stock"
	partSupply      = "on order"
	partCounter     = "counter"
	partCalibration = "calibration"
)

var kitAndStockColumns = []Column{
	{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "who owns the plant", OffPaper: true},
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 15, Wrap: true, Meaning: "where it lies or is at home"},
	{Key: "part", Heading: "Part", Kind: KindText, WidthCh: 11, Meaning: "stock: a lot on hand; on order: what a supplier still has to bring; counter: wear of kit; calibration: an instrument"},
	{Key: "thing", Heading: "Item or kit", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "the item of stock, or the piece of kit"},
	{Key: "kind", Heading: "Kind", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "of stock, or class of kit"},
	{Key: "mark", Heading: "Lot or part", Kind: KindText, WidthCh: 16, Wrap: true, Meaning: "lot or roll number, number of the supply order, what is counted on which part, or the certificate"},
	{Key: "quantity", Heading: "Quantity", Kind: KindNumber, Decimals: 3, WidthCh: 10, Meaning: "on hand, still to come, or counted"},
	{Key: "unit", Heading: "Unit", Kind: KindText, WidthCh: 7, Meaning: "of the quantity and the limit: the item's own, cuts or cycles"},
	{Key: "limit", Heading: "Limit", Kind: KindNumber, Decimals: 0, WidthCh: 8, Meaning: "of a counter; empty where none is known"},
	{Key: "used_percent", Heading: "Used", Unit: "%", Kind: KindInteger, WidthCh: 6, Meaning: "count against its limit, rounded down"},
	{Key: "class", Heading: "Class", Kind: KindText, WidthCh: 6, Meaning: "class of evidence of the limit or the interval: A maker's instruction or standard, B handbook, C own history, P own decision, D rule of thumb"},
	{Key: "day", Heading: "Good until, expected or due", Kind: KindDay, WidthCh: 13, Wrap: true, Meaning: "last day a lot may be used, day a supply is expected, day the next calibration is due"},
	{Key: "state", Heading: "State", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "fit, out of date or held back; expected or late; below or at its limit; in date or overdue"},
	{Key: "place", Heading: "Shelf", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "where in the stores", OffPaper: true},
}

// StoresSource is a source that also knows kit and stock.
type StoresSource interface {
	Source
	// StoresAt reads the stores of a plant and the kit at home there at an instant.
	StoresAt(ctx context.Context, plantID int64, at time.Time) (Stores, error)
}

// Stores is what lay and stood at a plant at an instant.
type Stores struct {
	Items        []assets.StockItem
	Lots         []stock.Lot // with something on hand
	Supplies     []assets.SupplyOrder
	Kit          []assets.Kit
	Counters     []kit.Counter // of parts fitted then
	Calibrations []assets.Calibration
	Chains       []ChainRead
}

// kitAndStockRows hands over the rows plant by plant.
func (in Inputs) kitAndStockRows(ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error {
	source, able := in.Source.(StoresSource)
	if !able {
		return errors.New("this source keeps no stores")
	}
	if in.Filter.Line+in.Filter.Conveyor != "" {
		return assets.Invalid{"scope": "kit and stock are a plant's as a whole; leave line and conveyor out"}
	}
	for _, name := range plants {
		zone := cmp.Or(name.Zone, time.UTC)
		at := r.AsOf.Now(zone)
		s, err := source.StoresAt(ctx, name.ID, at)
		if errors.Is(err, assets.ErrNotFound) {
			continue
		}
		if err != nil {
			return fmt.Errorf("read the stores of %s: %w", name.Name, err)
		}
		r.rests(s.Chains)
		t := storesTable{plant: name, stores: s, today: assets.DayOf(at.In(zone))}
		for _, rows := range [][][]Cell{t.stock(), t.supplies(), t.counters(), t.calibrations()} {
			for _, row := range rows {
				if err := yield(row); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// storesTable is one plant's part of the report.
type storesTable struct {
	plant  PlantName
	stores Stores
	today  assets.Day
}

func (t storesTable) row(part, thing, kind, mark string, cells ...Cell) []Cell {
	return append([]Cell{Text(t.plant.Customer), Text(t.plant.Name), Text(part), Text(thing), Text(kind), Text(mark)}, cells...)
}

func (t storesTable) stock() (rows [][]Cell) {
	for _, it := range t.stores.Items {
		for _, l := range t.stores.Lots {
			if l.ItemID != it.ID {
				continue
			}
			state := "fit"
			switch {
			case l.Quarantined != "":
				state = "held back: " + l.Quarantined
			case l.OutOfDate(t.today):
				state = "out of date"
			}
			rows = append(rows, t.row(partStock, it.Name, string(it.Kind), l.Lot, Number(l.OnHand.Float(), 3), Text(string(it.Unit)), Cell{}, Cell{}, Cell{}, Day(l.GoodUntil), Text(state), Text(l.Shelf)))
		}
	}
	return rows
}

func (t storesTable) supplies() (rows [][]Cell) {
	for _, it := range t.stores.Items {
		for _, s := range t.stores.Supplies {
			if s.ItemID != it.ID || s.Outstanding() == 0 {
				continue
			}
			state := "expected"
			if s.ExpectedDay < t.today {
				state = "late"
			}
			rows = append(rows, t.row(partSupply, it.Name, string(it.Kind), fmt.Sprint(s.Number), Number(s.Outstanding().Float(), 3), Text(string(it.Unit)), Cell{}, Cell{}, Cell{}, Day(s.ExpectedDay), Text(state), Cell{}))
		}
	}
	return rows
}

func (t storesTable) counters() (rows [][]Cell) {
	for _, k := range t.stores.Kit {
		for _, c := range t.stores.Counters {
			if c.KitID != k.ID {
				continue
			}
			limit, used, state := Cell{}, Cell{}, "no limit known"
			if c.Limit > 0 {
				limit, used, state = Number(c.Limit, 0), Integer(100*c.Used()), "below its limit"
			}
			if c.Spent() {
				state = "at its limit"
			}
			mark := string(c.Counts)
			if c.Part != "" {
				mark = c.Part + ", " + mark
			}
			rows = append(rows, t.row(partCounter, k.Name, string(k.Class), mark, Number(c.Count, 3), Text(c.Counts.Unit()), limit, used, Text(string(c.Class)), Cell{}, Text(state), Cell{}))
		}
	}
	return rows
}

func (t storesTable) calibrations() (rows [][]Cell) {
	for _, k := range t.stores.Kit {
		var of []assets.Calibration
		for _, c := range t.stores.Calibrations {
			if c.KitID == k.ID {
				of = append(of, c)
			}
		}
		d := kit.CalibrationDue(of, t.today)
		switch {
		case d.Last != nil:
			state := "in date"
			if d.Overdue {
				state = "overdue"
			}
			rows = append(rows, t.row(partCalibration, k.Name, string(k.Class), cmp.Or(d.Last.Certificate, "certificate not seen"), Cell{}, Cell{}, Cell{}, Cell{}, Text(string(d.Last.Class)), Day(d.Day), Text(state), Cell{}))
		case kit.Measures(k.Class):
			rows = append(rows, t.row(partCalibration, k.Name, string(k.Class), "", Cell{}, Cell{}, Cell{}, Cell{}, Cell{}, Cell{}, Text("none on record"), Cell{}))
		}
	}
	return rows
}
