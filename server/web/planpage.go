package web

import (
	"errors"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/server/web/drawing"
)

// planPage answers: what would change against the published plan, what does it cost, and what does not fit and why?
type planPage struct {
	Page
	Run       *runShown
	Wide      template.HTML
	Narrow    template.HTML
	Changes   []planChange
	LeftOut   []planChange
	Conflicts []planConflict
	Over      []planFact
	Both      []planBoth
	Stops     []horizonStop
	Fitting   int
	Conflict  []string // locks that cannot hold together
	To, Leave string
	Weeks     int
}

// runShown is a re-plan on its way.
type runShown struct {
	Placed, Jobs int
	Share        int
	Gap, Cost    string
	Left         string
	Reading      string // what is still read, before the search begins
}

// planChange is one change of the draft.
type planChange struct {
	ID       int64
	Head     string
	Says     []string
	Bad      string
	Wait     string // what has to be settled before it can be kept
	Help     []string
	Facts    []planFact
	Fits     bool
	OrderRef string
}

// planFact is a figure before and with the change.
type planFact struct{ Term, Was, Is, More string }

// planBoth is an order in both plans.
type planBoth struct{ Order, To, Was, Is string }

// planConflict is an order that somebody changed since it was moved here: both versions.
type planConflict struct {
	ID                      int64
	Order, Mine, Theirs, By string
	Gone                    bool // done, signed or withdrawn since: there is nothing to move any more
}

// horizonPlan shows the draft of whoever asks, runs a re-plan and publishes.
func (s *Site) horizonPlan(r *Request) error {
	if !r.Posted() {
		return s.showPlan(r, nil)
	}
	form := r.C.Request.PostForm
	switch form.Get("do") {
	case "start":
		return s.startReplan(r)
	case "stop":
		s.replans.stop(r.PlantID(), r.Who.Person.ID)
		return r.Done(r.At("horizon", "plan"), "Stopped: what was found so far is shown.")
	case "leave":
		return s.leavePlan(r)
	case "theirs", "mine":
		return s.settleConflict(r, form.Get("do"), numberOf(form.Get("about")))
	case "keep":
		return s.publishPlan(r)
	}
	return assets.Invalid{"": "use the page's own buttons"}
}

func (s *Site) leavePlan(r *Request) error {
	s.replans.forget(r.PlantID(), r.Who.Person.ID)
	d := assets.PlanDraft{PersonID: r.Who.Person.ID, PlantID: r.PlantID()}
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	return r.Done(r.At("horizon"), "Left as it was: nothing was published.")
}

// showPlan shows the draft; conflicts stand on top.
func (s *Site) showPlan(r *Request, wrong error) error {
	p := &planPage{To: r.At("horizon", "plan"), Leave: r.At("horizon"), Weeks: r.span()}
	p.Sheet = "Re-plan, not kept yet"
	run := s.replans.of(r.PlantID(), r.Who.Person.ID)
	if run != nil && run.busy() {
		p.Run = run.shown(r)
		p.Say = "A re-plan is running: " + Figure(p.Run.Placed, "order", "orders") + " of " + Int(int64(p.Run.Jobs)) + " placed so far"
		p.Sub = "You may leave this page; what is found waits here. Stop here keeps the best plan found so far."
		r.C.Header("Refresh", "2")
		return r.Show("plan", p)
	}
	sh, err := s.readSheet(r, r.span())
	if err != nil {
		return err
	}
	p.Conflicts, err = s.conflicts(r, sh)
	if err != nil {
		return err
	}
	sh.fillPlan(p, run)
	if wrong != nil {
		var bad assets.Invalid
		if errors.As(wrong, &bad) {
			for _, w := range bad {
				p.Conflict = append(p.Conflict, fullStop(Capital(w)))
			}
		}
		return r.Refill("plan", p)
	}
	return r.Show("plan", p)
}

