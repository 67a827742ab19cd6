package web

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// todayPage answers: how does the plant stand, what must be decided, what is coming, what changed.
type todayPage struct {
	Page
	Ramp      []drawing.Used
	Belts     template.HTML
	Stretched bool
	Tall      bool // the picture is taller than a screen: what must be decided comes first
	Decide    []decision
	More      string // "and 4 more" beyond those shown
	Orders    string // address of the orders
	Stops     []stopRow
	StopsTo   string // "" while stops have no page
	Coming    []comingRow
	News      []newsRow
	Reminders []reminderRow
	First     *firstSteps // of a plant without belts
}

type comingRow struct {
	Name, To string
	When     string
	Why      string
	Used     *drawing.Used // nil: a belt as a whole
	Taper    template.HTML // "": no due band
}

type stopRow struct {
	Day, Time, Where string
	Bar              template.HTML
	Needs            []string
	Orders           []Link
}

type newsRow struct{ What, More, By string }

type reminderRow struct {
	ID        int64
	About, To string
	Why       string
	Due       string
	NotBefore string // the date the field offers
	Bad       string // what is wrong with the date that was typed
	May       bool
}

// todayInputs is everything the screen is computed from.
type todayInputs struct {
	v          fleetView
	open       []workorder.Order
	windows    []assets.StopWindow
	reminders  []rules.Occurrence
	news       *News
	held       int
	grades     []assets.Finding
	unanswered []RoundEntryFile
	standing   []standingNow
	signatures []SignatureFile       // that a lead must decide on
	doubts     map[int64]rules.Doubt // by order
}

func (s *Site) today(r *Request) error {
	p, err := s.todayPage(r)
	if err != nil {
		return err
	}
	return r.Show("today", p)
}

// todayPage is the screen as it is now.
func (s *Site) todayPage(r *Request) (*todayPage, error) {
	in, err := s.readToday(r)
	if err != nil {
		return nil, err
	}
	p := &todayPage{Ramp: drawing.Ramp(), Orders: r.At("orders")}
	p.Sheet = "Today"
	r.Offer(&p.Page, "Record a finding", "findings/new", false)
	r.Offer(&p.Page, "Enter readings", "readings", false)
	r.Offer(&p.Page, "Open the orders", "orders", true)
	if len(in.v.Register.Conveyors) == 0 {
		p.First, p.Say, p.Do = r.firstSteps(), in.v.beltsSay(), nil
		p.Sub = "Four steps, in this order. Each can be left and taken up again; nothing is raised before there are belts."
		return p, nil
	}
	d := r.decisions(in)
	p.Say, p.Sub = todaySay(d), r.F.LongDay(r.F.Today())+". "+todaySub(d, in.v)
	p.Decide, p.More = firstOf(d)
	p.Belts, p.Stretched = r.plantDrawing(in.v)
	p.Tall = len(in.v.Register.Conveyors) > tallFrom
	p.Stops = r.stopRows(in)
	p.StopsTo, _ = r.Link("stops")
	p.Coming = r.comingRows(in)
	p.News = r.newsRows(in)
	p.Reminders = r.reminderRows(in)
	return p, nil
}

// firstSteps is what a plant without belts needs, in order, each with its button where it is built and open.
type firstSteps struct {
	Steps   []firstStep
	Drawing template.HTML
}

type firstStep struct {
	N          int
	What, Why  string
	To, Button string
	Now, Done  bool
}

func (r *Request) firstSteps() *firstSteps {
	plant := r.Plant.Plant
	f := &firstSteps{Drawing: drawing.Legend(true), Steps: []firstStep{
		{N: 1, What: "Name the plant", Why: joinWords(plant.Name, "time zone "+plant.Zone, pick(plant.UnitSystem == assets.UnitsUS, "US customary units", "SI units")) + ".", Done: !plant.SettingsAsked, Now: plant.SettingsAsked},
		{N: 2, What: "Bring in belts and splices", Now: !plant.SettingsAsked,
			Why: "A workbook or CSV as you keep it: your own headings, inches or metres, blanks and all. You see what would be made before anything is. Or type in one conveyor."},
		{N: 3, What: "Give one running-hour reading per conveyor", Why: "Without it, age counts in days only."},
		{N: 4, What: "Add the planned stops", Why: "One per line is enough to see what fits."},
	}}
	for i, b := range [...][2]string{{"settings", "Confirm"}, {"import", "Bring in a list"}, {"readings", "Enter readings"}, {"stops", "Add a stop"}} {
		if to, ok := r.Link(b[0]); ok {
			f.Steps[i].To, f.Steps[i].Button = to, b[1]
		} else if to, ok := r.Link("conveyors/new"); ok && i == 1 {
			f.Steps[i].To, f.Steps[i].Button = to, "Add a conveyor"
		}
	}
	return f
}

