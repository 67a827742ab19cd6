package web

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

// publishPlan publishes the changes that were ticked. Whoever else published in between is not overwritten: an order that was
// changed since stands on the page in both versions, and nothing is written.
func (s *Site) publishPlan(r *Request) error {
	sh, err := s.freshSheet(r, 104)
	if err != nil {
		return err
	}
	ticked := map[int64]bool{}
	for _, v := range r.C.Request.PostForm["change"] {
		ticked[numberOf(v)] = true
	}
	var keep []assets.DraftMove
	for _, m := range sh.moves {
		if ticked[m.OrderID] && kept(m) {
			keep = append(keep, m)
		}
	}
	if len(keep) == 0 {
		return s.showPlan(r, assets.Invalid{"": "tick at least one change that fits; nothing was published"})
	}
	clash, err := s.conflicts(r, sh)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(clash, func(c planConflict) bool { return ticked[c.ID] }) {
		return s.showPlan(r, assets.Invalid{"": "somebody changed an order since you moved it; both versions stand below, and nothing was published"})
	}
	at, stops, wrong := sh.together(keep)
	if wrong != nil {
		return s.showPlan(r, wrong)
	}
	run := s.replans.of(r.PlantID(), r.Who.Person.ID)
	published := run.searched(keep)
	published.PlantID, published.Base = r.PlantID(), sh.h.Base
	for _, m := range keep {
		published.Changes = append(published.Changes, assets.PlanChange{OrderID: m.OrderID, FromStop: m.FromStop, ToStop: m.ToStop, Cost: m.Cost})
	}
	err = s.Horizons.PublishPlan(r.Context(), r.Scope, r.act("publish a plan", Figure(len(keep), "change", "changes")), &published, sh.steps(keep, at, stops))
	var bad assets.Invalid
	switch {
	case errors.Is(err, assets.ErrConflict):
		return s.showPlan(r, assets.Invalid{"": "somebody changed an order at the same moment; look again. Nothing was published"})
	case errors.As(err, &bad):
		return s.showPlan(r, bad)
	case err != nil:
		return err
	}
	s.replans.forget(r.PlantID(), r.Who.Person.ID)
	d := assets.PlanDraft{PersonID: r.Who.Person.ID, PlantID: r.PlantID(), At: assets.InstantOf(r.Now), Moves: rest(sh.moves, ticked)}
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	return r.Done(r.At("horizon"), "Published: "+Figure(len(keep), "change", "changes")+".")
}

// rest are moves by hand that were not ticked: they wait. What a re-plan made goes with it.
func rest(moves []assets.DraftMove, ticked map[int64]bool) []assets.DraftMove {
	return slices.DeleteFunc(slices.Clone(moves), func(m assets.DraftMove) bool { return ticked[m.OrderID] || m.Searched || companion(m) })
}

// together is where everything stands with the kept changes on the plan as it is published now, and the stops they touch. The
// draft's own starts and crews are taken where they hold; else the orders of a stop are set anew, and where that is not
// possible either the answer says what is in the way.
func (sh *sheetOf) together(kept []assets.DraftMove) (horizon.Placements, []int64, error) {
	at, stops, broken := sh.h.together(sh.r.Context(), kept, sh.moves, sh.r.Now)
	if len(broken) == 0 {
		return at, stops, nil
	}
	why := []string{}
	for _, b := range broken {
		why = append(why, "stop of "+sh.day(b.StopID)+": "+strings.Join(b.Why, "; "))
	}
	return nil, nil, assets.Invalid{"": "the changes ticked do not go together without the others: " + strings.Join(why, ". ") + ". Nothing was published"}
}

