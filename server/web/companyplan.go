package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
)

// companyPlanPage answers: where do the crews and presses of the service company go, what would a plan over all its plants change,
// and what does each van take along?
type companyPlanPage struct {
	Page
	Run      *runShown
	Plants   []Option
	Whole    bool // every plant is of the plan
	To       string
	Any      bool   // a plant is chosen
	Chosen   string // the plants chosen, as a form sends them again; "" where nobody chose
	Changes  []companyPlant
	Changed  int
	Left     int
	Fitting  int
	Wrong    []string
	Search   string
	Laid     bool // the week below is known
	Before   string
	After    string
	Begin    string
	Drawing  template.HTML
	Vans     []vanPart
	Visits   int
	Too      string // what one plan does not take
	Proposed bool   // the draft differs from what is published
	Over     []fact // the whole plan against what is published
}

// companyPlant are the changes at one of the plants.
type companyPlant struct {
	Name    string
	Says    string
	Open    bool
	Changes []companyChange
	LeftOut []companyChange
}

// companyChange is a change at one of the plants.
type companyChange struct {
	ID             int64
	Head, To, Says string
	Help           []string
	Cost           string // what the plan costs more or less with it
	Fits           bool
}

// How plants of a plan over several are shown: it is orders that are limited (horizon.MostTogether) and not plants. Few plants are laid anew at each look, many
// are shown as they were read for the search, since reading a plant's forecasts takes some tenths of a second.
const (
	mostPlantsLive = 12
	mostPlantsOpen = 12 // of so few plants the changes stand open
)

// companyWeeks is the length of a plan over many plants.
const companyWeeks = 12

// A search over many plants runs longer.
const companyRunFor = 60 * time.Second

// planChoice are the plants of a plan: those that were asked for, else all that whoever asks may plan, as far as one plan takes them.
type planChoice struct {
	plants []int64
	all    []PlantSummary // that may be planned
	asked  bool
	over   []string // names of plants whose orders one plan does not take as well
}

func (s *Site) companyPlan(r *Request) error {
	choice, err := s.chosenPlants(r)
	if err != nil {
		return err
	}
	if r.Posted() {
		switch r.C.Request.PostForm.Get("do") {
		case "start":
			return s.startCompanyPlan(r, choice)
		case "stop":
			s.replans.stop(0, r.Who.Person.ID)
			return r.Done(choice.to(), "Stopped: what was found so far is shown.")
		case "leave":
			s.replans.forget(0, r.Who.Person.ID)
			if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &assets.PlanDraft{PersonID: r.Who.Person.ID}); err != nil {
				return err
			}
			return r.Done(choice.to(), "Left as it was: nothing was published.")
		case "keep":
			return s.publishCompanyPlan(r, choice)
		}
	}
	return s.showCompanyPlan(r, choice, nil)
}

// to is the page with its plants.
func (c *planChoice) to() string {
	if !c.asked {
		return "/plants/plan"
	}
	return "/plants/plan?plants=" + numbers(c.plants)
}

// inWeek is the page with another week.
func (c *planChoice) inWeek(monday time.Time) string {
	return c.to() + pick(c.asked, "&", "?") + "week=" + string(assets.DayOf(monday))
}

func numbers(ids []int64) string {
	var out []string
	for _, id := range ids {
		out = append(out, plainInt(id))
	}
	return strings.Join(out, ",")
}

// chosenPlants are the plants that were asked for, else those where whoever asks may plan, as many as one plan takes.
func (s *Site) chosenPlants(r *Request) (*planChoice, error) {
	all, err := s.Plants.PlantList(r.Context(), r.Scope)
	if err != nil {
		return nil, err
	}
	c := &planChoice{all: slices.DeleteFunc(all, func(p PlantSummary) bool { return !r.Who.May(people.PlanOrders, p.Plant.CustomerID, p.Plant.ID) })}
	asked := r.C.QueryArray("plants")
	if r.Posted() {
		asked = r.C.Request.PostForm["plants"]
	}
	wanted := map[int64]bool{}
	for _, text := range strings.FieldsFunc(strings.Join(asked, ","), func(c rune) bool { return c == ',' }) {
		id := numberOf(text)
		if !slices.ContainsFunc(c.all, func(p PlantSummary) bool { return p.Plant.ID == id }) {
			return nil, fmt.Errorf("plant %s: %w", text, assets.ErrNotFound)
		}
		wanted[id], c.asked = true, true
	}
	c.take(wanted)
	return c, nil
}

// take fills the plan up with the plants wanted, in their order, until it holds all the orders one plan takes.
func (c *planChoice) take(wanted map[int64]bool) {
	orders := 0
	for _, p := range c.all {
		switch {
		case c.asked && !wanted[p.Plant.ID]:
		case orders+p.Open > horizon.MostTogether && orders > 0:
			c.over = append(c.over, p.Plant.Name)
		default:
			orders += p.Open
			c.plants = append(c.plants, p.Plant.ID)
		}
	}
}

