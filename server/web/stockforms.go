package web

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// amount adds a field for a quantity of an item, in the plant's units.
func (f *Form) amount(name, label string, item assets.StockItem, q assets.Quantity) *Field {
	if field := stockField(item.Unit); field != nil && f.Plain.us() {
		return f.Quantity(name, label, *field, q.Float(), nil)
	}
	return f.Number(name, label, plainNumber(q.Float()), string(item.Unit))
}

// amount reads it; empty gives 0.
func (e *entry) amount(name string, item assets.StockItem) assets.Quantity {
	var v float64
	if field := stockField(item.Unit); field != nil && e.r.F.us() {
		v = e.quantity(name, *field)
	} else {
		v = e.numberIn(name, string(item.Unit))
	}
	q, ok := assets.QuantityOf(v)
	if !ok {
		e.bad.Add(name, "this is more than a plant can have; check the digits")
	}
	return q
}

// numberIn reads a number behind which its unit may stand; another unit is refused by the name of the right one.
func (e *entry) numberIn(name, sign string) float64 {
	text := e.text(name)
	bare := strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(text, "s"), sign))
	if text != bare {
		if _, _, err := unit.ParseNumber(bare); err == nil {
			e.f.Get(name).Value = bare
			return e.number(name)
		}
	}
	if strings.ContainsFunc(text, unicode.IsLetter) {
		e.bad.Add(name, fmt.Sprintf("%q is not in the unit of this item; give the number of %ss alone, such as 12.5", text, unitWord(assets.StockUnit(sign))))
		return 0
	}
	return e.number(name)
}

// mustAmount refuses nothing and less.
func (e *entry) mustAmount(name string, item assets.StockItem) assets.Quantity {
	q := e.amount(name, item)
	if q <= 0 {
		e.bad.Add(name, "give a quantity above 0")
	}
	return q
}

// asAmount puts what the ledger says of a quantity beside the field that holds it: in forms of findings a quantity is what
// was measured.
func asAmount(err error) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad["quantity"] == "" {
		return err
	}
	out := assets.Invalid{}
	for field, message := range bad {
		out.Add(pick(field == "quantity", "amount", field), message)
	}
	return out
}

// lotAsked reads the lot an address names with its item and its room.
func (s *Site) lotAsked(r *Request) (stock.Lot, stock.Outlook, *Room, error) {
	id, err := r.ID("lot")
	if err != nil {
		return stock.Lot{}, stock.Outlook{}, nil, err
	}
	lot, err := s.StoreBook.StoreLot(r.Context(), r.Scope, id)
	if err = r.ofPlant(lot.PlantID, err); err != nil {
		return lot, stock.Outlook{}, nil, err
	}
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return lot, stock.Outlook{}, nil, err
	}
	o, ok := room.outlook(lot.ItemID)
	if !ok {
		err = fmt.Errorf("the item of lot %d: %w", id, assets.ErrNotFound)
	}
	return lot, o, room, err
}

// lotForm is a form about one lot: its page is the same for all that is done with it.
type lotForm struct {
	save, say, done string
	fields          func(f *Form, l stock.Lot, o stock.Outlook, room *Room) []*Field
	book            func(e *entry, l stock.Lot, o stock.Outlook, room *Room) error
	says            string
}

