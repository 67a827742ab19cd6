package web

import (
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// Depot is the storeroom of the service company itself.
type Depot struct {
	Items  []assets.StockItem // of the company's list
	Lots   []stock.Lot        // empty ones too
	Ledger Ledger
}

// depotPage answers: what lies in the company's own depot, what came and went there, and what can be sent to this plant?
type depotPage struct {
	Page
	Empty *Empty
	Lots  []depotRow
	Lines []ledgerRow
	Pager Pager
}

type depotRow struct {
	Lot, To, What, OnHand, GoodTo, Shelf, Says string
	Bad                                        bool
}

func (s *Site) depot(r *Request) error {
	p := &depotPage{}
	p.Sheet, p.Say = "Depot", "The depot is the service company's own"
	p.Sub = "Belt, cloth and spares that no plant has yet. What is sent to a plant comes to it in one booking, under the same lot number and date."
	if !r.forAll(people.ReadStores) {
		p.Empty = &Empty{What: "Nothing of the depot is shown with a grant for some plants", Why: "It serves the plants of every customer. Ask whoever keeps the company's stores."}
		return r.Show("depot", p)
	}
	from := r.firstRow()
	d, err := s.StoreBook.Depot(r.Context(), r.Scope, from, rowsAPage)
	if err != nil {
		return err
	}
	keeps := r.forAll(people.KeepStores)
	there := 0
	for _, l := range d.Lots {
		if l.OnHand == 0 {
			continue
		}
		there++
		it := d.Ledger.Items[l.ItemID]
		row := depotRow{Lot: l.Lot, What: it.Name, OnHand: r.quantity(it, l.OnHand), GoodTo: goodTo(r, l), Shelf: l.Shelf, Says: l.Why(r.F.Today()), Bad: !l.Fit(r.F.Today())}
		if keeps {
			row.To = r.At("stores/depot/book") + "?lot=" + plainInt(l.ID)
		}
		p.Lots = append(p.Lots, row)
	}
	p.Lines, p.Pager = r.ledgerRows(&d.Ledger), r.pagerFrom(from, len(d.Ledger.Lines), d.Ledger.All)
	p.Say = pick(there == 0, "Nothing lies in the depot", Capital(Count(there, "lot lies", "lots lie"))+" in the depot")
	if keeps {
		p.Do = []Action{{Word: "Book a delivery to the depot", To: r.At("stores/depot/receive"), Main: true}}
	}
	if there == 0 && d.Ledger.All == 0 {
		p.Empty = &Empty{What: "Nothing was booked in the depot yet", Why: "Book what lies there; it can then be sent to a plant, and the ledger tells where it went.", Do: p.Do}
	}
	return r.Show("depot", p)
}

// depotNotKept sends those who keep the stores of some plants only to the page that says whose the depot is.
const depotNotKept = "The depot is kept with a grant for all; nothing was booked."

// depotReceive books a delivery into a new lot of the depot.
func (s *Site) depotReceive(r *Request) error {
	if !r.forAll(people.KeepStores) {
		return r.Done(r.At("stores/depot"), depotNotKept)
	}
	d, err := s.StoreBook.Depot(r.Context(), r.Scope, 0, 1)
	if err != nil {
		return err
	}
	room := &Room{Items: d.Items, Today: r.F.Today()}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Book it", Leave: r.At("stores/depot")}
		p.Sheet, p.Say = "Depot", "Book a delivery to the depot"
		p.section("", f.Select("item", "Item", "", itemOptions(room)).Must().OverBoth(), f.Number("amount", "How much", "", "").Must().Hinted("In the item's own unit, as the list names it"),
			f.Text("lot", "Lot or roll number", "").Must(), f.Date("good_until", "Good until", "").Hinted("Empty: from its shelf life, counted from today"), f.Text("shelf", "Shelf", ""))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		e.offered("item", "choose an item from the list")
		i := slices.IndexFunc(d.Items, func(it assets.StockItem) bool { return it.ID == e.id("item") })
		if i < 0 {
			e.bad.Add("item", "choose an item from the list")
			return "", "", e.Err()
		}
		item := d.Items[i]
		q := e.mustAmount("amount", item)
		lot := assets.StockLot{ItemID: item.ID, Lot: e.must("lot", "the lot or roll number"), GoodUntil: e.day("good_until"), Shelf: e.text("shelf"), WidthM: item.WidthM}
		if lot.GoodUntil == "" && item.ShelfLifeDays > 0 {
			lot.GoodUntil = room.Today.AddDays(item.ShelfLifeDays)
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := asAmount(s.StoreBook.BookDepot(r.Context(), r.Scope, r.act("receive stock in the depot", ""), &lot, []assets.StockMovement{{Quantity: q, Why: assets.MoveReceived}}))
		return r.At("stores/depot"), r.quantity(item, q) + " of " + item.Name + " booked into lot " + lot.Lot + " of the depot.", err
	})
}

