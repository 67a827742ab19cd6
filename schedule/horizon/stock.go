package horizon

import (
	"slices"

	"carryside/assets"
)

// This file is what stock the orders of a sheet can count on.

// place is where stock lies or goes, and whose depot it is where it is one: 0 the service company's.
type place struct{ plant, customer int64 }

// stock is what lies at the plants of the sheet and at the depot, fit for use today, and what is on its way there. Of several plants one
// that has enough for all its own orders takes from its own shelf, and no other plant from that; the others of a customer share theirs and
// that customer's part of the depot. What a customer owns is nobody else's. Of what the service company has in the depot each customer is dealt
// what it lacks, in the order of the plants.
func (f *Facts) stock(plants []Plant) []Item {
	least := leastTaken(plants)
	made := int64(0) // shelves that count as items of their own, numbered below nought
	var out []Item
	for _, it := range f.Items {
		if len(plants) == 1 {
			p := &plants[0]
			out = append(out, f.item(it, least[it.ID], func(at place) bool {
				return at.plant == p.ID || at.plant == 0 && (at.customer == 0 || at.customer == p.Customer)
			}))
			continue
		}
		var lacking []*Plant
		for i := range plants {
			p := &plants[i]
			wanted := p.wants(it.ID)
			if wanted == 0 {
				continue
			}
			own := f.item(it, least[it.ID], func(at place) bool { return at.plant == p.ID })
			if own.lasting() < wanted {
				lacking = append(lacking, p)
				continue
			}
			made--
			own.ID, own.Name = made, it.Name+" at "+p.Name
			p.takeFrom(it.ID, own.ID)
			out = append(out, own)
		}
		shared := f.item(it, least[it.ID], func(at place) bool { return at == place{} })
		for customer, list := range byCustomer(lacking) {
			own := f.item(it, least[it.ID], func(at place) bool {
				return at.plant == 0 && at.customer == customer && customer != 0 || slices.ContainsFunc(list, func(p *Plant) bool { return p.ID == at.plant })
			})
			made--
			own.ID = made
			wanted := int64(0)
			for _, p := range list {
				wanted += p.wants(it.ID)
				p.takeFrom(it.ID, own.ID)
			}
			if len(lacking) == len(list) { // nobody else asks for it
				wanted = shared.OnHand + shared.arriving() + own.lasting()
			}
			own.deal(&shared, wanted-own.lasting())
			out = append(out, own)
		}
	}
	return out
}

// byCustomer visits the plants of each customer, in the order of the first of each.
func byCustomer(plants []*Plant) func(func(int64, []*Plant) bool) {
	return func(visit func(int64, []*Plant) bool) {
		var seen []int64
		for _, p := range plants {
			if slices.Contains(seen, p.Customer) {
				continue
			}
			seen = append(seen, p.Customer)
			list := slices.DeleteFunc(slices.Clone(plants), func(o *Plant) bool { return o.Customer != p.Customer })
			if !visit(p.Customer, list) {
				return
			}
		}
	}
}

// deal moves so much from another item: first what lasts, then what expires, then what is on its way.
func (x *Item) deal(from *Item, quantity int64) {
	n := max(0, min(quantity, from.lasting()))
	x.OnHand, from.OnHand, quantity = x.OnHand+n, from.OnHand-n, quantity-n
	part := func(list *[]Arrival, gone func(Arrival)) {
		slices.SortStableFunc(*list, func(a, b Arrival) int { return a.At.Compare(b.At) })
		for i := range *list {
			a := Arrival{At: (*list)[i].At, Quantity: max(0, min(quantity, (*list)[i].Quantity))}
			if a.Quantity == 0 {
				continue
			}
			quantity -= a.Quantity
			(*list)[i].Quantity -= a.Quantity
			gone(a)
		}
		*list = slices.DeleteFunc(*list, func(a Arrival) bool { return a.Quantity == 0 })
	}
	part(&from.Expire, func(a Arrival) {
		x.OnHand, from.OnHand = x.OnHand+a.Quantity, from.OnHand-a.Quantity
		x.Expire = append(x.Expire, a)
	})
	part(&from.Arrivals, func(a Arrival) { x.Arrivals = append(x.Arrivals, a) })
	if x.Late == "" {
		x.Late = from.Late
	}
}

// arriving is what of an item is on its way.
func (x *Item) arriving() int64 {
	sum := int64(0)
	for _, a := range x.Arrivals {
		sum += a.Quantity
	}
	return sum
}

// wants is how much of an item all orders of a plant take.
func (p *Plant) wants(item int64) int64 {
	var sum int64
	for _, o := range p.Orders {
		for _, n := range o.Stock {
			if n.Item == item {
				sum += n.Quantity
			}
		}
	}
	return sum
}

// takeFrom lets the orders of a plant take from another item.
func (p *Plant) takeFrom(item, other int64) {
	for k := range p.Orders {
		for n := range p.Orders[k].Stock {
			if p.Orders[k].Stock[n].Item == item {
				p.Orders[k].Stock[n].Item = other
			}
		}
	}
}

// lasting is what of the quantity on hand does not go out of date on the sheet.
func (x *Item) lasting() int64 {
	left := x.OnHand
	for _, e := range x.Expire {
		left -= e.Quantity
	}
	return left
}

// item is what of an item lies at some places, and is on its way there. What goes in cuts, each of them in one piece, does not count where an
// end is shorter than the smallest cut that an order takes.
func (f *Facts) item(it assets.StockItem, least int64, at func(place) bool) Item {
	today := assets.DayOf(f.Now.UTC())
	p := Item{ID: it.ID, Name: it.Name, Unit: it.Unit}
	for _, l := range f.Lots {
		if l.ItemID != it.ID || !l.Fit(today) || !at(place{l.PlantID, l.CustomerID}) || it.InCuts() && int64(l.OnHand) < least {
			continue
		}
		p.OnHand += int64(l.OnHand)
		if at, err := l.GoodUntil.End(f.zoneOf(l.PlantID)); l.GoodUntil != "" && err == nil && at.Before(f.Until) {
			p.Expire = append(p.Expire, Arrival{At: at, Quantity: int64(l.OnHand)})
		}
	}
	for _, s := range f.Supply {
		if s.ItemID != it.ID || s.Outstanding() <= 0 || s.ExpectedDay == "" || !at(place{s.PlantID, s.CustomerID}) {
			continue
		}
		switch at, err := s.ExpectedDay.End(f.zoneOf(s.PlantID)); {
		case err != nil:
		case !at.After(f.Now): // when it comes is not known any more
			p.Late = it.Unit.Of(s.Outstanding()) + " of " + it.Name + " were to come by " + dayWords(s.ExpectedDay) + " and have not; give the supply order a new date"
		default:
			p.Arrivals = append(p.Arrivals, Arrival{At: at, Quantity: int64(s.Outstanding())})
		}
	}
	return p
}
