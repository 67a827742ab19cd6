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
)

// packed is what one van works with, by piece of kit, by kit without a number and by item of stock.
type packed struct {
	kit    map[int64][]WeekWork
	named  map[string][]string // kit that orders name in words, or need and name no piece for
	amount map[int64]float64
	of     map[int64][]string
}

// packing adds up the kit and stock of the visits of one van; of plants whose stores whoever asks may not see nothing is told.
func (r *Request) packing(f *WeekFacts, routes []crew.Route, nth int) []packLine {
	p := packed{kit: map[int64][]WeekWork{}, named: map[string][]string{}, amount: map[int64]float64{}, of: map[int64][]string{}}
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
		if q, ok := assets.QuantityOf(p.amount[item.ID]); ok && q > 0 {
			out = append(out, packLine{What: item.Name, Amount: item.Unit.Of(q), For: strings.Join(p.of[item.ID], ", ")})
		}
	}
	return out
}

// carrier is the van that brings what an order takes: that of whoever is named first, though people come from several homes; -1: none.
func carrier(routes []crew.Route, w WeekWork) int {
	if len(w.Order.PlacedPeople) == 0 {
		return -1
	}
	return slices.IndexFunc(routes, func(r crew.Route) bool { return slices.Contains(r.People, w.Order.PlacedPeople[0]) })
}

// add takes in what an order needs.
func (p *packed) add(f *WeekFacts, w WeekWork) {
	for _, id := range w.Order.PlacedTools {
		p.kit[id] = append(p.kit[id], w)
	}
	if w.Order.PlacedKit != "" {
		p.named[w.Order.PlacedKit] = append(p.named[w.Order.PlacedKit], w.short())
	}
	t, ok := assets.TemplateFor(f.Templates, f.Plants[w.Window.PlantID].CustomerID, string(w.Order.Kind), w.Form, w.Bond)
	if !ok {
		return
	}
	if len(w.Order.PlacedTools) == 0 && w.Order.PlacedKit == "" {
		for _, n := range t.Kit {
			p.named[n.Class+", no piece named"] = append(p.named[n.Class+", no piece named"], w.short())
		}
	}
	for _, n := range t.Stock {
		p.amount[n.ItemID] += n.PerSplice + n.PerMWidth*w.WidthM
		p.of[n.ItemID] = append(p.of[n.ItemID], w.short())
	}
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
