package horizon

import (
	"fmt"
	"math"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/plan"
)

// Sheet is a case with what its indices stand for.
type Sheet struct {
	Case *plan.Case
	From time.Time
	in   *Inputs

	plants    []*Plant // by site; nil for the depot
	stops     []*Stop  // by window
	sites     map[int64]int
	owners    map[ownHome]int // homes of what customers own, beside plants of others
	windowOf  map[int64]int
	orders    []*Order // by job
	jobOf     map[int64]int
	people    map[int64]int
	kit       map[int64]int
	items     map[int64]int
	tickets   map[int64]int
	classes   map[string]int
	conveyors map[int64]int
	groupOf   map[int64]int // conveyor to group

	// Unplanned are the orders that no plan can hold, with the reason in words.
	Unplanned []Unplanned
}

// Unplanned is an order that is not in the case.
type Unplanned struct {
	OrderID int64
	Why     string
}

// never is a way that nobody goes, in minutes: longer than any sheet.
const never = 1 << 24

// Lay makes the case of the inputs.
func Lay(in *Inputs) *Sheet {
	s := &Sheet{in: in, From: ceil(in.From), sites: map[int64]int{}, owners: map[ownHome]int{}, windowOf: map[int64]int{}, jobOf: map[int64]int{}, people: map[int64]int{}, kit: map[int64]int{},
		items: map[int64]int{}, tickets: map[int64]int{}, classes: map[string]int{}, conveyors: map[int64]int{}, groupOf: map[int64]int{}}
	s.Case = &plan.Case{ID: "horizon", Title: in.Title, Horizon: max(1, s.floor(in.Until))}
	s.Case.Moment, s.Case.Price, s.Case.Amount = s.moment, s.price, s.amount
	s.laySites()
	s.layConveyors()
	s.layStops()
	s.layStock()
	s.layKit()
	s.layPeople()
	s.layOrders()
	return s
}

// ceil is the first whole minute that is not before t.
func ceil(t time.Time) time.Time {
	m := t.UTC().Truncate(time.Minute)
	if m.Before(t) {
		m = m.Add(time.Minute)
	}
	return m
}

// floor is the last whole minute at or before t, counted from the beginning of the sheet.
func (s *Sheet) floor(t time.Time) int { return int(math.Floor(t.Sub(s.From).Minutes())) }

// above is the first whole minute at or after t.
func (s *Sheet) above(t time.Time) int { return int(math.Ceil(t.Sub(s.From).Minutes())) }

// At is the instant of a minute.
func (s *Sheet) At(minute int) time.Time { return s.From.Add(time.Duration(minute) * time.Minute) }

// moment writes a minute in the zone of a site's plant, and names the zone where the sheet has several. At a site that is no plant of
// the sheet it is UTC.
func (s *Sheet) moment(site, minute int) string {
	if s.plants[site] == nil {
		return s.At(minute).Format("2 Jan 15:04 MST")
	}
	zone, form := s.plants[site].Zone, "2 Jan 15:04"
	if slices.ContainsFunc(s.in.Plants, func(p Plant) bool { return p.Zone.String() != zone.String() }) {
		form += " MST"
	}
	return s.At(minute).In(zone).Format(form)
}

// amount writes a quantity of an item of stock in its unit.
func (s *Sheet) amount(item, quantity int) string {
	return s.in.Stock[item].Unit.Of(assets.Quantity(quantity))
}

// laySites numbers the plants of the sheet, and the homes of people and kit that are none of them.
func (s *Sheet) laySites() {
	add := func(id int64, p *Plant, name string) {
		if _, ok := s.sites[id]; ok {
			return
		}
		s.sites[id] = len(s.Case.Sites)
		s.Case.Sites, s.plants = append(s.Case.Sites, name), append(s.plants, p)
	}
	for i := range s.in.Plants {
		p := &s.in.Plants[i]
		add(p.ID, p, p.Name)
	}
	for i := range s.in.People {
		add(s.in.People[i].Home, nil, fmt.Sprintf("home %d", s.in.People[i].Home))
	}
	for i := range s.in.Kit {
		add(s.in.Kit[i].Home, nil, fmt.Sprintf("home %d", s.in.Kit[i].Home))
	}
	for i := range s.in.People {
		s.layOwner(s.in.People[i].Home, s.in.People[i].Customer)
	}
	for i := range s.in.Kit {
		if k := &s.in.Kit[i]; k.Mobile {
			s.layOwner(k.Home, k.Customer)
		}
	}
	s.layWays()
}

