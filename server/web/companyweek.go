package web

import (
	"cmp"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/server/web/drawing"
)

// fillWeek fills in the visits of a week crew by crew as the plan has them, and what each van takes along: the week of the crews, with
// what is proposed beside what is published.
func (p *companyPlanPage) fillWeek(r *Request, h *HorizonView, at horizon.Placements, monday time.Time, choice *planChoice) {
	facts := h.week(at, monday, monday.AddDate(0, 0, 7))
	begin, err := assets.DayOf(monday).Midnight(facts.Zone)
	if err != nil {
		begin = monday
	}
	p.Laid, p.Begin = true, begin.Format("2\u00a0Jan\u00a02006")
	p.Before, p.After = choice.inWeek(monday.AddDate(0, 0, -7)), choice.inWeek(monday.AddDate(0, 0, 7))
	drawn := drawing.RouteWeek{From: begin, To: begin.AddDate(0, 0, 7), Zone: facts.Zone}
	routes := facts.routes()
	for i, route := range routes {
		row := facts.routeRow(route)
		for k := range row.Visits {
			p.Proposed = p.Proposed || row.Visits[k].Proposed
		}
		drawn.Rows = append(drawn.Rows, row)
		p.Vans = append(p.Vans, r.van(facts, routes, i))
		p.Visits += len(route.Visits)
	}
	if len(drawn.Rows) > 0 {
		drawn.Sentence = "Week from " + p.Begin + ", crew by crew: " + Figure(p.Visits, "visit", "visits") + ". The same facts are in the tables below."
		p.Drawing = drawing.OfRoutes(drawn)
	}
}

// firstVisit is when somebody is sent to a plant for the first time from now on; now where nobody is: a page that opens on an empty week
// hides the plan.
func (v *HorizonView) firstVisit(at horizon.Placements, now time.Time) time.Time {
	first := time.Time{}
	for _, p := range at {
		if w, ok := v.stop(p.StopID); ok && len(p.Crew) > 0 && w.End.Time().After(now) && (first.IsZero() || w.Start.Time().Before(first)) {
			first = w.Start.Time()
		}
	}
	if first.IsZero() {
		return now
	}
	return first
}

// overall sums a plan over plants against the published one.
func (v *HorizonView) overall(with horizon.Placements) []fact {
	stands := func(at horizon.Placements) (placed, without int) {
		for i := range v.Facts.Plants {
			for _, o := range v.Facts.Plants[i].Orders {
				switch _, in := at[o.ID]; {
				case in:
					placed++
				case v.Sheet.Holds(o.ID):
					without++
				}
			}
		}
		return placed, without
	}
	was, wasOut := stands(v.At)
	is, isOut := stands(with)
	return []fact{
		{"Orders in a stop", arrow(Int(int64(was)), Int(int64(is)))},
		{"Orders without one", arrow(Int(int64(wasOut)), Int(int64(isOut)))},
		{"The plan costs", v.costWords(v.Sheet.Cost(with).Total() - v.Sheet.Cost(v.At).Total())},
	}
}

// week is what the week of the crews is made of, with the orders where placements have them.
func (v *HorizonView) week(at horizon.Placements, from, to time.Time) *WeekFacts {
	f := &WeekFacts{Members: v.Facts.Members, Ways: v.Facts.Ways, Templates: v.Facts.Templates, Names: v.Facts.Names, Items: v.Facts.Items, Lots: v.Facts.Lots,
		Plants: map[int64]assets.Plant{}, Kit: map[int64]WeekKit{}, Zone: time.UTC}
	if z, err := time.LoadLocation(v.Facts.Company.Zone); err == nil {
		f.Zone = z
	}
	for i := range v.Facts.Plants {
		f.Plants[v.Facts.Plants[i].Register.Plant.ID] = v.Facts.Plants[i].Register.Plant
	}
	for _, k := range v.Kit {
		f.Kit[k.ID] = WeekKit{Name: k.Name, Class: k.Class, Home: k.Home}
	}
	for _, id := range sortedByStart(at) {
		if w, ok := v.stop(at[id].StopID); ok && w.Start.Time().Before(to) && w.End.Time().After(from) {
			f.Work = append(f.Work, v.weekWork(id, at[id], w))
		}
	}
	return f
}

// weekWork is an order as a placement has it.
func (v *HorizonView) weekWork(id int64, p horizon.Placement, w assets.StopWindow) WeekWork {
	o, _ := v.order(id)
	reg := v.Facts.Plants[v.plantOf(id)].Register
	conveyor, _ := reg.Conveyor(o.ConveyorID)
	splice, _ := reg.Splice(o.SpliceID)
	belt, ok := reg.Belt(cmp.Or(o.BeltID, splice.BeltID))
	if list := reg.BeltsOf(o.ConveyorID); !ok && len(list) > 0 {
		belt = list[0]
	}
	work := WeekWork{Window: w, Tag: conveyor.Tag, WidthM: belt.WidthM, Form: splice.Form, Bond: splice.Bond, Proposed: o.WindowID != p.StopID}
	o.PlacedPeople, o.PlacedTools, o.PlacedKit = nil, p.Kit, ""
	for _, m := range p.Crew {
		o.PlacedPeople = append(o.PlacedPeople, m.PersonID)
	}
	o.PlacedStart = nil
	if !p.Start.IsZero() {
		start := assets.InstantOf(p.Start)
		o.PlacedStart = &start
	}
	work.Order = o
	return work
}

// sortedByStart lists orders by when their work begins.
func sortedByStart(at horizon.Placements) []int64 {
	var ids []int64
	for id := range at {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b int64) int { return cmp.Or(at[a].Start.Compare(at[b].Start), cmp.Compare(a, b)) })
	return ids
}
