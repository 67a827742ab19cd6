package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// This file is the accepted orders of a horizon that stand in no stop.

// left are the accepted orders due on the sheet that stand in no stop, as published and as whoever looks moved them, the first due first.
func (sh *sheetOf) left() []workorder.Order {
	var out []workorder.Order
	until := assets.DayOf(sh.until)
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if o.State == workorder.Accepted && o.ConveyorID != 0 && !sh.stands(o) && o.LatestDay <= until {
			out = append(out, o)
		}
	}
	slices.SortStableFunc(out, func(x, y workorder.Order) int {
		return cmp.Or(strings.Compare(dueKey(x.LatestDay), dueKey(y.LatestDay)), cmp.Compare(x.Number, y.Number))
	})
	return out
}

// stands tells whether an order has a stop.
func (sh *sheetOf) stands(o workorder.Order) bool {
	_, placed := sh.at[o.ID]
	return placed || o.WindowID != 0
}

// without lists them with why each has none, leading to its move; to the order where whoever looks may not move it.
func (sh *sheetOf) without(list []workorder.Order) []horizonLeft {
	var out []horizonLeft
	for _, o := range list {
		l := horizonLeft{Name: sh.orderName(o), To: sh.r.At("orders", o.Number), Why: []string{Capital(sh.h.Sheet.WhyNoStop(o.ID))}}
		if o.LatestDay != "" {
			l.Name += ", by " + sh.r.F.Day(o.LatestDay)
		}
		if sh.r.May(people.PlanOrders) {
			l.To = sh.r.At("horizon", "move") + fmt.Sprintf("?order=%d", o.Number)
		}
		out = append(out, l)
	}
	return out
}

// withoutSay says in the headline how many have none, and when the first of them is due.
func withoutSay(list []workorder.Order, f Format) string {
	if len(list) == 0 {
		return ""
	}
	say := Count(len(list), "accepted order has", "accepted orders have") + " no stop"
	if list[0].LatestDay != "" {
		say += ", " + pick(len(list) == 1, "due ", "the first due ") + f.PlainDay(list[0].LatestDay)
	}
	return say
}

// bareAnswer is the answer about an order that stands in no stop and is asked to go into none.
func (sh *sheetOf) bareAnswer(m askedMove, a horizon.Answer) *moveAnswer {
	return &moveAnswer{Head: fmt.Sprintf("Order %d stands in no stop", m.order.Number), Says: capitals([]string{sh.h.Sheet.WhyNoStop(m.order.ID)}), Help: capitals(a.Help)}
}

// bare tells whether an order is in no stop, by nobody's plan and no move of whoever looks, and none is asked for.
func (sh *sheetOf) bare(m askedMove) bool {
	return m.stop == 0 && !sh.stands(m.order) && !slices.ContainsFunc(sh.moves, func(d assets.DraftMove) bool { return d.OrderID == m.order.ID })
}

// stopChoices are the stops an order may be done in, the nearest first, and the one asked about.
func (sh *sheetOf) stopChoices(m askedMove) []Option {
	var out []Option
	if !sh.bare(m) {
		out = append(out, Option{Value: "0", Label: "no stop: take it out", Chosen: m.stop == 0})
	}
	ids := sh.h.Sheet.Stops(m.order.ID)
	if m.stop != 0 && !slices.Contains(ids, m.stop) {
		out = append(out, Option{Value: plainInt(m.stop), Label: sh.stopLabel(m.kept), Chosen: true})
	}
	for _, id := range ids {
		if w, ok := sh.h.stop(id); ok {
			out = append(out, Option{Value: plainInt(id), Label: sh.stopLabel(w), Chosen: id == m.stop})
		}
	}
	return out
}

// stops are the stops of the sheet in numbers, the same that its rows, its crew and its presses draw.
func (sh *sheetOf) stops() []horizonStop {
	var out []horizonStop
	for _, w := range sh.h.Facts.Plants[0].Stops {
		if w.Answer.Given() == assets.AnswerRefused || !w.Start.Time().Before(sh.until) {
			continue
		}
		b := sh.h.Sheet.Booked(w.ID, sh.at)
		row := horizonStop{Name: sh.r.F.Stamp(w.Start), Where: Capital(stopWhere(sh.v.Register, w))}
		if sh.r.May(people.ReadStores) {
			row.Kit = sh.kitNames(b.Kit)
		}
		row.To, _ = sh.r.Link("stops/:stop", w.ID)
		row.Booked = Short(b.Work.Hours(), 1) + " of " + Duration(stopHours(w))
		if !w.Agreed() {
			row.Booked = Duration(stopHours(w)) + ", asked for and not agreed"
		}
		var orders, crew []string
		for _, id := range b.Orders {
			if o, ok := sh.h.order(id); ok {
				orders = append(orders, sh.orderName(o))
			}
		}
		for _, p := range sh.h.People {
			if slices.Contains(b.People, p.ID) {
				crew = append(crew, p.Name)
			}
		}
		row.Orders, row.Crew = strings.Join(orders, "; "), List(crew)
		out = append(out, row)
	}
	return out
}
