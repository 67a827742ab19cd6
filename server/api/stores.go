package api

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/kit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// kitPiece is a press, cutter, template or gauge at home at a plant, with what wears on it.
type kitPiece struct {
	ID           int64         `json:"id"`
	Name         string        `json:"name"`
	Class        string        `json:"class" doc:"what it is: press, cutter, template, thermometer ..."`
	Serial       string        `json:"serial,omitempty"`
	Shared       bool          `json:"shared" doc:"it belongs to the service company and not to the customer"`
	Counters     []kitCounter  `json:"counters" doc:"of the parts fitted"`
	Calibrations []calibration `json:"calibrations" doc:"from old to new"`
}

// kitCounter counts what wears a part.
type kitCounter struct {
	ID       int64      `json:"id"`
	Part     string     `json:"part,omitempty"`
	Counts   string     `json:"counts" doc:"what is counted: press cycles, cuts of a pad's side ..."`
	Count    float64    `json:"count_so_far" doc:"moved by signed jobs, by hand only with a reason"`
	Limit    *float64   `json:"count_limit,omitempty" doc:"absent where none is known; reached, a rule raises a service order"`
	Class    string     `json:"class" doc:"evidence class of the limit"`
	FittedAt *time.Time `json:"fitted_at,omitempty"`
}

// calibration is a check of a thermometer or gauge against a reference.
type calibration struct {
	Day   string `json:"calibrated_day" format:"date"`
	DueBy string `json:"due_day,omitempty" format:"date"`
}

// stockLot is what lies in one place and ages together.
type stockLot struct {
	ID          int64    `json:"id"`
	ItemID      int64    `json:"item_id"`
	Item        string   `json:"item"`
	Kind        string   `json:"kind"`
	Lot         string   `json:"lot" doc:"the maker's lot or roll number, or the company's own"`
	Quantity    float64  `json:"quantity_on_hand" doc:"in stock_unit"`
	Unit        string   `json:"stock_unit"`
	GoodUntil   string   `json:"good_until_day,omitempty" format:"date" doc:"last day it may be used; absent where it does not age"`
	Shelf       string   `json:"shelf,omitempty"`
	WidthM      *float64 `json:"width_m,omitempty"`
	CutFromID   *int64   `json:"cut_from_lot_id,omitempty" doc:"the roll an offcut was cut from"`
	Quarantined string   `json:"held_back_why,omitempty"`
}

// stockMovement is a line of the ledger. Lines are never changed; what is on hand is their sum.
type stockMovement struct {
	ID        int64      `json:"id"`
	At        *time.Time `json:"at" doc:"when it was so"`
	EnteredAt *time.Time `json:"entered_at"`
	ItemID    int64      `json:"item_id"`
	LotID     int64      `json:"lot_id"`
	Quantity  float64    `json:"quantity_gained" doc:"in stock_unit; negative: lost"`
	Unit      string     `json:"stock_unit"`
	Why       string     `json:"why" doc:"received, issued, returned, counted, scrapped, cut, moved ..."`
	PostingID int64      `json:"posting_id" doc:"lines of one act; those of a cut or a move sum to nothing"`
	OrderID   *int64     `json:"order_id,omitempty"`
	SupplyID  *int64     `json:"supply_order_id,omitempty"`
	Reason    string     `json:"reason,omitempty"`
}

// movementQuery is a stretch of the ledger.
type movementQuery struct {
	ListOf
	Item  int64     `query:"item" minimum:"1" doc:"only lines of this item"`
	Since time.Time `query:"since" doc:"only what was so at this instant or later"`
}

func (s *service) stores(a huma.API) {
	huma.Register(a, read("list-kit", "/plants/{plant}/kit", "Stores", "The kit at home at a plant with counters and calibrations", ""), answer(s, s.listKit))
	huma.Register(a, read("list-stock", "/plants/{plant}/stock", "Stores", "What lies in the storeroom of a plant, lot by lot", ""), answer(s, s.listStock))
	huma.Register(a, read("list-stock-movements", "/plants/{plant}/stock/movements", "Stores", "The ledger of the storeroom, newest first", ""), answer(s, s.listMovements))
}

