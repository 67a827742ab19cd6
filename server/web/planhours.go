package web

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

// This file gives work new hours in a stop that was moved from under it: until a person says so the work keeps the hours it had.

// astray are the orders of a stop that are set for hours outside it, as published, and have not begun.
func (sh *sheetOf) astray(stop int64) []int64 {
	var out []int64
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if stop != 0 && sh.h.At[o.ID].StopID == stop && sh.h.astray(o) {
			out = append(out, o.ID)
		}
	}
	return out
}

// astray tells it of one order.
func (v *HorizonView) astray(o workorder.Order) bool {
	return o.State == workorder.Placed && o.PlacedStart != nil && v.Sheet.Astray(o.ID, v.At[o.ID])
}

// keepHours sets the work of a stop for hours inside it, in the draft of whoever asks: its people and kit stay where that goes.
func (s *Site) keepHours(r *Request, sh *sheetOf) error {
	w, ok := sh.h.stop(numberOf(sh.param("stop")))
	if !ok {
		return fmt.Errorf("stop %d: %w", numberOf(sh.param("stop")), assets.ErrNotFound)
	}
	if run := s.replans.of(r.PlantID(), r.Who.Person.ID); run != nil && run.busy() {
		return r.Done(r.At("horizon", "plan"), "Not set: your re-plan is running and would take its place. Stop it or let it end, then set the hours.")
	}
	after, broken := sh.anew(w.ID)
	if len(broken) > 0 {
		return r.Done(r.At("horizon"), "The work of the stop of "+r.F.Date(w.Start)+" does not go into it: "+joinSentences(broken)+" Move one of its orders, or ask for a longer stop.")
	}
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, r.PlantID())
	if err != nil {
		return err
	}
	d.Moves, d.At = sh.withHours(sh.h.asNumbered(d.Moves), w.ID, after), assets.InstantOf(r.Now)
	if err := s.Horizons.SaveDraft(r.Context(), r.Scope, &d); err != nil {
		return err
	}
	return r.Done(r.At("horizon", "plan"), "New hours are set in the stop of "+r.F.Date(w.Start)+". Nothing is published yet.")
}

// anew is where the orders of a stop stand with new hours for those outside it: with the people and kit they have, else with others.
func (sh *sheetOf) anew(stop int64) (horizon.Placements, []string) {
	ctx, done := context.WithTimeout(sh.r.Context(), reseatFor)
	defer done()
	at := appliedAll(sh.at, nil)
	for _, id := range sh.astray(stop) {
		if p := at[id]; p.StopID == stop && sh.h.Sheet.Astray(id, p) {
			at[id] = horizon.Placement{StopID: stop, Crew: p.Crew, Kit: p.Kit}
		}
	}
	after, broken := sh.h.Sheet.Settle(ctx, at)
	if !slices.ContainsFunc(broken, func(b horizon.Broken) bool { return b.StopID == stop }) {
		return after, nil
	}
	after, broken = sh.h.Sheet.Reseat(ctx, at, []int64{stop})
	if len(broken) > 0 {
		return nil, broken[0].Why
	}
	return after, nil
}

// withHours is a draft with the new hours of the orders of a stop: a move each for those that were outside it, and what changes beside.
func (sh *sheetOf) withHours(moves []assets.DraftMove, stop int64, after horizon.Placements) []assets.DraftMove {
	astray := sh.astray(stop)
	for _, o := range sh.h.Facts.Plants[0].Orders {
		to := after[o.ID]
		if to.StopID != stop || !slices.Contains(astray, o.ID) && standsSo(o, to) {
			continue
		}
		i := slices.IndexFunc(moves, func(d assets.DraftMove) bool { return d.OrderID == o.ID })
		if i < 0 {
			moves, i = append(moves, sh.draftMove(o, stop)), len(moves)
		}
		moves[i].Hours = o.WindowID == stop && slices.Contains(astray, o.ID)
		place(&moves[i], to)
	}
	return moves
}