// What is done with a lot of the depot.
const (
	depotSend  = "send"
	depotCount = "count"
	depotScrap = "scrap"
)

// depotBook sends from a lot of the depot to this plant, counts it or writes some of it off.
func (s *Site) depotBook(r *Request) error {
	if !r.forAll(people.KeepStores) {
		return r.Done(r.At("stores/depot"), depotNotKept)
	}
	d, err := s.StoreBook.Depot(r.Context(), r.Scope, 0, 1)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Book it", Leave: r.At("stores/depot")}
		p.Sheet, p.Say = "Depot", "Send from the depot, count it or write off"
		options := []Option{{Label: "choose a lot"}}
		for _, l := range d.Lots {
			it := d.Ledger.Items[l.ItemID]
			options = append(options, Option{Value: plainInt(l.ID), Label: fmt.Sprintf("%s of %s, %s there", l.Lot, it.Name, r.quantity(it, l.OnHand))})
		}
		p.section("", f.Select("depot_lot", "Lot", r.Query("lot"), options).Must().OverBoth(),
			f.Radio("deed", "What was done", depotSend, []Option{{Value: depotSend, Label: "sent to " + r.Plant.Plant.Name}, {Value: depotCount, Label: "counted"}, {Value: depotScrap, Label: "scrapped"}}).Must(),
			f.Number("amount", "How much", "", "").Must().Hinted("In the item's own unit; counted: what really lies there"), f.Text("shelf", "Shelf at the plant", "").Hinted("Where it is sent"),
			f.Text("reason", "Reason", "").Hinted("Of a difference counted, or of what is scrapped").OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		i := slices.IndexFunc(d.Lots, func(l stock.Lot) bool { return l.ID == e.id("depot_lot") })
		if i < 0 {
			e.bad.Add("depot_lot", "choose a lot from the list")
			return "", "", e.Err()
		}
		lot := d.Lots[i]
		return r.At("stores/depot"), "Booked on lot " + lot.Lot + " of the depot.", asAmount(s.onDepotLot(e, lot, d.Ledger.Items[lot.ItemID]))
	})
}

func (s *Site) onDepotLot(e *entry, lot stock.Lot, item assets.StockItem) error {
	deed := oneOf(e, "deed", "say what was done", depotSend, depotCount, depotScrap)
	e.must("amount", "how much")
	q, why := e.amount("amount", item), e.text("reason")
	if q < 0 || q == 0 && deed != depotCount {
		e.bad.Add("amount", "give a quantity above 0")
	}
	if deed != depotSend && why == "" {
		e.bad.Add("reason", "give the reason: it stands in the ledger")
	}
	if deed == depotCount && q == lot.OnHand {
		e.bad.Add("amount", "this is what the lot holds by the ledger; nothing is to be booked")
	}
	if err := e.Err(); err != nil {
		return err
	}
	r := e.r
	switch deed {
	case depotSend:
		into := lot.StockLot
		into.Version, into.CustomerID, into.PlantID, into.Shelf, into.CutFromID = assets.Version{}, 0, r.PlantID(), e.text("shelf"), 0
		return s.StoreBook.PutAside(r.Context(), r.Scope, r.act("send stock from the depot", why), lot, &into, q, assets.MoveMoved, 0)
	case depotCount:
		return s.StoreBook.BookDepot(r.Context(), r.Scope, r.act("count stock in the depot", why), nil, []assets.StockMovement{{LotID: lot.ID, Quantity: q - lot.OnHand, Why: assets.MoveCounted, Reason: why}})
	}
	return s.StoreBook.BookDepot(r.Context(), r.Scope, r.act("scrap stock in the depot", why), nil, []assets.StockMovement{{LotID: lot.ID, Quantity: -q, Why: assets.MoveScrapped, Reason: why}})
}
