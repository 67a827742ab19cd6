package web

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/people"
	"carryside/schedule/stock"
)

// packed is what one van works with, by piece of kit, by kit without a number and by item of stock.
type packed struct {
	kit    map[int64][]WeekWork
	named  map[string][]string // kit that orders name in words, or need and name no piece for
	amount map[int64]assets.Quantity
	of     map[int64][]string
	from   map[int64][]drawn
}

// packing adds up the kit and stock of the visits of one van; of plants whose stores whoever asks may not see nothing is told.
func (r *Request) packing(f *WeekFacts, routes []crew.Route, nth int) []packLine {
	p := packed{kit: map[int64][]WeekWork{}, named: map[string][]string{}, amount: map[int64]assets.Quantity{}, of: map[int64][]string{}, from: map[int64][]drawn{}}
	p.stock(f, routes, nth, r.drawn(f))
	for _, w := range f.Work {
		plant := f.Plants[w.Window.PlantID]
		if carrier(routes, w) == nth && r.Who.May(people.ReadStores, plant.CustomerID, plant.ID) {
			p.add(f, w)
		}
	}
	var out []packLine
	for _, id := range slices.SortedFunc(maps.Keys(p.kit), func(a, b int64) int { return cmp.Or(cmp.Compare(f.kitName(a), f.kitName(b)), cmp.Compare(a, b)) }) {
		var names []string
		for _, w := range p.kit[id] {
			names = append(names, w.short())
		}
		out = append(out, packLine{What: Capital(f.kitName(id)), For: strings.Join(names, ", "), From: r.kitFrom(f, routes, nth, id, p.kit[id][0])})
	}
	for _, name := range slices.Sorted(maps.Keys(p.named)) {
		out = append(out, packLine{What: Capital(name), For: strings.Join(p.named[name], ", ")})
	}
	for _, item := range f.Items {
		if q := p.amount[item.ID]; q > 0 {
			out = append(out, packLine{What: item.Name, Amount: item.Unit.Of(q), For: strings.Join(p.of[item.ID], ", "), From: f.drawnFrom(item, p.from[item.ID], r.forAll(people.ReadStores))})
		}
	}
	return out
}

// bare says why a van packs nothing: what its orders take goes with other vans, or nothing is named for them.
func (f *WeekFacts) bare(routes []crew.Route, nth int) string {
	var vans []string
	for _, w := range f.Work {
		if at := carrier(routes, w); at >= 0 && at != nth && mans(routes[nth], w) && !slices.Contains(vans, f.crewName(routes[at])) {
			vans = append(vans, f.crewName(routes[at]))
		}
	}
	if len(vans) == 0 {
		return "Nothing is named for these orders."
	}
	return "What these orders take goes with the van of " + strings.Join(vans, " and that of ") + "."
}

// carrier is the van that brings what an order takes: that of whoever is named first, though people come from several homes; -1: none.
func carrier(routes []crew.Route, w WeekWork) int {
	if len(w.Order.PlacedPeople) == 0 {
		return -1
	}
	return slices.IndexFunc(routes, func(r crew.Route) bool { return slices.Contains(r.People, w.Order.PlacedPeople[0]) })
}

// add takes in what an order needs: the pieces it is placed with, and the classes its work asks for of which none is named. Words stand for
// themselves only where nobody named a piece: beside pieces they are the names these had when the plan was published.
func (p *packed) add(f *WeekFacts, w WeekWork) {
	named := map[string]bool{}
	for _, id := range w.Order.PlacedTools {
		p.kit[id] = append(p.kit[id], w)
		named[f.Kit[id].Class] = true
	}
	if len(named) == 0 && w.Order.PlacedKit != "" {
		p.named[w.Order.PlacedKit] = append(p.named[w.Order.PlacedKit], w.short())
		return
	}
	t, ok := assets.TemplateFor(f.Templates, f.Plants[w.Window.PlantID].CustomerID, string(w.Order.Kind), w.Form, w.Bond)
	if !ok {
		return
	}
	for _, n := range t.Kit {
		if !named[n.Class] {
			p.named[n.Class+", no piece named"] = append(p.named[n.Class+", no piece named"], w.short())
		}
	}
}

// drawn is what an order takes of an item: from the plant it is at, else from the depot; short is what neither has.
type drawn struct {
	work               WeekWork
	item               int64
	there, load, short assets.Quantity
}

