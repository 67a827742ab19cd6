package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
)

// companyPlanPage answers: where do the crews and presses of the service company go, what would a plan over many plants change,
// and what does each van take along?
type companyPlanPage struct {
	Page
	Run      *runShown
	Plants   []Option
	To       string
	Chosen   string // the plants chosen, as a form sends them again
	Changes  []companyChange
	LeftOut  []companyChange
	Fitting  int
	Wrong    []string
	Search   string
	Week     string
	Visits   []crewVisits
	Packing  []packing
	Too      string // more plants than one plan takes
	NextWeek string
}

// companyChange is a change at one of the plants.
type companyChange struct {
	ID                int64
	Plant, Head, Says string
	Help              []string
	Fits              bool
}

// crewVisits are the visits of one person in a week.
type crewVisits struct {
	Name string
	Rows []visitRow
}

type visitRow struct{ Day, Time, Plant, Work, Kit string }

// packing is what a van takes to one plant on one day.
type packing struct {
	Day, Plant, Crew string
	Kit              []string
	Stock            []string
	Orders           []string
}

// mostPlants is how many plants one plan takes at a time; each is searched over the same minutes.
const mostPlants = 12

// companyWeeks is the length of a plan over many plants.
const companyWeeks = 12

func (s *Site) companyPlan(r *Request) error {
	chosen, all, err := s.chosenPlants(r)
	if err != nil {
		return err
	}
	if r.Posted() {
		switch r.C.Request.PostForm.Get("do") {
		case "start":
			return s.startCompanyPlan(r, chosen)
		case "stop":
			s.replans.stop(0, r.Who.Person.ID)
			return r.Done(planTo(chosen), "Stopped: the best plan found so far is shown.")
		case "leave":
			s.replans.forget(0, r.Who.Person.ID)
			if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &assets.PlanDraft{PersonID: r.Who.Person.ID}); err != nil {
				return err
			}
			return r.Done(planTo(chosen), "Left as it was: nothing was published.")
		case "keep":
			return s.publishCompanyPlan(r, chosen, all)
		}
	}
	return s.showCompanyPlan(r, chosen, all, nil)
}

// planTo is the page with its plants.
func planTo(plants []int64) string { return "/plants/plan?plants=" + numbers(plants) }

func numbers(ids []int64) string {
	var out []string
	for _, id := range ids {
		out = append(out, plainInt(id))
	}
	return strings.Join(out, ",")
}

// chosenPlants are the plants that were asked for, else those where whoever asks may plan, as many as one plan takes.
func (s *Site) chosenPlants(r *Request) (chosen []int64, all []PlantSummary, err error) {
	if all, err = s.Plants.PlantList(r.Context(), r.Scope); err != nil {
		return nil, nil, err
	}
	all = slices.DeleteFunc(all, func(p PlantSummary) bool { return !r.Who.May(people.PlanOrders, p.Plant.CustomerID, p.Plant.ID) })
	asked := r.C.QueryArray("plants")
	if r.Posted() {
		asked = r.C.Request.PostForm["plants"]
	}
	for _, one := range asked {
		for _, text := range strings.Split(one, ",") {
			id := numberOf(text)
			if !slices.ContainsFunc(all, func(p PlantSummary) bool { return p.Plant.ID == id }) {
				return nil, nil, fmt.Errorf("plant %s: %w", text, assets.ErrNotFound)
			}
			if !slices.Contains(chosen, id) {
				chosen = append(chosen, id)
			}
		}
	}
	if len(asked) == 0 {
		for _, p := range all {
			chosen = append(chosen, p.Plant.ID)
		}
	}
	return chosen[:min(len(chosen), mostPlants)], all, nil
}