// ownHome is the home of people and kit that a customer owns.
type ownHome struct{ home, customer int64 }

// layOwner gives what a customer owns a site beside its home, where the sheet has plants of others: from there no way leads to them.
func (s *Sheet) layOwner(home, customer int64) {
	key := ownHome{home, customer}
	if _, ok := s.owners[key]; ok || customer == 0 || !slices.ContainsFunc(s.in.Plants, func(p Plant) bool { return p.Customer != customer }) {
		return
	}
	at := s.sites[home]
	s.owners[key] = len(s.Case.Sites)
	s.Case.Sites, s.plants = append(s.Case.Sites, s.Case.Sites[at]+", own"), append(s.plants, s.plants[at])
}

// homeOf is the site people and kit come from.
func (s *Sheet) homeOf(home, customer int64) int {
	if at, ok := s.owners[ownHome{home, customer}]; ok {
		return at
	}
	return s.sites[home]
}

// layWays makes the matrix of ways: those given, the same back unless the way back is given too, and shorter ones over other
// plants, so that the triangle inequality holds.
func (s *Sheet) layWays() {
	n := len(s.Case.Sites)
	d := make([][]int, n)
	for a := range d {
		d[a] = make([]int, n)
		for b := range d[a] {
			if a != b {
				d[a][b] = never
			}
		}
	}
	for _, w := range s.in.Ways {
		a, okA := s.sites[w.From]
		b, okB := s.sites[w.To]
		if !okA || !okB || a == b {
			continue
		}
		d[a][b] = max(0, w.Minutes)
		if !slices.ContainsFunc(s.in.Ways, func(o Way) bool { return o.From == w.To && o.To == w.From }) {
			d[b][a] = max(0, w.Minutes)
		}
	}
	shared := n - len(s.owners) // an owner's sites come after those they stand beside
	for k := range shared {
		for a := range shared {
			for b := range shared {
				d[a][b] = min(d[a][b], d[a][k]+d[k][b])
			}
		}
	}
	for key, own := range s.owners { // as from the home itself, to the customer's own plants alone
		home := s.sites[key.home]
		for b, p := range s.plants {
			if b != own && (b == home || p != nil && p.Customer == key.customer && b < len(s.in.Plants)) {
				d[own][b], d[b][own] = d[home][b], d[b][home]
			}
		}
	}
	s.Case.Travel = d
}

// layConveyors numbers groups and conveyors; a conveyor without a group is one by itself.
func (s *Sheet) layConveyors() {
	for i := range s.in.Plants {
		p := &s.in.Plants[i]
		groups := map[int64]int{}
		for _, g := range p.Groups {
			groups[g.ID] = len(s.Case.Groups)
			s.Case.Groups = append(s.Case.Groups, plan.Group{ID: g.Name, Site: i,
				Isolate: max(0, g.IsolateMin), Restart: max(0, g.RestartMin), Setup: whole(g.SetupCost)})
		}
		for _, c := range p.Conveyors {
			g, ok := groups[c.GroupID]
			if !ok || c.GroupID == 0 {
				g = len(s.Case.Groups)
				s.Case.Groups = append(s.Case.Groups, plan.Group{ID: c.Tag + " alone", Site: i})
			}
			s.conveyors[c.ID], s.groupOf[c.ID] = len(s.Case.Conveyors), g
			s.Case.Conveyors = append(s.Case.Conveyors, plan.Conveyor{ID: c.Tag, Group: g})
		}
	}
	s.distinctConveyors()
}

