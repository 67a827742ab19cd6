package stock

import (
	"testing"

	"carryside/assets"

	"pgregory.net/rapid"
)

func need(id int64, q assets.Quantity, day assets.Day, placed bool) Need {
	return Need{OrderID: id, Number: id, Quantity: q, Day: day, Placed: placed}
}

func TestALotIsNotKeptForADayOnWhichItIsOutOfDate(t *testing.T) {
	lots := []Lot{lot(1, 1000, "2026-12-10"), lot(2, 1000, "2027-06-01")}
	held := Reserve(glue, lots, nil, []Need{need(421, 1000, "2027-01-10", true), need(412, 1000, "2026-12-03", true)})
	if held[0].Number != 412 || held[0].Takes[0].LotID != 1 || held[1].Takes[0].LotID != 2 || held[1].Short != 0 {
		t.Errorf("%+v", held)
	}
}

func TestAnOrderWaitsForTheSupplyThatComesTooLate(t *testing.T) {
	supplies := []Supply{{ID: 7, Number: 31, Quantity: 5000, Day: "2026-12-20"}}
	held := Reserve(glue, nil, supplies, []Need{need(412, 1000, "2026-12-03", true), need(415, 1000, "2026-12-21", true)})
	if held[0].Short != 1000 || held[0].WaitsFor == nil || held[0].WaitsFor.Number != 31 {
		t.Errorf("412: %+v; want it short, waiting for 31", held[0])
	}
	if held[1].Short != 0 || !held[1].Waits() {
		t.Errorf("415: %+v; want it served by the supply", held[1])
	}
}

// mostServed tries every way to give single pieces to needs of one piece and returns how many can be served at most.
func mostServed(lots []Lot, supplies []Supply, needs []Need, shelf int) int {
	if len(needs) == 0 {
		return 0
	}
	n := needs[0]
	best := mostServed(lots, supplies, needs[1:], shelf)
	for i := range lots {
		if lots[i].OnHand >= 1000 && lots[i].Fit(n.Day) {
			lots[i].OnHand -= 1000
			best = max(best, 1+mostServed(lots, supplies, needs[1:], shelf))
			lots[i].OnHand += 1000
		}
	}
	for i := range supplies {
		if supplies[i].Quantity >= 1000 && supplies[i].Day <= n.Day && n.Day <= supplies[i].Day.AddDays(shelf) {
			supplies[i].Quantity -= 1000
			best = max(best, 1+mostServed(lots, supplies, needs[1:], shelf))
			supplies[i].Quantity += 1000
		}
	}
	return best
}

func TestReservingServesAsManyAsCanBe(t *testing.T) {
	piece := assets.StockItem{Unit: assets.UnitPiece, ShelfLifeDays: 6}
	rapid.Check(t, func(rt *rapid.T) {
		day := func(name string) assets.Day {
			return assets.Day("2026-12-01").AddDays(rapid.IntRange(0, 12).Draw(rt, name))
		}
		var lots []Lot
		var supplies []Supply
		var needs []Need
		for i := range rapid.IntRange(0, 3).Draw(rt, "lots") {
			lots = append(lots, lot(int64(i+1), assets.Quantity(rapid.IntRange(0, 2).Draw(rt, "pieces"))*1000, day("until")))
		}
		for i := range rapid.IntRange(0, 2).Draw(rt, "supplies") {
			supplies = append(supplies, Supply{ID: int64(i + 1), Quantity: 1000, Day: day("comes")})
		}
		for i := range rapid.IntRange(1, 5).Draw(rt, "needs") {
			needs = append(needs, need(int64(i+1), 1000, day("stop"), true))
		}
		served := 0
		taken := map[int64]assets.Quantity{}
		for _, h := range Reserve(piece, lots, supplies, needs) {
			if h.Short == 0 {
				served++
			}
			for _, tk := range h.Takes {
				taken[tk.LotID-100*tk.SupplyID] += tk.Quantity
				if tk.LotID != 0 && !lots[tk.LotID-1].Fit(h.Day) {
					rt.Fatalf("order %d on %s is given %+v", h.OrderID, h.Day, lots[tk.LotID-1])
				}
			}
		}
		for _, l := range lots {
			if taken[l.ID] > l.OnHand {
				rt.Fatalf("lot %d gives %v of %v", l.ID, taken[l.ID], l.OnHand)
			}
		}
		if want := mostServed(lots, supplies, needs, piece.ShelfLifeDays); served != want {
			rt.Fatalf("%d of %d served, %d can be", served, len(needs), want)
		}
	})
}