func (s *Site) onLot(r *Request, lf lotForm) error {
	lot, o, room, err := s.lotAsked(r)
	if err != nil {
		return err
	}
	back := r.At("stores/items", o.Item.ID)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: lf.save, Leave: back, FactsOf: "The lot"}
		p.Sheet, p.Say = "Stores and kit", fmt.Sprintf(lf.say, lot.Lot, o.Item.Name)
		if lf.says != "" {
			p.Says = []string{lf.says}
		}
		p.Facts = []fact{{"On hand", r.quantity(o.Item, lot.OnHand)}, {"Good to", goodTo(r, lot)}}
		if lot.Shelf != "" {
			p.Facts = append(p.Facts, fact{"Shelf", lot.Shelf})
		}
		if why := lot.Why(room.Today); why != "" {
			p.Facts = append(p.Facts, fact{"Not to be used", why})
		}
		f.version(lot.Version)
		f.Hidden("seen", plainInt(int64(lot.OnHand)))
		p.section("", lf.fields(f, lot, o, room)...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		if err := e.stillSeen(plainInt(int64(lot.OnHand)), "the lot holds "+r.quantity(o.Item, lot.OnHand)+" now, not what it held when this form was opened"); err != nil {
			return "", "", err
		}
		if err := asAmount(lf.book(e, lot, o, room)); err != nil {
			return "", "", err
		}
		return back, fmt.Sprintf(lf.done, lot.Lot), nil
	})
}

// stillSeen refuses a booking when what its form was opened on has changed since: the second press of a button must not book twice. The form
// then comes back with what was typed and stands on what there is now.
func (e *entry) stillSeen(now, said string) error {
	fd := e.f.Get("seen")
	if fd == nil || fd.Value == "" || fd.Value == now {
		return nil
	}
	fd.Value = now
	return assets.Invalid{"": said + "; look whether this was booked already, and send it again only if it was not"}
}

// orderOptions are the open orders, for a choice.
func orderOptions(room *Room, none string) []Option {
	out := []Option{{Label: none}}
	for _, o := range room.Demand.Orders {
		out = append(out, Option{Value: plainInt(o.ID), Label: strconv.FormatInt(o.Number, 10) + ", " + room.Orders[o.Number]})
	}
	return out
}

// openOrder reads the order chosen; 0 for none.
func (e *entry) openOrder() int64 {
	e.offered("order_id", "choose one of the open orders")
	return e.id("order_id")
}

func (s *Site) issueLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Issue it", say: "Issue from lot %s of %s", done: "Issued from lot %s.",
		says: "The lot that goes out of date first goes out first. One out of date, held back or before its turn goes out only with a reason.",
		fields: func(f *Form, l stock.Lot, o stock.Outlook, room *Room) []*Field {
			order, q := heldOn(l, o)
			return []*Field{f.amount("amount", "How much", o.Item, q).Must(), f.Select("order_id", "For order", order, orderOptions(room, "no order")),
				f.At("at", "When", assets.InstantOf(r.Now)), f.Text("reason", "Reason", "").Hinted("Needed without an order, and where another lot goes out of date first").OverBoth()}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, room *Room) error {
			q, reason, at, order := e.mustAmount("amount", o.Item), e.text("reason"), e.moment("at"), e.openOrder()
			if err := e.Err(); err != nil {
				return err
			}
			lines, err := stock.FromLot(o.Item, o.Lots, l.ID, q, room.Today, reason)
			if l.OnHand == 0 {
				err = assets.Invalid{"amount": "nothing is left of this lot"}
			}
			if err != nil {
				return err
			}
			lines[0].OrderID, lines[0].At = order, at
			return s.StoreBook.Book(r.Context(), r.Scope, r.act("issue stock", reason), r.PlantID(), lines)
		}})
}

// heldOn is the first order that holds something of a lot, and how much.
func heldOn(l stock.Lot, o stock.Outlook) (order string, q assets.Quantity) {
	for _, h := range o.Held {
		for _, t := range h.Takes {
			if t.LotID == l.ID && h.Placed {
				return plainInt(h.OrderID), t.Quantity
			}
		}
	}
	return "", 0
}