// drawn works out where the work of the week takes its stock from, order by order as it begins: what lies at a plant is used there first, and
// nothing is taken twice. Of plants whose stores whoever asks may not see nothing is told.
func (r *Request) drawn(f *WeekFacts) []drawn {
	left := slices.Clone(f.Lots)
	work := slices.Clone(f.Work)
	slices.SortStableFunc(work, func(a, b WeekWork) int { return cmp.Compare(a.begins(), b.begins()) })
	var out []drawn
	for _, w := range work {
		plant := f.Plants[w.Window.PlantID]
		t, ok := assets.TemplateFor(f.Templates, plant.CustomerID, string(w.Order.Kind), w.Form, w.Bond)
		if !ok || !r.Who.May(people.ReadStores, plant.CustomerID, plant.ID) {
			continue
		}
		on := assets.DayOf(w.Window.Start.Time().In(plant.Location()))
		for _, n := range t.Stock {
			i := slices.IndexFunc(f.Items, func(it assets.StockItem) bool { return it.ID == n.ItemID })
			want, fits := assets.QuantityOf(n.PerSplice + n.PerMWidth*w.WidthM)
			if i < 0 || !fits || want <= 0 {
				continue
			}
			d := drawn{work: w, item: n.ItemID}
			d.there = takeOut(f.Items[i], left, want, on, func(l stock.Lot) bool { return l.PlantID == plant.ID && plant.ID != 0 })
			d.load = takeOut(f.Items[i], left, want-d.there, on, func(l stock.Lot) bool {
				return l.PlantID == 0 && (l.CustomerID == 0 || l.CustomerID == plant.CustomerID)
			})
			d.short = want - d.there - d.load
			out = append(out, d)
		}
	}
	return out
}

// takeOut takes a quantity out of the lots of one place and tells how much of it there was.
func takeOut(item assets.StockItem, left []stock.Lot, want assets.Quantity, on assets.Day, at func(stock.Lot) bool) (taken assets.Quantity) {
	var lots []stock.Lot
	for _, l := range left {
		if l.ItemID == item.ID && at(l) {
			lots = append(lots, l)
		}
	}
	lines, short := stock.Pick(item, lots, want, on)
	for _, line := range lines {
		left[slices.IndexFunc(left, func(l stock.Lot) bool { return l.ID == line.LotID })].OnHand += line.Quantity
	}
	return want - short
}

// stock adds up what the work of one van takes.
func (p *packed) stock(f *WeekFacts, routes []crew.Route, nth int, all []drawn) {
	for _, d := range all {
		if carrier(routes, d.work) == nth {
			p.amount[d.item] += d.there + d.load + d.short
			p.of[d.item] = append(p.of[d.item], d.work.short())
			p.from[d.item] = append(p.from[d.item], d)
		}
	}
}

// drawnFrom says of an item what is to be loaded and where, what lies at the plants already, and what is missing. To whom the depot is not
// shown it is not told what it has.
func (f *WeekFacts) drawnFrom(item assets.StockItem, list []drawn, depot bool) string {
	var load, short assets.Quantity
	there, plants := map[int64]assets.Quantity{}, []int64(nil)
	for _, d := range list {
		load, short = load+d.load, short+d.short
		if d.there > 0 {
			if there[d.work.Window.PlantID] == 0 {
				plants = append(plants, d.work.Window.PlantID)
			}
			there[d.work.Window.PlantID] += d.there
		}
	}
	var words []string
	if !depot {
		load, short = 0, load+short
	}
	if load > 0 {
		words = append(words, "load "+item.Unit.Of(load)+" at the depot")
	}
	for _, id := range plants {
		words = append(words, item.Unit.Of(there[id])+" at "+f.place(id)+" already")
	}
	switch {
	case short > 0 && depot:
		words = append(words, item.Unit.Of(short)+" missing: on no shelf there or at the depot")
	case short > 0:
		words = append(words, item.Unit.Of(short)+" to bring along: not on a shelf there")
	}
	return strings.Join(words, "; ")
}

// kitFrom says where a van gets a piece of kit that it needs first for an order. A piece is in one place at a time: it stands at its home, or
// another van has it from a visit before.
func (r *Request) kitFrom(f *WeekFacts, routes []crew.Route, nth int, id int64, first WeekWork) string {
	k, known := f.Kit[id]
	if known && k.Home == first.Window.PlantID && k.Home != 0 {
		return "there already"
	}
	var last *WeekWork
	for i := range f.Work {
		w := &f.Work[i]
		if w.begins() < first.begins() && slices.Contains(w.Order.PlacedTools, id) && (last == nil || w.begins() > last.begins()) {
			last = w
		}
	}
	if last == nil || carrier(routes, *last) == nth || carrier(routes, *last) < 0 {
		return f.place(k.Home)
	}
	there := Format{Zone: f.Plants[last.Window.PlantID].Location(), Now: r.Now}
	return "the van of " + f.crewName(routes[carrier(routes, *last)]) + ", after " + there.Date(last.Window.Start) + " at " + f.place(last.Window.PlantID)
}

// kitName is what a piece of kit is called.
func (f *WeekFacts) kitName(id int64) string {
	return cmp.Or(f.Kit[id].Name, fmt.Sprintf("kit %d", id))
}

// begins is when work on an order begins: as placed, else with its stop.
func (w WeekWork) begins() assets.Instant {
	if w.Order.PlacedStart != nil {
		return *w.Order.PlacedStart
	}
	return w.Window.Start
}

// short is an order with its conveyor: "412 Q3".
func (w WeekWork) short() string {
	return strings.TrimSpace(fmt.Sprintf("%d %s", w.Order.Number, w.Tag))
}
