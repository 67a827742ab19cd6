package web

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/server/web/drawing"
)

// VisitNeed is an open order that calls somebody to a plant: by its latest date, or by the stop it is placed in.
type VisitNeed struct {
	OrderID, PlantID, Number, SpliceID int64
	Title, Tag                         string
	Placed                             bool
	Raised                             bool // and not accepted
	LatestDay                          assets.Day
	Start, End                         assets.Instant // of its stop; 0: in none
	People, Tools                      []int64
	ToolNames                          []string
}

// DepotEnd is a ticket of somebody, a calibration of kit or a limit of its wear, at home in the depot, that ends or is reached.
type DepotEnd struct {
	PersonID, KitID int64
	Who, What       string // "S. Ilveth", "hot vulcanising"; "Thermometer 2", "calibration"; "Press 2", "press cycles"
	Day             assets.Day
	Count           string // "400 of 400 cycles": its limit is reached; else ""
	Ordered         bool   // an order for it is open
	PlantID, Number int64  // that order, where whoever asks reaches its plant
}

// visitsPart is what the list of plants says of visits: which plants need one soon, what is to be decided, and how many the weeks ahead ask for.
type visitsPart struct {
	Before  string
	Rows    []visitNeed
	Of      int
	Decide  []decideLine
	Weeks   []visitWeek
	Drawing template.HTML
	Others  string
	Costs   bool       // whoever looks may read costs somewhere
	Next    *weekAhead // the week of the crews that is next; nil where nobody is sent anywhere
}

// weekAhead is a week of the crews above the list of plants.
type weekAhead struct {
	Head, To string
	Drawing  template.HTML
	More     string // crews that are not drawn
}

type visitNeed struct {
	Plant, To, Why          string
	Work                    []Link
	More                    string
	Latest, Stop, Crew, Kit string
	Due                     string // chance of coming due before the visit; "" where it is not known
	Expect                  string // unplanned stops without the visit and with it
	without, with           float64
	Bar                     template.HTML // the same, drawn
	Cost                    string        // what they cost
	WorkOut                 string        // leads to the list with the chances of this plant worked out; "": they are
	State                   string
	Fault                   bool
}

type decideLine struct {
	Head, Says string
	To         Link
}

type visitWeek struct {
	Week   string
	Visits int
}

const (
	visitDays      = 25 // a plant needs a visit when something of it is due within so many days
	weeksAhead     = 26
	mostForeseen   = 6 // plants whose forecasts are worked out at a time: each takes its whole register
	mostDecisions  = 8
	mostWorkNamed  = 3
	mostCrewsDrawn = 6
)

// visits fills in what plants need visits for.
func (s *Site) visits(r *Request, all []PlantSummary) (*visitsPart, error) {
	until := r.Now.AddDate(0, 0, 7*weeksAhead)
	needs, err := s.WeekBook.VisitsAhead(r.Context(), r.Scope, r.Now, until)
	if err != nil {
		return nil, err
	}
	soon := r.Now.AddDate(0, 0, visitDays)
	p := &visitsPart{Before: hard(soon.Format("2 January")), Of: len(all)}
	b := &visitBook{r: r, of: map[int64][]VisitNeed{}, soon: soon, until: until}
	for _, n := range needs {
		if day := n.day(); day != "" && day <= assets.DayOf(soon) {
			b.of[n.PlantID] = append(b.of[n.PlantID], n)
		}
	}
	for _, a := range all {
		if list := b.of[a.Plant.ID]; len(list) > 0 {
			b.plants = append(b.plants, a)
		}
	}
	slices.SortStableFunc(b.plants, func(x, y PlantSummary) int {
		return cmp.Compare(earliest(b.of[x.Plant.ID]), earliest(b.of[y.Plant.ID]))
	})
	first := r.foreseen(len(b.plants))
	p.Costs = r.Who.MayAnywhere(people.ReadCosts)
	for i, a := range b.plants {
		row := b.row(a)
		if row.WorkOut = fmt.Sprintf("/plants?due=%d#pv", i/mostForeseen*mostForeseen); i/mostForeseen == first/mostForeseen {
			row.WorkOut = ""
			if err := s.foresee(r, &row, a, b); err != nil {
				return nil, err
			}
		}
		p.Rows = append(p.Rows, row)
	}
	if b.depot, err = s.depotEnds(r, all[0].Plant.ID); err != nil {
		return nil, err
	}
	p.drawBars()
	p.Decide = b.decide(all)
	p.fillWeeks(r, needs)
	if p.Next, err = s.weekAhead(r, needs); err != nil {
		return nil, err
	}
	if n := len(all) - len(b.plants); n > 0 {
		p.Others = Capital(Count(n, "plant needs", "plants need")) + " no visit before " + p.Before + "."
	}
	return p, nil
}