// distinctConveyors sets the plant beside a tag that two plants have.
func (s *Sheet) distinctConveyors() {
	seen := map[string]int{}
	for i := range s.Case.Conveyors {
		seen[s.Case.Conveyors[i].ID]++
	}
	for i := range s.Case.Conveyors {
		if c := &s.Case.Conveyors[i]; seen[c.ID] > 1 {
			c.ID += " of " + s.Case.Sites[s.Case.Groups[c.Group].Site]
		}
	}
}

// whole is a cost as the planner takes it.
func whole(v float64) int {
	if math.IsNaN(v) || v <= 0 {
		return 0
	}
	return int(math.Min(math.Round(v), 1e9))
}

func (s *Sheet) layStock() {
	for i := range s.in.Stock {
		it := &s.in.Stock[i]
		s.items[it.ID] = len(s.Case.Stock)
		item := plan.Item{ID: it.Name, OnHand: int(max(0, it.OnHand))}
		for _, a := range it.Arrivals {
			if m := s.above(a.At); m < s.Case.Horizon && a.Quantity > 0 {
				item.Arrivals = append(item.Arrivals, plan.Arrival{Time: max(0, m), Quantity: int(a.Quantity)})
			}
		}
		slices.SortStableFunc(item.Arrivals, func(a, b plan.Arrival) int { return a.Time - b.Time })
		for _, e := range it.Expire {
			if m := s.above(e.At); m < s.Case.Horizon && e.Quantity > 0 {
				item.Expire = append(item.Expire, plan.Arrival{Time: max(0, m), Quantity: int(e.Quantity)})
			}
		}
		slices.SortStableFunc(item.Expire, func(a, b plan.Arrival) int { return a.Time - b.Time })
		s.Case.Stock = append(s.Case.Stock, item)
	}
}

// anyWidth is the width of kit that no limit applies to.
const anyWidth = 1 << 20

func (s *Sheet) class(name string) int {
	k, ok := s.classes[name]
	if !ok {
		k = len(s.Case.Classes)
		s.classes[name] = k
		s.Case.Classes = append(s.Case.Classes, name)
	}
	return k
}

func (s *Sheet) layKit() {
	held := s.heldKit()
	for i := range s.in.Kit {
		k := &s.in.Kit[i]
		s.kit[k.ID] = len(s.Case.Tools)
		width := k.WidthMM
		if width == 0 {
			width = anyWidth
		}
		s.Case.Tools = append(s.Case.Tools, plan.Tool{ID: k.Name, Class: s.class(k.Class), WidthMM: width, HeatC: k.HeatC, Site: s.kitHome(k), Mobile: k.Mobile, Barred: k.Barred, Available: s.free(k.Available, held[k.ID])})
	}
}

// kitHome is the site a piece of kit stands at; what stays there needs no way.
func (s *Sheet) kitHome(k *Kit) int {
	if !k.Mobile {
		return s.sites[k.Home]
	}
	return s.homeOf(k.Home, k.Customer)
}

// heldPeople and heldKit say until when work that has begun holds people and kit: to the end of its stop.
func (s *Sheet) heldPeople() map[int64]int {
	held := map[int64]int{}
	s.eachBegun(func(p *Placement, until int) {
		for _, m := range p.Crew {
			held[m.PersonID] = max(held[m.PersonID], until)
		}
	})
	return held
}

func (s *Sheet) heldKit() map[int64]int {
	held := map[int64]int{}
	s.eachBegun(func(p *Placement, until int) {
		for _, k := range p.Kit {
			held[k] = max(held[k], until)
		}
	})
	return held
}

func (s *Sheet) eachBegun(fn func(p *Placement, until int)) {
	for i := range s.in.Plants {
		p := &s.in.Plants[i]
		for k := range p.Orders {
			o := &p.Orders[k]
			if !o.Begun || o.At == nil {
				continue
			}
			for _, st := range p.Stops {
				if st.ID == o.At.StopID {
					fn(o.At, s.above(st.End))
				}
			}
		}
	}
}

// free is what stretches leave after a minute.
func (s *Sheet) free(list []Span, from int) []plan.Span {
	return without(s.spans(list), plan.Span{From: -1, To: from})
}

