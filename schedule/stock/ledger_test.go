package stock

import (
	"errors"
	"fmt"
	"testing"

	"carryside/assets"

	"pgregory.net/rapid"
)

var (
	cloth = assets.StockItem{Version: assets.Version{ID: 1}, Name: "release cloth", Unit: assets.UnitMetre}
	blade = assets.StockItem{Version: assets.Version{ID: 2}, Name: "knife blades", Unit: assets.UnitPiece}
	glue  = assets.StockItem{Version: assets.Version{ID: 3}, Name: "cement", Unit: assets.UnitKilogram, ShelfLifeDays: 180}
)

func lot(id int64, onHand assets.Quantity, until assets.Day) Lot {
	return Lot{assets.StockLot{Version: assets.Version{ID: id}, Lot: fmt.Sprint("L", id), GoodUntil: until}, onHand}
}

func line(lotID int64, q assets.Quantity, why assets.MovementWhy, reason string) assets.StockMovement {
	return assets.StockMovement{LotID: lotID, Quantity: q, Why: why, Reason: reason}
}

func TestWhatAPostingMustKeep(t *testing.T) {
	onHand := map[int64]assets.Quantity{1: 5000, 2: 1000}
	for _, tt := range []struct {
		name  string
		item  assets.StockItem
		lines []assets.StockMovement
		bad   string // the field that is wrong; "" none
	}{
		{"4 m to an order", cloth, []assets.StockMovement{{LotID: 1, Quantity: -4000, Why: assets.MoveIssued, OrderID: 412}}, ""},
		{"used without saying for what", cloth, []assets.StockMovement{line(1, -4000, assets.MoveIssued, "")}, "reason"},
		{"more than the roll has", cloth, []assets.StockMovement{line(1, -5001, assets.MoveIssued, "test pieces")}, "quantity"},
		{"twice out of one lot, together too much", cloth, []assets.StockMovement{line(1, -3000, assets.MoveIssued, "a"), line(1, -3000, assets.MoveIssued, "b")}, "quantity"},
		{"received less than nothing", cloth, []assets.StockMovement{line(1, -1, assets.MoveReceived, "")}, "quantity"},
		{"half a blade", blade, []assets.StockMovement{line(1, -500, assets.MoveScrapped, "broken")}, "quantity"},
		{"scrapped without a reason", blade, []assets.StockMovement{line(1, -1000, assets.MoveScrapped, " ")}, "reason"},
		{"counted one more", blade, []assets.StockMovement{line(2, 1000, assets.MoveCounted, "was behind the shelf")}, ""},
		{"moved, both ends", cloth, []assets.StockMovement{line(1, -2000, assets.MoveMoved, ""), line(3, 2000, assets.MoveMoved, "")}, ""},
		{"moved, a metre lost on the way", cloth, []assets.StockMovement{line(1, -2000, assets.MoveMoved, ""), line(3, 1000, assets.MoveMoved, "")}, "quantity"},
		{"an offcut out of nothing", cloth, []assets.StockMovement{line(3, 1000, assets.MoveCut, "")}, "quantity"},
		{"no reason of the list", cloth, []assets.StockMovement{line(1, 1000, "lost", "")}, "why"},
		{"nothing", cloth, nil, "quantity"},
		{"beyond sums", cloth, []assets.StockMovement{line(1, 1<<62, assets.MoveReceived, "")}, "quantity"},
	} {
		err := Check(tt.item, tt.lines, onHand)
		var bad assets.Invalid
		if tt.bad == "" && err != nil || tt.bad != "" && (!errors.As(err, &bad) || bad[tt.bad] == "") {
			t.Errorf("%s: %v, want a message at %q", tt.name, err, tt.bad)
		}
	}
}

// What every sequence of postings keeps: the lots and what lies outside sum to nothing, no lot is below nothing, and only what
// passed the check changes anything.
func TestTheLedgerAlwaysBalances(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		item := rapid.SampledFrom([]assets.StockItem{cloth, blade, glue}).Draw(rt, "item")
		var ledger []assets.StockMovement
		onHand := map[int64]assets.Quantity{}
		drawn := rapid.Custom(func(rt *rapid.T) assets.StockMovement {
			q := assets.Quantity(rapid.Int64Range(-12000, 12000).Draw(rt, "quantity"))
			if rapid.Bool().Draw(rt, "whole") {
				q -= q % 1000
			}
			return line(rapid.Int64Range(1, 4).Draw(rt, "lot"), q, rapid.SampledFrom(append([]assets.MovementWhy{"lost"}, assets.MovementWhys...)).Draw(rt, "why"),
				rapid.SampledFrom([]string{"", "counted"}).Draw(rt, "reason"))
		})
		accepted := 0
		for range rapid.IntRange(1, 60).Draw(rt, "acts") {
			posting := rapid.SliceOfN(drawn, 1, 3).Draw(rt, "posting")
			if rapid.Bool().Draw(rt, "mirrored") { // both ends of a move
				posting[0].Why = assets.MoveMoved
				other := posting[0]
				other.LotID, other.Quantity = other.LotID%4+1, -other.Quantity
				posting = []assets.StockMovement{posting[0], other}
			}
			if Check(item, posting, onHand) != nil {
				continue
			}
			accepted++
			for _, l := range posting {
				onHand[l.LotID] += l.Quantity
			}
			ledger = append(ledger, posting...)
		}
		held, outside := Balance(ledger)
		sum := held
		for _, q := range outside {
			sum += q
		}
		var lots assets.Quantity
		for id, q := range onHand {
			if q < 0 {
				rt.Fatalf("lot %d holds %v", id, q)
			}
			lots += q
		}
		if sum != 0 || lots != held || outside[assets.MoveMoved] != 0 || outside[assets.MoveCut] != 0 {
			rt.Fatalf("after %d postings the lots hold %v, the ledger says %v, outside %v", accepted, lots, held, outside)
		}
	})
}

