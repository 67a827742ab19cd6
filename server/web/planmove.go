package web

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// movePage answers: what does moving this order to that stop break or cost?
type movePage struct {
	Page
	Answer  *moveAnswer
	Order   int64
	Stop    int64
	Orders  []Option
	Stops   []Option
	Locked  bool
	Bare    bool // the order is in no stop and none is asked for: there is nothing to set down
	MayLock bool
	Leave   string
}

// moveAnswer is the answer to one move, in words.
type moveAnswer struct {
	Fits  bool
	Head  string
	Says  []string // why it does not fit, or what goes with it
	Help  []string
	Facts []fact
}

// askFor is how long the answer to a move may look for room where the others of a stop leave none as they stand, so that it is there
// at once; setFor the same when the move is set down, reseatFor when a plan is published.
const (
	askFor    = 40 * time.Millisecond
	setFor    = 500 * time.Millisecond
	reseatFor = 3 * time.Second
)

// ask answers a move within a time.
func (sh *sheetOf) ask(at horizon.Placements, m horizon.Move, within time.Duration) horizon.Answer {
	ctx, done := context.WithTimeout(sh.r.Context(), within)
	defer done()
	return sh.h.Sheet.Ask(ctx, at, m)
}

// planMove shows the answer to a move, and keeps the move in the draft of whoever asks.
func (s *Site) planMove(r *Request) error {
	sh, err := s.readSheet(r, r.moveSpan())
	if err != nil {
		return err
	}
	if r.Posted() && sh.param("do") == "hours" {
		return s.keepHours(r, sh)
	}
	if sh.param("order") == "" {
		return sh.chooseMove()
	}
	asked, err := sh.asked()
	if err != nil {
		return err
	}
	if r.Posted() {
		return s.keepMove(r, sh, asked)
	}
	if at, stands := sh.at[asked.order.ID]; stands && sh.param("stop") == "" {
		return sh.chooseStop(asked, at.StopID)
	}
	p := &movePage{Order: asked.order.Number, Stop: asked.stop, Leave: r.At("horizon"), Locked: asked.order.Held(), MayLock: asked.order.State == workorder.Placed}
	p.Sheet = "Move"
	a := sh.ask(sh.at, horizon.Move{OrderID: asked.order.ID, StopID: asked.stop}, askFor)
	p.Answer = sh.answer(asked, a)
	p.Orders, p.Stops = sh.choices(asked.order.Number), sh.stopChoices(asked)
	if p.Bare = sh.bare(asked); p.Bare {
		p.Answer = sh.bareAnswer(asked, a)
		p.Say = p.Answer.Head
		return r.Show("move", p)
	}
	p.Say = p.Answer.Head
	p.Sub = "Nothing is kept yet: set it down, and it stands among your moves until you publish them."
	return r.Show("move", p)
}

// moveSpan is how long a sheet a move is asked on: the one in front of whoever drags, which is laid already, else the longest.
func (r *Request) moveSpan() int {
	if r.Posted() || r.Query("weeks") == "" {
		return 104
	}
	return r.span()
}

// chooseMove asks which order is to be moved.
func (sh *sheetOf) chooseMove() error {
	p := &movePage{Leave: sh.r.At("horizon")}
	p.Sheet, p.Say, p.Sub = "Move", "Choose the order to move, then its stop", "Nothing is kept before you set it down, and nothing is seen by others before you publish."
	p.Orders = sh.choices(0)
	if sh.r.Posted() {
		return sh.r.Refill("move", p)
	}
	return sh.r.Show("move", p)
}

// chooseStop says where an order stands and asks for another stop: nobody has asked to take it out of this one.
func (sh *sheetOf) chooseStop(m askedMove, stop int64) error {
	m.stop = stop
	m.kept, _ = sh.h.stop(stop)
	p := &movePage{Order: m.order.Number, Stop: stop, Leave: sh.r.At("horizon"), Locked: m.order.Held(), MayLock: m.order.State == workorder.Placed, Bare: true}
	p.Sheet, p.Sub = "Move", "Choose another stop below, or lock it where it stands. Nothing is kept before you set it down."
	p.Say = fmt.Sprintf("Order %d stands in the stop of ", m.order.Number) + sh.r.F.Date(m.kept.Start) + pick(stop == m.order.WindowID, "", ", by a move of yours")
	p.Answer = &moveAnswer{Fits: true, Head: p.Say}
	p.Orders, p.Stops = sh.choices(m.order.Number), sh.stopChoices(m)
	return sh.r.Show("move", p)
}

