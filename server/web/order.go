package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sort"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/problem"
)

// orderPage answers: what is to be done, why and by when; what stands in the way; who did what so far. It
// prints as the job sheet, cautions first.
type orderPage struct {
	Page
	Heading, Where string
	Life           OrderLife
	Cautions       []string
	SiteRules      string
	Facts          []Fact
	Belt           []Fact // of the belt and splice worked on
	Computed       []computedRow
	Missing        []string // what figures could not be computed without
	Prepared       []Fact   // kit and stock to be laid out
	Pressed        []pressedPart
	Work           *sheetPart
	Why            string
	From           []Fact // what raised it
	Steps          []stepForm
	Events         []eventRow
	Signed         string
	DoneAt         string
	SignedAt       string
	Ticket         string // of whoever signed
	Used           []Fact // kit and stock, when it is done
	Changed        []changedRow
	Conveyor       *Link
	Edit           int64 // EditVersion read: a step carries it
}

// stepForm is one step that whoever asks may take with the order as it stands.
type stepForm struct {
	Action workorder.Action
	Word   string
	Says   string
	Form   *Form
	Main   bool
	Open   bool // its form is shown unfolded
}

type eventRow struct {
	When, Entered, Who, What, Why, Changed string
}

func (s *Site) order(r *Request) error {
	p, _, err := s.orderPage(r, "", nil)
	if err != nil {
		return err
	}
	return r.Show("order", p)
}

// orderStep takes a step of an order from its form.
func (s *Site) orderStep(r *Request) error {
	action := workorder.Action(r.C.Request.PostForm.Get("action"))
	if _, ok := workorder.StepOf(action); !ok {
		return assets.Invalid{"": "choose one of the steps the order page offers"}
	}
	p, file, err := s.orderPage(r, action, nil)
	if err != nil {
		return err
	}
	if r.sentAgain(file, action) {
		return r.alreadyDone(file, action)
	}
	form := p.step(action)
	if form == nil {
		return s.notPossible(r, file.Order, action)
	}
	err = s.takeStep(r, file, action, form.Form)
	switch {
	case err == nil:
		return r.Done(r.At("orders", file.Order.Number), fmt.Sprintf("Order %d: %s.", file.Order.Number, stepDone(action)))
	case errors.Is(err, assets.ErrConflict):
		if now, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), file.Order.Number); err == nil && r.sentAgain(now, action) {
			return r.alreadyDone(now, action)
		}
		return s.orderConflict(r, file.Order, action)
	}
	if p, _, pageErr := s.orderPage(r, action, err); pageErr == nil && p.step(action) != nil && p.step(action).Form.Wrong() {
		return r.Refill("order", p)
	}
	return err
}

// doubleClick is how long after a step the same person's same step counts as its form sent twice, by a second
// click or by a page loaded again. Our own choice.
const doubleClick = 10 * time.Second

// sentAgain tells whether the step that is asked for has been taken already and the order has not changed since: by
// the same form sent twice, or, where accepting is all there is to it, by anybody.
func (r *Request) sentAgain(file *OrderFile, action workorder.Action) bool {
	o, step := file.Order, stepDone(action)
	n := len(file.Events)
	if n == 0 || file.Events[n-1].What != step || numberOf(r.C.Request.PostForm.Get("edit")) == o.EditVersion {
		return false
	}
	last := file.Events[n-1]
	if action == workorder.ToAccept {
		return true
	}
	return last.PersonID == r.Who.Person.ID && r.Now.Sub(last.EnteredAt.Time()) < doubleClick && numberOf(r.C.Request.PostForm.Get("edit")) == o.EditVersion-1
}

// alreadyDone leads to the order as it stands.
func (r *Request) alreadyDone(file *OrderFile, action workorder.Action) error {
	notice := fmt.Sprintf("Order %d is %s already", file.Order.Number, stepDone(action))
	if last := file.Events[len(file.Events)-1]; last.PersonID != r.Who.Person.ID {
		notice += ": " + file.People[last.PersonID] + " did it " + r.F.Stamp(last.EnteredAt)
	}
	return r.Done(r.At("orders", file.Order.Number), notice+".")
}