func (s *Site) readToday(r *Request) (in todayInputs, err error) {
	ctx, id := r.Context(), r.PlantID()
	fl, err := s.Fleets.Fleet(ctx, r.Scope, id, r.Now)
	if err != nil {
		return in, err
	}
	in.v = viewOf(fl, r.F)
	if in.open, err = s.Orders.OpenOrders(ctx, r.Scope, id); err != nil {
		return in, err
	}
	if in.windows, err = s.Days.Windows(ctx, r.Scope, id, r.Now); err != nil {
		return in, err
	}
	if in.reminders, err = s.Days.Reminders(ctx, r.Scope, id, r.F.Today()); err != nil {
		return in, err
	}
	since, err := r.F.Today().AddDays(-1).Midnight(r.F.zone())
	if err != nil {
		return in, err
	}
	if in.news, err = s.Days.News(ctx, r.Scope, id, since); err != nil {
		return in, err
	}
	if in.held, err = s.Days.Held(ctx, r.Scope, id); err != nil {
		return in, err
	}
	if in.grades, err = s.Days.OpenGrades(ctx, r.Scope, id); err != nil {
		return in, err
	}
	if in.unanswered, err = s.RoundBook.EntriesUnanswered(ctx, r.Scope, id); err != nil {
		return in, err
	}
	if in.standing, err = s.standingNow(r); err != nil {
		return in, err
	}
	if in.signatures, err = s.Worksheets.SignaturesWaiting(ctx, r.Scope, id); err != nil {
		return in, err
	}
	doubts, err := s.Days.Doubts(ctx, r.Scope, id, r.Now)
	in.doubts = make(map[int64]rules.Doubt, len(doubts))
	for _, d := range doubts {
		in.doubts[d.OrderID] = d
	}
	return in, err
}

// plantDrawing draws every belt of the plant, line by line.
func (r *Request) plantDrawing(v fleetView) (template.HTML, bool) {
	var lines []drawing.Line
	last := int64(-1)
	for _, c := range v.Register.Conveyors {
		if c.Status == assets.ConveyorRetired {
			continue
		}
		if len(lines) == 0 || c.LineID != last {
			name := v.Register.LineName(c)
			lines = append(lines, drawing.Line{Name: pick(name == "", "No line named", name)})
			last = c.LineID
		}
		l := &lines[len(lines)-1]
		l.Belts = append(l.Belts, v.drawn(c, r.PlantID()))
	}
	p := drawing.OfPlant(lines, r.scaleBar)
	return p.SVG, p.Stretched
}

// scaleBar chooses a round length that is 40 to 120 pixels long, in the plant's unit.
func (r *Request) scaleBar(perM float64) (float64, string) {
	unit, per := "m", 1.0
	if r.F.us() {
		unit, per = "ft", 0.3048
	}
	for _, n := range []float64{1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000} {
		if n*per*perM >= 40 {
			return n * per, With(Num(n, 0), unit)
		}
	}
	return 0, ""
}

// tallFrom is the number of conveyors from which the picture of a plant fills more than a screen.
const tallFrom = 60

const comingShown = 6

// comingRows are the splices and belts that come due next and have no order yet, by the date recommended, splices without one by
// the date half of such have come due.
func (r *Request) comingRows(in todayInputs) []comingRow {
	type coming struct {
		at     time.Time
		splice due.Standing
		belt   *due.BeltStanding
	}
	var next []coming
	ordered := orderedIn(in.open)
	for _, st := range in.v.Standings {
		if at := in.v.dueKeyOf(st.SpliceID); !ordered.remakes(st.SpliceID, st.BeltID) && !pastWhatBinds(st) && !at.Equal(lastOfAll) { // what is past is to be decided
			next = append(next, coming{at: at, splice: st})
		}
	}
	for i := range in.v.Belts {
		if b := &in.v.Belts[i]; !ordered.mended[b.BeltID] && !b.Overdue {
			next = append(next, coming{at: b.Advice.At, belt: b})
		}
	}
	slices.SortStableFunc(next, func(a, b coming) int { return a.at.Compare(b.at) })
	var rows []comingRow
	for _, n := range next[:min(len(next), comingShown)] {
		if n.belt != nil {
			rows = append(rows, r.comingBelt(in, n.belt))
		} else {
			rows = append(rows, r.comingRow(in, n.splice, n.at))
		}
	}
	return rows
}