// fillPlan fills in changes, sums and picture.
func (sh *sheetOf) fillPlan(p *planPage, run *replan) {
	byHand := 0
	for _, m := range sh.moves {
		_, open := sh.h.order(m.OrderID)
		if companion(m) || !open && m.FromStop == 0 && m.ToStop == 0 { // an order left out that is done since needs no stop
			continue
		}
		if !m.Searched {
			byHand++
		}
		c := sh.change(m)
		if i := slices.IndexFunc(p.Conflicts, func(x planConflict) bool { return x.ID == m.OrderID }); i >= 0 {
			c.Fits, c.Wait = false, pick(p.Conflicts[i].Gone, "", "Somebody changed this order since: take theirs, or move it your way again, above.")
		}
		if m.FromStop == 0 && m.ToStop == 0 {
			p.LeftOut = append(p.LeftOut, c)
			continue
		}
		p.Changes = append(p.Changes, c)
		if c.Fits {
			p.Fitting++
		}
	}
	p.Say = planSay(p, sh, run)
	if p.Sub = "A re-plan begins with what is published and searches for a cheaper plan. Nothing of it holds before you keep it."; len(p.Changes) > 0 {
		p.Sub = "Nothing is kept yet. Solid blue, grey on paper, is where work would go, the dashed outline where it stands now, a crossed box where it was tried and does not fit."
	}
	if byHand > 0 {
		p.Sub += " Plan anew begins with what is published and takes the place of " + Count(byHand, "move", "moves") + " by hand."
	}
	belts := sh.belts()
	d := sh.drawing(belts, true)
	d.Sentence = "Proposed horizon: conveyors by line. The same facts are in the table below."
	p.Wide, p.Narrow = drawing.OfHorizon(d), drawing.OfHorizonNarrow(d)
	p.Over = sh.over(run)
	p.Both, p.Stops = sh.both(), sh.stops()
	if run != nil {
		p.Conflict = append(p.Conflict, run.conflict()...)
	}
}

// planSay is the headline: the changes that matter, worst first.
func planSay(p *planPage, sh *sheetOf, run *replan) string {
	var says []string
	for _, c := range p.Changes {
		if len(says) < 2 {
			says = append(says, c.OrderRef)
		}
	}
	switch {
	case len(p.Changes) == 0 && len(p.LeftOut) == 0 && run != nil && run.without() != "":
		return run.without() + ": the plan stands as it was published"
	case len(p.Changes) == 0 && run == nil && len(p.LeftOut) == 0:
		return "No move is waiting: the plan stands as it was published"
	case len(p.Changes) == 0 && len(p.LeftOut) == 0:
		return "Re-plan: nothing better was found than what is published"
	case len(p.Changes) == 0:
		return "Re-plan: " + Count(len(p.LeftOut), "order stays", "orders stay") + " without a stop; nothing else changes"
	}
	say := pick(slices.ContainsFunc(sh.moves, func(m assets.DraftMove) bool { return m.Searched }), "Re-plan: ", "Your moves: ") + strings.Join(says, "; ")
	if more := len(p.Changes) - len(says); more > 0 {
		say += fmt.Sprintf("; %d more", more)
	}
	return say
}

// change says one move.
func (sh *sheetOf) change(m assets.DraftMove) planChange {
	c := planChange{ID: m.OrderID, Fits: m.Fits() && (m.FromStop != 0 || m.ToStop != 0)}
	o, ok := sh.h.order(m.OrderID)
	if !ok {
		c.Head, c.Bad, c.Fits = sh.moveName(m), "It is not open any more.", false
		c.OrderRef = c.Head + ": it is not open any more"
		return c
	}
	conveyor, _ := sh.v.Register.Conveyor(o.ConveyorID)
	name := conveyor.Tag
	if sp, ok := sh.v.Register.Splice(o.SpliceID); ok {
		name += " splice " + sp.Number
	}
	from, to := sh.day(m.FromStop), sh.day(m.ToStop)
	var what string
	switch {
	case m.FromStop == 0 && m.ToStop == 0:
		what = "stays without a stop"
	case m.ToStop == 0:
		what = "comes out of the stop of " + from
	case m.FromStop == 0:
		what = "gets the stop of " + to
	case m.Hours:
		what = "new hours in the stop of " + to
	default:
		what = from + " to " + to
	}
	c.Head = fmt.Sprintf("%s, order %d: %s", name, o.Number, what)
	c.OrderRef = conveyor.Tag + " " + map[bool]string{true: what, false: "does not fit the stop of " + to}[m.Fits() || m.ToStop == 0]
	if m.Hours {
		c.OrderRef = conveyor.Tag + " gets " + what
	} else if m.FromStop != 0 && m.ToStop != 0 && m.Fits() {
		c.OrderRef = conveyor.Tag + " moves from " + from + " to " + to
	}
	if m.Fits() {
		c.Says = m.Help
	} else {
		c.Bad, c.Help = m.Why, m.Help
	}
	c.Facts = sh.changeFacts(m)
	return c
}