func (s *Site) returnLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Take it back", say: "Take back to lot %s of %s", done: "Taken back to lot %s.",
		fields: func(f *Form, _ stock.Lot, o stock.Outlook, room *Room) []*Field {
			return []*Field{f.amount("amount", "How much came back", o.Item, 0).Must(), f.Select("order_id", "From order", "", orderOptions(room, "no order")),
				f.At("at", "When", assets.InstantOf(r.Now)), f.Text("reason", "Note", "").Hinted("Needed without an order: where it was").OverBoth()}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, _ *Room) error {
			q, at, order := e.mustAmount("amount", o.Item), e.moment("at"), e.openOrder()
			if order == 0 && e.text("reason") == "" {
				e.bad.Add("reason", "name the order it comes back from, or say where it was")
			}
			if err := s.mostBack(r, e, l, o.Item, q); err != nil {
				return err
			}
			if err := e.Err(); err != nil {
				return err
			}
			return s.StoreBook.Book(r.Context(), r.Scope, r.act("take stock back", ""), r.PlantID(),
				[]assets.StockMovement{{LotID: l.ID, Quantity: q, Why: assets.MoveReturned, OrderID: order, At: at, Reason: e.text("reason")}})
		}})
}

// mostBack refuses more back than went out of a lot and did not come back yet.
func (s *Site) mostBack(r *Request, e *entry, l stock.Lot, item assets.StockItem, q assets.Quantity) error {
	ledger, err := s.StoreBook.Ledger(r.Context(), r.Scope, r.PlantID(), l.ItemID, 0, 0)
	if err != nil {
		return err
	}
	var out assets.Quantity
	for _, m := range ledger.Lines {
		if m.LotID == l.ID && (m.Why == assets.MoveIssued || m.Why == assets.MoveReturned) {
			out -= m.Quantity
		}
	}
	if q > out {
		e.bad.Add("amount", "only "+r.quantity(item, max(0, out))+" of this lot went out and did not come back; what else lies there is a delivery or a count")
	}
	return nil
}

func (s *Site) countLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Keep the count", say: "Count lot %s of %s", done: "Lot %s is counted.",
		says: "The difference is booked as found or missed, with your name and reason. A count that agrees books nothing.",
		fields: func(f *Form, l stock.Lot, o stock.Outlook, _ *Room) []*Field {
			f.Hidden("held", plainInt(int64(l.OnHand))) // what it held when somebody went to count
			return []*Field{f.amount("amount", "Counted", o.Item, 0).Must().Hinted("What really lies there, 0 for nothing"),
				f.Text("reason", "Reason for a difference", "").Hinted("Where it may have gone, or come from").OverBoth()}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, _ *Room) error {
			e.must("amount", "what was counted, 0 for nothing")
			q := e.amount("amount", o.Item)
			if q < 0 {
				e.bad.Add("amount", "a count is 0 or more")
			}
			if err := e.Err(); err != nil {
				return err
			}
			if e.text("held") != plainInt(int64(l.OnHand)) {
				return assets.ErrConflict
			}
			if q == l.OnHand {
				return assets.Invalid{"amount": "this is what the lot holds by the ledger; nothing is to be booked"}
			}
			return s.StoreBook.Book(r.Context(), r.Scope, r.act("count stock", e.text("reason")), r.PlantID(),
				[]assets.StockMovement{{LotID: l.ID, Quantity: q - l.OnHand, Why: assets.MoveCounted, Reason: e.text("reason")}})
		}})
}

func (s *Site) scrapLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Scrap it", say: "Scrap from lot %s of %s", done: "Scrapped from lot %s.",
		fields: func(f *Form, l stock.Lot, o stock.Outlook, _ *Room) []*Field {
			return []*Field{f.amount("amount", "How much", o.Item, l.OnHand).Must(), f.At("at", "When", assets.InstantOf(r.Now)),
				f.Text("reason", "Reason", "").Must().Hinted("Out of date, torn, wet").OverBoth()}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, _ *Room) error {
			q, at, reason := e.mustAmount("amount", o.Item), e.moment("at"), e.must("reason", "the reason: it stands in the ledger")
			if err := e.Err(); err != nil {
				return err
			}
			return s.StoreBook.Book(r.Context(), r.Scope, r.act("scrap stock", reason), r.PlantID(),
				[]assets.StockMovement{{LotID: l.ID, Quantity: -q, Why: assets.MoveScrapped, Reason: reason, At: at}})
		}})
}

