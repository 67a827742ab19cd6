package web

import (
	"fmt"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// stockItemPage answers: how much of an item is here, which lot goes out next, who holds it, and why is its reorder point
// what it is?
type stockItemPage struct {
	Page
	Facts    []fact
	Working  []fact
	Ordering []fact // why so much is to be ordered
	Class    string
	Metre    []metreRow
	Lots     []stockLotRow
	Held     []heldRow
	Lines    []ledgerRow
	Pager    Pager
	Sums     string
}

type stockLotRow struct {
	Lot, OnHand, GoodTo, Shelf, Says string
	Bad                              bool
	Do                               []Link
}

type heldRow struct {
	Order Link
	What  string
	Day   string
	Takes string
	State string
	Bad   bool
}

type ledgerRow struct{ When, What, Lot, Quantity, Why, Order, OrderTo, By string }

// itemAsked reads the item an address names with its outlook at the plant.
func (s *Site) itemAsked(r *Request) (stock.Outlook, *Room, error) {
	id, err := r.ID("item")
	if err != nil {
		return stock.Outlook{}, nil, err
	}
	item, err := s.StoreBook.StoreItem(r.Context(), r.Scope, id)
	if err != nil {
		return stock.Outlook{}, nil, err
	}
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return stock.Outlook{}, nil, err
	}
	o, ok := room.outlook(id)
	if !ok {
		o = stock.Outlook{Item: item, Keeping: stock.KeepingOf(item, nil)}
	}
	return o, room, nil
}

func (s *Site) stockItem(r *Request) error {
	o, room, err := s.itemAsked(r)
	if err != nil {
		return err
	}
	from := r.firstRow()
	ledger, err := s.StoreBook.Ledger(r.Context(), r.Scope, r.PlantID(), o.Item.ID, from, rowsAPage)
	if err != nil {
		return err
	}
	p := &stockItemPage{Class: string(o.Keeping.Class) + ", " + o.Keeping.Class.Words()}
	p.Sheet, p.Say = "Stores and kit", r.itemSay(o, room)
	p.Sub = Capital(string(o.Item.Kind)) + ", kept by the " + unitWord(o.Item.Unit) + pick(o.Item.Ended, "; no longer kept", "") + "."
	r.Offer(&p.Page, "Change the item", "stores/items/:item/edit", false, o.Item.ID)
	r.Offer(&p.Page, "How it is kept here", "stores/items/:item/policy", false, o.Item.ID)
	r.Offer(&p.Page, "Order some", "stores/items/:item/order", false, o.Item.ID)
	if to, ok := r.Link("stores/receive"); ok {
		p.Do = append(p.Do, Action{Word: "Book a delivery", To: to + "?item=" + plainInt(o.Item.ID), Main: true})
	}
	p.Facts, p.Working, p.Ordering = r.itemFacts(o), r.itemWorking(o, room), r.itemOrdering(o)
	if o.Item.InCuts() {
		p.Metre = r.metre(o, r.At("stores/cutting")+"?item="+plainInt(o.Item.ID))
	}
	for _, l := range o.Lots {
		p.Lots = append(p.Lots, r.stockLot(o.Item, l, room.Today))
	}
	for _, h := range o.Held {
		p.Held = append(p.Held, r.held(o, h))
	}
	p.Lines = r.ledgerRows(ledger)
	p.Pager, p.Sums = r.pagerFrom(from, len(ledger.Lines), ledger.All), r.sums(o, ledger)
	return r.Show("stockitem", p)
}

func unitWord(u assets.StockUnit) string {
	return map[assets.StockUnit]string{assets.UnitMetre: "metre", assets.UnitSquareM: "square metre", assets.UnitKilogram: "kilogram", assets.UnitLitre: "litre"}[u] + pick(u == assets.UnitPiece || u == assets.UnitSet, string(u), "")
}

func (r *Request) itemSay(o stock.Outlook, room *Room) string {
	here := o.Item.Name + ": " + r.quantity(o.Item, o.OnHand) + " here"
	switch {
	case len(o.Wait) > 0:
		return here + ", " + Figure(len(o.Wait), "order waits for more", "orders wait for more")
	case o.OrderDay != "" && o.OrderDay <= room.Today:
		return here + ", order " + r.quantity(o.Item, o.Order) + " now"
	case o.OrderDay != "" && o.OrderDay <= room.Today.AddDays(nearDays):
		return here + ", order " + r.quantity(o.Item, o.Order) + " by " + r.F.PlainDay(o.OrderDay)
	}
	return here + ", nothing has to be ordered soon"
}