// day is the day of a stop.
func (sh *sheetOf) day(stop int64) string {
	w, ok := sh.h.stop(stop)
	if !ok {
		return "a stop that is not on this sheet"
	}
	return hard(sh.r.F.Local(w.Start).Format("2 Jan"))
}

func (sh *sheetOf) changeFacts(m assets.DraftMove) []planFact {
	o, _ := sh.h.order(m.OrderID)
	var facts []planFact
	if m.Hours {
		begins := planFact{Term: "Work begins", Is: sh.r.F.Stamp(m.Start)}
		if o.PlacedStart != nil {
			begins.Was = sh.r.F.Stamp(*o.PlacedStart)
		}
		facts = append(facts, begins)
	}
	if f := sh.v.forecast(o.SpliceID); f != nil && len(f.Causes) > 0 && !m.Hours {
		facts = append(facts, planFact{Term: "Due before the work", Was: sh.before(f, m.FromStop), Is: sh.before(f, m.ToStop), More: pick(m.Fits(), "", ", if it fitted")})
	}
	if w, ok := sh.h.stop(m.ToStop); ok && m.ToStop != 0 {
		was, is := sh.h.Sheet.Booked(w.ID, sh.h.At), sh.h.Sheet.Booked(w.ID, sh.at)
		if !m.Fits() {
			is.Work += sh.h.Sheet.Work(o.ID)
		}
		facts = append(facts, planFact{Term: "Stop, " + sh.day(w.ID), Was: Short(was.Work.Hours(), 1) + " h", Is: Short(is.Work.Hours(), 1) + " of " + Duration(stopHours(w))})
		if m.Fits() {
			facts = append(facts, planFact{Term: "Crew, " + sh.day(w.ID), Is: sh.names(m.Crew)})
			if kit := sh.kitNames(m.Tools); kit != "" {
				facts = append(facts, planFact{Term: "Kit", Is: kit})
			}
		}
	}
	if m.Fits() && sh.r.May(people.ReadCosts) && m.FromStop != m.ToStop {
		facts = append(facts, planFact{Term: "The plan costs", Is: sh.costWords(int(m.Cost))})
	}
	return facts
}

// before is the chance of coming due before a stop, or by the end of the sheet where there is none.
func (sh *sheetOf) before(f *due.Forecast, stop int64) string {
	at := sh.until
	if w, ok := sh.h.stop(stop); ok && stop != 0 {
		at = w.Start.Time()
	}
	p, _ := f.Chances(at)
	return chance(p)
}

// over sums the sheet with what fits, against the published one.
func (sh *sheetOf) over(run *replan) []planFact {
	likelyWas, likelyIs, was, is := 0, 0, 0.0, 0.0
	for i := range sh.v.Forecasts {
		f := &sh.v.Forecasts[i]
		if len(f.Causes) == 0 {
			continue
		}
		a, b := sh.chanceWith(f, sh.h.At), sh.chanceWith(f, sh.at)
		was, is = was+a, is+b
		if a >= 0.5 {
			likelyWas++
		}
		if b >= 0.5 {
			likelyIs++
		}
	}
	facts := []planFact{
		changed("Splices likely due first", Int(int64(likelyWas)), Int(int64(likelyIs))),
		changed("Expected to come due before work", Short(was, 1), Short(is, 1)),
	}
	if sh.r.May(people.ReadCosts) {
		facts = append(facts, planFact{Term: "The plan costs", Is: sh.costWords(sh.h.Sheet.Cost(sh.at).Total() - sh.h.Sheet.Cost(sh.h.At).Total())})
	}
	if run != nil {
		facts = append(facts, planFact{Term: "Search", Is: run.words()})
	}
	return facts
}

// changed is a figure before and with a plan, or one that stays.
func changed(term, was, is string) planFact {
	if was == is {
		return planFact{Term: term, Is: is + ", as before"}
	}
	return planFact{Term: term, Was: was, Is: is}
}

func arrow(was, is string) string {
	if was == is {
		return is + ", as before"
	}
	return was + " before, " + is + " with it"
}

// chanceWith is the chance that a splice comes due before the order that remakes it, or before the sheet ends.
func (sh *sheetOf) chanceWith(f *due.Forecast, at horizon.Placements) float64 {
	until := sh.until
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if p, ok := at[o.ID]; ok && o.SpliceID == f.SpliceID {
			if w, ok := sh.h.stop(p.StopID); ok && w.Start.Time().Before(until) {
				until = w.Start.Time()
			}
		}
	}
	p, _ := f.Chances(until)
	return p
}