func (s *Site) offcutLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Keep the offcut", say: "Keep an offcut of lot %s of %s", done: "The offcut of lot %s is kept as a lot of its own.",
		says: "What is left on the roll is the roll's; an offcut is a piece that lies by itself. It keeps the roll's date.",
		fields: func(f *Form, l stock.Lot, o stock.Outlook, _ *Room) []*Field {
			return []*Field{f.amount("amount", "Length of the offcut", o.Item, 0).Must(), f.Text("lot", "Mark on it", "").Must().Hinted("e.g. " + l.Lot + "-1"),
				f.Quantity("width_m", "Width, where it was slit", unit.Width, 0, nil), f.Text("shelf", "Shelf", l.Shelf)}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, _ *Room) error {
			into := l.StockLot
			into.Version, into.CutFromID = assets.Version{}, l.ID
			q := e.mustAmount("amount", o.Item)
			into.Lot, into.Shelf = e.must("lot", "the mark on the offcut"), e.text("shelf")
			if w := e.notBelowNought("width_m", "a width", unit.Width); w > 0 {
				into.WidthM = w
			}
			if err := e.Err(); err != nil {
				return err
			}
			return s.StoreBook.PutAside(r.Context(), r.Scope, r.act("keep an offcut", ""), l, &into, q, assets.MoveCut, 0)
		}})
}

func (s *Site) moveLot(r *Request) error {
	places, err := s.otherPlaces(r)
	if err != nil {
		return err
	}
	return s.onLot(r, lotForm{save: "Move it", say: "Move from lot %s of %s", done: "Moved from lot %s.",
		says: "What leaves this plant comes to the other in one booking, under the same lot number and date.",
		fields: func(f *Form, l stock.Lot, o stock.Outlook, _ *Room) []*Field {
			return []*Field{f.amount("amount", "How much", o.Item, 0).Must(), f.Select("to", "To", "", places).Must(), f.Text("shelf", "Shelf there", "")}
		},
		book: func(e *entry, l stock.Lot, o stock.Outlook, _ *Room) error {
			into := l.StockLot
			into.Version, into.CustomerID, into.Shelf, into.CutFromID = assets.Version{}, 0, e.text("shelf"), 0
			q := e.mustAmount("amount", o.Item)
			e.must("to", "the plant it goes to")
			e.offered("to", "choose a place from the list")
			into.PlantID = e.id("to")
			if err := e.Err(); err != nil {
				return err
			}
			return s.StoreBook.PutAside(r.Context(), r.Scope, r.act("move stock", ""), l, &into, q, assets.MoveMoved, 0)
		}})
}

// otherPlaces are the plants whose stores whoever asks keeps too, and the depot for a grant for all.
func (s *Site) otherPlaces(r *Request) ([]Option, error) {
	plants, err := s.Plants.PlantList(r.Context(), r.Scope)
	if err != nil {
		return nil, err
	}
	out := []Option{{Label: "choose a place"}, {Value: plainInt(r.PlantID()), Label: "here, another shelf"}}
	for _, p := range plants {
		if p.Plant.ID != r.PlantID() && r.Who.May(people.KeepStores, p.Plant.CustomerID, p.Plant.ID) {
			out = append(out, Option{Value: plainInt(p.Plant.ID), Label: p.Plant.Name})
		}
	}
	if r.forAll(people.KeepStores) {
		out = append(out, Option{Value: "0", Label: "the depot"})
	}
	return out, nil
}

