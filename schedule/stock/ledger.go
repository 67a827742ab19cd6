package stock

import (
	"fmt"
	"strings"

	"carryside/assets"
)

// Lot is a lot with what is on hand of it.
type Lot struct {
	assets.StockLot
	OnHand assets.Quantity
}

// Fit tells whether the lot may be used on a day without anybody giving a reason.
func (l Lot) Fit(on assets.Day) bool { return !l.OutOfDate(on) && l.Quarantined == "" }

// Why says in words why a lot is not fit on a day, "" when it is.
func (l Lot) Why(on assets.Day) string {
	switch {
	case l.Quarantined != "":
		return "held back: " + l.Quarantined
	case l.OutOfDate(on):
		return "good until " + string(l.GoodUntil)
	}
	return ""
}

// Check holds what every posting of the ledger must keep: each line has a quantity in the direction of its reason, what is
// moved or cut off leaves one lot as it comes to another, and no lot falls below nothing. onHand is what lots hold before
// the posting; lots it does not name hold nothing.
func Check(item assets.StockItem, lines []assets.StockMovement, onHand map[int64]assets.Quantity) error {
	if len(lines) == 0 {
		return assets.Invalid{"quantity": "give a quantity"}
	}
	var between assets.Quantity
	after := map[int64]assets.Quantity{}
	for _, l := range lines {
		if err := checkLine(item, l); err != nil {
			return err
		}
		if l.Why == assets.MoveMoved || l.Why == assets.MoveCut {
			between += l.Quantity
		}
		after[l.LotID] += l.Quantity
	}
	if between != 0 {
		return assets.Invalid{"quantity": fmt.Sprintf("what leaves one lot must come to another: %s too much", item.Unit.Of(between))}
	}
	for lot, change := range after {
		if left := onHand[lot] + change; left < 0 {
			return assets.Invalid{"quantity": fmt.Sprintf("only %s on hand of this lot; %s asked for. Count the lot if that is wrong", item.Unit.Of(onHand[lot]), item.Unit.Of(-change))}
		}
	}
	return nil
}

// mostQuantity bounds a line to what a plant can have: ten million units. Our own choice, against slips of the keys.
const mostQuantity assets.Quantity = 10_000_000_000

func checkLine(item assets.StockItem, l assets.StockMovement) error {
	up := map[assets.MovementWhy]int{assets.MoveReceived: 1, assets.MoveReturned: 1, assets.MoveIssued: -1, assets.MoveScrapped: -1,
		assets.MoveCounted: 0, assets.MoveMoved: 0, assets.MoveCut: 0}
	sign, known := up[l.Why]
	switch {
	case !known:
		return assets.Invalid{"why": "choose what becomes of it from the list"}
	case l.Quantity == 0 || sign > 0 && l.Quantity < 0 || sign < 0 && l.Quantity > 0 || max(l.Quantity, -l.Quantity) > mostQuantity:
		return assets.Invalid{"quantity": "give a quantity above 0, at most 10 000 000"}
	case item.Whole() && l.Quantity%1000 != 0:
		return assets.Invalid{"quantity": "this item goes in whole " + string(item.Unit) + "s"}
	case (l.Why == assets.MoveCounted || l.Why == assets.MoveScrapped) && strings.TrimSpace(l.Reason) == "":
		return assets.Invalid{"reason": "say why: what is counted away or scrapped needs a reason"}
	case l.Why == assets.MoveIssued && l.OrderID == 0 && strings.TrimSpace(l.Reason) == "":
		return assets.Invalid{"reason": "name the order it is for, or say what it is used for"}
	}
	return nil
}

// Balance adds up a ledger by what lies on the other side; with what the lots hold it sums to nothing. It is what the
// screens show as proof.
func Balance(lines []assets.StockMovement) (onHand assets.Quantity, outside map[assets.MovementWhy]assets.Quantity) {
	outside = map[assets.MovementWhy]assets.Quantity{}
	for _, l := range lines {
		onHand += l.Quantity
		outside[l.Why] -= l.Quantity
	}
	return onHand, outside
}