// tooMuch says what one plan does not take.
func (c *planChoice) tooMuch() string {
	if len(c.over) == 0 {
		return ""
	}
	names := strings.Join(c.over[:min(len(c.over), 5)], ", ")
	if more := len(c.over) - 5; more > 0 {
		names += " and " + Int(int64(more)) + " more"
	}
	return "One plan takes " + Int(horizon.MostTogether) + " open orders, which is what is planned within the minute. Not in this one: " + names + ". Choose plants to plan those."
}

func (s *Site) showCompanyPlan(r *Request, choice *planChoice, wrong []string) error {
	p := &companyPlanPage{To: "/plants/plan", Any: len(choice.plants) > 0, Wrong: wrong, Too: choice.tooMuch(), Whole: len(choice.plants) == len(choice.all)}
	p.Sheet = "Plan over plants"
	if choice.asked {
		p.Chosen = numbers(choice.plants)
	}
	for _, one := range choice.all {
		p.Plants = append(p.Plants, Option{Value: plainInt(one.Plant.ID), Label: one.Plant.Name, Chosen: slices.Contains(choice.plants, one.Plant.ID)})
	}
	run := s.replans.of(0, r.Who.Person.ID)
	if run != nil && run.busy() {
		p.Run = run.shown(r)
		p.Say = "A plan over " + Figure(len(run.plants), "plant", "plants") + " is being searched"
		p.Sub = "You may leave this page; what is found waits here. Stop here keeps the best plan found so far."
		r.C.Header("Refresh", "2")
		return r.Show("companyplan", p)
	}
	if len(choice.plants) == 0 {
		p.Say = "No plant is open to you for planning"
		return r.Show("companyplan", p)
	}
	h, err := s.companySheet(r, choice, run)
	if err != nil {
		return err
	}
	if run != nil {
		p.Search = run.words()
		p.Wrong = append(p.Wrong, run.conflict()...)
	}
	if err := s.fillCompanyPlan(r, p, choice, h); err != nil {
		return err
	}
	if len(wrong) > 0 {
		return r.Refill("companyplan", p)
	}
	return r.Show("companyplan", p)
}

// fillCompanyPlan fills in what the draft changes and where the crews go.
func (s *Site) fillCompanyPlan(r *Request, p *companyPlanPage, choice *planChoice, h *HorizonView) error {
	if h == nil {
		p.Say = Capital(Count(len(choice.plants), "plant", "plants")) + " can be planned together"
		p.Sub = "Reading so many plants takes a while, so nothing is read before you ask for a plan. What is published stands in the week of the crews."
		return nil
	}
	moves, err := s.companyMoves(r, h)
	if err != nil {
		return err
	}
	p.fillChanges(r, h, moves)
	with := appliedAll(h.At, moves)
	monday, err := weekAsked(r.Query("week"), h.firstVisit(with, r.Now))
	if err != nil {
		return err
	}
	p.fillWeek(r, h, with, monday, choice)
	p.Over = h.overall(with)
	p.Say = companySay(p, len(choice.plants))
	p.Sub = "Crews, presses and the depot's stock are shared; each plant's times are its own. Nothing is kept until you publish."
	if len(choice.plants) > mostPlantsLive {
		p.Sub += " The plants were read " + (Format{Zone: time.UTC, Now: r.Now}).Stamp(assets.InstantOf(h.Facts.Now)) + " UTC; each is read again before anything of it is published."
	}
	return nil
}

// companySheet is the sheet of the plants: of few of them as they are now, of many as the last search read them; nil where none has.
func (s *Site) companySheet(r *Request, choice *planChoice, run *replan) (*HorizonView, error) {
	if len(choice.plants) <= mostPlantsLive {
		return s.Horizons.Horizons(r.Context(), r.Scope, choice.plants, r.Now, companyWeeks, nil)
	}
	if run == nil || !slices.Equal(run.plants, choice.plants) {
		return nil, nil
	}
	return run.sheet(), nil
}

// companyMoves are what whoever asks has waiting at the plants of a sheet.
func (s *Site) companyMoves(r *Request, h *HorizonView) ([]assets.DraftMove, error) {
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, 0)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(h.asNumbered(d.Moves), func(m assets.DraftMove) bool { return h.plantOf(m.OrderID) < 0 }), nil
}

func companySay(p *companyPlanPage, plants int) string {
	of := " over " + Count(plants, "plant", "plants")
	if p.Changed > 0 {
		return "A plan" + of + " changes " + Count(p.Changed, "order", "orders") + "; " + Count(p.Visits, "visit is", "visits are") + " in the week"
	}
	return Capital(Count(p.Visits, "visit is", "visits are")) + " in the week" + of
}