func (s *Site) editLot(r *Request) error {
	return s.onLot(r, lotForm{save: "Keep the change", say: "Change what is known of lot %s of %s", done: "Lot %s is changed.",
		fields: func(f *Form, l stock.Lot, _ stock.Outlook, _ *Room) []*Field {
			return []*Field{f.Text("lot", "Lot or roll number", l.Lot).Must(), f.Date("good_until", "Good until", string(l.GoodUntil)).Hinted("The last day it may be used; empty: does not age"),
				f.Date("opened_day", "Opened on", string(l.OpenedDay)), f.Text("shelf", "Shelf", l.Shelf),
				f.Text("quarantined", "Held back because", l.Quarantined).Hinted("Empty: fit for use").OverBoth()}
		},
		book: func(e *entry, l stock.Lot, _ stock.Outlook, _ *Room) error {
			next := l.StockLot
			next.RowID = e.rowID()
			next.Lot, next.GoodUntil, next.OpenedDay, next.Shelf, next.Quarantined = e.must("lot", "the lot or roll number"), e.day("good_until"), e.day("opened_day"), e.text("shelf"), e.text("quarantined")
			if err := e.Err(); err != nil {
				return err
			}
			return s.StoreBook.SaveLot(r.Context(), r.Scope, r.act("change a lot", ""), &next)
		}})
}

// receive books a delivery, of an order to a supplier or without one.
func (s *Site) receive(r *Request) error {
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Book it", Leave: r.At("stores")}
		p.Sheet, p.Say = "Stores and kit", "Book a delivery"
		p.Says = []string{"A delivery is booked into a lot with its own number and date: what comes with another number is another lot."}
		f.Hidden("seen", plainInt(room.Movements))
		supply, item := r.Query("supply"), r.Query("item")
		var quantity assets.Quantity
		for _, so := range room.Supplies {
			if plainInt(so.ID) == supply {
				item, quantity = plainInt(so.ItemID), so.Outstanding()
			}
		}
		p.section("", f.Select("item", "Item", item, itemOptions(room)).Must().OverBoth(),
			f.Number("amount", "How much", plainNumber(quantity.Float()), "").Must().Hinted("In the item's own unit, as the list names it"),
			f.Text("lot", "Lot or roll number", "").Must(), f.Date("good_until", "Good until", "").Hinted("Empty: from its shelf life, counted from today"), f.Text("shelf", "Shelf", ""),
			f.Select("supply", "On order", supply, supplyOptions(r, room)).OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		return s.bookDelivery(r, room, e)
	})
}

func (s *Site) bookDelivery(r *Request, room *Room, e *entry) (string, string, error) {
	e.offered("item", "choose an item from the list")
	e.offered("supply", "choose an order from the list")
	itemID := e.id("item")
	for _, so := range room.Supplies { // what was ordered says which item it is
		if itemID == 0 && so.ID == e.id("supply") {
			itemID = so.ItemID
		}
	}
	i := slices.IndexFunc(room.Items, func(it assets.StockItem) bool { return it.ID == itemID })
	if i < 0 {
		e.bad.Add("item", "choose an item from the list")
		return "", "", e.Err()
	}
	item := room.Items[i]
	q := e.mustAmount("amount", item)
	lot := assets.StockLot{PlantID: r.PlantID(), ItemID: item.ID, Lot: e.must("lot", "the lot or roll number"), GoodUntil: e.day("good_until"), Shelf: e.text("shelf"), WidthM: item.WidthM}
	e.joinLot(r, room, &lot)
	if lot.GoodUntil == "" && item.ShelfLifeDays > 0 {
		lot.GoodUntil = room.Today.AddDays(item.ShelfLifeDays)
	}
	var supply *assets.SupplyOrder
	if id := e.id("supply"); id != 0 {
		so, err := s.StoreBook.StoreSupply(r.Context(), r.Scope, id)
		if err = r.ofPlant(so.PlantID, err); err != nil {
			return "", "", err
		}
		if so.ItemID != item.ID {
			e.bad.Add("supply", "this order is for another item")
		}
		supply = &so
	}
	if err := e.Err(); err != nil {
		return "", "", err
	}
	if err := e.stillSeen(plainInt(room.Movements), "something was booked here since this form was opened"); err != nil {
		return "", "", err
	}
	err := asAmount(s.StoreBook.Receive(r.Context(), r.Scope, r.act("receive stock", ""), supply, &lot, q, 0))
	said := r.quantity(item, q) + " of " + item.Name + " booked into lot " + lot.Lot + "."
	if lot.OutOfDate(room.Today) {
		said += " It was good until " + r.F.PlainDay(lot.GoodUntil) + " only: it is out of date, and no order takes from it."
	}
	return r.At("stores/items", item.ID), said, err
}

