package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"sort"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// CrewBook is who can be sent to a plant, with which tickets. People of the service company are shared; those of a customer are
// that customer's. What somebody does elsewhere is told by nothing but when.
type CrewBook interface {
	// CrewOf returns the people who can be sent to a plant.
	CrewOf(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*CrewList, error)
	SaveTicket(ctx context.Context, scope assets.Scope, act Act, plantID int64, t *assets.PersonQualification) error
	EndTicket(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
	SaveMember(ctx context.Context, scope assets.Scope, act Act, plantID int64, m *assets.CrewMember) error
	EndMember(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
	SaveAbsence(ctx context.Context, scope assets.Scope, act Act, plantID int64, a *assets.Absence) error
	EndAbsence(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
	SaveQualification(ctx context.Context, act Act, q *assets.Qualification) error
	SaveTravel(ctx context.Context, act Act, t *assets.TravelTime) error
	EndTravel(ctx context.Context, act Act, id, rowID int64) error
	SaveTemplate(ctx context.Context, scope assets.Scope, act Act, plantID int64, t *assets.WorkTemplate) error
	EndTemplate(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
}

// CrewList is who can be sent to a plant and what is known of them.
type CrewList struct {
	crew.Roster
	Templates []assets.WorkTemplate
	Travel    []assets.TravelTime
	Names     map[int64]string // of everybody who could be a member, members or not
	Plants    map[int64]string // homes and ends of ways, within the scope
	Customer  int64            // of the plant
	Items     []assets.StockItem
	Elsewhere []BusyElsewhere
}

// BusyElsewhere is when somebody is placed at another plant.
type BusyElsewhere struct {
	PersonID   int64
	Start, End assets.Instant
}

// crewPage answers: who can be sent to which stop, which ticket ends before it, and who is away?
type crewPage struct {
	Page
	Drawing template.HTML
	Tickets []ticketLine
	Away    []ticketLine
	Todo    []todoLine
	Stops   []crewStop
	Rows    []crewLine
	Members []memberLine
	Empty   *Empty
}

type ticketLine struct{ Person, Ticket, Until, Change, Papers string }

type todoLine struct{ Bold, Rest string }

// crewStop is a stop with an order placed in it, as a column.
type crewStop struct{ Day, Work, Link string }

// short names the column on a telephone: "12 Dec 2026, 412".
func (s crewStop) short() string {
	number, _, _ := strings.Cut(s.Work, ",")
	return s.Day + ", " + number
}

type crewLine struct {
	Name  string
	Cells []crewCell
	Sum   bool
}

type crewCell struct {
	Word, Class, Head string // Class: "" or dim, strong, fault
}

type memberLine struct{ Name, Home, Week, Callout, Change string }

// crewStopsShown is how many stops stand as columns.
const crewStopsShown = 6

// placedWork is an order placed in a stop to come, with what it needs.
type placedWork struct {
	order workorder.Order
	stop  assets.StopWindow
	day   assets.Day
	need  crew.Need
	may   int // members who may work, are not away and not elsewhere
}

func (s *Site) crew(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	list, err := s.CrewBook.CrewOf(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &crewPage{}
	p.Sheet = "People"
	r.Offer(&p.Page, "A person away", "crew/absences/new", false)
	r.Offer(&p.Page, "Add a ticket", "crew/tickets/new", true)
	r.Offer(&p.Page, "Add a person", "crew/members/new", false)
	r.Offer(&p.Page, "Tickets, ways, work", "crew/catalogue", false)
	if len(list.Members) == 0 {
		p.Say, p.Sub = "Nobody can be sent yet", "A plan sends people with the tickets their work asks for."
		p.Empty = &Empty{What: "Nobody is entered", Why: "Enter who can be sent to work, from where and when in a week, then the tickets they hold. Until then the plan counts nobody and says nothing about tickets.", Do: p.Do}
		return r.Show("crew", p)
	}
	work := r.placedWork(reg, list, windows, open)
	p.Say = crewSay(r, list, work)
	holders := map[int64]bool{}
	for _, t := range list.Tickets {
		holders[t.PersonID] = true
	}
	p.Sub = Capital(Count(len(list.Members), "person", "people")) + " can be sent, " + Word(len(holders)) + " with tickets. A ticket counts on the day of the work."
	p.Drawing = r.ticketDrawing(list, work, p.Say)
	p.Tickets, p.Away = r.ticketLines(list)
	p.Todo = r.crewTodo(list, work)
	p.Stops, p.Rows = r.crewTable(list, work)
	p.Members = r.memberLines(list)
	return r.Show("crew", p)
}

// placedWork lists the orders placed in stops to come, the next first.
func (r *Request) placedWork(reg *assets.Register, list *CrewList, windows []assets.StopWindow, open []workorder.Order) []placedWork {
	var out []placedWork
	for _, o := range open {
		i := slices.IndexFunc(windows, func(w assets.StopWindow) bool { return w.ID == o.WindowID })
		if o.WindowID == 0 || i < 0 {
			continue
		}
		w := placedWork{order: o, stop: windows[i], day: assets.DayOf(r.F.Local(windows[i].Start))}
		sp, _ := reg.Splice(o.SpliceID)
		w.need = crew.Of(list.Templates, list.Customer, string(o.Kind), sp.Form, sp.Bond)
		for _, m := range list.Members {
			if list.On(m.PersonID, w.need, w.day) == crew.May && !list.elsewhere(m.PersonID, w.stop) {
				w.may++
			}
		}
		out = append(out, w)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].stop.Start < out[j].stop.Start })
	return out
}

// elsewhere tells whether somebody is placed at another plant while a stop lasts.
func (l *CrewList) elsewhere(person int64, w assets.StopWindow) bool {
	return slices.ContainsFunc(l.Elsewhere, func(b BusyElsewhere) bool { return b.PersonID == person && b.Start < w.End && w.Start < b.End })
}

// crewSay is the headline: the stop that lacks people, else the ticket that ends first.
func crewSay(r *Request, list *CrewList, work []placedWork) string {
	for _, w := range work {
		for _, id := range w.order.PlacedPeople {
			state := list.On(id, w.need, w.day)
			if list.member(id) && state != crew.May {
				return Capital(list.Names[id]) + " is sent to the stop of " + r.F.PlainDay(w.day) + " and " + stateSay(state)
			}
		}
		if w.may < w.order.Crew {
			return "The stop of " + r.F.PlainDay(w.day) + " needs " + Count(w.order.Crew, "person", "people") + "; " + Count(w.may, "person may", "may") + " work at order " + fmt.Sprint(w.order.Number)
		}
	}
	say := "No work is placed in a stop yet"
	if len(work) > 0 {
		say = "Every stop with work in it has its crew"
	}
	ending := list.Ending(r.F.Today(), assets.DayOf(r.Now.In(r.F.zone()).AddDate(0, 6, 0)))
	if len(ending) == 0 {
		return say + "; no ticket ends within half a year"
	}
	first := ending[0]
	return say + "; " + list.Names[first.PersonID] + "'s ticket for " + list.ticketName(first.QualificationID) + " ends " + r.F.PlainDay(first.UntilDay)
}

func stateSay(s crew.State) string {
	switch s {
	case crew.Away:
		return "is away that day"
	case crew.TicketEnded:
		return "has no ticket any more that day"
	case crew.TicketLater:
		return "gets the ticket only later"
	}
	return "has no ticket for it"
}

func (l *CrewList) member(person int64) bool {
	return slices.ContainsFunc(l.Members, func(m assets.CrewMember) bool { return m.PersonID == person })
}

func (l *CrewList) ticketName(id int64) string {
	for _, q := range l.Qualifications {
		if q.ID == id {
			return q.Name
		}
	}
	return "a ticket"
}

// ofPerson lists a person's tickets that have not been replaced, by the name of the ticket.
func (l *CrewList) ofPerson(person int64) []assets.PersonQualification {
	latest := map[int64]assets.PersonQualification{}
	for _, t := range l.Tickets {
		held, some := latest[t.QualificationID]
		if t.PersonID == person && (!some || held.UntilDay != "" && (t.UntilDay == "" || t.UntilDay > held.UntilDay)) {
			latest[t.QualificationID] = t
		}
	}
	var out []assets.PersonQualification
	for _, q := range l.Qualifications {
		if t, ok := latest[q.ID]; ok {
			out = append(out, t)
		}
	}
	return out
}

func (r *Request) ticketDrawing(list *CrewList, work []placedWork, sentence string) template.HTML {
	zone := r.F.zone()
	d := drawing.Tickets{Sentence: sentence, From: r.Now, To: r.Now.AddDate(1, 0, 0), Zone: zone, LeftOf: "Splicers who may work"}
	day := func(x assets.Day) time.Time {
		t, err := x.Midnight(zone)
		if err != nil {
			return time.Time{} // an open end
		}
		return t
	}
	for _, m := range list.Members {
		p := drawing.TicketPerson{Name: list.Names[m.PersonID], Note: list.homeWords(m, r.PlantID())}
		for _, t := range list.ofPerson(m.PersonID) {
			b := drawing.TicketBar{Name: list.ticketName(t.QualificationID), Start: day(t.FromDay), Words: "until further notice"}
			if t.UntilDay != "" {
				b.End = day(t.UntilDay).AddDate(0, 0, 1)
				b.Words = "ends " + hard(day(t.UntilDay).Format("2 Jan"))
				if b.End.After(d.To) {
					b.Words = "to " + r.F.PlainDay(t.UntilDay)
				}
				if w := list.endsBefore(t, work); w != nil {
					b.Fault = true
					b.Words += ", before the stop of " + hard(r.F.Local(w.stop.Start).Format("2 Jan"))
				}
			}
			p.Tickets = append(p.Tickets, b)
		}
		for _, a := range list.Absences {
			if a.PersonID == m.PersonID {
				p.Away = append(p.Away, drawing.Stretch{From: day(a.FromDay), To: day(a.UntilDay).AddDate(0, 0, 1), Words: "away " + r.awayDays(a)})
			}
		}
		d.People = append(d.People, p)
	}
	for _, w := range work {
		if k := len(d.Stops) - 1; k >= 0 && d.Stops[k].At.Equal(w.stop.Start.Time()) { // several orders of a stop share its people
			d.Stops[k].Needed = max(d.Stops[k].Needed, w.order.Crew)
			continue
		}
		d.Stops = append(d.Stops, drawing.TicketStop{At: w.stop.Start.Time(), Needed: w.order.Crew, Words: hard(r.F.Local(w.stop.Start).Format("2 Jan"))})
	}
	splicing := crew.Need{OrderKind: string(workorder.KindResplice)}
	for t := r.Now; t.Before(d.To); t = t.AddDate(0, 0, 1) {
		n := list.Count(splicing, assets.DayOf(t.In(zone)))
		if k := len(d.Left); k == 0 || d.Left[k-1].N != n {
			d.Left = append(d.Left, drawing.LeftFrom{From: t, N: n})
		}
	}
	return drawing.OfTickets(d)
}

// endsBefore returns the first work its holder is sent to on a day after the ticket ends, for which it is asked.
func (l *CrewList) endsBefore(t assets.PersonQualification, work []placedWork) *placedWork {
	for i, w := range work {
		asked := slices.ContainsFunc(l.Asked(w.need), func(q assets.Qualification) bool { return q.ID == t.QualificationID })
		if asked && w.day > t.UntilDay && slices.Contains(w.order.PlacedPeople, t.PersonID) && l.On(t.PersonID, w.need, w.day) != crew.May {
			return &work[i]
		}
	}
	return nil
}

func (l *CrewList) homeWords(m assets.CrewMember, plant int64) string {
	switch {
	case m.HomePlantID == 0:
		return "from the depot"
	case m.HomePlantID == plant:
		return "home plant"
	case l.Plants[m.HomePlantID] != "":
		return "from " + l.Plants[m.HomePlantID]
	}
	return "from another plant"
}

func (r *Request) awayDays(a assets.Absence) string {
	if a.FromDay == a.UntilDay {
		return r.F.PlainDay(a.FromDay)
	}
	from := r.F.PlainDay(a.FromDay)
	if a.FromDay[:7] == a.UntilDay[:7] {
		from = strings.TrimPrefix(string(a.FromDay[8:]), "0")
	}
	return from + " to " + r.F.PlainDay(a.UntilDay)
}

func (r *Request) ticketLines(list *CrewList) (tickets, away []ticketLine) {
	for _, m := range list.Members {
		for i, t := range list.ofPerson(m.PersonID) {
			l := ticketLine{Ticket: list.ticketName(t.QualificationID), Until: "until further notice"}
			if i == 0 {
				l.Person = list.Names[m.PersonID]
			}
			if t.UntilDay != "" {
				l.Until = r.F.PlainDay(t.UntilDay)
			}
			l.Change, _ = r.Link("crew/tickets/:ticket", t.ID)
			l.Papers, _ = r.Link("crew/tickets/:ticket/files", t.ID)
			tickets = append(tickets, l)
		}
	}
	for _, a := range list.Absences {
		if !list.member(a.PersonID) {
			continue
		}
		l := ticketLine{Person: list.Names[a.PersonID], Ticket: r.awayDays(a), Until: pick(r.May(people.KeepCrew), a.Why, "")}
		l.Change, _ = r.Link("crew/absences/:absence", a.ID)
		away = append(away, l)
	}
	return tickets, away
}

// crewTodo is what somebody has to see to: tickets that end, stops with nobody to spare, many tickets ending on one day.
func (r *Request) crewTodo(list *CrewList, work []placedWork) []todoLine {
	var out []todoLine
	ending := list.Ending(r.F.Today(), assets.DayOf(r.Now.In(r.F.zone()).AddDate(0, 0, 90)))
	for _, t := range ending {
		l := todoLine{Bold: "Renew " + list.Names[t.PersonID] + ", " + list.ticketName(t.QualificationID) + ", by " + r.F.PlainDay(t.UntilDay) + "."}
		if w := list.endsBefore(t, work); w != nil {
			l.Rest = "It ends before the stop of " + r.F.PlainDay(w.day) + " they are sent to, order " + fmt.Sprint(w.order.Number) + "."
		}
		out = append(out, l)
	}
	for _, w := range work {
		if asked := list.Asked(w.need); len(asked) > 0 && w.may == w.order.Crew && w.may > 0 {
			out = append(out, todoLine{Bold: Capital(r.F.PlainDay(w.day)) + " has nobody to spare.", Rest: "If one of the " + fmt.Sprint(w.may) + " who may work falls out, order " + fmt.Sprint(w.order.Number) + " cannot be done." +
				pick(w.order.LatestDay == "", "", " It is due by "+r.F.PlainDay(w.order.LatestDay)+".")})
		}
	}
	byDay := map[string]int{}
	for _, t := range list.Ending(r.F.Today(), assets.DayOf(r.Now.In(r.F.zone()).AddDate(1, 0, 0))) {
		byDay[string(t.UntilDay)+"\n"+list.ticketName(t.QualificationID)]++
	}
	for _, key := range sortedKeys(byDay) {
		if n := byDay[key]; n >= 3 {
			day, name, _ := strings.Cut(key, "\n")
			out = append(out, todoLine{Bold: Capital(name) + " of " + Count(n, "person", "people") + " ends " + r.F.PlainDay(assets.Day(day)) + ".", Rest: "On one day: one course for all, or the stops after it lack people."})
		}
	}
	return out
}

func sortedKeys(m map[string]int) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// crewTable is who goes to which stop, counted with the ticket that holds on that day.
func (r *Request) crewTable(list *CrewList, work []placedWork) ([]crewStop, []crewLine) {
	work = work[:min(len(work), crewStopsShown)]
	if len(work) == 0 {
		return nil, nil
	}
	var stops []crewStop
	sum := crewLine{Name: "May work / needed", Sum: true}
	for _, w := range work {
		head := crewStop{Day: r.F.PlainDay(w.day), Work: fmt.Sprintf("%d, %s, %d", w.order.Number, w.order.Kind, w.order.Crew), Link: r.At("orders", w.order.Number)}
		stops = append(stops, head)
		sum.Cells = append(sum.Cells, crewCell{Word: fmt.Sprintf("%d / %d", w.may, w.order.Crew), Class: pick(w.may < w.order.Crew, "fault", pick(w.may == w.order.Crew, "strong", "")), Head: head.short()})
	}
	var rows []crewLine
	for _, m := range list.Members {
		line := crewLine{Name: list.Names[m.PersonID]}
		for i, w := range work {
			c := list.cell(m.PersonID, w)
			c.Head = stops[i].short()
			line.Cells = append(line.Cells, c)
		}
		rows = append(rows, line)
	}
	return stops, append(rows, sum)
}

// cell is how somebody stands to one piece of placed work.
func (l *CrewList) cell(person int64, w placedWork) crewCell {
	state := l.On(person, w.need, w.day)
	i := slices.Index(w.order.PlacedPeople, person)
	switch {
	case i >= 0 && state != crew.May:
		return crewCell{Word: "sent, " + string(state), Class: "fault"}
	case i >= 0 && l.elsewhere(person, w.stop):
		return crewCell{Word: "sent, not free then", Class: "fault"}
	case i == 0:
		return crewCell{Word: "leads", Class: "strong"}
	case i > 0:
		return crewCell{Word: "sent"}
	case state == crew.May && l.elsewhere(person, w.stop):
		return crewCell{Word: "not free then", Class: "dim"}
	}
	return crewCell{Word: string(state), Class: "dim"}
}

func (r *Request) memberLines(list *CrewList) []memberLine {
	var out []memberLine
	for _, m := range list.Members {
		l := memberLine{Name: list.Names[m.PersonID], Home: Capital(list.homeWords(m, r.PlantID())), Week: weekWords(m.WorkingWeek)}
		if r.May(people.ReadCosts) {
			l.Callout = Num(m.CalloutCost, 0)
		}
		l.Change, _ = r.Link("crew/members/:member", m.ID)
		out = append(out, l)
	}
	return out
}

// weekWords says a working week in short: "Mon to Fri 06:00 to 14:00".
func weekWords(week []assets.Shift) string {
	if len(week) == 0 {
		return "any time"
	}
	type hours struct{ start, end string }
	var order []hours
	days := map[hours][]int{}
	for _, s := range week {
		h := hours{s.Start, s.End}
		if days[h] == nil {
			order = append(order, h)
		}
		days[h] = append(days[h], (s.Weekday+6)%7) // Monday first
	}
	var parts []string
	for _, h := range order {
		parts = append(parts, weekdaysWords(days[h])+" "+h.start+" to "+h.end)
	}
	return strings.Join(parts, "; ")
}

var weekdayNames = []string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}

func weekdaysWords(days []int) string {
	slices.Sort(days)
	days = slices.Compact(days)
	if n := len(days); n > 2 && days[n-1]-days[0] == n-1 {
		return weekdayNames[days[0]] + " to " + weekdayNames[days[n-1]]
	}
	names := make([]string, len(days))
	for i, d := range days {
		names[i] = weekdayNames[d]
	}
	return strings.Join(names, ", ")
}