// comingBelt is a belt that comes due as a whole.
func (r *Request) comingBelt(in todayInputs, b *due.BeltStanding) comingRow {
	c, _ := in.v.Register.Conveyor(b.ConveyorID)
	row := comingRow{Name: "The belt of " + c.Tag, To: r.At("conveyors", c.ID), When: r.F.Day(b.Advice.Day), Why: Capital(b.Advice.Reason)}
	if !b.Band.At10.IsZero() {
		row.Taper = in.v.taperCell(&due.Forecast{Band: b.Band, Advice: b.Advice})
	}
	return row
}

func (r *Request) comingRow(in todayInputs, st due.Standing, at time.Time) comingRow {
	u := usedOf("", st)
	row := comingRow{Name: in.v.spliceName(st), To: r.At("splices", st.SpliceID), When: r.F.Day(st.DueDay), Why: Capital(st.Reason), Used: &u}
	if row.When == "" {
		row.When = r.F.Day(assets.DayOf(at.In(r.F.zone())))
	}
	f := in.v.forecast(st.SpliceID)
	if f == nil {
		return row
	}
	row.Taper = in.v.taperCell(f)
	c, _ := in.v.Register.Conveyor(st.ConveyorID)
	if stop, _ := nextStop(in.windows, c, r.Now); stop != nil && len(f.Causes) > 0 {
		row.Why = Capital(in.v.beforeStop(f, stop)) + ". " + row.Why
	}
	return row
}

// spliceName is how a splice is called away from its conveyor: "Q3 splice 2".
func (v fleetView) spliceName(st due.Standing) string {
	c, _ := v.Register.Conveyor(st.ConveyorID)
	s, _ := v.Register.Splice(st.SpliceID)
	return c.Tag + " splice " + s.Number
}

const stopsShown = 4

func (r *Request) stopRows(in todayInputs) []stopRow {
	var rows []stopRow
	for _, w := range in.windows[:min(len(in.windows), stopsShown)] {
		rows = append(rows, r.stopRow(w, in))
	}
	return rows
}

func (r *Request) stopRow(w assets.StopWindow, in todayInputs) stopRow {
	start, hours := r.F.Local(w.Start), w.End.Time().Sub(w.Start.Time()).Hours()
	row := stopRow{Day: r.shortDay(start), Time: start.Format("15:04") + ", " + Duration(hours), Where: "Whole plant"}
	if l, ok := in.v.Register.Line(w.LineID); ok {
		row.Where = l.Name
	}
	booked, crew := 0.0, 0
	for _, o := range in.open {
		if o.WindowID != w.ID {
			continue
		}
		booked += o.WorkHours
		crew = max(crew, o.Crew)
		c, _ := in.v.Register.Conveyor(o.ConveyorID)
		row.Orders = append(row.Orders, Link{Word: fmt.Sprintf("%d %s", o.Number, c.Tag), To: r.At("orders", o.Number)})
	}
	row.Bar = drawing.Fill(booked / hours)
	row.Needs = append(row.Needs, Short(booked, 1)+" of "+Duration(hours)+" booked")
	if crew > 0 {
		row.Needs = append(row.Needs, "crew of "+Int(int64(crew)))
	}
	if w.Note != "" {
		row.Needs = append(row.Needs, w.Note)
	}
	return row
}

// shortDay writes a day as the list of stops does: weekday within three weeks, else the year when it is another.
func (r *Request) shortDay(t time.Time) string {
	layout := "Mon 2 Jan"
	if t.Year() != r.F.Now.In(r.F.zone()).Year() {
		layout = "2 Jan 2006"
	}
	return hard(t.Format(layout))
}