// fillChanges fills in what the draft changes, plant by plant.
func (p *companyPlanPage) fillChanges(r *Request, h *HorizonView, moves []assets.DraftMove) {
	at := make([]companyPlant, len(h.Facts.Plants))
	for _, m := range moves {
		if companion(m) {
			continue
		}
		c, part := h.companyChange(r, m), &at[h.plantOf(m.OrderID)]
		switch {
		case m.FromStop == 0 && m.ToStop == 0:
			part.LeftOut = append(part.LeftOut, c)
			p.Left++
			continue
		case c.Fits:
			p.Fitting++
		}
		part.Changes = append(part.Changes, c)
		p.Changed++
	}
	for i, part := range at {
		if len(part.Changes)+len(part.LeftOut) == 0 {
			continue
		}
		part.Name, part.Open = h.Facts.Plants[i].Register.Plant.Name, len(h.Facts.Plants) <= mostPlantsOpen
		part.Says = pick(len(part.Changes) == 0, "no change", Figure(len(part.Changes), "change", "changes"))
		if n := len(part.LeftOut); n > 0 {
			part.Says += ", " + Figure(n, "order", "orders") + " without a stop"
		}
		p.Changes = append(p.Changes, part)
	}
}

func (v *HorizonView) companyChange(r *Request, m assets.DraftMove) companyChange {
	o, _ := v.order(m.OrderID)
	reg := v.Facts.Plants[v.plantOf(m.OrderID)].Register
	f := Format{Zone: reg.Plant.Location(), Now: r.Now}
	day := func(id int64) string {
		if w, ok := v.stop(id); ok && id != 0 {
			return f.Date(w.Start)
		}
		return "no stop"
	}
	conveyor, _ := reg.Conveyor(o.ConveyorID)
	c := companyChange{ID: m.OrderID, To: at(reg.Plant.ID, "orders", o.Number), Fits: m.Fits() && (m.FromStop != 0 || m.ToStop != 0)}
	c.Head = strings.TrimSpace(conveyor.Tag + fmt.Sprintf(" order %d", o.Number))
	switch {
	case m.FromStop == 0 && m.ToStop == 0:
		c.Head += " stays without a stop"
	case m.ToStop == 0:
		c.Head += " comes out of the stop of " + day(m.FromStop)
	case m.Hours:
		c.Head += " gets new hours in the stop of " + day(m.ToStop) + ": " + f.Stamp(m.Start)
	case m.FromStop == 0:
		c.Head += " gets the stop of " + day(m.ToStop)
	default:
		c.Head += " moves from " + day(m.FromStop) + " to " + day(m.ToStop)
	}
	c.Says, c.Help = m.Why, m.Help
	if c.Fits {
		c.Cost = "The plan costs " + v.costWords(int(m.Cost)) + "."
	}
	if m.Fits() && m.ToStop != 0 {
		c.Says = "With " + joinWords(v.names(m.Crew), v.kitNames(m.Tools)) + "."
	}
	return c
}

// startCompanyPlan reads the plants and searches a plan over them in the background.
func (s *Site) startCompanyPlan(r *Request, choice *planChoice) error {
	if len(choice.plants) == 0 {
		return r.Done("/plants/plan", "")
	}
	ctx, stop := context.WithCancel(context.Background())
	p := &replan{running: true, began: r.Now, stop: stop, plants: choice.plants, limit: runFor}
	if len(choice.plants) > mostPlantsLive {
		p.limit = companyRunFor
	}
	key := replanKey{0, r.Who.Person.ID}
	if err := s.replans.add(key, p); err != nil {
		stop()
		return err
	}
	scope, now := r.Scope, r.Now
	go func() {
		defer stop()
		found, err := s.companySearch(ctx, p, key, scope, now)
		p.end(found, err, s.now())
		if err != nil && ctx.Err() == nil {
			s.log.Error("plan over plants failed", "error", err)
		}
	}()
	return r.Done(choice.to(), "")
}

func (s *Site) companySearch(ctx context.Context, p *replan, key replanKey, scope assets.Scope, now time.Time) (*plan.Plan, error) {
	h, err := s.Horizons.Horizons(ctx, scope, p.plants, now, companyWeeks, p.tellRead)
	if err != nil {
		return nil, err
	}
	p.laid(h, s.now())
	found, err := p.search(ctx, s.now)
	if err == nil && found.Status != plan.Infeasible {
		err = s.keepFound(key, scope, p, found)
	}
	return found, err
}