// notPossible tells apart a step that the role may not take from one that the order does not stand for any more.
func (s *Site) notPossible(r *Request, o workorder.Order, action workorder.Action) error {
	step, _ := workorder.StepOf(action)
	if !r.May(step.Deed) {
		return fmt.Errorf("%s order %d: %w", action, o.Number, assets.ErrForbidden)
	}
	if edit := r.C.Request.PostForm.Get("edit"); edit != "" && numberOf(edit) != o.EditVersion {
		return s.orderConflict(r, o, action)
	}
	var from []string
	for _, state := range step.From {
		from = append(from, string(state))
	}
	return problem.Status{Code: http.StatusConflict, Title: fmt.Sprintf("Order %d stands as %s", o.Number, o.State),
		Detail: fmt.Sprintf("It can be %s only while it is %s. Open it to see which steps it stands for; nothing was changed.", step.What, strings.Join(from, " or "))}
}

// orderConflict shows the step somebody wanted beside where the order stands now.
func (s *Site) orderConflict(r *Request, read workorder.Order, action workorder.Action) error {
	now, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), read.Number)
	if err != nil {
		return err
	}
	c := &problem.Conflict{What: fmt.Sprintf("Order %d", read.Number), Again: r.At("orders", read.Number),
		Fields: []problem.Side{{Name: "Step", Yours: string(action), Theirs: "stands as " + string(now.Order.State)}}}
	form := r.C.Request.PostForm
	names := make([]string, 0, len(form))
	for name := range form {
		if name != "action" && name != "edit" && form.Get(name) != "" {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	for _, name := range names {
		c.Fields = append(c.Fields, problem.Side{Name: Capital(strings.ReplaceAll(name, "_", " ")), Yours: strings.Join(form[name], ", ")})
	}
	return c
}

func (p *orderPage) step(a workorder.Action) *stepForm {
	for i := range p.Steps {
		if p.Steps[i].Action == a {
			return &p.Steps[i]
		}
	}
	return nil
}

// actor is whoever asks, with the roles their grants give at the plant.
func (r *Request) actor() workorder.Actor {
	return workorder.Actor{PersonID: r.Who.Person.ID, Roles: people.RolesAt(r.Who.Grants, r.Plant.Plant.CustomerID, r.PlantID())}
}

// orderPage fills the page; of the forms, the one of posted holds what was sent and what is wrong with it.
func (s *Site) orderPage(r *Request, posted workorder.Action, wrong error) (*orderPage, *OrderFile, error) {
	number, err := r.ID("order")
	if err != nil {
		return nil, nil, err
	}
	file, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), number)
	if err != nil {
		return nil, nil, err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, nil, err
	}
	v, o := viewOf(fl, r.F), file.Order
	p := &orderPage{Heading: fmt.Sprintf("Job sheet %d: %s", o.Number, orderHeading(o, v)), Life: lifeOf(o.State), Why: fullStop(o.Reason)}
	p.Sheet, p.Say, p.Sub = fmt.Sprintf("Order %d", o.Number), r.orderSay(o, file.Window, v), r.orderSub(o)
	p.Do = append(p.Do, Action{Word: "Print the sheet", Print: true})
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		p.Conveyor = &Link{Word: c.Tag, To: r.At("conveyors", c.ID)}
		p.Do = append(p.Do, Action{Word: "To " + c.Tag, To: p.Conveyor.To})
		p.Where = joinWords(c.Name, v.Register.LineName(c), r.Plant.Plant.Name)
		p.Cautions = cautions(c, v, o)
	}
	p.SiteRules, p.Edit = r.Plant.Plant.SiteRules, o.EditVersion
	p.Facts, p.Belt, p.From = r.orderFacts(file, v), r.workedOn(o, v), r.orderFrom(file)
	if p.Work, err = s.sheet(r, v, o); err != nil {
		return nil, nil, err
	}
	if p.Prepared, err = s.prepared(r, o); err != nil {
		return nil, nil, err
	}
	if p.Pressed, err = s.pressedFor(r, o); err != nil {
		return nil, nil, err
	}
	figures, err := s.computed(r, v, o, p.Pressed)
	if err != nil {
		return nil, nil, err
	}
	p.Computed, p.Missing, p.Belt = figures.Rows, figures.Missing, append(p.Belt, figures.Recipe...)
	if o.State.Open() {
		windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
		if err != nil {
			return nil, nil, err
		}
		p.From = append(p.From, v.orderDue(o, windows)...)
	}
	p.Events, p.Signed = r.eventRows(file), r.signedWords(file)
	if !o.SignedAt.IsZero() {
		p.DoneAt, p.SignedAt = r.F.Stamp(o.DoneAt), r.F.Stamp(o.SignedAt)
	}
	if err := s.orderDone(r, file, v, p); err != nil {
		return nil, nil, err
	}
	files, err := s.filesLink(r, assets.AttachedToOrder, o.ID, "orders/:order/files", number)
	if err != nil {
		return nil, nil, err
	}
	p.Do = append(p.Do, Action{Word: files.Word, To: files.To})
	if sheetOpen(o) {
		r.Offer(&p.Page, "Take the sheet along", "orders/:order/along", false, o.Number)
	}
	p.Steps, err = s.stepForms(r, file, v, posted, wrong)
	return p, file, err
}