func (v *HorizonView) together(ctx context.Context, kept, all []assets.DraftMove, now time.Time) (horizon.Placements, []int64, []horizon.Broken) {
	at := appliedAll(v.At, kept)
	var stops []int64
	for _, m := range kept {
		for _, id := range []int64{m.FromStop, m.ToStop} {
			if w, ok := v.stop(id); ok && id != 0 && !slices.Contains(stops, w.ID) && w.End.Time().After(now) {
				stops = append(stops, w.ID)
			}
		}
	}
	with := at
	for _, m := range all {
		if companion(m) && slices.Contains(stops, m.ToStop) {
			with = applied(with, m)
		}
	}
	if len(v.Sheet.Check(with, stops)) == 0 {
		return with, stops, nil
	}
	reseating, done := context.WithTimeout(ctx, reseatFor)
	defer done()
	at, broken := v.Sheet.Reseat(reseating, at, stops)
	return at, stops, broken
}

// steps are the steps of the orders that stand elsewhere, at another time or with others than they did.
func (sh *sheetOf) steps(kept []assets.DraftMove, at horizon.Placements, stops []int64) []PlanStep {
	return publisher{h: sh.h, plant: 0, by: sh.r.actor(), now: sh.r.Now}.steps(kept, at, stops)
}

// publisher makes the steps of one plant's orders.
type publisher struct {
	h     *HorizonView
	plant int // of the sheet
	by    workorder.Actor
	now   time.Time
}

func (p publisher) steps(kept []assets.DraftMove, at horizon.Placements, stops []int64) []PlanStep {
	var out []PlanStep
	moved := map[int64]bool{}
	for _, m := range kept {
		moved[m.OrderID] = true
	}
	for _, o := range p.h.Facts.Plants[p.plant].Orders {
		to, stands := at[o.ID]
		if !moved[o.ID] && (!stands || !slices.Contains(stops, to.StopID) || standsSo(o, to)) {
			continue
		}
		out = append(out, p.step(o, to, stands))
	}
	return out
}

// standsSo tells whether an order stands as a placement has it, as far as both say.
func standsSo(o workorder.Order, p horizon.Placement) bool {
	if o.State == workorder.Started || o.PlacedStart == nil && len(o.PlacedPeople) > 0 && samePeople(o.PlacedPeople, p.Crew) {
		return true
	}
	return o.WindowID == p.StopID && o.PlacedStart != nil && o.PlacedStart.Time().Equal(p.Start) && samePeople(o.PlacedPeople, p.Crew) && slices.Equal(o.PlacedTools, p.Kit)
}

func samePeople(ids []int64, crew []assets.CrewPlace) bool {
	if len(ids) != len(crew) {
		return false
	}
	for _, m := range crew {
		if !slices.Contains(ids, m.PersonID) {
			return false
		}
	}
	return true
}

// step places an order as a hand would, or takes it out of its stop.
func (p publisher) step(o workorder.Order, to horizon.Placement, stands bool) PlanStep {
	if !stands {
		return PlanStep{OrderID: o.ID, EditVersion: o.EditVersion, Do: func(o workorder.Order, _ int64) (workorder.Order, workorder.Event, error) {
			return workorder.TakeOut(o, p.by, p.now, p.now, "the plan has no stop for it")
		}}
	}
	end := to.Start.Add(p.h.Sheet.Work(o.ID))
	zone := p.h.Facts.Plants[p.plant].Register.Plant.Location()
	placement := workorder.Placement{WindowDay: assets.DayOf(end.Add(-time.Minute).In(zone)), Kit: p.h.kitNames(to.Kit), Start: assets.InstantOf(to.Start), Crew: to.Crew, Tools: to.Kit}
	for _, m := range to.Crew {
		placement.People = append(placement.People, m.PersonID)
	}
	return PlanStep{OrderID: o.ID, EditVersion: o.EditVersion, ToStop: to.StopID, Takes: p.h.Sheet.Work(o.ID), Do: func(o workorder.Order, stopID int64) (workorder.Order, workorder.Event, error) {
		next := placement
		next.WindowID = stopID
		return workorder.Place(o, p.by, p.now, p.now, next)
	}}
}
