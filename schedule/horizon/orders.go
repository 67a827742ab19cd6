package horizon

import (
	"fmt"
	"math"
	"slices"
	"time"

	"carryside/schedule/plan"
)

// layOrders makes the jobs of the orders.
func (s *Sheet) layOrders() {
	for i := range s.in.Plants {
		p := &s.in.Plants[i]
		for k := range p.Orders {
			o := &p.Orders[k]
			why := s.unfit(o)
			if waits, release := s.waitUnfit(p, o); why == "" {
				if why = waits; release.After(o.NotBefore) {
					o.NotBefore = release
				}
			}
			if why != "" {
				s.Unplanned = append(s.Unplanned, Unplanned{OrderID: o.ID, Why: why})
				continue
			}
			s.jobOf[o.ID] = len(s.Case.Jobs)
			s.orders = append(s.orders, o)
			s.Case.Jobs = append(s.Case.Jobs, s.job(o, p))
		}
	}
	s.layWaits()
}

// unfit says why an order cannot be planned; "" when it can.
func (s *Sheet) unfit(o *Order) string {
	switch {
	case o.Lacks != "":
		return o.Lacks
	case o.Begun:
		return "its work has begun"
	case o.DurationMin <= 0:
		return "its hours of work are not given"
	}
	if _, ok := s.conveyors[o.ConveyorID]; !ok {
		return "its conveyor is not in use"
	}
	for _, n := range o.Stock {
		if _, ok := s.items[n.Item]; !ok {
			return fmt.Sprintf("stock item %d that it takes is not kept", n.Item)
		}
	}
	return ""
}

func (s *Sheet) job(o *Order, p *Plant) plan.Job {
	j := plan.Job{ID: fmt.Sprint(o.Number), Kind: o.Kind, Conveyor: s.conveyors[o.ConveyorID], Duration: o.DurationMin, Isolation: o.Isolation, Deadline: -1,
		Unplaced: max(1, whole(o.Date.LeftOut(s.in.Until)))}
	if len(s.in.Plants) > 1 {
		j.ID = fmt.Sprintf("%d of %s", o.Number, p.Name)
	}
	for _, n := range o.Crew {
		j.Crew = append(j.Crew, plan.CrewNeed{Qualification: s.ticket(n.Ticket, fmt.Sprintf("ticket %d", n.Ticket)), Number: n.Number})
	}
	for _, n := range o.Kit {
		j.Tools = append(j.Tools, plan.ToolNeed{Class: s.class(n.Class), WidthMM: n.WidthMM, HeatC: n.HeatC})
	}
	for _, n := range o.Stock {
		j.Stock = append(j.Stock, plan.StockNeed{Item: s.items[n.Item], Quantity: int(n.Quantity)})
	}
	if !o.NotBefore.IsZero() {
		j.Release = max(0, s.above(o.NotBefore))
	}
	if o.LatestDay != "" {
		j.Deadline = max(0, s.lastMinute(o.LatestDay, p.Zone))
	}
	j.Options = s.options(o, &j)
	if o.At != nil {
		s.stand(o, &j)
	}
	return j
}

// options are the windows an order may be done in, with what each costs. The best moment of all costs nothing.
func (s *Sheet) options(o *Order, j *plan.Job) []plan.Option {
	var out []plan.Option
	var costs []float64
	least := math.Inf(1)
	for w := range s.Case.Windows {
		if !s.stands(w, j) {
			continue
		}
		c := o.Date.Cost(s.workAt(w, j), s.in.Until)
		least = math.Min(least, c)
		out, costs = append(out, plan.Option{Window: w}), append(costs, c)
	}
	least = math.Min(least, s.bestCost(o))
	for i := range out {
		out[i].Cost = whole(costs[i] - least)
	}
	j.Unplaced = max(1, whole(o.Date.LeftOut(s.in.Until)-least))
	return out
}

// bestCost is the least an order would cost if the conveyor stood whenever it is wanted, looked at day by day.
func (s *Sheet) bestCost(o *Order) float64 {
	least := math.Inf(1)
	for t := s.From; t.Before(s.in.Until); t = t.Add(24 * time.Hour) {
		least = math.Min(least, o.Date.Cost(t, s.in.Until))
	}
	return least
}

// workAt is when work in a window begins at the earliest.
func (s *Sheet) workAt(w int, j *plan.Job) time.Time {
	start := s.Case.Windows[w].Start
	if j.Isolation {
		start += s.Case.Groups[s.Case.Conveyors[j.Conveyor].Group].Isolate
	}
	return s.At(max(start, j.Release))
}

// stands tells whether a window stops the order's conveyor, and its whole group where it is isolated.
func (s *Sheet) stands(w int, j *plan.Job) bool {
	scope := s.Case.Windows[w].Scope
	if _, ok := slices.BinarySearch(scope, j.Conveyor); !ok {
		return false
	}
	if !j.Isolation {
		return true
	}
	g := s.Case.Conveyors[j.Conveyor].Group
	for c := range s.Case.Conveyors {
		if s.Case.Conveyors[c].Group != g {
			continue
		}
		if _, ok := slices.BinarySearch(scope, c); !ok {
			return false
		}
	}
	return true
}

// stand says where the order stands now: as what may be changed at a cost, or as what may not.
func (s *Sheet) stand(o *Order, j *plan.Job) {
	w, known := s.windowOf[o.At.StopID]
	people, kit := s.peopleOf(o), s.kitOf(o)
	prev := &plan.Previous{Window: plan.Gone, ChangeWindow: whole(o.Date.Planned * changeStopShare), ChangeTech: whole(o.Date.Planned * changePersonShare)}
	if known {
		prev.Window, prev.Technicians = w, people
	}
	j.Previous = prev
	if _, may := j.OptionIn(w); !o.Locked || !known || !may {
		return
	}
	j.Locked = &plan.Lock{Window: w, Start: -1, Technicians: people, Tools: kit}
	// A stop moved from under locked work still holds it, at hours that have to be set anew.
	if start, win := s.above(o.At.Start), s.Case.Windows[w]; !o.At.Start.IsZero() && start >= win.Start && start+j.Duration <= win.End {
		j.Locked.Start = start
	}
}

// peopleOf are the persons of an order that the case knows, no more than its crew.
func (s *Sheet) peopleOf(o *Order) []int {
	var out []int
	heads := 0
	for _, n := range o.Crew {
		heads += n.Number
	}
	for _, m := range o.At.Crew {
		if t, ok := s.people[m.PersonID]; ok && len(out) < heads && !slices.Contains(out, t) {
			out = append(out, t)
		}
	}
	return out
}

// kitOf is the kit of an order that the case knows, no more than it needs.
func (s *Sheet) kitOf(o *Order) []int {
	var out []int
	for _, id := range o.At.Kit {
		if k, ok := s.kit[id]; ok && len(out) < len(o.Kit) && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}

// Placements turns a plan of the case into instants, persons and kit. Orders left out are not in it.
func (s *Sheet) Placements(p *plan.Plan) Placements {
	at := Placements{}
	for i := range p.Placed {
		at[s.orders[p.Placed[i].Job].ID] = s.placement(&p.Placed[i])
	}
	return at
}