// weekAhead draws the week in which somebody is sent somewhere next; nil where nobody is.
func (s *Site) weekAhead(r *Request, needs []VisitNeed) (*weekAhead, error) {
	first := firstVisit(needs, r.Now)
	if first == 0 {
		return nil, nil
	}
	monday, err := weekAsked(string(assets.DayOf(first.Time())), r.Now)
	if err != nil {
		return nil, err
	}
	facts, err := s.WeekBook.WeekOf(r.Context(), r.Scope, monday, monday.AddDate(0, 0, 7))
	if err != nil {
		return nil, err
	}
	begin, err := assets.DayOf(monday).Midnight(facts.Zone)
	routes := facts.routes()
	if err != nil || len(routes) == 0 {
		return nil, err
	}
	w := &weekAhead{Head: "Week of " + hard(begin.Format("2 January")) + ", crew by crew", To: "/plants/week?week=" + string(assets.DayOf(monday))}
	if more := len(routes) - mostCrewsDrawn; more > 0 {
		w.More = Capital(Count(more, "crew more is", "crews more are")) + " on the page of that week."
	}
	w.Drawing = facts.drawn(weekSay(facts, routes, begin), begin, routes[:min(len(routes), mostCrewsDrawn)])
	return w, nil
}

// drawBars draws the unplanned stops of the plants worked out, all to one scale.
func (p *visitsPart) drawBars() {
	most := 0.0
	for _, row := range p.Rows {
		most = max(most, row.without, row.with)
	}
	for i := range p.Rows {
		if row := &p.Rows[i]; row.without > 0 {
			row.Bar = drawing.OfLess(row.without, row.with, most)
		}
	}
}

// foreseen is the place in the list of the first plant whose chances are asked for; 0 where none is asked for that is there.
func (r *Request) foreseen(plants int) int {
	if n := numberOf(r.Query("due")); n > 0 && n < int64(plants) {
		return int(n)
	}
	return 0
}

// day is when somebody has to be there: the day of the stop, else the latest date.
func (n VisitNeed) day() assets.Day {
	if n.Start != 0 {
		return assets.DayOf(n.Start.Time())
	}
	return n.LatestDay
}

func earliest(list []VisitNeed) assets.Day {
	day := assets.Day("9999")
	for _, n := range list {
		day = min(day, cmp.Or(n.LatestDay, n.day()))
	}
	return day
}

// visitBook is the visits of the list being put together.
type visitBook struct {
	r           *Request
	of          map[int64][]VisitNeed
	plants      []PlantSummary
	soon, until time.Time
	depot       []decideLine
}

// depotDays is how long before its end a ticket or calibration at the depot is to be seen to; renewing takes a course or a workshop.
const depotDays = 60