// param reads a value of the address, or of the form that was sent.
func (sh *sheetOf) param(name string) string {
	if sh.r.Posted() {
		return sh.r.C.Request.PostForm.Get(name)
	}
	return sh.r.Query(name)
}

// askedMove is a move an address or a form names.
type askedMove struct {
	order workorder.Order
	stop  int64
	kept  assets.StopWindow
}

// asked reads which order is to go to which stop.
func (sh *sheetOf) asked() (askedMove, error) {
	number := numberOf(sh.param("order"))
	a := askedMove{stop: numberOf(sh.param("stop"))}
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if o.Number == number {
			a.order = o
		}
	}
	if a.order.ID == 0 {
		return a, fmt.Errorf("order %d: %w", number, assets.ErrNotFound)
	}
	if a.stop == 0 {
		return a, nil
	}
	w, ok := sh.h.stop(a.stop)
	if !ok {
		return a, fmt.Errorf("stop %d: %w", a.stop, assets.ErrNotFound)
	}
	a.kept, a.stop = w, w.ID // an open page may still name an occurrence by the number it had before its row
	return a, nil
}

// answer says an answer in words.
func (sh *sheetOf) answer(m askedMove, a horizon.Answer) *moveAnswer {
	out := &moveAnswer{Fits: a.Fits, Help: capitals(a.Help)}
	name := fmt.Sprintf("Order %d", m.order.Number)
	switch {
	case m.stop == 0 && a.Fits:
		out.Head = name + " comes out of its stop"
	case m.stop == 0:
		out.Head = name + " stays in its stop"
	case a.Fits && m.stop == m.order.WindowID && !slices.Contains(sh.astray(m.stop), m.order.ID):
		out.Head = name + " stands in the stop of " + sh.r.F.Date(m.kept.Start) + " as published"
	case a.Fits:
		out.Head = name + " fits the stop of " + sh.r.F.Date(m.kept.Start)
	default:
		out.Head = name + " does not fit the stop of " + sh.r.F.Date(m.kept.Start)
	}
	out.Says = capitals(a.Why)
	for _, id := range a.Also {
		if o, ok := sh.h.order(id); ok {
			out.Says = append(out.Says, fmt.Sprintf("Order %d then begins %s, with %s.", o.Number, sh.r.F.Stamp(assets.InstantOf(a.After[id].Start)), sh.names(a.After[id].Crew)))
		}
	}
	out.Facts = sh.moveFacts(m, a)
	return out
}

func capitals(list []string) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = fullStop(Capital(w))
	}
	return out
}

func (sh *sheetOf) moveFacts(m askedMove, a horizon.Answer) []fact {
	var facts []fact
	if f := sh.v.forecast(m.order.SpliceID); f != nil && len(f.Causes) > 0 && m.stop != 0 {
		p, _ := f.Chances(m.kept.Start.Time())
		facts = append(facts, fact{"Due before the work", chance(p)})
	}
	if m.stop != 0 && a.Booked.Long > 0 {
		facts = append(facts, fact{"Stop", Short(a.Booked.Work.Hours(), 1) + " of " + Duration(a.Booked.Long.Hours()) + " booked with it"})
	}
	if p, ok := a.After[m.order.ID]; ok && a.Fits && m.stop != 0 {
		facts = append(facts, fact{"Work begins", sh.r.F.Stamp(assets.InstantOf(p.Start))}, fact{"Crew", sh.names(p.Crew)})
		if kit := sh.kitNames(p.Kit); kit != "" {
			facts = append(facts, fact{"Kit", kit})
		}
	}
	if a.Fits && sh.r.May(people.ReadCosts) {
		facts = append(facts, fact{"The plan costs", sh.costWords(a.More.Total())})
	}
	return facts
}

func (sh *sheetOf) costWords(more int) string { return sh.h.costWords(more) }

// costWords says what more or less a plan costs: money where all plants of the sheet have it in one currency, else hours of stop.
func (v *HorizonView) costWords(more int) string {
	unit := v.Facts.Plants[0].Register.Plant.Currency
	amount := float64(max(more, -more))
	if !v.Money {
		unit, amount = "h of stop", amount/100
	}
	switch {
	case more > 0:
		return With(Short(amount, 1), unit) + " more"
	case more < 0:
		return With(Short(amount, 1), unit) + " less"
	}
	return "the same"
}