// storesOf is a plant at a moment for those who may read its stores.
func (s *service) storesOf(ctx context.Context, in ListOf) (plantSeen, error) {
	m, err := s.at(ctx, in.Plant, in.Then)
	if err == nil && !m.asker.Who.May(people.ReadStores, m.plant.CustomerID, m.plant.ID) {
		err = assets.ErrForbidden
	}
	return m, err
}

// storesHeld is the storeroom and the kit of a plant at a moment, for those who may read them.
func (s *service) storesHeld(ctx context.Context, in ListOf) (reports.Stores, error) {
	m, err := s.storesOf(ctx, in)
	if err != nil {
		return reports.Stores{}, err
	}
	return m.Stores(ctx)
}

func (s *service) listKit(ctx context.Context, in *ListOf) (*listed[kitPiece], error) {
	held, err := s.storesHeld(ctx, *in)
	if err != nil {
		return nil, err
	}
	list := byID(held.Kit, func(k assets.Kit) int64 { return k.ID })
	return pageOf(list, func(k assets.Kit) string { return rising(k.ID) }, in.Paging, func(k assets.Kit) kitPiece {
		return tellKit(k, held.Counters, held.Calibrations)
	})
}

func tellKit(k assets.Kit, counters []kit.Counter, calibrations []assets.Calibration) kitPiece {
	out := kitPiece{ID: k.ID, Name: k.Name, Class: string(k.Class), Serial: k.Serial, Shared: k.CustomerID == 0, Counters: []kitCounter{}, Calibrations: []calibration{}}
	for _, c := range counters {
		if c.KitID == k.ID && c.EndedAt == 0 {
			out.Counters = append(out.Counters, kitCounter{ID: c.ID, Part: c.Part, Counts: string(c.Counts), Count: c.Count, Limit: known(c.Limit), Class: string(c.Class), FittedAt: instant(c.FittedAt)})
		}
	}
	for _, c := range calibrations {
		if c.KitID == k.ID {
			out.Calibrations = append(out.Calibrations, calibration{Day: string(c.OnDay), DueBy: string(c.DueDay)})
		}
	}
	return out
}

func (s *service) listStock(ctx context.Context, in *ListOf) (*listed[stockLot], error) {
	held, err := s.storesHeld(ctx, *in)
	if err != nil {
		return nil, err
	}
	list := byID(held.Lots, func(l stock.Lot) int64 { return l.ID })
	return pageOf(list, func(l stock.Lot) string { return rising(l.ID) }, in.Paging, func(l stock.Lot) stockLot {
		it := itemOf(held.Items, l.ItemID)
		return stockLot{ID: l.ID, ItemID: l.ItemID, Item: it.Name, Kind: string(it.Kind), Lot: l.Lot, Quantity: l.OnHand.Float(), Unit: string(it.Unit), GoodUntil: string(l.GoodUntil), Shelf: l.Shelf,
			WidthM: known(cmp.Or(l.WidthM, it.WidthM)), CutFromID: known(l.CutFromID), Quarantined: l.Quarantined}
	})
}

func itemOf(items []assets.StockItem, id int64) assets.StockItem {
	i := slices.IndexFunc(items, func(it assets.StockItem) bool { return it.ID == id })
	if i < 0 {
		return assets.StockItem{}
	}
	return items[i]
}

func (s *service) listMovements(ctx context.Context, in *movementQuery) (*listed[stockMovement], error) {
	m, err := s.storesOf(ctx, in.ListOf)
	if err != nil {
		return nil, err
	}
	lines, items, err := m.Movements(ctx, in.Item, assets.InstantOf(in.Since))
	if err != nil {
		return nil, err
	}
	return pageOf(lines, func(l assets.StockMovement) string { return rising(falling(int64(l.At)), falling(l.ID)) }, in.Paging, func(l assets.StockMovement) stockMovement {
		return stockMovement{ID: l.ID, At: instant(l.At), EnteredAt: instant(l.EnteredAt), ItemID: l.ItemID, LotID: l.LotID, Quantity: l.Quantity.Float(), Unit: string(itemOf(items, l.ItemID).Unit),
			Why: string(l.Why), PostingID: l.PostingID, OrderID: known(l.OrderID), SupplyID: known(l.SupplyID), Reason: l.Reason}
	})
}