// depotEnds says what ends at the depot, to those who keep its crews and see its kit.
func (s *Site) depotEnds(r *Request, plantID int64) ([]decideLine, error) {
	if !r.Who.MayAnywhere(people.KeepCrew) {
		return nil, nil
	}
	ends, err := s.WeekBook.DepotEnds(r.Context(), r.Scope, r.Now, assets.DayOf(r.Now.AddDate(0, 0, depotDays)))
	if err != nil {
		return nil, err
	}
	f, today := Format{Zone: time.UTC, Now: r.Now}, assets.DayOf(r.Now)
	var out []decideLine
	for _, e := range ends {
		over := e.Day < today
		l := decideLine{Head: "Renew " + e.Who + ", " + e.What + ", " + pick(over, "ended", "by") + " " + f.Day(e.Day) + ".", Says: "At the depot no plant's rules raise it; plans send nobody on a ticket that ended."}
		if e.KitID != 0 {
			l.Head, l.Says = "Calibrate "+e.Who+", "+pick(over, "due since", "due")+" "+f.Day(e.Day)+".", "It lies at the depot; plans leave it out from the day after."
			l.To = Link{Word: "Its page", To: at(plantID, "stores", "kit", e.KitID)}
		}
		if e.Count != "" {
			l.Head = e.Who + " is due for service, at the depot: " + e.What + ", " + e.Count + ", since " + f.Day(e.Day) + "."
			l.Says = "No order for it is open. Rules at the plant where its limit was reached raise one where they watch kit; else raise it by hand, or change the part."
			if e.Ordered {
				l.Says = "Its service is on order."
			}
			if e.Number != 0 {
				l.To = Link{Word: "Order " + plainInt(e.Number), To: at(e.PlantID, "orders", e.Number)}
			}
		}
		out = append(out, l)
	}
	return out, nil
}

func (b *visitBook) row(a PlantSummary) visitNeed {
	f := Format{Zone: a.Plant.Location(), Now: b.r.Now}
	row := visitNeed{Plant: a.Plant.Name, To: at(a.Plant.ID), Why: Figure(a.Conveyors, "conveyor", "conveyors") + ", " + Figure(a.Splices, "splice", "splices")}
	list := b.of[a.Plant.ID]
	var stops []string
	crew, kit := map[int64]bool{}, []string(nil)
	byStop := slices.SortedStableFunc(slices.Values(list), func(x, y VisitNeed) int { return cmp.Compare(x.Start, y.Start) })
	for i, n := range list {
		if i < mostWorkNamed {
			row.Work = append(row.Work, Link{Word: strings.TrimSpace(n.Tag+" "+fmt.Sprint(n.Number)) + ": " + n.Title, To: at(a.Plant.ID, "orders", n.Number)})
		}
	}
	for _, n := range byStop {
		if n.Start == 0 {
			continue
		}
		if stop := f.Stamp(n.Start) + ", " + Duration(n.End.Time().Sub(n.Start.Time()).Hours()); !slices.Contains(stops, stop) {
			stops = append(stops, stop)
		}
		for _, id := range n.People {
			crew[id] = true
		}
		for _, name := range n.ToolNames {
			if !slices.Contains(kit, name) {
				kit = append(kit, name)
			}
		}
	}
	if more := len(list) - mostWorkNamed; more > 0 {
		row.More = Figure(more, "order more", "orders more")
	}
	if day := earliest(list); day != "9999" {
		row.Latest = f.Day(day)
	}
	row.Stop, row.Crew = strings.Join(stops, "; "), "nobody named"
	if len(crew) > 0 {
		row.Crew = Figure(len(crew), "person", "people")
	}
	if b.r.Who.May(seesKit, a.Plant.CustomerID, a.Plant.ID) {
		row.Kit = strings.Join(kit, ", ")
	}
	row.State = "all placed"
	if open := openWords(list, Figure); open != "" {
		row.Fault, row.State = true, open
	}
	return row
}

// openWords say which of a plant's orders stand in no stop: the accepted ones at its conveyors, as its horizon counts them, what is
// raised and nobody accepted, and what is at no conveyor. "" when all stand in one.
func openWords(list []VisitNeed, count func(n int, one, many string) string) string {
	accepted, raised, elsewhere := 0, 0, 0
	for _, n := range list {
		switch {
		case n.Start != 0:
		case n.Raised:
			raised++
		case n.Tag == "":
			elsewhere++
		default:
			accepted++
		}
	}
	var says []string
	if accepted > 0 {
		says = append(says, count(accepted, "accepted order has", "accepted orders have")+" no stop")
	}
	if raised > 0 {
		says = append(says, count(raised, "raised order is", "raised orders are")+" not accepted")
	}
	if elsewhere > 0 {
		says = append(says, count(elsewhere, "order at no conveyor is", "orders at no conveyor are")+" not placed")
	}
	return strings.Join(says, ", ")
}