// orderHeading is the work in words: "remake splice 2 of Q3".
func orderHeading(o workorder.Order, v fleetView) string {
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		return orderTitle(o) + " of " + c.Tag
	}
	return orderTitle(o)
}

// orderSay is the headline of an order: what it is and where it stands.
func (r *Request) orderSay(o workorder.Order, w *assets.StopWindow, v fleetView) string {
	say := fmt.Sprintf("Order %d, %s, ", o.Number, orderHeading(o, v))
	today := r.F.Today()
	if days := workorder.OverdueDays(o, today); days > 0 {
		return say + "is " + Count(days, "day", "days") + " past its latest date"
	}
	by := ""
	if o.LatestDay != "" && o.State.Open() {
		by = "; its latest date is " + r.F.Day(o.LatestDay)
	}
	switch o.State {
	case workorder.Raised:
		return say + "waits to be accepted" + by
	case workorder.Accepted:
		return say + "has no stop yet" + by
	case workorder.Placed:
		on := ""
		if w != nil {
			on = " on " + r.F.Date(w.Start)
		}
		return say + "is placed" + on + by
	case workorder.Started:
		return say + "is being done" + by
	case workorder.Done:
		return say + "is done and waits for a signature"
	case workorder.Signed:
		return say + "is done and signed"
	}
	return say + "is withdrawn"
}

func (r *Request) orderSub(o workorder.Order) string {
	sub := "Raised " + r.F.Date(o.RaisedAt) + "."
	if !o.DoneAt.IsZero() {
		sub += " Done " + r.F.Stamp(o.DoneAt) + "."
	}
	if o.PutOffWhy != "" {
		sub += " Put off past its latest date: " + fullStop(o.PutOffWhy)
	}
	if o.WithdrawnWhy != "" {
		sub += " Withdrawn " + r.F.Date(o.WithdrawnAt) + ": " + fullStop(o.WithdrawnWhy)
		if o.HoldsUntil != "" {
			sub += " Holds until " + r.F.Day(o.HoldsUntil) + "."
		}
	}
	return sub
}

func (r *Request) orderFacts(file *OrderFile, v fleetView) []Fact {
	o := file.Order
	facts := []Fact{{"Kind", string(o.Kind)}, {"Latest date", pick(o.LatestDay == "", "none", r.F.Day(o.LatestDay))}}
	if o.WorkHours > 0 {
		facts = append(facts, Fact{"Work expected", Duration(o.WorkHours)})
	}
	if o.Crew > 0 {
		facts = append(facts, Fact{"People needed", Int(int64(o.Crew))})
	}
	if a := file.After; a != nil {
		_, wait := o.WaitsFor()
		facts = append(facts, Fact{"Waits for", fmt.Sprintf("order %s, %s", orderShort(*a), a.State) + pick(wait > 0, ", then "+Duration(wait.Hours()), "")})
	}
	if w := file.Window; w != nil {
		where := "whole plant"
		if l, ok := v.Register.Line(w.LineID); ok {
			where = l.Name
		}
		facts = append(facts, Fact{"Stop", r.F.Stamp(w.Start) + " to " + r.F.Stamp(w.End) + ", " + where})
		if o.PlacedStart != nil {
			facts = append(facts, Fact{"Work begins", r.F.Stamp(*o.PlacedStart) + pick(outside(o, *w), ": outside the stop as it is now; the horizon sets its hours anew", "")})
		}
	}
	var names []string
	for _, id := range o.PlacedPeople {
		names = append(names, file.People[id])
	}
	if len(names) > 0 {
		facts = append(facts, Fact{"People", strings.Join(names, ", ")})
	}
	if o.PlacedKit != "" {
		facts = append(facts, Fact{"Kit", o.PlacedKit})
	}
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok && c.AccessNote != "" {
		facts = append(facts, Fact{"Access", c.AccessNote})
	}
	if !o.DoneAt.IsZero() {
		facts = append(facts, Fact{"Work done", Duration(o.DoneHours) + pick(o.DoneNote == "", "", ": "+o.DoneNote)})
	}
	return facts
}

