package stock

import (
	"cmp"
	"slices"

	"carryside/assets"
)

// Need is what an order takes of an item, on the day of its stop. Only a placed order holds stock; what is only due is
// reckoned with when ordering.
type Need struct {
	OrderID  int64
	Number   int64 // of the order, as people say it
	ItemID   int64
	Quantity assets.Quantity // less what was issued to the order already
	Day      assets.Day      // of its stop, else its latest day
	Placed   bool
	Words    string // "remake splice 2 of Q-3"
}

// Supply is what is to come for an item.
type Supply struct {
	ID       int64
	Number   int64
	Quantity assets.Quantity
	Day      assets.Day // expected
}

// Take is what a need takes out of a lot, or out of a supply to come.
type Take struct {
	LotID    int64 // 0: of a supply
	SupplyID int64
	Quantity assets.Quantity
}

// Held is a need with where its stock comes from.
type Held struct {
	Need
	Takes    []Take
	Short    assets.Quantity // no lot and no supply gives it by its day
	WaitsFor *Supply         // the earliest supply that would; it comes too late. nil: none is under way
}

// Waits tells whether the need rests on a supply that has not come yet.
func (h Held) Waits() bool {
	return slices.ContainsFunc(h.Takes, func(t Take) bool { return t.SupplyID != 0 })
}

// source is a lot or a supply while needs take from it.
type source struct {
	lotID, supplyID int64
	from, until     assets.Day // "" open
	held            bool       // back: not to be used
	left            assets.Quantity
}

// Reserve gives each need its stock: by the day of its stop, placed orders before those only due on the same day, each from
// the fit lot that goes out of date first. So a lot is never kept for a day on which it is out of date, and as much as
// possible is served: of what is fit on a day the one that lasts shortest is the one later days miss least. Items in
// cuts are taken in one piece.
func Reserve(item assets.StockItem, lots []Lot, supplies []Supply, needs []Need) []Held {
	sources := sourcesOf(item, lots, supplies)
	order := slices.Clone(needs)
	slices.SortStableFunc(order, func(a, b Need) int {
		return cmp.Or(compareDays(a.Day, b.Day), cmp.Compare(rank(a), rank(b)), cmp.Compare(a.OrderID, b.OrderID))
	})
	out := make([]Held, 0, len(order))
	for _, n := range order {
		out = append(out, serve(item, sources, supplies, n))
	}
	return out
}

func rank(n Need) int {
	if n.Placed {
		return 0
	}
	return 1
}

func sourcesOf(item assets.StockItem, lots []Lot, supplies []Supply) []*source {
	var all []*source
	for _, l := range Order(lots) {
		all = append(all, &source{lotID: l.ID, until: l.GoodUntil, held: l.Quarantined != "", left: l.OnHand})
	}
	for _, s := range supplies {
		until := assets.Day("")
		if item.ShelfLifeDays > 0 {
			until = s.Day.AddDays(item.ShelfLifeDays)
		}
		all = append(all, &source{supplyID: s.ID, from: s.Day, until: until, left: s.Quantity})
	}
	slices.SortStableFunc(all, func(a, b *source) int { return cmp.Or(compareDays(a.until, b.until), cmp.Compare(a.from, b.from)) })
	return all
}

// serve takes a need out of the sources.
func serve(item assets.StockItem, sources []*source, supplies []Supply, n Need) Held {
	h := Held{Need: n}
	want := n.Quantity
	for _, s := range sources {
		if want <= 0 {
			break
		}
		if !s.fit(n.Day) || item.InCuts() && s.left < want {
			continue
		}
		take := min(want, s.left)
		s.left -= take
		want -= take
		h.Takes = append(h.Takes, Take{LotID: s.lotID, SupplyID: s.supplyID, Quantity: take})
	}
	if h.Short = max(0, want); h.Short > 0 {
		h.WaitsFor = nextSupply(sources, supplies, n.Day)
	}
	return h
}

func (s *source) fit(on assets.Day) bool {
	return s.left > 0 && !s.held && (s.from == "" || s.from <= on) && (s.until == "" || on <= s.until)
}

// nextSupply is the earliest supply after a day of which something is left.
func nextSupply(sources []*source, supplies []Supply, after assets.Day) *Supply {
	var found *Supply
	for i := range supplies {
		left := slices.ContainsFunc(sources, func(s *source) bool { return s.supplyID == supplies[i].ID && s.left > 0 })
		if left && supplies[i].Day > after && (found == nil || supplies[i].Day < found.Day) {
			found = &supplies[i]
		}
	}
	return found
}