// seesKit is what lets somebody read which kit goes where.
const seesKit = people.ReadStores

// foresee adds what is likely to come due before the visit, and over the weeks ahead with it and without.
func (s *Site) foresee(r *Request, row *visitNeed, a PlantSummary, b *visitBook) error {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, a.Plant.ID, r.Now)
	if err != nil {
		return err
	}
	stop := map[int64]time.Time{}
	for _, n := range b.of[a.Plant.ID] {
		if n.SpliceID != 0 && n.Start != 0 {
			stop[n.SpliceID] = n.Start.Time()
		}
	}
	worst, without, with, known := 0.0, 0.0, 0.0, false
	var costs stopCosts
	costOf := due.CostIn(fl.Register, fl.Register.SpliceKinds)
	for i := range fl.Forecasts {
		f := &fl.Forecasts[i]
		if len(f.Causes) == 0 {
			continue
		}
		known = true
		p := chanceBy(f, b.until)
		alone := p
		without += p
		if at, ok := stop[f.SpliceID]; ok {
			p = chanceBy(f, at)
			worst = max(worst, p)
		}
		with += p
		costs.add(fl.Register, costOf, f.SpliceID, alone, p)
	}
	if r.Who.May(people.ReadCosts, a.Plant.CustomerID, a.Plant.ID) {
		row.Cost = costs.words(a.Plant.Currency)
	}
	if row.Due, row.Expect = "not known", "not known"; known {
		row.without, row.with = without, with
		row.Due, row.Expect = pick(len(stop) > 0, chance(worst), "no splice is placed"), Short(without, 1)+", with it "+Short(with, 1)
	}
	return nil
}

// stopCosts are what the unplanned stops of a plant are expected to cost, without the visit and with it: the chance of each splice
// times what a stop after its failure costs, in the plant's currency. Work that is planned costs nothing here.
type stopCosts struct {
	without, with float64
	priced, bare  int // splices with a cost, and without
}

func (c *stopCosts) add(reg *assets.Register, costOf func(*assets.Splice) (due.Cost, bool), spliceID int64, without, with float64) {
	s, _ := reg.Splice(spliceID)
	belt, _ := reg.Conveyor(s.ConveyorID)
	cost, ok := costOf(&s)
	if !ok || belt.StopCostPerHour <= 0 { // told in hours of stop, which do not add up with money
		c.bare++
		return
	}
	c.priced++
	c.without, c.with = c.without+without*cost.Unplanned, c.with+with*cost.Unplanned
}

func (c *stopCosts) words(currency string) string {
	switch {
	case c.priced == 0 && c.bare == 0:
		return "not known"
	case c.priced == 0:
		return "no cost per hour given"
	}
	words := With(moneyFigure(c.without), currency) + ", with it " + With(moneyFigure(c.with), currency)
	if c.bare > 0 {
		words += "; " + Count(c.bare, "splice has", "splices have") + " no cost"
	}
	return words
}

func chanceBy(f *due.Forecast, at time.Time) float64 {
	p, _ := f.Chances(at)
	return p
}

// decide lists what somebody has to settle, the most pressing first.
func (b *visitBook) decide(all []PlantSummary) []decideLine {
	var out []decideLine
	out = append(out, b.sameKit()...)
	out = append(out, b.depot...)
	for _, a := range b.plants {
		var open []string
		for _, n := range b.of[a.Plant.ID] {
			if n.Start == 0 {
				open = append(open, fmt.Sprintf("order %d on %s%s by %s", n.Number, cmp.Or(n.Tag, "the plant"), pick(n.Raised, ", not accepted,", ""), (Format{Zone: a.Plant.Location(), Now: b.r.Now}).Day(n.LatestDay)))
			}
		}
		if len(open) > 0 {
			says := strings.Join(open[:min(len(open), mostWorkNamed)], ", ")
			if more := len(open) - mostWorkNamed; more > 0 {
				says += " and " + Figure(more, "more", "more")
			}
			out = append(out, decideLine{Head: a.Plant.Name + ": " + openWords(b.of[a.Plant.ID], Count) + ".", Says: fullStop(Capital(says)), To: Link{Word: "Its horizon", To: at(a.Plant.ID, "horizon")}})
		}
	}
	if line, ok := b.unread(all); ok {
		out = append(out, line)
	}
	return out[:min(len(out), mostDecisions)]
}