// joinLot makes a delivery under the number of a lot that lies here part of that lot; a lot has one date.
func (e *entry) joinLot(r *Request, room *Room, lot *assets.StockLot) {
	o, known := room.outlook(lot.ItemID)
	i := slices.IndexFunc(o.Lots, func(l stock.Lot) bool { return l.Lot == lot.Lot })
	if !known || i < 0 {
		return
	}
	held := o.Lots[i].StockLot
	if lot.GoodUntil != "" && lot.GoodUntil != held.GoodUntil {
		e.bad.Add("good_until", "lot "+held.Lot+" lies here already and is "+goodTo(r, o.Lots[i])+"; a lot has one date, so write another number or correct the date of that lot")
	}
	*lot = held
}

func itemOptions(room *Room) []Option {
	out := []Option{{Label: "choose an item"}}
	for _, it := range room.Items {
		if !it.Ended {
			out = append(out, Option{Value: plainInt(it.ID), Label: it.Name + ", by the " + unitWord(it.Unit)})
		}
	}
	return out
}

func supplyOptions(r *Request, room *Room) []Option {
	out := []Option{{Label: "none"}}
	for _, so := range room.Supplies {
		if so.State != assets.SupplyOrdered {
			continue
		}
		for _, it := range room.Items {
			if it.ID == so.ItemID {
				out = append(out, Option{Value: plainInt(so.ID), Label: fmt.Sprintf("%d: %s of %s, expected %s", so.Number, r.quantity(it, so.Outstanding()), it.Name, r.F.PlainDay(so.ExpectedDay))})
			}
		}
	}
	return out
}

// orderItem orders an item from a supplier.
func (s *Site) orderItem(r *Request) error {
	o, room, err := s.itemAsked(r)
	if err != nil {
		return err
	}
	so := assets.SupplyOrder{PlantID: r.PlantID(), ItemID: o.Item.ID, Quantity: o.Order, State: assets.SupplyOrdered, OrderedDay: room.Today, ExpectedDay: room.Today.AddDays(o.Keeping.LeadTimeDays)}
	return s.supplyForm(r, o.Item, so)
}

// editSupply changes an order to a supplier.
func (s *Site) editSupply(r *Request) error {
	id, err := r.ID("supply")
	if err != nil {
		return err
	}
	so, err := s.StoreBook.StoreSupply(r.Context(), r.Scope, id)
	if err = r.ofPlant(so.PlantID, err); err != nil {
		return err
	}
	item, err := s.StoreBook.StoreItem(r.Context(), r.Scope, so.ItemID)
	if err != nil {
		return err
	}
	return s.supplyForm(r, item, so)
}