func (s *Site) showCompanyPlan(r *Request, chosen []int64, all []PlantSummary, wrong []string) error {
	p := &companyPlanPage{To: "/plants/plan", Chosen: numbers(chosen), Wrong: wrong}
	p.Sheet = "Plan over plants"
	for _, one := range all {
		p.Plants = append(p.Plants, Option{Value: plainInt(one.Plant.ID), Label: one.Plant.Name, Chosen: slices.Contains(chosen, one.Plant.ID)})
	}
	if len(all) > mostPlants {
		p.Too = fmt.Sprintf("One plan takes %d plants at a time.", mostPlants)
	}
	run := s.replans.of(0, r.Who.Person.ID)
	if run != nil && run.busy() {
		p.Run = run.shown(r)
		p.Say = "A plan over " + Figure(len(chosen), "plant", "plants") + " is being searched"
		p.Sub = "You may leave this page; what is found waits here. Stop here keeps the best plan found so far."
		r.C.Header("Refresh", "2")
		return r.Show("companyplan", p)
	}
	if len(chosen) == 0 {
		p.Say = "No plant is open to you for planning"
		return r.Show("companyplan", p)
	}
	h, moves, err := s.companySheet(r, chosen)
	if err != nil {
		return err
	}
	at := h.At
	for _, m := range moves {
		at = applied(at, m)
	}
	p.fillChanges(r, h, moves)
	p.fillWeek(r, h, at, chosen)
	p.Say = companySay(p, len(chosen))
	p.Sub = "Crews, presses and the depot's stock are shared; each plant's times are its own. Nothing is kept until you publish."
	if run != nil {
		p.Search = run.words()
		p.Wrong = append(p.Wrong, run.conflict()...)
	}
	if len(wrong) > 0 {
		return r.Refill("companyplan", p)
	}
	return r.Show("companyplan", p)
}

// companySheet is the sheet of the plants with what whoever asks has waiting there.
func (s *Site) companySheet(r *Request, chosen []int64) (*HorizonView, []assets.DraftMove, error) {
	h, err := s.Horizons.Horizons(r.Context(), r.Scope, chosen, r.Now, companyWeeks)
	if err != nil {
		return nil, nil, err
	}
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, 0)
	if err != nil {
		return nil, nil, err
	}
	return h, slices.DeleteFunc(d.Moves, func(m assets.DraftMove) bool { return h.plantOf(m.OrderID) < 0 }), nil
}

func companySay(p *companyPlanPage, plants int) string {
	of := " over " + Figure(plants, "plant", "plants")
	visits := 0
	for _, c := range p.Visits {
		visits += len(c.Rows)
	}
	if len(p.Changes) > 0 {
		return "A plan" + of + " changes " + Count(len(p.Changes), "order", "orders") + "; " + Count(visits, "visit is", "visits are") + " in the week"
	}
	return Capital(Count(visits, "visit is", "visits are")) + " in the week" + of
}

// fillChanges fills in what the draft changes.
func (p *companyPlanPage) fillChanges(r *Request, h *HorizonView, moves []assets.DraftMove) {
	for _, m := range moves {
		if companion(m) {
			continue
		}
		c := h.companyChange(r, m)
		switch {
		case m.FromStop == 0 && m.ToStop == 0:
			p.LeftOut = append(p.LeftOut, c)
			continue
		case c.Fits:
			p.Fitting++
		}
		p.Changes = append(p.Changes, c)
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
	c := companyChange{ID: m.OrderID, Plant: reg.Plant.Name, Fits: m.Fits() && (m.FromStop != 0 || m.ToStop != 0)}
	c.Head = fmt.Sprintf("%s, %s order %d: %s to %s", reg.Plant.Name, conveyor.Tag, o.Number, day(m.FromStop), day(m.ToStop))
	if m.FromStop == 0 && m.ToStop == 0 {
		c.Head = fmt.Sprintf("%s, %s order %d stays without a stop", reg.Plant.Name, conveyor.Tag, o.Number)
	}
	c.Says, c.Help = m.Why, m.Help
	if m.Fits() && m.ToStop != 0 {
		c.Says = joinWords("with "+v.names(m.Crew), v.kitNames(m.Tools))
	}
	return c
}

// fillWeek fills in the visits of a week by person, and what each van takes along.
func (p *companyPlanPage) fillWeek(r *Request, h *HorizonView, at horizon.Placements, chosen []int64) {
	from := r.Now
	if d, err := time.Parse(time.DateOnly, r.Query("week")); err == nil {
		from = d
	}
	until := from.AddDate(0, 0, 7)
	p.Week = "The week from " + hard(from.Format("2 Jan 2006"))
	p.NextWeek = planTo(chosen) + "&week=" + until.Format(time.DateOnly)
	type stay struct {
		plant int
		day   string
	}
	of, packs := map[int64][]visitRow{}, map[stay]*packing{}
	var order []stay
	for _, id := range sortedByStart(at) {
		where := at[id]
		if where.Start.Before(from) || !where.Start.Before(until) {
			continue
		}
		o, ok := h.order(id)
		if !ok {
			continue
		}
		pl := h.plantOf(id)
		reg := h.Facts.Plants[pl].Register
		start := where.Start.In(reg.Plant.Location())
		conveyor, _ := reg.Conveyor(o.ConveyorID)
		work := fmt.Sprintf("order %d %s: %s", o.Number, conveyor.Tag, pickWord(o.Title, string(o.Kind)))
		row := visitRow{Day: hard(start.Format("Mon 2 Jan")), Time: start.Format("15:04") + " to " + start.Add(h.Sheet.Work(id)).Format("15:04"), Plant: reg.Plant.Name, Work: work, Kit: h.kitNames(where.Kit)}
		for _, m := range where.Crew {
			of[m.PersonID] = append(of[m.PersonID], row)
		}
		k := stay{pl, row.Day}
		if packs[k] == nil {
			packs[k] = &packing{Day: row.Day, Plant: reg.Plant.Name}
			order = append(order, k)
		}
		packs[k].add(h, o, where, work)
	}
	for _, person := range h.People {
		if rows := of[person.ID]; len(rows) > 0 {
			p.Visits = append(p.Visits, crewVisits{Name: person.Name, Rows: rows})
		}
	}
	for _, k := range order {
		p.Packing = append(p.Packing, *packs[k])
	}
}

// sortedByStart lists orders by when their work begins.
func sortedByStart(at horizon.Placements) []int64 {
	var ids []int64
	for id := range at {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b int64) int {
		if c := at[a].Start.Compare(at[b].Start); c != 0 {
			return c
		}
		return int(min(max(a-b, -1), 1))
	})
	return ids
}