// sameKit names kit that two plants have in stops that overlap.
func (b *visitBook) sameKit() []decideLine {
	type use struct {
		n     VisitNeed
		plant PlantSummary
	}
	of := map[int64][]use{}
	names := map[int64]string{}
	for _, a := range b.plants {
		if !b.r.Who.May(seesKit, a.Plant.CustomerID, a.Plant.ID) {
			continue
		}
		for _, n := range b.of[a.Plant.ID] {
			for i, id := range n.Tools {
				of[id] = append(of[id], use{n, a})
				if i < len(n.ToolNames) {
					names[id] = n.ToolNames[i]
				}
			}
		}
	}
	var out []decideLine
	for id, uses := range of {
		for i, x := range uses {
			for _, y := range uses[:i] {
				if x.n.PlantID != y.n.PlantID && x.n.Start < y.n.End && y.n.Start < x.n.End {
					out = append(out, decideLine{Head: fmt.Sprintf("%s is named at %s and at %s in stops that overlap.", cmp.Or(names[id], fmt.Sprintf("Kit %d", id)), y.plant.Plant.Name, x.plant.Plant.Name),
						Says: "Hours decide: if both need it at the same time, place one elsewhere.", To: Link{Word: "Plan over plants", To: "/plants/plan"}})
				}
			}
		}
	}
	slices.SortFunc(out, func(x, y decideLine) int { return cmp.Compare(x.Head, y.Head) })
	return slices.CompactFunc(out, func(x, y decideLine) bool { return x.Head == y.Head })
}

// unread names plants whose running hours are older than a fortnight.
func (b *visitBook) unread(all []PlantSummary) (decideLine, bool) {
	if len(all) > 50 { // whose newest readings the list does not know
		return decideLine{}, false
	}
	var old []string
	for _, a := range all {
		if a.Conveyors > 0 && a.ReadTo.Time().Before(b.r.Now.AddDate(0, 0, -14)) {
			old = append(old, a.Plant.Name)
		}
	}
	if len(old) == 0 {
		return decideLine{}, false
	}
	return decideLine{Head: "Running hours are missing from " + Figure(len(old), "plant", "plants") + ".", Says: List(old[:min(len(old), 5)]) + pick(len(old) > 5, " and others", "") + ": nothing was read for a fortnight, so ages there are projected."}, true
}

// fillWeeks counts the plants that somebody has to go to in each week.
func (p *visitsPart) fillWeeks(r *Request, needs []VisitNeed) {
	monday, err := weekAsked("", r.Now)
	if err != nil {
		return
	}
	var drawn []drawing.VisitWeek
	most, which := 0, ""
	for i := range weeksAhead {
		from := monday.AddDate(0, 0, 7*i)
		first, last := assets.DayOf(from), assets.DayOf(from.AddDate(0, 0, 6))
		plants := map[int64]bool{}
		for _, n := range needs {
			if day := n.day(); day <= last && (day >= first || i == 0) && day != "" {
				plants[n.PlantID] = true
			}
		}
		p.Weeks = append(p.Weeks, visitWeek{hard(from.Format("2 Jan 2006")), len(plants)})
		drawn = append(drawn, drawing.VisitWeek{From: from, Visits: len(plants)})
		if len(plants) > most {
			most, which = len(plants), from.Format("2 January")
		}
	}
	say := "No visit is needed by the orders there are"
	if most > 0 {
		say = "Visits needed by week over 26 weeks; most in the week of " + which + ", " + Figure(most, "plant", "plants")
	}
	p.Drawing = drawing.OfVisits(drawn, say)
}