// both lists every order in both plans.
func (sh *sheetOf) both() []planBoth {
	var out []planBoth
	words := func(at horizon.Placements, id int64) string {
		p, ok := at[id]
		w, known := sh.h.stop(p.StopID)
		if !ok || !known {
			return "no stop"
		}
		if p.Start.IsZero() {
			return sh.r.F.Date(w.Start)
		}
		return sh.r.F.Stamp(assets.InstantOf(p.Start)) + ", " + sh.names(p.Crew)
	}
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if sh.h.Sheet.Holds(o.ID) {
			out = append(out, planBoth{Order: sh.orderName(o), To: sh.r.At("orders", o.Number), Was: words(sh.h.At, o.ID), Is: words(sh.at, o.ID)})
		}
	}
	return out
}

// conflicts are the orders that somebody changed since they were moved in the draft.
func (s *Site) conflicts(r *Request, sh *sheetOf) ([]planConflict, error) {
	var moved []assets.DraftMove
	var ids []int64
	for _, m := range sh.moves {
		o, ok := sh.h.order(m.OrderID)
		if companion(m) || m.FromStop == 0 && m.ToStop == 0 || ok && o.EditVersion == m.EditVersion {
			continue
		}
		moved, ids = append(moved, m), append(ids, m.OrderID)
	}
	last, err := s.Horizons.LastChanges(r.Context(), r.Scope, r.PlantID(), ids)
	if err != nil {
		return nil, err
	}
	sh.since = map[int64]LastChange{}
	for _, l := range last {
		sh.since[l.Order.ID] = l
	}
	var out []planConflict
	for _, m := range moved {
		out = append(out, sh.conflict(m))
	}
	return out, nil
}

// conflict is one of them, with both versions.
func (sh *sheetOf) conflict(m assets.DraftMove) planConflict {
	l, known := sh.since[m.OrderID]
	c := planConflict{ID: m.OrderID, Order: sh.moveName(m), Mine: sh.mine(m), Theirs: "not open any more", Gone: true}
	if known {
		c.By = joinWords(l.Event.What, l.By, sh.r.F.Stamp(l.Event.EnteredAt))
	}
	if o, ok := sh.h.order(m.OrderID); ok {
		c.Theirs, c.Gone = "no stop", false
		if w, in := sh.h.stop(o.WindowID); in && o.WindowID != 0 {
			c.Theirs = "stop of " + sh.r.F.Stamp(w.Start)
		}
	}
	return c
}

// moveName is the order of a move, as people say it.
func (sh *sheetOf) moveName(m assets.DraftMove) string {
	if o, ok := sh.h.order(m.OrderID); ok {
		return sh.orderName(o)
	}
	if l, ok := sh.since[m.OrderID]; ok {
		return sh.orderName(l.Order)
	}
	return "An order of before"
}

func (sh *sheetOf) mine(m assets.DraftMove) string {
	w, ok := sh.h.stop(m.ToStop)
	if m.ToStop == 0 || !ok {
		return "no stop"
	}
	return "stop of " + sh.r.F.Stamp(w.Start)
}

// settleConflict takes the other planner's version of an order, or moves it one's own way again, on the order as it is now.
func (s *Site) settleConflict(r *Request, do string, orderID int64) error {
	sh, err := s.readSheet(r, 104)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(sh.moves, func(m assets.DraftMove) bool { return m.OrderID == orderID })
	if i < 0 {
		return fmt.Errorf("move of order %d: %w", orderID, assets.ErrNotFound)
	}
	m := sh.moves[i]
	moves := slices.Delete(slices.Clone(sh.moves), i, i+1)
	if o, ok := sh.h.order(orderID); do == "mine" && ok {
		at := sh.h.At
		for _, other := range moves {
			at = applied(at, other)
		}
		a := sh.ask(at, horizon.Move{OrderID: orderID, StopID: m.ToStop}, setFor)
		w, _ := sh.h.stop(m.ToStop)
		moves = sh.withMove(moves, askedMove{order: o, stop: m.ToStop, kept: w}, a)
	}
	d := assets.PlanDraft{PersonID: r.Who.Person.ID, PlantID: r.PlantID(), At: assets.InstantOf(r.Now), Moves: moves}
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	return r.Done(r.At("horizon", "plan"), "")
}
