package stock

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
)

// Order puts lots in the order in which they go out: first expiring first, what does not age last, then shortest first (so
// that offcuts and opened rolls go before whole ones), then the older number.
func Order(lots []Lot) []Lot {
	sorted := slices.Clone(lots)
	slices.SortStableFunc(sorted, func(a, b Lot) int {
		return cmp.Or(compareDays(a.GoodUntil, b.GoodUntil), cmp.Compare(a.OnHand, b.OnHand), cmp.Compare(a.ID, b.ID))
	})
	return sorted
}

func compareDays(a, b assets.Day) int {
	switch {
	case a == b:
		return 0
	case a == "":
		return 1
	case b == "":
		return -1
	}
	return cmp.Compare(a, b)
}

// Pick takes a quantity out of lots on a day, first expiring first, never out of one that is out of date or held back.
// An item in cuts is taken in one piece: a cut is not made of two ends. The lines come without numbers and reason; short
// is what no fit lot gives.
func Pick(item assets.StockItem, lots []Lot, want assets.Quantity, on assets.Day) (lines []assets.StockMovement, short assets.Quantity) {
	for _, l := range Order(lots) {
		if want <= 0 {
			break
		}
		if !l.Fit(on) || l.OnHand <= 0 || item.InCuts() && l.OnHand < want {
			continue
		}
		take := min(want, l.OnHand)
		lines = append(lines, issueLine(l, take))
		want -= take
	}
	return lines, want
}

func issueLine(l Lot, take assets.Quantity) assets.StockMovement {
	return assets.StockMovement{CustomerID: l.CustomerID, PlantID: l.PlantID, ItemID: l.ItemID, LotID: l.ID, Quantity: -take, Why: assets.MoveIssued}
}

// FromLot takes a quantity out of a lot somebody chose. A lot that is out of date or held back, and one before which
// another expires, needs a reason.
func FromLot(item assets.StockItem, lots []Lot, lotID int64, want assets.Quantity, on assets.Day, reason string) ([]assets.StockMovement, error) {
	i := slices.IndexFunc(lots, func(l Lot) bool { return l.ID == lotID })
	if i < 0 {
		return nil, assets.Invalid{"lot": "choose a lot of this item from the list"}
	}
	chosen := lots[i]
	if strings.TrimSpace(reason) == "" {
		if why := chosen.Why(on); why != "" {
			return nil, assets.Invalid{"reason": fmt.Sprintf("lot %s is %s; say why it is used all the same, or take another", chosen.Lot, why)}
		}
		if first := expiringBefore(lots, chosen, on); first != "" {
			return nil, assets.Invalid{"reason": fmt.Sprintf("lot %s expires before lot %s; take it first, or say why not", first, chosen.Lot)}
		}
	}
	line := issueLine(chosen, want)
	line.Reason = strings.TrimSpace(reason)
	return []assets.StockMovement{line}, nil
}

// expiringBefore names a fit lot that goes out of date before the chosen one.
func expiringBefore(lots []Lot, chosen Lot, on assets.Day) string {
	for _, l := range Order(lots) {
		if l.ID != chosen.ID && l.OnHand > 0 && l.Fit(on) && compareDays(l.GoodUntil, chosen.GoodUntil) < 0 {
			return l.Lot
		}
	}
	return ""
}
