package horizon

import (
	"cmp"
	"context"
	"maps"
	"slices"
)

// This file sets the orders of a stop one after another, each as well as it goes with those that stand. What is asked of one order
// is answered in a fraction of a millisecond however much stands in its stop; all of them at once are a search that doubles with each.

// few is the number of orders in a stop up to which they are set all at once.
const few = 3

// oneOf is the part of one job in a window: what else stands there is taken as it stands, as work elsewhere is. Only jobs of its own
// conveyor are in the part, since two of them never go on at once.
func (s *Sheet) oneOf(w, j int, at Placements) *part {
	return s.part(w, s.beside(w, j, at), at, lockStanding, j)
}

// beside are the other jobs of a job's conveyor that stand in a window.
func (s *Sheet) beside(w, j int, at Placements) []int {
	return slices.DeleteFunc(s.jobsIn(w, at), func(o int) bool { return o == j || s.Case.Jobs[o].Conveyor != s.Case.Jobs[j].Conveyor })
}

// fillInTurn fills in what hands left open in a stop with many orders. It leaves everything as it was when one finds no room that way.
func (s *Sheet) fillInTurn(w int, jobs []int, at Placements) bool {
	if len(jobs) <= few {
		return false
	}
	out := s.moved(at, 0)
	for _, j := range jobs {
		q := s.part(w, append(s.beside(w, j, settled(out)), j), out, lockStanding)
		if !q.solve(context.Background()) {
			return false
		}
		q.take(out)
	}
	if len(s.Check(out, []int64{s.stops[w].ID})) > 0 {
		return false
	}
	maps.Copy(at, out)
	return true
}

// settled are the placements with a start.
func settled(at Placements) Placements {
	out := Placements{}
	for id, p := range at {
		if !p.Start.IsZero() {
			out[id] = p
		}
	}
	return out
}

// makeRoom sets a job and the others of its stop in turn, in several orders, and gives the first way in which all find room; false
// when none of these does before ctx ends, which proves nothing.
func (s *Sheet) makeRoom(ctx context.Context, w, j int, others []int, rest Placements) (Placements, bool) {
	begin := func(o int) int64 { return rest[s.orders[o].ID].Start.Unix() }
	early := slices.Clone(others)
	slices.SortStableFunc(early, func(a, b int) int { return cmp.Compare(begin(a), begin(b)) })
	long := append(slices.Clone(early), j)
	slices.SortStableFunc(long, func(a, b int) int { return s.Case.Jobs[b].Duration - s.Case.Jobs[a].Duration })
	for _, turn := range [][]int{append([]int{j}, early...), long, append(early, j)} {
		if out, ok := s.inTurn(ctx, w, turn, rest); ok {
			return out, true
		}
	}
	return nil, false
}

// inTurn sets jobs in a stop in the order given. What is locked keeps its place.
func (s *Sheet) inTurn(ctx context.Context, w int, turn []int, was Placements) (Placements, bool) {
	out := s.moved(was, 0)
	for _, j := range turn {
		if s.Case.Jobs[j].Locked == nil {
			delete(out, s.orders[j].ID)
		}
	}
	for _, j := range turn {
		if s.Case.Jobs[j].Locked != nil {
			continue
		}
		q := s.oneOf(w, j, out)
		q.remember(j, was)
		if ctx.Err() != nil || !q.solve(context.Background()) {
			return nil, false
		}
		q.take(out)
	}
	return out, len(s.Check(out, []int64{s.stops[w].ID})) == 0
}

// eachHolds tells whether each job of a stop holds exactly as it stands beside all others. Where start, crew or kit of one are not
// given, that says nothing of all together, and it is false.
func (s *Sheet) eachHolds(w int, jobs []int, at Placements) bool {
	for _, j := range jobs {
		job, p := &s.Case.Jobs[j], at[s.orders[j].ID]
		heads := 0
		for _, n := range job.Crew {
			heads += n.Number
		}
		if p.Start.IsZero() || len(p.Crew) != heads || len(p.Kit) != len(job.Tools) {
			return false
		}
		if !s.part(w, append(s.beside(w, j, at), j), at, lockExactly).solve(context.Background()) {
			return false
		}
	}
	return true
}
