package web

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// WeekBook is what the week of the crews is made of, over all plants of a scope.
type WeekBook interface {
	// WeekOf returns the orders placed in stops that overlap [from, to), with what crews travel by.
	WeekOf(ctx context.Context, scope assets.Scope, from, to time.Time) (*WeekFacts, error)
	// VisitsAhead returns the open orders of all plants of a scope that call somebody there until an instant.
	VisitsAhead(ctx context.Context, scope assets.Scope, now, until time.Time) ([]VisitNeed, error)
	// DepotEnds returns the tickets of people and the calibrations of kit at home in the depot that end by a day, for which no plant's rules raise
	// orders, and the limits of its wear that are reached, with the open order where the scope reaches its plant.
	DepotEnds(ctx context.Context, scope assets.Scope, now time.Time, until assets.Day) ([]DepotEnd, error)
}

// WeekFacts are the orders placed in a stretch of time and what is known of those who go.
type WeekFacts struct {
	Work      []WeekWork
	Members   []assets.CrewMember
	Ways      []assets.TravelTime
	Templates []assets.WorkTemplate
	Names     map[int64]string
	Plants    map[int64]assets.Plant // of the scope
	Kit       map[int64]WeekKit      // pieces named in the orders
	Items     []assets.StockItem
	Lots      []stock.Lot    // at the plants and the depot
	Zone      *time.Location // of the company
}

// WeekKit is a piece of kit and where it stands when nobody has it: a plant, or 0 for the depot.
type WeekKit struct {
	Name, Class string
	Home        int64
}

// WeekWork is an order placed in a stop.
type WeekWork struct {
	Order  workorder.Order
	Window assets.StopWindow
	Tag    string
	WidthM float64
	Form   assets.Form
	Bond   assets.Bond
	// Proposed says that nobody published it yet.
	Proposed bool
}

// weekPage answers: which crew is where on which day of the week, and what goes into each van?
type weekPage struct {
	Page
	Drawing template.HTML
	Vans    []vanPart
	Before  string
	After   string
	Empty   *Empty
}

// vanPart is a crew's week in words and what it packs.
type vanPart struct {
	ID, Name string
	Rows     []vanVisit
	Pack     []packLine
	Bare     string   // why nothing is packed
	Look     []string // what is not known
}

type vanVisit struct {
	Day, Time, Plant, Link, Way string
	Orders                      []Link
}

// packLine is a piece of kit or an item that a crew works with: how much of it, for which orders, and where it is taken from.
type packLine struct{ What, Amount, For, From string }

// week shows the visits of the crews of a week, Monday to Sunday in the company's zone.
func (s *Site) week(r *Request) error {
	monday, err := weekAsked(r.Query("week"), r.Now)
	if err != nil {
		return err
	}
	facts, err := s.WeekBook.WeekOf(r.Context(), r.Scope, monday, monday.AddDate(0, 0, 7))
	if err != nil {
		return err
	}
	begin, err := assets.DayOf(monday).Midnight(facts.Zone)
	if err != nil {
		return err
	}
	p := &weekPage{Before: "/plants/week?week=" + string(assets.DayOf(monday.AddDate(0, 0, -7))), After: "/plants/week?week=" + string(assets.DayOf(monday.AddDate(0, 0, 7)))}
	routes := facts.routes()
	p.Sheet, p.Say = "Week of "+begin.Format("2\u00a0Jan\u00a02006"), weekSay(facts, routes, begin)
	p.Sub = "Work placed in stops, in the time of " + facts.Zone.String() + ". Ways are times, not roads."
	if len(routes) == 0 {
		p.Empty = &Empty{What: "No work is placed in a stop of this week", Why: "Visits come from orders that are placed in agreed stops with people. Look at another week, or place work on a plant's horizon.",
			Do: []Action{{Word: "The week before", To: p.Before}, {Word: "The week after", To: p.After}}}
		next, err := s.nextVisits(r, begin.AddDate(0, 0, 7), facts.Zone)
		if err != nil {
			return err
		}
		if next != "" {
			p.Empty.Do = append([]Action{{Word: "The next week with visits", To: "/plants/week?week=" + string(next), Main: true}}, p.Empty.Do...)
		}
		return r.Show("week", p)
	}
	for i := range routes {
		p.Vans = append(p.Vans, r.van(facts, routes, i))
	}
	p.Drawing = facts.drawn(p.Say, begin, routes)
	return r.Show("week", p)
}