// newsRows tell what was recorded since yesterday began.
func (r *Request) newsRows(in todayInputs) []newsRow {
	var rows []newsRow
	for _, f := range in.news.Findings {
		c, _ := in.v.Register.Conveyor(f.ConveyorID)
		more := f.Text
		if m := r.measured(f); m != "" {
			more = m + pick(more == "", "", ": "+more)
		}
		if f.Grade != nil {
			more += fmt.Sprintf(", grade %d", *f.Grade)
		}
		rows = append(rows, newsRow{What: strings.TrimSpace(c.Tag + " " + f.Target + " " + f.Category), More: more,
			By: joinWords(r.F.Date(f.FoundAt), pick(f.FoundBy != "", f.FoundBy, in.news.People[f.FoundByID]))})
	}
	told := map[int64]bool{}
	for _, n := range in.news.Steps { // from new to old: where an order stands now tells what went before
		if told[n.Number] {
			continue
		}
		told[n.Number] = true
		c, _ := in.v.Register.Conveyor(n.ConveyorID)
		rows = append(rows, newsRow{What: fmt.Sprintf("Order %d %s.", n.Number, n.Event.What), More: joinWords(strings.TrimSpace(c.Tag+" "+n.Title), n.Event.Why),
			By: joinWords(r.F.Date(n.Event.At), in.news.People[n.Event.PersonID])})
	}
	inUse := 0
	for _, c := range in.v.Register.Conveyors {
		if c.Status != assets.ConveyorRetired {
			inUse++
		}
	}
	if in.news.Read > 0 {
		rows = append(rows, newsRow{What: "Hours read", More: fmt.Sprintf("for %d of %s", in.news.Read, Figure(inUse, "conveyor", "conveyors"))})
	}
	return rows
}

func joinWords(words ...string) string {
	var some []string
	for _, w := range words {
		if w != "" {
			some = append(some, w)
		}
	}
	return strings.Join(some, ", ")
}

// reminderRows are what only a rule of thumb asks for: a person makes it an order or puts it off.
func (r *Request) reminderRows(in todayInputs) []reminderRow {
	var rows []reminderRow
	for _, o := range in.reminders {
		about, to := r.targetOf(o.TargetKind, o.TargetID, in.v)
		rows = append(rows, reminderRow{ID: o.ID, About: about, To: to, Why: fullStop(o.Why), Due: r.F.Day(o.DueDay), NotBefore: string(r.F.Today().AddDays(28)), May: r.May(people.PlanOrders)})
	}
	return rows
}

// targetOf names what an occurrence is about and where that is shown.
func (r *Request) targetOf(kind rules.TargetKind, id int64, v fleetView) (name, to string) {
	switch kind {
	case rules.TargetSplice:
		if s, ok := v.Register.Splice(id); ok {
			c, _ := v.Register.Conveyor(s.ConveyorID)
			return c.Tag + " splice " + s.Number, r.At("splices", id)
		}
	case rules.TargetBelt:
		if b, ok := v.Register.Belt(id); ok {
			c, _ := v.Register.Conveyor(b.ConveyorID)
			return "The belt of " + c.Tag, r.At("conveyors", c.ID)
		}
	case rules.TargetConveyor:
		if c, ok := v.Register.Conveyor(id); ok {
			return joinWords(c.Tag, c.Name), r.At("conveyors", id)
		}
	case rules.TargetLine:
		if l, ok := v.Register.Line(id); ok {
			return l.Name, ""
		}
	}
	return v.Register.Plant.Name, ""
}

// makeOrder makes an order out of a reminder.
func (s *Site) makeOrder(r *Request) error {
	id, err := r.ID("reminder")
	if err != nil {
		return err
	}
	number, err := s.Days.MakeOrder(r.Context(), r.Scope, r.act("make a reminder an order", ""), r.PlantID(), id)
	if err != nil {
		return err
	}
	return r.Done(r.At("orders", number), fmt.Sprintf("Order %d raised from a rule of thumb.", number))
}

// notBefore puts a reminder off until a day.
func (s *Site) notBefore(r *Request) error {
	id, err := r.ID("reminder")
	if err != nil {
		return err
	}
	day := assets.Day(r.C.Request.PostForm.Get("day"))
	if _, err := day.Midnight(r.F.zone()); err != nil || day <= r.F.Today() {
		p, err := s.todayPage(r)
		if err != nil {
			return err
		}
		for i := range p.Reminders {
			if p.Reminders[i].ID == id {
				p.Reminders[i].NotBefore, p.Reminders[i].Bad = string(day), "Choose a date after today, written as YYYY-MM-DD."
				return r.Refill("today", p)
			}
		}
		return fmt.Errorf("reminder %d: %w", id, assets.ErrNotFound)
	}
	if err := s.Days.NotBefore(r.Context(), r.Scope, r.act("put a reminder off", "not before "+string(day)), r.PlantID(), id, day); err != nil {
		return err
	}
	return r.Done(r.At(), "Put off; it comes back on "+r.F.Day(day)+".")
}