func TestFirstExpiringGoesFirst(t *testing.T) {
	lots := []Lot{lot(1, 2000, "2027-05-01"), lot(2, 1000, "2026-12-01"), lot(3, 9000, "2026-10-01"), lot(4, 1000, "")}
	lots = append(lots, Lot{assets.StockLot{Version: assets.Version{ID: 5}, GoodUntil: "2026-11-30", Quarantined: "wet"}, 4000})
	lines, short := Pick(glue, lots, 3500, "2026-11-25")
	if short != 0 || len(lines) != 3 || lines[0].LotID != 2 || lines[1].LotID != 1 || lines[2].LotID != 4 || lines[2].Quantity != -500 {
		t.Errorf("%+v, short %v; want lots 2, 1, 4", lines, short)
	}
	if _, short := Pick(glue, lots, 5000, "2026-11-25"); short != 1000 {
		t.Errorf("short %v of 5 kg, want 1: what is out of date or held back does not count", short)
	}
}

func TestACutIsTakenInOnePiece(t *testing.T) {
	lots := []Lot{lot(1, 3000, ""), lot(2, 50000, ""), lot(3, 4000, "")}
	lines, short := Pick(cloth, lots, 4000, "2026-11-25")
	if short != 0 || len(lines) != 1 || lines[0].LotID != 3 {
		t.Errorf("%+v: want the whole 4 m offcut, not two ends and not the roll", lines)
	}
}

func TestNothingOutOfDateGoesOutWithoutAReason(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		days := []assets.Day{"", "2026-01-01", "2026-11-24", "2026-11-25", "2027-06-01"}
		var lots []Lot
		for i := range rapid.IntRange(1, 5).Draw(rt, "lots") {
			l := lot(int64(i+1), assets.Quantity(rapid.IntRange(0, 5).Draw(rt, "kg"))*1000, rapid.SampledFrom(days).Draw(rt, "until"))
			l.Quarantined = rapid.SampledFrom([]string{"", "", "wet"}).Draw(rt, "held back")
			lots = append(lots, l)
		}
		const today = assets.Day("2026-11-25")
		want := assets.Quantity(rapid.IntRange(1, 8000).Draw(rt, "want"))
		lines, short := Pick(glue, lots, want, today)
		got := short
		last := assets.Day("0")
		for _, l := range lines {
			from := lots[l.LotID-1]
			if !from.Fit(today) || -l.Quantity > from.OnHand {
				rt.Fatalf("%v taken from %+v", l.Quantity, from)
			}
			until := from.GoodUntil
			if until == "" {
				until = "9999"
			}
			if until < last {
				rt.Fatalf("a lot good until %s goes after one good until %s", until, last)
			}
			last = until
			got -= l.Quantity
		}
		if got != want {
			rt.Fatalf("%v taken and short of %v asked for", got, want)
		}
		chosen := rapid.IntRange(1, len(lots)).Draw(rt, "chosen")
		if _, err := FromLot(glue, lots, int64(chosen), 500, today, ""); err == nil && !lots[chosen-1].Fit(today) {
			rt.Fatalf("lot %d, %s, went out without a reason", chosen, lots[chosen-1].Why(today))
		}
		if lines, err := FromLot(glue, lots, int64(chosen), 500, today, "only for a trial piece"); err != nil || lines[0].Reason == "" {
			rt.Fatalf("with a reason: %v", err)
		}
	})
}

func TestTakingALotBeforeItsTurnNeedsAReason(t *testing.T) {
	lots := []Lot{lot(1, 2000, "2027-05-01"), lot(2, 1000, "2026-12-01")}
	var bad assets.Invalid
	if _, err := FromLot(glue, lots, 1, 500, "2026-11-25", ""); !errors.As(err, &bad) || bad["reason"] != "lot L2 expires before lot L1; take it first, or say why not" {
		t.Errorf("%v", err)
	}
	if _, err := FromLot(glue, lots, 2, 500, "2026-11-25", ""); err != nil {
		t.Errorf("the lot whose turn it is: %v", err)
	}
	if _, err := FromLot(glue, lots, 9, 500, "2026-11-25", "x"); err == nil {
		t.Error("a lot that is not there was taken from")
	}
}