func (r *Request) itemFacts(o stock.Outlook) []fact {
	facts := []fact{{"On hand and fit", r.quantity(o.Item, o.OnHand)}, {"Held by placed orders", r.quantity(o.Item, o.Reserved)}, {"Free", r.quantity(o.Item, o.Free)}, {"Coming", r.quantity(o.Item, o.Coming)}}
	if o.Unfit > 0 {
		facts = append(facts, fact{"Out of date or held back", r.quantity(o.Item, o.Unfit)})
	}
	if o.Item.PackQuantity > 0 {
		facts = append(facts, fact{"Supplied in", r.quantity(o.Item, o.Item.PackQuantity)})
	}
	if o.Item.ShelfLifeDays > 0 {
		facts = append(facts, fact{"Shelf life", Figure(o.Item.ShelfLifeDays, "day", "days")})
	}
	if o.Item.CostPerUnit > 0 && r.May(people.ReadCosts) {
		facts = append(facts, fact{"Costs", Short(o.Item.CostPerUnit, 2) + " a " + unitWord(o.Item.Unit)})
	}
	return facts
}

// itemWorking shows how the reorder point comes about.
func (r *Request) itemWorking(o stock.Outlook, room *Room) []fact {
	l := o.Level
	if room.Demand == nil || l.ServiceLevel == 0 {
		return nil
	}
	facts := []fact{
		{"Lead time", Figure(o.Keeping.LeadTimeDays, "day", "days")},
		{"Planned orders in that time take", r.quantity(o.Item, l.Planned)},
		{"Expected failures take", r.quantity(o.Item, l.Expected)},
		{"and with " + Percent(l.ServiceLevel) + " not more than", r.quantity(o.Item, l.Unplanned)},
		{"Stays on hand as a spare", r.quantity(o.Item, l.Spare)},
		{"Reorder point", r.quantity(o.Item, l.Point)},
	}
	if o.Keeping.FixedPoint > 0 {
		facts = append(facts, fact{"Set by a person", o.Keeping.Source})
	}
	return facts
}

// itemOrdering shows how much is to be ordered, and why so much.
func (r *Request) itemOrdering(o stock.Outlook) []fact {
	if o.Order == 0 {
		return nil
	}
	facts := []fact{{"It lasts to", r.F.PlainDay(o.Cover.Day)}, {"Then to be left", r.quantity(o.Item, o.Cover.Least)}, {"Left then without it", r.quantity(o.Item, o.Cover.Left)}}
	if point := o.Level.Point - o.OnHand - o.Coming; o.Below && point > o.Cover.Least-o.Cover.Left {
		facts = append(facts, fact{"Up to the reorder point now", r.quantity(o.Item, point)})
	}
	if o.LowDay != "" {
		facts = append([]fact{{"First day with too little", r.F.PlainDay(o.LowDay)}}, facts...)
	}
	whole := "the next whole " + string(o.Item.Unit)
	if o.Item.PackQuantity > 0 {
		whole = "whole packs of " + r.quantity(o.Item, o.Item.PackQuantity)
	}
	return append(facts, fact{"So order", r.quantity(o.Item, o.Order) + ", " + whole})
}

func (r *Request) stockLot(item assets.StockItem, l stock.Lot, today assets.Day) stockLotRow {
	row := stockLotRow{Lot: l.Lot, OnHand: r.quantity(item, l.OnHand), GoodTo: goodTo(r, l), Shelf: l.Shelf, Says: l.Why(today), Bad: !l.Fit(today)}
	if l.WidthM > 0 {
		row.Shelf = strings.TrimPrefix(row.Shelf+", "+r.F.Width(l.WidthM)+" wide", ", ")
	}
	if l.CutFromID != 0 {
		row.Shelf = strings.TrimPrefix(row.Shelf+", offcut", ", ")
	}
	for _, do := range lotDeeds {
		if do.cuts && !item.InCuts() {
			continue
		}
		if to, ok := r.Link("stores/lots/:lot/"+do.path, l.ID); ok {
			row.Do = append(row.Do, Link{Word: do.word, To: to})
		}
	}
	return row
}