func (sh *sheetOf) names(crew []assets.CrewPlace) string { return sh.h.names(crew) }

func (sh *sheetOf) kitNames(ids []int64) string { return sh.h.kitNames(ids) }

// names are the names of a crew.
func (v *HorizonView) names(crew []assets.CrewPlace) string {
	var out []string
	for _, m := range crew {
		for _, p := range v.People {
			if p.ID == m.PersonID {
				out = append(out, p.Name)
			}
		}
	}
	if len(out) == 0 {
		return "nobody named"
	}
	return List(out)
}

func (v *HorizonView) kitNames(ids []int64) string {
	var out []string
	for _, k := range v.Kit {
		if slices.Contains(ids, k.ID) {
			out = append(out, k.Name)
		}
	}
	return List(out)
}

// keepMove sets an order down in a stop of the draft, or locks it where it stands.
func (s *Site) keepMove(r *Request, sh *sheetOf, m askedMove) error {
	switch r.C.Request.PostForm.Get("do") {
	case "lock", "unlock":
		return s.lockOrder(r, m.order)
	}
	if run := s.replans.of(r.PlantID(), r.Who.Person.ID); run != nil && run.busy() {
		return r.Done(r.At("horizon", "plan"), "Not set down: your re-plan is running and would take its place. Stop it or let it end, then move the order.")
	}
	a := sh.ask(sh.at, horizon.Move{OrderID: m.order.ID, StopID: m.stop}, setFor)
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, r.PlantID())
	if err != nil {
		return err
	}
	d.Moves, d.At = sh.withMove(sh.h.asNumbered(d.Moves), m, a), assets.InstantOf(r.Now)
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	return r.Done(r.At("horizon"), sh.answer(m, a).Head+". Nothing is published yet.")
}

// withMove is a draft with one more move: where it fits, with what changes in the same stop because of it.
func (sh *sheetOf) withMove(moves []assets.DraftMove, m askedMove, a horizon.Answer) []assets.DraftMove {
	moves = slices.DeleteFunc(moves, func(o assets.DraftMove) bool { return o.OrderID == m.order.ID })
	next := sh.draftMove(m.order, m.stop)
	next.Cost = int64(a.More.Total())
	if !a.Fits {
		next.Why, next.Help = strings.Join(capitals(a.Why), " "), capitals(a.Help)
		return append(moves, next)
	}
	place(&next, a.After[m.order.ID])
	if next.Hours = next.FromStop == next.ToStop && slices.Contains(sh.astray(m.stop), m.order.ID); !kept(next) {
		return moves // back in its own stop it stands as published
	}
	moves = append(moves, next)
	for _, id := range a.Also {
		o, ok := sh.h.order(id)
		if !ok {
			continue
		}
		i := slices.IndexFunc(moves, func(d assets.DraftMove) bool { return d.OrderID == id })
		if i < 0 {
			moves, i = append(moves, sh.draftMove(o, a.After[id].StopID)), len(moves)
		}
		place(&moves[i], a.After[id])
	}
	return moves
}

func (sh *sheetOf) draftMove(o workorder.Order, stop int64) assets.DraftMove {
	return assets.DraftMove{OrderID: o.ID, EditVersion: o.EditVersion, FromStop: o.WindowID, ToStop: stop}
}

func place(m *assets.DraftMove, p horizon.Placement) {
	m.Start, m.Crew, m.Tools = 0, p.Crew, p.Kit
	if !p.Start.IsZero() {
		m.Start = assets.InstantOf(p.Start)
	}
}

// lockOrder lets a plan leave an order where it stands, or move it again.
func (s *Site) lockOrder(r *Request, o workorder.Order) error {
	locked := r.C.Request.PostForm.Get("do") == "lock"
	err := s.Orders.Step(r.Context(), r.Scope, r.act(pick(locked, "lock", "unlock")+" order "+plainInt(o.Number), ""), r.PlantID(), o.Number, o.EditVersion, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Hold(o, r.actor(), r.Now, r.Now, locked)
	})
	if err != nil {
		return err
	}
	return r.Done(r.At("horizon"), fmt.Sprintf("Order %d is %s.", o.Number, pick(locked, "locked: a re-plan leaves it where it stands", "not locked any more")))
}