// add puts what an order takes on the list.
func (k *packing) add(h *HorizonView, o workorder.Order, at horizon.Placement, work string) {
	k.Orders = append(k.Orders, work)
	if names := h.names(at.Crew); !strings.Contains(k.Crew, names) {
		k.Crew = joinWords(k.Crew, names)
	}
	for _, kit := range h.Kit {
		if slices.Contains(at.Kit, kit.ID) && !slices.Contains(k.Kit, kit.Name) {
			k.Kit = append(k.Kit, kit.Name)
		}
	}
	for _, t := range h.Sheet.Takes(o.ID) {
		for _, it := range h.Facts.Items {
			if it.ID == t.Item {
				k.Stock = append(k.Stock, it.Name+", "+it.Unit.Of(assets.Quantity(t.Quantity)))
			}
		}
	}
}

// startCompanyPlan searches a plan over the plants in the background.
func (s *Site) startCompanyPlan(r *Request, chosen []int64) error {
	if len(chosen) == 0 {
		return r.Done("/plants/plan", "")
	}
	h, err := s.Horizons.Horizons(r.Context(), r.Scope, chosen, r.Now, companyWeeks)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	p := &replan{running: true, began: r.Now, stop: stop, view: h}
	key := replanKey{0, r.Who.Person.ID}
	if err := s.replans.add(key, p); err != nil {
		stop()
		return err
	}
	scope := r.Scope
	go func() {
		defer stop()
		found, err := p.search(ctx, s.now)
		if err == nil && found.Status != plan.Infeasible {
			err = s.keepFound(key, scope, h, found)
		}
		p.end(found, err, s.now())
		if err != nil {
			s.log.Error("plan over plants failed", "error", err)
		}
	}()
	return r.Done(planTo(chosen), "")
}

// publishCompanyPlan publishes the ticked changes plant by plant: each plant's are one change of its own, so that a conflict at
// one leaves the others published and its own moves waiting.
func (s *Site) publishCompanyPlan(r *Request, chosen []int64, all []PlantSummary) error {
	h, moves, err := s.companySheet(r, chosen)
	if err != nil {
		return err
	}
	ticked := map[int64]bool{}
	for _, v := range r.C.Request.PostForm["change"] {
		ticked[numberOf(v)] = true
	}
	var kept []assets.DraftMove
	for _, m := range moves {
		if ticked[m.OrderID] && m.Fits() && m.FromStop != m.ToStop {
			kept = append(kept, m)
		}
	}
	if len(kept) == 0 {
		return s.showCompanyPlan(r, chosen, all, []string{"Tick at least one change that fits; nothing was published."})
	}
	at, stops, broken := h.together(kept, moves, r.Now)
	if len(broken) > 0 {
		return s.showCompanyPlan(r, chosen, all, append([]string{"The changes ticked do not go together without the others. Nothing was published."}, capitals(broken[0].Why)...))
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
		return s.showCompanyPlan(r, chosen, all, wrong)
	}
	return r.Done(planTo(chosen), "Published: "+Figure(len(kept), "change", "changes")+".")
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