// Release cloth by hand: 17.2 m left, four cuts of 4 m placed in December, lead time 21 days, none unplanned, one metre spare.
// On 5 January 16 m are gone and 1.2 m is left, which is above the spare: nothing to order. A fifth cut on 20 January brings it
// to -2.8 m: order by 30 December, so much that the spare is there: 4 m.
func TestReleaseClothByHand(t *testing.T) {
	k := Keeping{LeadTimeDays: 21, ServiceLevel: 0.95, Spare: 1000}
	needs := []Need{need(412, 4000, "2026-12-03", true), need(415, 4000, "2026-12-03", true), need(421, 4000, "2026-12-12", true), need(422, 4000, "2026-12-19", true)}
	lots := []Lot{lot(31, 17200, "")}
	o, err := Look(cloth, k, lots, nil, needs, nil, "2026-11-25")
	if err != nil || o.OrderDay != "" || o.Reserved != 16000 || o.Free != 1200 || o.Level.Point != 13000 || o.Below {
		t.Errorf("%+v, %v; want nothing to order, 16 m held, a point of 12 m planned within 21 days and 1 m spare", o, err)
	}
	o, err = Look(cloth, k, lots, nil, append(needs, need(430, 4000, "2027-01-20", false)), nil, "2026-11-25")
	if err != nil || o.OrderDay != "2026-12-30" || o.LowDay != "2027-01-20" || o.Order != 4000 || len(o.Wait) != 1 || o.Wait[0].Number != 430 {
		t.Errorf("order %v by %s for %s, waiting %+v, %v", o.Order, o.OrderDay, o.LowDay, o.Wait, err)
	}
	// It comes on 20 January and lasts 30 days: on 19 February the spare of 1 m is to be left, without the order 2.8 m would be lacking: 3.8 m, so 4 m.
	if want := (Cover{"2027-02-19", 1000, -2800}); o.Cover != want {
		t.Errorf("the quantity rests on %+v, want %+v", o.Cover, want)
	}
}

func TestACriticalConsumableKeepsOneSpare(t *testing.T) {
	pad := assets.StockItem{Unit: assets.UnitPiece, Critical: true, LeadTimeDays: 14}
	k := KeepingOf(pad, nil)
	if k.Spare != 1000 || k.ServiceLevel != DefaultServiceLevel {
		t.Fatalf("%+v", k)
	}
	o, err := Look(pad, k, []Lot{lot(1, 1000, "")}, nil, nil, nil, "2026-11-25")
	if err != nil || o.OrderDay != "" {
		t.Errorf("with one on hand: %+v, %v", o, err)
	}
	o, err = Look(pad, k, nil, nil, nil, nil, "2026-11-25")
	if err != nil || !o.Below || o.OrderDay != "2026-11-25" || o.Order != 1000 {
		t.Errorf("with none on hand: order %v by %s (%v); want one today", o.Order, o.OrderDay, err)
	}
	o, err = Look(pad, k, nil, []Supply{{ID: 1, Quantity: 1000, Day: "2026-12-05"}}, nil, nil, "2026-11-25")
	if err != nil || o.OrderDay != "" {
		t.Errorf("with one on its way: %+v, %v", o, err)
	}
}

func TestWhatGoesOutOfDateIsOrderedAnewInTime(t *testing.T) {
	k := Keeping{LeadTimeDays: 10, ServiceLevel: 0.95, Spare: 1000}
	o, err := Look(glue, k, []Lot{lot(1, 5000, "2027-01-31")}, nil, nil, nil, "2026-11-25")
	if err != nil || o.LowDay != "2027-02-01" || o.OrderDay != "2027-01-22" || o.Order != 1000 {
		t.Errorf("order %v by %s for %s, %v; want 1 kg ten days before the lot is out of date", o.Order, o.OrderDay, o.LowDay, err)
	}
}

func TestAPlacesOwnFiguresGoBeforeTheItems(t *testing.T) {
	item := assets.StockItem{LeadTimeDays: 14, ServiceLevel: 0.9, Critical: true, Class: assets.ClassD}
	k := KeepingOf(item, &assets.StockPolicy{LeadTimeDays: 30, Spare: 3000, FixedPoint: 8000, Class: assets.ClassP})
	if k.LeadTimeDays != 30 || k.ServiceLevel != 0.9 || k.Spare != 3000 || k.FixedPoint != 8000 || k.Class != assets.ClassP {
		t.Errorf("%+v", k)
	}
	o, err := Look(blade, k, []Lot{lot(1, 7000, "")}, nil, nil, nil, "2026-11-25")
	if err != nil || o.Level.Point != 8000 || !o.Below || o.Order < 1000 {
		t.Errorf("%+v, %v", o, err)
	}
}
