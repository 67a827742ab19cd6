package web

import (
	"maps"
	"slices"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// changedRow is one thing that the work of an order changed.
type changedRow struct{ Says, To, Word string }

// orderDone adds to the page of an order that is done what its work used and changed, and how it was signed.
func (s *Site) orderDone(r *Request, file *OrderFile, v fleetView, p *orderPage) error {
	o := file.Order
	if o.State != workorder.Done && o.State != workorder.Signed {
		return nil
	}
	done, err := s.Orders.Changed(r.Context(), r.Scope, o)
	if err != nil {
		return err
	}
	for _, sp := range done.Splices {
		p.Changed = append(p.Changed, r.splicesChanged(sp, v, o)...)
	}
	if len(p.Pressed) == 0 {
		r.offerPress(&p.Page, done.Splices, o)
	}
	if r.May(people.ReadStores) {
		if p.Used, err = s.usedOn(r, done); err != nil {
			return err
		}
	}
	for _, number := range slices.Sorted(maps.Values(done.Raised)) {
		p.Changed = append(p.Changed, changedRow{Says: "Raised by its press cycle:", To: r.At("orders", number), Word: "inspection " + plainInt(number)})
	}
	if o.State == workorder.Signed {
		p.Ticket = ticketWords(r, done)
	}
	return nil
}

// ticketWords says by which ticket work was signed: "Hot vulcanising, valid to 31 May 2028".
func ticketWords(r *Request, done *OrderDone) string {
	switch {
	case done.Ticket == "":
		return ""
	case done.TicketUntil == "":
		return done.Ticket + ", valid until further notice"
	}
	return done.Ticket + ", valid to " + r.F.PlainDay(done.TicketUntil)
}

// offerPress leads from an order whose splice was pressed to where its cycle is recorded, while none is.
func (r *Request) offerPress(p *Page, splices []assets.Splice, o workorder.Order) {
	for _, sp := range splices {
		hot := sp.Bond == assets.BondHotPressed || sp.Bond == assets.BondHotVulcanised
		if sp.MadeOrderID == o.ID && sp.Ended == nil && hot {
			r.Offer(p, "Record its press cycle", "splices/:splice/press", o.State == workorder.Done, sp.ID)
			return
		}
	}
}

func (r *Request) splicesChanged(sp assets.Splice, v fleetView, o workorder.Order) []changedRow {
	var rows []changedRow
	link := changedRow{To: r.At("splices", sp.ID), Word: "splice " + sp.Number}
	if sp.RetiredOrderID == o.ID {
		link.Says = "Ended, " + string(sp.RetiredWhy) + pick(sp.FailureMode == "", "", " ("+sp.FailureMode+")") + ":"
		rows = append(rows, link)
	}
	if sp.MadeOrderID == o.ID {
		link.Says = Capital(v.madeWords(sp)) + ", " + assets.KindWords(sp.Form, sp.Bond) + ", all its clocks from 0:"
		rows = append(rows, link)
	}
	return rows
}

// usedOn is the stock an order took, lot by lot, and what it wore on kit.
func (s *Site) usedOn(r *Request, done *OrderDone) ([]Fact, error) {
	var facts []Fact
	if len(done.Counts) > 0 {
		kits, err := s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now)
		if err != nil {
			return nil, err
		}
		for _, n := range done.Counts {
			if k, known := kits.Of(n.KitID); known {
				facts = append(facts, Fact{k.Name, r.wore(n, kits)})
			}
		}
	}
	for _, m := range done.Taken {
		it := done.Items[m.ItemID]
		says := r.quantity(it, -m.Quantity)
		if m.Quantity > 0 {
			says = r.quantity(it, m.Quantity) + " came back"
		}
		lot := done.Lots[m.LotID]
		if lot.Lot != "" {
			says += "; lot " + lot.Lot
		}
		if lot.GoodUntil != "" {
			says += " good until " + r.F.PlainDay(lot.GoodUntil)
		}
		facts = append(facts, Fact{it.Name, says})
	}
	return facts, nil
}

// wore says what a job moved a counter by: "press cycles, 1 more".
func (r *Request) wore(n assets.KitCount, kits *KitRoom) string {
	for _, c := range kits.Counters[n.KitID] {
		if c.ID == n.CounterID {
			return joinWords(string(c.Counts), c.Part, Short(n.Quantity, 1)+" more")
		}
	}
	return Short(n.Quantity, 1) + " more on a counter it has no more"
}