// publishCompanyPlan publishes the ticked changes plant by plant: each plant's are one change of its own, so that a conflict at
// one leaves the others published and its own moves waiting. The plants concerned are read again first.
func (s *Site) publishCompanyPlan(r *Request, choice *planChoice) error {
	h, err := s.companySheet(r, choice, s.replans.of(0, r.Who.Person.ID))
	if err != nil {
		return err
	}
	if h == nil {
		return s.showCompanyPlan(r, choice, []string{"What was found is not at hand any more. Plan these plants anew; nothing was published."})
	}
	moves, err := s.companyMoves(r, h)
	if err != nil {
		return err
	}
	kept, touched := tickedMoves(r, h, moves)
	if len(kept) == 0 {
		return s.showCompanyPlan(r, choice, []string{"Tick at least one change that fits; nothing was published."})
	}
	if len(choice.plants) > mostPlantsLive {
		if h, err = s.Horizons.Horizons(r.Context(), r.Scope, touched, r.Now, companyWeeks, nil); err != nil {
			return err
		}
	}
	at, stops, broken := h.together(r.Context(), kept, moves, r.Now)
	if len(broken) > 0 {
		return s.showCompanyPlan(r, choice, append([]string{"The changes ticked do not go together without the others. Nothing was published."}, capitals(broken[0].Why)...))
	}
	published, wrong, err := s.publishPlants(r, h, kept, at, stops)
	if err != nil {
		return err
	}
	d := assets.PlanDraft{PersonID: r.Who.Person.ID, At: assets.InstantOf(r.Now), Moves: slices.DeleteFunc(moves, func(m assets.DraftMove) bool { return published[m.OrderID] })}
	if len(wrong) == 0 {
		s.replans.forget(0, r.Who.Person.ID)
		d.Moves = nil
	}
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	if len(wrong) > 0 {
		return s.showCompanyPlan(r, choice, wrong)
	}
	return r.Done(choice.to(), "Published: "+Figure(len(kept), "change", "changes")+".")
}

// tickedMoves are the moves that were ticked and fit, and the plants they touch.
func tickedMoves(r *Request, h *HorizonView, moves []assets.DraftMove) (keep []assets.DraftMove, plants []int64) {
	ticked := map[int64]bool{}
	for _, v := range r.C.Request.PostForm["change"] {
		ticked[numberOf(v)] = true
	}
	for _, m := range moves {
		if ticked[m.OrderID] && kept(m) {
			keep = append(keep, m)
			if id := h.Facts.Plants[h.plantOf(m.OrderID)].Register.Plant.ID; !slices.Contains(plants, id) {
				plants = append(plants, id)
			}
		}
	}
	return keep, plants
}

// publishPlants publishes plant by plant and says which orders went through and where somebody was quicker.
func (s *Site) publishPlants(r *Request, h *HorizonView, kept []assets.DraftMove, at horizon.Placements, stops []int64) (published map[int64]bool, wrong []string, err error) {
	published = map[int64]bool{}
	first := int64(0)
	for i := range h.Facts.Plants {
		plant := h.Facts.Plants[i].Register.Plant
		mine := slices.DeleteFunc(slices.Clone(kept), func(m assets.DraftMove) bool { return h.plantOf(m.OrderID) != i })
		if len(mine) == 0 {
			continue
		}
		row := s.replans.of(0, r.Who.Person.ID).searched(mine)
		row.PlantID, row.WithID, row.Base = plant.ID, first, h.Base
		for _, m := range mine {
			row.Changes = append(row.Changes, assets.PlanChange{OrderID: m.OrderID, FromStop: m.FromStop, ToStop: m.ToStop, Cost: m.Cost})
		}
		by := workorder.Actor{PersonID: r.Who.Person.ID, Roles: people.RolesAt(r.Who.Grants, plant.CustomerID, plant.ID)}
		steps := publisher{h: h, plant: i, by: by, now: r.Now}.steps(mine, at, stops)
		if slices.ContainsFunc(mine, func(m assets.DraftMove) bool { o, _ := h.order(m.OrderID); return o.EditVersion != m.EditVersion }) {
			wrong = append(wrong, plant.Name+": somebody changed an order since; its changes wait here. Plan anew to see both.")
			continue
		}
		err := s.Horizons.PublishPlan(r.Context(), r.Scope, r.act("publish a plan over plants", Figure(len(mine), "change", "changes")), &row, steps)
		var bad assets.Invalid
		switch {
		case errors.Is(err, assets.ErrConflict):
			wrong = append(wrong, plant.Name+": somebody changed an order at the same moment; its changes wait here.")
			continue
		case errors.As(err, &bad):
			for _, w := range bad {
				wrong = append(wrong, plant.Name+": "+fullStop(w))
			}
			continue
		case err != nil:
			return published, wrong, err
		}
		if first == 0 {
			first = row.ID
		}
		for _, m := range mine {
			published[m.OrderID] = true
		}
	}
	return published, wrong, nil
}