// spans cuts stretches to the sheet.
func (s *Sheet) spans(list []Span) []plan.Span {
	var out []plan.Span
	for _, v := range list {
		from, to := max(0, s.above(v.From)), min(s.Case.Horizon, s.floor(v.To))
		if from < to {
			out = append(out, plan.Span{From: from, To: to})
		}
	}
	return out
}

func (s *Sheet) ticket(id int64, name string) int {
	t, ok := s.tickets[id]
	if !ok {
		t = len(s.Case.Qualifications)
		s.tickets[id] = t
		s.Case.Qualifications = append(s.Case.Qualifications, name)
	}
	return t
}

// anybody is the ticket that everybody of the crew holds.
const anybody = "crew"

func (s *Sheet) layPeople() {
	held := s.heldPeople()
	for i := range s.in.People {
		p := &s.in.People[i]
		s.people[p.ID] = len(s.Case.Technicians)
		t := plan.Technician{ID: p.Name, Home: s.homeOf(p.Home, p.Customer), Available: s.free(p.Available, held[p.ID]), Callout: whole(p.Callout),
			Qualifications: []plan.Qualification{{Name: s.ticket(0, anybody), Span: plan.Span{From: 0, To: s.Case.Horizon}}}}
		for _, k := range p.Tickets {
			span := plan.Span{From: 0, To: s.Case.Horizon}
			if !k.From.IsZero() {
				span.From = max(0, s.above(k.From))
			}
			if !k.To.IsZero() {
				span.To = min(span.To, s.floor(k.To))
			}
			if span.From < span.To {
				t.Qualifications = append(t.Qualifications, plan.Qualification{Name: s.ticket(k.ID, k.Name), Span: span})
			}
		}
		t.CalloutWindows = s.callouts(p, t.Home)
		s.Case.Technicians = append(s.Case.Technicians, t)
	}
	names := map[string]int{}
	for i := range s.Case.Technicians {
		names[s.Case.Technicians[i].ID]++
	}
	for i := range s.Case.Technicians {
		if names[s.Case.Technicians[i].ID] > 1 {
			s.Case.Technicians[i].ID += fmt.Sprintf(" (%d)", s.in.People[i].ID)
		}
	}
}

// callouts are the stops at a person's home that begin outside the working week, and with a home beside that plant those inside it.
func (s *Sheet) callouts(p *Person, home int) map[int]int {
	at := s.sites[p.Home]
	if p.Callout <= 0 || len(p.Week) == 0 && home == at {
		return nil
	}
	out := map[int]int{}
	for w := range s.Case.Windows {
		start := s.At(s.Case.Windows[w].Start)
		inWeek := len(p.Week) == 0 || slices.ContainsFunc(p.Week, func(v Span) bool { return !start.Before(v.From) && start.Before(v.To) })
		switch {
		case s.Case.Windows[w].Site != at:
		case !inWeek:
			out[w] = whole(p.Callout)
		case home != at:
			out[w] = 0
		}
	}
	return out
}

// Window is the stop of a window of the case.
func (s *Sheet) Window(stopID int64) (plan.Window, bool) {
	w, ok := s.windowOf[stopID]
	if !ok {
		return plan.Window{}, false
	}
	return s.Case.Windows[w], true
}

// Holds tells whether an order is in the case.
func (s *Sheet) Holds(orderID int64) bool { _, ok := s.jobOf[orderID]; return ok }

// Stops are the stops an order may be done in, in order of time.
func (s *Sheet) Stops(orderID int64) []int64 {
	j, ok := s.jobOf[orderID]
	if !ok {
		return nil
	}
	var out []int64
	for _, o := range s.Case.Jobs[j].Options {
		out = append(out, s.stops[o.Window].ID)
	}
	slices.SortStableFunc(out, func(a, b int64) int {
		return s.stops[s.windowOf[a]].Start.Compare(s.stops[s.windowOf[b]].Start)
	})
	return out
}

// lastMinute is the end of a plant day, in minutes.
func (s *Sheet) lastMinute(day assets.Day, zone *time.Location) int {
	next, err := day.AddDays(1).Midnight(zone)
	if err != nil {
		return s.Case.Horizon
	}
	return s.floor(next)
}
