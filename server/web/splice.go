package web

import (
	"fmt"
	"html/template"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// splicePage answers: how old is this splice on each clock, what sets its date and on what does that rest,
// where does it come from, what was seen on it and what was done.
type splicePage struct {
	Page
	Name, Tag, Conveyor string
	Drawing             template.HTML // nil: ended, it has no place on the belt any more
	Life                template.HTML
	Clocks              []ageRow
	Due                 *duePart
	Trends              []trendRow
	Used                *drawing.Used
	Sets                string
	Origin              []Fact
	Rests               []Fact
	Findings, Rest      []findingRow
	Found               string
	Orders              []Link
	Also                []Link
}

// ageRow is one clock: the age on it and what it is held against.
type ageRow struct {
	Clock, Now, Against string
	Binds               bool
}

func (s *Site) splice(r *Request) error {
	sp, err := s.spliceAsked(r)
	if err != nil {
		return err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	v := viewOf(fl, r.F)
	c, ok := v.Register.Conveyor(sp.ConveyorID)
	if !ok {
		if c, err = s.Registers.Conveyor(r.Context(), r.Scope, sp.ConveyorID); err != nil {
			return err
		}
	}
	past, err := s.Fleets.Past(r.Context(), r.Scope, r.PlantID(), c.ID)
	if err != nil {
		return err
	}
	orders, _, err := s.Orders.OrderList(r.Context(), r.Scope, r.PlantID(), OrderFilter{SpliceID: sp.ID, Limit: 30})
	if err != nil {
		return err
	}
	p := r.splicePage(v, sp, c, past, orders)
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	p.Due, p.Trends = v.duePart(c, []assets.Splice{sp}, windows, r.PlantID(), false), v.trendRows(func(t *due.Trend) bool { return t.SpliceID == sp.ID })
	if f := v.forecast(sp.ID); f != nil && f.Best.Known && r.May(people.ReadCosts) {
		p.Rests = append(p.Rests, Fact{"Costs", f.Best.Cost})
	}
	files, err := s.filesLink(r, assets.AttachedToSplice, sp.ID, "splices/:splice/files", sp.ID)
	if err != nil {
		return err
	}
	pressed, err := s.pressLinks(r, sp)
	if err != nil {
		return err
	}
	p.Also = append(append(p.Also, pressed...), files)
	return r.Show("splice", p)
}

func (r *Request) splicePage(v fleetView, sp assets.Splice, c assets.Conveyor, past *Past, orders []workorder.Order) *splicePage {
	name := c.Tag + " splice " + sp.Number
	p := &splicePage{Name: name, Tag: c.Tag, Conveyor: r.At("conveyors", c.ID)}
	st, live := v.standing(sp.ID)
	p.Sheet, p.Say, p.Sub = name, v.spliceSay(name, sp, st, live), v.spliceSub(sp, c)
	p.Do = append(p.Do, Action{Word: "To " + c.Tag, To: p.Conveyor})
	if live {
		r.Offer(&p.Page, "Record a finding", "conveyors/:conveyor/finding", false, c.ID)
		u := usedOf("", st)
		p.Used, p.Sets = &u, fullStop(Capital(st.Reason))
		p.Clocks = v.ageRows(st)
		p.Rests = v.restsOn(st)
		if b := v.beltDate(c.ID); b != nil && b.BeltID == sp.BeltID {
			p.Rests = append(p.Rests, Fact{"Its belt", fullStop(Capital(v.beltDateWords(b)))})
		}
		says := "place not known"
		if sp.PositionM != nil {
			says = r.F.Distance(*sp.PositionM)
		}
		p.Drawing = drawing.OfPlace(v.drawn(c, r.PlantID()), spliceMark(sp), says)
	}
	own := ofSplice(past.Findings, sp.ID)
	numbers := map[int64]int64{}
	for _, o := range orders {
		numbers[o.ID] = o.Number
		p.Orders = append(p.Orders, Link{Word: fmt.Sprintf("%d: %s, %s", o.Number, orderTitle(o), o.State), To: r.At("orders", o.Number)})
		if o.State.Open() && len(p.Do) < 3 {
			r.Offer(&p.Page, fmt.Sprintf("Open order %d", o.Number), "orders/:order", true, o.Number)
		}
	}
	p.Findings, p.Rest = r.findingRows(own, past.People, numbers)
	p.Found = Figure(len(own), "finding", "findings")
	p.Origin = r.originFacts(v, sp, past)
	p.Life = r.spliceLife(v, name, sp, st, own, orders)
	p.Also = r.spliceLinks(sp, live)
	return p
}

// spliceLinks are the forms that change a splice.
func (r *Request) spliceLinks(sp assets.Splice, live bool) []Link {
	var links []Link
	add := func(word, pattern string) {
		if to, ok := r.Link(pattern, sp.ID); ok {
			links = append(links, Link{Word: word, To: to})
		}
	}
	add("Correct what is known of it", "splices/:splice/correct")
	if live {
		add("Say that it ended", "splices/:splice/retire")
		if to, ok := r.Link("orders/new"); ok && r.May(people.PlanOrders) {
			links = append(links, Link{Word: "Raise an order for it", To: fmt.Sprintf("%s?splice=%d", to, sp.ID)})
		}
	}
	return links
}

func ofSplice(findings []assets.Finding, id int64) []assets.Finding {
	return slices.DeleteFunc(slices.Clone(findings), func(f assets.Finding) bool { return f.SpliceID != id })
}

// spliceSay is the headline: where a live splice stands, how an ended one ended.
func (v fleetView) spliceSay(name string, sp assets.Splice, st due.Standing, live bool) string {
	switch {
	case sp.Ended != nil:
		say := name + " ended " + v.f.When(sp.Retired) + ": " + sp.RetiredWhy.Words()
		if sp.FailureMode != "" {
			say += ", " + sp.FailureMode
		}
		return say
	case !live:
		return name + " is not on a belt that runs"
	case !st.Age.Known && st.DueDay == "":
		return name + " has no date, so nothing can be said of when it comes due"
	case st.Band.Past():
		return name + " is past its " + pastWord(st) + ", at " + usedOf("", st).Percent()
	case st.DueDay != "":
		return name + " " + v.dueWords(st, "")
	case st.Used.Known:
		return name + " is at " + usedOf("", st).Percent() + " of its " + pastWord(st) + "; no date can be reckoned"
	}
	return "Nothing that binds sets a date for " + name
}

func (v fleetView) spliceSub(sp assets.Splice, c assets.Conveyor) string {
	sub := joinWords(c.Name, v.Register.LineName(c))
	if sp.PositionM != nil {
		sub = joinWords(sub, v.f.Distance(*sp.PositionM)+" from the zero mark")
	}
	return sub + ". " + Capital(assets.KindWords(sp.Form, sp.Bond)) + ", " + v.madeWords(sp) + "."
}

// ageRows are the four clocks, each with what it is held against.
func (v fleetView) ageRows(st due.Standing) []ageRow {
	days, hours, passes, flexes, reverse := clockWords(st)
	rows := []ageRow{{Clock: "Days", Now: days}, {Clock: "Running hours", Now: hours}, {Clock: "Passes", Now: passes}, {Clock: "Flexes, million", Now: flexes, Against: reverse}}
	for i := range rows {
		if st.Limit != nil && lower(rows[i].Clock) == string(st.Limit.Clock) {
			rows[i].Binds = true
			rows[i].Against = due.Count(st.Limit.Limit) + ", class " + string(st.Limit.Class)
		}
		if rows[i].Against == "" {
			rows[i].Against = pick(st.Limit == nil, "no limit that can be reckoned", "another clock falls due first")
		}
	}
	return rows
}

// restsOn says what the date rests on: what binds, figure, class and source, and what a rule of thumb says beside it.
func (v fleetView) restsOn(st due.Standing) []Fact {
	facts := []Fact{{"Date", pick(st.DueDay == "", "none: "+st.Reason, v.f.Day(st.DueDay)+", by "+setsWords(st))}}
	if l := st.Limit; l != nil {
		facts = append(facts, Fact{"Life used against", pick(l.BestAge(), "best age: the age at which replacing costs least", "rule: "+l.Name)}, Fact{"Limit", due.Count(l.Limit) + nb + string(l.Clock)},
			Fact{"Class", string(l.Class) + ", " + l.Class.Words()}, Fact{"Source", pick(l.Source == "", "none named", l.Source)})
	}
	facts = append(facts, Fact{"Counts from", pick(st.From.IsZero(), "not known", v.f.Date(assets.InstantOf(st.From)))})
	if words := v.thumbWords(st); words != "" {
		facts = append(facts, Fact{"Binds nothing", Capital(words) + "; rule " + st.Hint.Limit.Name})
	}
	return facts
}

func (r *Request) originFacts(v fleetView, sp assets.Splice, past *Past) []Fact {
	facts := []Fact{{"Made", r.F.When(sp.Made)}}
	add := func(name, value string) {
		if value != "" {
			facts = append(facts, Fact{name, value})
		}
	}
	add("By", pick(sp.MadeBy == "", v.Register.People[sp.MadeByID], sp.MadeBy))
	add("With", sp.MadeWith)
	add("Kind", assets.KindWords(sp.Form, sp.Bond))
	add("Kind as the list had it", sp.KindWritten)
	add("Measures", r.geometryWords(sp))
	for _, b := range past.Belts {
		if b.ID == sp.BeltID {
			add("In the belt", joinWords(v.beltWords(b), pick(b.RollNumber == "", "", "roll "+b.RollNumber)))
		}
	}
	if sp.Ended != nil {
		add("Ended", r.F.When(sp.Retired)+", "+sp.RetiredWhy.Words())
		add("Failure mode", sp.FailureMode)
	}
	add("Remark", sp.Remark)
	return facts
}

// spliceLife puts measurements, grades and orders on one axis.
func (r *Request) spliceLife(v fleetView, name string, sp assets.Splice, st due.Standing, findings []assets.Finding, orders []workorder.Order) template.HTML {
	l := drawing.Life{Sentence: "The life of " + name + ": measurements, findings and orders on one time axis", From: sp.Made.At.Time(), Undated: sp.Made.Unknown(), Now: r.Now, Zone: r.F.zone()}
	if sp.Ended != nil {
		l.To = sp.Ended.Time()
	} else if !st.DueAt.IsZero() {
		l.Due, l.DueSays = st.DueAt, pick(st.Overdue, "was due ", "due ")+r.F.PlainDay(st.DueDay)
	}
	if f := v.forecast(sp.ID); f != nil && sp.Ended == nil {
		l.Series = append(l.Series, ageSeries(l, sp, st, f)...)
		if !f.Band.At10.IsZero() {
			l.Band = taperOf(f)
			l.BandSays = "10 % by " + v.bandDate(f.Band.At10) + ", 50 % by " + v.bandDate(f.Band.At50) + ", 90 % by " + v.bandDate(f.Band.At90)
			l.Sentence += "; comes due " + l.BandSays
		}
	}
	series := map[string]int{}
	for i := len(findings) - 1; i >= 0; i-- { // from old to new
		f := findings[i]
		if f.Grade != nil {
			l.Grades = append(l.Grades, drawing.GradeAt{At: f.FoundAt.Time(), Grade: *f.Grade})
		}
		if f.Measurement == nil || f.Quantity == "" {
			continue
		}
		k, ok := series[f.Quantity]
		if !ok {
			k = len(l.Series)
			series[f.Quantity] = k
			l.Series = append(l.Series, drawing.Series{Name: Capital(f.Quantity), Unit: r.seriesUnit(f.MeasurementUnit)})
		}
		l.Series[k].Points = append(l.Series[k].Points, drawing.Point{At: f.FoundAt.Time(), Value: r.seriesValue(*f.Measurement, f.MeasurementUnit)})
	}
	for i := range v.Trends {
		if t := &v.Trends[i]; t.SpliceID == sp.ID {
			if k, ok := series[t.Gauge.Quantity]; ok {
				r.laid(&l.Series[k], t)
			}
		}
	}
	for _, o := range orders {
		mark := drawing.OrderAt{From: o.RaisedAt.Time(), To: time.Time{}, Says: fmt.Sprintf("%d %s", o.Number, orderTitle(o))}
		if !o.DoneAt.IsZero() {
			mark.To = o.DoneAt.Time()
		}
		if o.State != workorder.Withdrawn {
			l.Orders = append(l.Orders, mark)
		}
	}
	return drawing.OfLife(l)
}

// ageSeries is the age on the clock its cohort is told on, against what life used is held against where that counts on the same
// clock, else against the best age.
func ageSeries(l drawing.Life, sp assets.Splice, st due.Standing, f *due.Forecast) []drawing.Series {
	most, says := f.Best.Age, "best age "+ageFigure(f.Best.Age)+" (class "+string(f.Class)+")"
	known := f.Best.Known
	if b := st.Limit; b != nil && !b.BestAge() && string(b.Clock) == f.Clock.String() {
		most, says, known = b.Limit, "rule "+due.Count(b.Limit)+" (class "+string(b.Class)+")", true
	}
	if !known || sp.Made.At == 0 || !(f.Age > 0) {
		return nil
	}
	scale, unit := 1.0, ""
	switch top := max(f.Age, most); {
	case top >= 2e6:
		scale, unit = 1e-6, "million"
	case top >= 2e4:
		scale, unit = 1e-3, "thousand"
	}
	most *= scale
	return []drawing.Series{{Name: Capital(f.Clock.String()), Unit: unit, Age: true, Limit: &most, LimitSays: says,
		Points: []drawing.Point{{At: l.From, Value: 0}, {At: l.Now, Value: f.Age * scale}}}}
}

// laid adds a trend's limit and line to the measurements it rests on.
func (r *Request) laid(s *drawing.Series, t *due.Trend) {
	if t.Limit.Quantity != "" {
		limit := r.seriesValue(t.Limit.Value, t.Unit)
		s.Limit, s.LimitSays = &limit, "limit "+t.Show(t.Limit.Value, r.F.Units)+" (class "+string(t.Limit.Class)+")"
		if !t.Limit.Class.RaisesOrders() {
			s.LimitSays += ": rule of thumb"
		}
	}
	if n := len(t.Times); t.PerDay != 0 && n > 1 {
		first, last := t.Times[0], t.Times[n-1]
		began := t.Level - t.PerDay*last.Sub(first).Hours()/24
		s.Fit = [2]drawing.Point{{At: first, Value: r.seriesValue(began, t.Unit)}, {At: last, Value: r.seriesValue(t.Level, t.Unit)}}
		if c := t.Crossing; c != nil && c.At.After(last) {
			s.Fit[1] = drawing.Point{At: c.At, Value: r.seriesValue(t.Limit.Value, t.Unit)}
			s.Meets.At10, s.Meets.At50, s.Meets.At90 = c.Dates()
			s.MeetsSays = "meets it about " + r.F.PlainDay(assets.DayOf(c.At.In(r.F.zone())))
		}
	}
}

// seriesUnit and seriesValue show lengths as the plant gauges them: millimetres or inches.
func (r *Request) seriesUnit(unit string) string {
	if unit == "m" {
		return pick(r.F.us(), "in", "mm")
	}
	return unit
}

func (r *Request) seriesValue(v float64, unit string) float64 {
	switch {
	case unit != "m":
		return v
	case r.F.us():
		return v / 0.0254
	}
	return v * 1000
}