// drawn draws what crews do in the week that begins at an instant.
func (f *WeekFacts) drawn(sentence string, begin time.Time, routes []crew.Route) template.HTML {
	w := drawing.RouteWeek{Sentence: sentence, From: begin, To: begin.AddDate(0, 0, 7), Zone: f.Zone}
	for _, route := range routes {
		w.Rows = append(w.Rows, f.routeRow(route))
	}
	return drawing.OfRoutes(w)
}

// nextVisits is the day of the first visit from an instant on, as far as two years ahead; "" where nobody is sent anywhere.
func (s *Site) nextVisits(r *Request, from time.Time, zone *time.Location) (assets.Day, error) {
	needs, err := s.WeekBook.VisitsAhead(r.Context(), r.Scope, from, from.AddDate(2, 0, 0))
	if err != nil {
		return "", err
	}
	if first := firstVisit(needs, from); first != 0 {
		return assets.DayOf(first.Time().In(zone)), nil
	}
	return "", nil
}

// firstVisit is when somebody is sent somewhere first, from an instant on; 0 where nobody is.
func firstVisit(needs []VisitNeed, from time.Time) (first assets.Instant) {
	for _, n := range needs {
		if len(n.People) > 0 && n.Start != 0 && !n.Start.Time().Before(from) && (first == 0 || n.Start < first) {
			first = n.Start
		}
	}
	return first
}

// weekAsked is the Monday of the week that a day lies in, "" the present one.
func weekAsked(text string, now time.Time) (time.Time, error) {
	day := now.UTC()
	if text != "" {
		d, err := time.Parse(time.DateOnly, text)
		if err != nil || assets.Day(text) < assets.FirstDay || d.Year() > now.Year()+20 {
			return day, fmt.Errorf("week %q: %w", text, assets.ErrNotFound)
		}
		day = d
	}
	back := (int(day.Weekday()) + 6) % 7
	return time.Date(day.Year(), day.Month(), day.Day()-back, 0, 0, 0, 0, time.UTC), nil
}

// routes gathers the work into visits and those into what each crew does.
func (f *WeekFacts) routes() []crew.Route {
	at := map[int64]int{}
	var visits []crew.Visit
	for _, w := range f.Work {
		i, ok := at[w.Window.ID]
		if !ok {
			i = len(visits)
			at[w.Window.ID] = i
			visits = append(visits, crew.Visit{PlantID: w.Window.PlantID, WindowID: w.Window.ID, Start: w.Window.Start.Time(), End: w.Window.End.Time()})
		}
		v := &visits[i]
		v.Orders = append(v.Orders, w.Order.ID)
		for _, id := range w.Order.PlacedPeople {
			if !slices.Contains(v.People, id) {
				v.People = append(v.People, id)
			}
		}
		slices.Sort(v.People)
	}
	return crew.Routes(visits, f.Members, f.Ways)
}

func weekSay(f *WeekFacts, routes []crew.Route, begin time.Time) string {
	plants, visits, unknown := map[int64]bool{}, 0, 0
	for _, r := range routes {
		visits += len(r.Visits)
		for _, v := range r.Visits {
			plants[v.PlantID] = true
		}
		for _, l := range r.Legs {
			if !l.Known {
				unknown++
			}
		}
	}
	week := "in the week of " + begin.Format("2\u00a0January")
	if visits == 0 {
		return "Nobody is sent anywhere " + week
	}
	say := Capital(Count(len(routes), "crew makes", "crews make")) + " " + Count(visits, "visit", "visits") + " to " + Count(len(plants), "plant", "plants") + " " + week
	if unknown > 0 {
		say += "; " + Count(unknown, "way is", "ways are") + " not known"
	}
	return say
}

// names joins the names of people.
func (f *WeekFacts) names(people []int64) string {
	var out []string
	for _, id := range people {
		out = append(out, cmp.Or(f.Names[id], fmt.Sprintf("person %d", id)))
	}
	return strings.Join(out, ", ")
}

func (f *WeekFacts) place(id int64) string {
	switch p, ok := f.Plants[id]; {
	case id == 0:
		return "the depot"
	case ok:
		return p.Name
	}
	return "another plant"
}