// workedOn is what the crew must know of belt and splice.
func (r *Request) workedOn(o workorder.Order, v fleetView) []Fact {
	var facts []Fact
	b, ok := v.Register.Belt(o.BeltID)
	if !ok {
		b, ok = v.Register.BeltOn(o.ConveyorID, 0)
	}
	if ok {
		facts = append(facts, Fact{"Belt", v.beltWords(b)}, Fact{"Loop length", r.F.Loop(b.LoopLengthM)}, Fact{"Thickness", r.F.Thickness(b.ThicknessM)})
		if b.RollNumber != "" {
			facts = append(facts, Fact{"Roll", b.RollNumber})
		}
	}
	if s, ok := v.Register.Splice(o.SpliceID); ok {
		facts = append(facts, Fact{"Splice", spliceMark(s) + ", " + assets.KindWords(s.Form, s.Bond) + ", " + v.madeWords(s)})
		if s.PositionM != nil {
			facts = append(facts, Fact{"Place", r.F.Distance(*s.PositionM) + " from the zero mark"})
		}
		if g := r.geometryWords(s); g != "" {
			facts = append(facts, Fact{"Measures", g})
		}
	}
	return facts
}

// geometryWords says a splice's measures: "3 steps of 250 mm, bias 21.8°".
func (r *Request) geometryWords(s assets.Splice) string {
	var words []string
	if s.FingerLengthM > 0 {
		words = append(words, "fingers "+r.F.show(unit.Finger, s.FingerLengthM)+" long")
	}
	if s.FingerPitchM > 0 {
		words = append(words, "pitch "+r.F.show(unit.Finger, s.FingerPitchM))
	}
	if s.StepLengthM > 0 {
		words = append(words, pick(s.Steps > 0, Figure(s.Steps, "step", "steps"), "steps")+" of "+r.F.Width(s.StepLengthM))
	}
	if s.BiasAngleDeg > 0 {
		words = append(words, "bias "+Short(s.BiasAngleDeg, 1)+"°")
	}
	return strings.Join(words, ", ")
}

// orderFrom says what raised the order.
func (r *Request) orderFrom(file *OrderFile) []Fact {
	switch {
	case file.Rule != nil:
		return []Fact{{"Rule", file.Rule.Name}, {"Trigger", file.Rule.Trigger.Words()}, {"Class", string(file.Rule.Class) + ", " + file.Rule.Class.Words()}, {"Source", pick(file.Rule.Source == "", "none named", file.Rule.Source)}}
	case file.Order.FindingID != 0:
		return []Fact{{"Raised from", "a finding"}}
	}
	by := "a person"
	// An emergency is raised after its work began, so that its raising is not the first that happened.
	if slices.ContainsFunc(file.Events, func(e workorder.Event) bool { return e.What == "raised" && e.PersonID == 0 }) {
		by = "a rule" // that is kept no more, or from before the records
	}
	return []Fact{{"Raised by", cmp.Or(file.People[file.Order.RaisedBy], by)}}
}

func (r *Request) signedWords(file *OrderFile) string {
	if file.Order.SignedAt.IsZero() {
		return ""
	}
	return orNotKnown(file.People[file.Order.SignedBy])
}

// eventRows are the steps so far: when it was so and when it was entered are two times.
func (r *Request) eventRows(file *OrderFile) []eventRow {
	var rows []eventRow
	for _, e := range file.Events {
		row := eventRow{When: r.F.Stamp(e.At), What: e.What, Why: e.Why, Who: file.People[e.PersonID]}
		if e.What != "raised" {
			row.Changed = r.changedWords(e)
		}
		if e.PersonID == 0 {
			row.Who = "a rule"
		}
		if apart := e.EnteredAt.Time().Sub(e.At.Time()); apart > time.Minute || apart < -time.Minute {
			row.Entered = r.F.Stamp(e.EnteredAt)
		}
		rows = append(rows, row)
	}
	return rows
}

// stepDone says in the past what a step did.
func stepDone(a workorder.Action) string {
	step, _ := workorder.StepOf(a)
	return step.What
}