func (s *Site) supplyForm(r *Request, item assets.StockItem, so assets.SupplyOrder) error {
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(so.ID == 0, "Keep the order", "Keep the change"), Leave: r.At("stores")}
		p.Sheet, p.Say = "Stores and kit", pick(so.ID == 0, "Order "+item.Name, fmt.Sprintf("Supply order %d, %s", so.Number, item.Name))
		p.Says = []string{"Carryside sends nothing to a supplier: order there as you always do, and keep it here so that orders know what they wait for."}
		if so.ID != 0 && so.State == assets.SupplyOrdered {
			if to, ok := r.Link("stores/receive"); ok {
				p.Do = append(p.Do, Action{Word: "Book a delivery of it", To: to + "?supply=" + plainInt(so.ID), Main: true})
			}
		}
		f.version(so.Version)
		p.section("", f.amount("amount", "How much", item, so.Quantity).Must(), f.Select("state", "State", string(so.State), supplyStates),
			f.Date("ordered_day", "Ordered on", string(so.OrderedDay)), f.Date("expected_day", "Expected on", string(so.ExpectedDay)),
			f.Text("supplier", "From", so.Supplier), f.Text("reference", "Their reference", so.Reference), f.Text("remark", "Remark", so.Remark).OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := so
		next.RowID = e.rowID()
		next.Quantity, next.OrderedDay, next.ExpectedDay = e.mustAmount("amount", item), e.day("ordered_day"), e.day("expected_day")
		next.State = oneOf(e, "state", "choose a state from the list", assets.SupplyStates...)
		next.Supplier, next.Reference, next.Remark = e.text("supplier"), e.text("reference"), e.text("remark")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := asAmount(s.StoreBook.SaveSupply(r.Context(), r.Scope, r.act(pick(so.ID == 0, "order from a supplier", "change a supply order"), ""), &next))
		return r.At("stores"), "Supply order kept: " + r.quantity(item, next.Quantity) + " of " + item.Name + ".", err
	})
}

var supplyStates = []Option{{Value: string(assets.SupplyAsked), Label: "asked for, to be ordered"}, {Value: string(assets.SupplyOrdered), Label: "ordered"},
	{Value: string(assets.SupplyReceived), Label: "all received"}, {Value: string(assets.SupplyCancelled), Label: "cancelled"}}

// itemPolicy says how an item is kept at the plant.
func (s *Site) itemPolicy(r *Request) error {
	o, _, err := s.itemAsked(r)
	if err != nil {
		return err
	}
	held, err := s.StoreBook.StorePolicy(r.Context(), r.Scope, r.PlantID(), o.Item.ID)
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("stores/items", o.Item.ID)}
		p.Sheet, p.Say = "Stores and kit", "How "+o.Item.Name+" is kept here"
		p.Says = []string{"Empty fields stand for the item's own figures. A reorder point set here replaces the computed one; say on what it rests."}
		f.version(held.Version)
		level := ""
		if held.ServiceLevel > 0 {
			level = plainNumber(held.ServiceLevel * 100)
		}
		p.section("", f.Number("lead_time_days", "Lead time", plainWhole(held.LeadTimeDays), "days"), f.Number("service_level", "Chance of not running out", level, "%"),
			f.amount("spare", "Stays on hand", o.Item, held.Spare), f.amount("fixed_point", "Reorder point", o.Item, held.FixedPoint),
			f.Select("class", "Class of evidence", string(held.Class), stockClasses), f.Text("source", "Source", held.Source))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := held
		next.PlantID, next.ItemID, next.RowID = r.PlantID(), o.Item.ID, e.rowID()
		next.LeadTimeDays, next.ServiceLevel = e.whole("lead_time_days", 1, 1000), e.number("service_level")/100
		next.Spare, next.FixedPoint, next.Source = e.amount("spare", o.Item), e.amount("fixed_point", o.Item), e.text("source")
		next.Class = oneOf(e, "class", "choose the class of evidence", assets.Classes...)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SavePolicy(r.Context(), r.Scope, r.act("say how stock is kept", ""), &next)
		return r.At("stores/items", o.Item.ID), "Kept.", err
	})
}

var stockClasses = []Option{{Value: "", Label: "choose"}, {Value: "A", Label: "A, maker's instruction or standard"}, {Value: "B", Label: "B, handbook"},
	{Value: "C", Label: "C, this plant's own history"}, {Value: "P", Label: "P, this plant's own decision"}, {Value: "D", Label: "D, rule of thumb"}}