// crewName is how a crew is called: by whoever is named first.
func (f *WeekFacts) crewName(r crew.Route) string {
	name := f.names(r.People[:1])
	if n := len(r.People) - 1; n > 0 {
		name += fmt.Sprintf(" and %d", n)
	}
	return name
}

func (f *WeekFacts) routeRow(r crew.Route) drawing.RouteRow {
	row := drawing.RouteRow{Name: f.crewName(r), Note: "from " + f.place(r.Home)}
	for _, v := range r.Visits {
		row.Visits = append(row.Visits, drawing.RouteVisit{From: v.Start, To: v.End, Head: f.place(v.PlantID), Sub: Figure(len(f.own(r, v)), "order", "orders"), Proposed: f.proposed(r, v)})
	}
	for _, l := range r.Legs {
		if !l.Known {
			continue
		}
		long := time.Duration(l.Minutes) * time.Minute
		d := drawing.RouteDrive{Words: Duration(long.Hours()), HomeFirst: l.From == r.Home, HomeAfter: l.To == r.Home}
		if l.To == r.Home { // home again straight after the visit
			d.From = r.Visits[l.Before-1].End
			d.To = d.From.Add(long)
		} else {
			d.To = r.Visits[l.Before].Start
			d.From = d.To.Add(-long)
		}
		row.Drives = append(row.Drives, d)
	}
	return row
}

// own are the orders of a visit that people of the route work on; others in the same stop may be somebody else's.
func (f *WeekFacts) own(r crew.Route, v crew.Visit) []WeekWork {
	var out []WeekWork
	for _, w := range f.Work {
		if slices.Contains(v.Orders, w.Order.ID) && mans(r, w) {
			out = append(out, w)
		}
	}
	return out
}

// mans tells whether somebody of a route works on an order.
func mans(r crew.Route, w WeekWork) bool {
	return slices.ContainsFunc(w.Order.PlacedPeople, func(id int64) bool { return slices.Contains(r.People, id) })
}

// proposed tells whether nobody has published anything yet that sends the crew on a visit.
func (f *WeekFacts) proposed(r crew.Route, v crew.Visit) bool {
	return !slices.ContainsFunc(f.own(r, v), func(w WeekWork) bool { return !w.Proposed })
}

// van is the week of one of the crews in words, and what it packs.
func (r *Request) van(f *WeekFacts, routes []crew.Route, nth int) vanPart {
	route := routes[nth]
	p := vanPart{ID: fmt.Sprintf("van-%d", nth+1), Name: f.names(route.People) + ", from " + f.place(route.Home)}
	for i, v := range route.Visits {
		plant := f.Plants[v.PlantID]
		there := Format{Zone: plant.Location(), Now: r.Now}
		line := vanVisit{Day: there.PlainDay(assets.DayOf(there.Local(assets.InstantOf(v.Start)))), Time: there.Local(assets.InstantOf(v.Start)).Format("15:04") + " to " + there.Local(assets.InstantOf(v.End)).Format("15:04"),
			Plant: plant.Name, Link: at(v.PlantID, "stops", v.WindowID, "package"), Way: "there already"}
		var ways []string
		for _, l := range route.Legs {
			if l.Before != i {
				continue
			}
			words := "from " + f.place(l.From) + " " + Duration(float64(l.Minutes)/60)
			if !l.Known {
				words = "way from " + f.place(l.From) + " not known"
				p.Look = append(p.Look, "The way from "+f.place(l.From)+" to "+f.place(l.To)+" is not known: a plan sends nobody on it.")
			}
			ways = append(ways, words)
		}
		if len(ways) > 0 {
			line.Way = strings.Join(ways, ", then ")
		}
		for _, w := range f.Work {
			if slices.Contains(v.Orders, w.Order.ID) {
				word := orderShort(w.Order) + " on " + w.Tag + pick(w.Proposed, ", proposed", "")
				if !mans(route, w) {
					word += ", by " + cmp.Or(f.names(w.Order.PlacedPeople), "nobody named")
				}
				line.Orders = append(line.Orders, Link{Word: word, To: at(v.PlantID, "orders", w.Order.Number)})
			}
		}
		p.Rows = append(p.Rows, line)
	}
	if p.Pack = r.packing(f, routes, nth); len(p.Pack) == 0 {
		p.Bare = f.bare(routes, nth)
	}
	return p
}