// lotDeeds are what is done with a lot, in the order of its row.
var lotDeeds = []struct {
	path, word string
	cuts       bool // only of what is cut from rolls
}{{"issue", "Issue", false}, {"return", "Take back", false}, {"count", "Count", false}, {"scrap", "Scrap", false}, {"offcut", "Offcut", true}, {"move", "Move", false}, {"edit", "Change", false}}

func (r *Request) held(o stock.Outlook, h stock.Held) heldRow {
	row := heldRow{Order: Link{Word: strconv.FormatInt(h.Number, 10), To: r.At("orders", h.Number)}, What: h.Words, Day: r.F.Day(h.Day), State: pick(h.Placed, "held", "reckoned with, no stop yet")}
	var takes []string
	for _, t := range h.Takes {
		from := "a supply to come"
		for _, l := range o.Lots {
			if l.ID == t.LotID {
				from = "lot " + l.Lot
			}
		}
		takes = append(takes, r.quantity(o.Item, t.Quantity)+" of "+from)
	}
	if h.Short > 0 {
		row.Bad = true
		lack := r.quantity(o.Item, h.Short) + " lacking"
		if h.WaitsFor != nil {
			lack += fmt.Sprintf(", supply order %d comes on %s", h.WaitsFor.Number, r.F.PlainDay(h.WaitsFor.Day))
		}
		takes = append(takes, lack)
	}
	row.Takes = strings.Join(takes, ", ")
	return row
}

func (r *Request) ledgerRows(l *Ledger) []ledgerRow {
	var out []ledgerRow
	for _, m := range l.Lines {
		row := ledgerRow{When: r.F.Stamp(m.At), What: l.Items[m.ItemID].Name, Lot: l.Lots[m.LotID].Lot, Quantity: r.quantity(l.Items[m.ItemID], m.Quantity), Why: string(m.Why), By: l.People[m.PersonID]}
		if m.Quantity > 0 {
			row.Quantity = "+" + row.Quantity
		}
		if m.Reason != "" {
			row.Why += ": " + m.Reason
		}
		if n := l.Orders[m.OrderID]; n != 0 {
			row.Order, row.OrderTo = strconv.FormatInt(n, 10), r.At("orders", n)
		}
		out = append(out, row)
	}
	return out
}

// sums says what the lines shown add up to, where they are all there are.
func (r *Request) sums(o stock.Outlook, l *Ledger) string {
	if len(l.Lines) == 0 || len(l.Lines) < l.All {
		return ""
	}
	held, outside := stock.Balance(l.Lines)
	var parts []string
	for _, why := range assets.MovementWhys {
		if q := -outside[why]; q != 0 {
			parts = append(parts, string(why)+" "+r.quantity(o.Item, q))
		}
	}
	say := "All lines: " + strings.Join(parts, ", ") + "; together " + r.quantity(o.Item, held)
	if lots := o.OnHand + o.Unfit; lots != held {
		return say + ", but the lots hold " + r.quantity(o.Item, lots) + ". Run carryside verify and count this shelf."
	}
	return say + ", which is what the lots hold."
}

// ledgerPage answers: what came, what went, by whom and for which order?
type ledgerPage struct {
	Page
	Lines []ledgerRow
	Pager Pager
}

func (s *Site) stockLedger(r *Request) error {
	from := r.firstRow()
	l, err := s.StoreBook.Ledger(r.Context(), r.Scope, r.PlantID(), 0, from, rowsAPage)
	if err != nil {
		return err
	}
	p := &ledgerPage{Lines: r.ledgerRows(l), Pager: r.pagerFrom(from, len(l.Lines), l.All)}
	p.Sheet, p.Say = "Stores and kit", "No stock was moved yet"
	if l.All > 0 {
		p.Say = Capital(Count(l.All, "movement of stock is", "movements of stock are")) + " booked here"
	}
	p.Sub = "Lines are added and never changed: what was booked wrong is booked back with a reason."
	return r.Show("stockledger", p)
}