// editItem adds an item to the company's list or changes one.
func (s *Site) editItem(r *Request) error {
	var item assets.StockItem
	if r.C.Param("item") != "" {
		id, err := r.ID("item")
		if err != nil {
			return err
		}
		if item, err = s.StoreBook.StoreItem(r.Context(), r.Scope, id); err != nil {
			return err
		}
	}
	specs, err := s.Catalogues.Specifications(r.Context())
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(item.ID == 0, "Add the item", "Keep the change"), Leave: r.At("stores")}
		p.Sheet, p.Say = "Stores and kit", pick(item.ID == 0, "Add an item to the list", "Change "+item.Name)
		p.Says = []string{"The list is the company's, the same for every plant. How an item is kept at one plant is said on its page there."}
		f.version(item.Version)
		p.section("", f.itemFields(item, specs)...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := item
		next.RowID = e.rowID()
		e.stockItem(&next)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StoreBook.SaveStoreItem(r.Context(), r.act(pick(item.ID == 0, "add an item of stock", "change an item of stock"), ""), &next)
		return r.At("stores/items", next.ID), next.Name + " is kept.", err
	})
}

func (f *Form) itemFields(it assets.StockItem, specs []assets.Specification) []*Field {
	level := ""
	if it.ServiceLevel > 0 {
		level = plainNumber(it.ServiceLevel * 100)
	}
	belts := []Option{{Value: "0", Label: "none"}}
	for _, sp := range specs {
		belts = append(belts, Option{Value: plainInt(sp.ID), Label: sp.Name})
	}
	return []*Field{f.Text("name", "Name", it.Name).Must(), f.Select("kind", "Kind", string(it.Kind), wordOptions(assets.StockKinds)), f.Select("unit", "Unit", string(it.Unit), wordOptions(assets.StockUnits)),
		f.Tick("critical", "Critical: one spare stays on hand", it.Critical), f.Number("shelf_life_days", "Shelf life", plainWhole(it.ShelfLifeDays), "days"),
		f.Number("lead_time_days", "Lead time", plainWhole(it.LeadTimeDays), "days"), f.Number("service_level", "Chance of not running out", level, "%").Hinted("While a supply is awaited; empty: 95 %"),
		f.Number("pack_quantity", "Supplied in packs of", plainNumber(it.PackQuantity.Float()), "").Hinted("In the item's unit: a roll of 50"),
		f.Select("specification", "Belt specification", plainInt(it.SpecificationID), belts), f.Quantity("width_m", "Width", unit.Width, it.WidthM, nil),
		f.Number("cost_per_unit", "Cost of one unit", plainNumber(it.CostPerUnit), ""), f.Select("class", "Class of lead time and service level", string(it.Class), stockClasses), f.Text("source", "Source", it.Source),
		f.Text("remark", "Remark", it.Remark).OverBoth(), f.Tick("ended", "No longer kept", it.Ended)}
}

func wordOptions[T ~string](words []T) []Option {
	out := make([]Option, len(words))
	for i, w := range words {
		out[i] = Option{Value: string(w), Label: string(w)}
	}
	return out
}

func (e *entry) stockItem(it *assets.StockItem) {
	it.Name = e.must("name", "the item's name")
	it.Kind = oneOf(e, "kind", "choose the kind from the list", assets.StockKinds...)
	it.Unit = oneOf(e, "unit", "choose the unit from the list", assets.StockUnits...)
	it.Critical, it.Ended = e.f.Ticked("critical"), e.f.Ticked("ended")
	it.ShelfLifeDays, it.LeadTimeDays, it.ServiceLevel = e.whole("shelf_life_days", 0, 20000), e.whole("lead_time_days", 0, 1000), e.number("service_level")/100
	pack, ok := assets.QuantityOf(e.number("pack_quantity"))
	if !ok {
		e.bad.Add("pack_quantity", "this is more than a pack can hold; check the digits")
	}
	it.PackQuantity, it.WidthM, it.CostPerUnit = pack, e.notBelowNought("width_m", "a width", unit.Width), e.number("cost_per_unit")
	it.SpecificationID = e.id("specification")
	e.offered("specification", "choose a specification from the list")
	it.Class, it.Source, it.Remark = assets.Class(e.text("class")), e.text("source"), e.text("remark")
}
