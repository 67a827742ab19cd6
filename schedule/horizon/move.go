package horizon

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
)

// Move takes an order to a stop, or with stop 0 out of the plan.
type Move struct{ OrderID, StopID int64 }

// Answer is what a move breaks or costs.
type Answer struct {
	Fits bool
	// Why says what is in the way, Help what would make room; each Help was tried. Both are empty when it fits.
	Why, Help []string
	// After is where everything stands with the move; as before when it does not fit.
	After Placements
	// Also are orders of the same stop that begin at another time or are done by others.
	Also []int64
	// More is what the plan costs more with the move; negative: less.
	More Cost
	// Booked is what the stop holds with the move, or would hold.
	Booked Booked
}

// Ask answers at once what a move breaks or costs, everything else left in its stop. Where the others of that stop leave no room as
// they stand, they may begin at another time or change hands; locked ones not. That is tried until ctx ends, and the answer says so
// when it ended first.
func (s *Sheet) Ask(ctx context.Context, at Placements, m Move) Answer {
	j, ok := s.jobOf[m.OrderID]
	if !ok {
		return Answer{Why: []string{s.whyUnplanned(m.OrderID)}, After: at}
	}
	if l := s.Case.Jobs[j].Locked; l != nil && s.stops[l.Window].ID != m.StopID {
		return Answer{Why: []string{fmt.Sprintf("order %s is locked in its stop; unlock it first", s.Case.Jobs[j].ID)}, After: at}
	}
	if m.StopID == 0 {
		after := s.moved(at, m.OrderID)
		if why := s.waits(j, after); why != "" {
			return Answer{Why: []string{why}, After: at}
		}
		return Answer{Fits: true, After: after, More: s.Cost(after).Minus(s.Cost(at))}
	}
	w, ok := s.windowOf[m.StopID]
	if !ok {
		return Answer{Why: []string{"there is no agreed stop there on this sheet"}, After: at}
	}
	if _, may := s.Case.Jobs[j].OptionIn(w); !may {
		return Answer{Why: []string{s.notThere(j, w)}, After: at}
	}
	return s.ask(ctx, at, j, w)
}

func (s *Sheet) ask(ctx context.Context, at Placements, j, w int) Answer {
	rest := s.moved(at, s.orders[j].ID)
	for _, x := range s.Case.Precedences {
		if _, ok := rest[s.orders[x.Before].ID]; x.After == j && !ok {
			return Answer{Why: []string{s.tooSoon(x, s.At(s.Case.Windows[w].Start), rest)}, After: at}
		}
	}
	others := s.jobsIn(w, rest)
	q := s.oneOf(w, j, rest)
	if q.solve(context.Background()) {
		q.take(rest)
		return s.fitting(at, rest, w, others)
	}
	if len(others) > few {
		if room, ok := s.makeRoom(ctx, w, j, others, rest); ok {
			return s.fitting(at, room, w, others)
		}
	}
	q.anew = s.part(w, others, rest, lockStop, j)
	if q.anew.solve(ctx) {
		q.anew.take(rest)
		return s.fitting(at, rest, w, others)
	}
	a := Answer{After: at, Why: s.alsoWaits(j, rest, s.inTheWay(ctx, q, others, rest))}
	if ctx.Err() != nil {
		a.Why = append(a.Why, unsettled)
	}
	a.Help = q.help(ctx)
	with := s.moved(at, s.orders[j].ID)
	with[s.orders[j].ID] = Placement{StopID: s.stops[w].ID}
	a.Booked = s.Booked(s.stops[w].ID, with)
	return a
}

// fitting is the answer to a move that fits, with where everything stands after it.
func (s *Sheet) fitting(at, after Placements, w int, others []int) Answer {
	a := Answer{Fits: true, After: after, More: s.Cost(after).Minus(s.Cost(at)), Booked: s.Booked(s.stops[w].ID, after)}
	for _, o := range others {
		if id := s.orders[o].ID; !same(at[id], after[id]) {
			a.Also = append(a.Also, id)
		}
	}
	return a
}

// inTheWay says why a job finds no room in a window: what was proven of all that stands there, else what each of them takes as it
// stands.
func (s *Sheet) inTheWay(ctx context.Context, q *part, others []int, rest Placements) []string {
	if ctx.Err() == nil {
		return q.anew.words()
	}
	quick, stop := context.WithCancel(context.Background())
	stop() // what stands in the way is told without a search
	all := s.part(q.w, others, rest, lockStanding, q.jobs[len(q.jobs)-1])
	if all.solve(quick); len(all.words()) > 0 {
		return all.words()
	}
	return q.words()
}

// alsoWaits sets what an order waits for before what else is in the way.
func (s *Sheet) alsoWaits(j int, rest Placements, why []string) []string {
	for _, x := range s.Case.Precedences {
		if end, ok := s.end(s.orders[x.Before].ID, rest); ok && x.After == j {
			return append([]string{s.waitWords(x, end)}, why...)
		}
		if p, ok := rest[s.orders[x.After].ID]; ok && x.Before == j && !p.Start.IsZero() {
			return append([]string{fmt.Sprintf("order %s waits for it and begins at %s", s.Case.Jobs[x.After].ID, s.momentOf(x.After, p.Start))}, why...)
		}
	}
	return why
}

// moved is where everything stands without an order.
func (s *Sheet) moved(at Placements, orderID int64) Placements {
	out := make(Placements, len(at))
	for id, p := range at {
		if id != orderID {
			out[id] = p
		}
	}
	return out
}

// unsettled is said where ctx ended before it was known whether the others of a stop could make room.
const unsettled = "so much stands in that stop that it is not found out at once whether it fits with the others at other times or with other people; a re-plan searches longer"

// same tells whether two placements differ in nothing that is known of both.
func same(a, b Placement) bool {
	if a.StopID != b.StopID || !a.Start.IsZero() && !a.Start.Equal(b.Start) {
		return false
	}
	for _, m := range a.Crew {
		if !slices.ContainsFunc(b.Crew, func(o assets.CrewPlace) bool {
			return o.PersonID == m.PersonID
		}) {
			return false
		}
	}
	return true
}

// whyUnplanned is why an order is not in the case.
func (s *Sheet) whyUnplanned(orderID int64) string {
	for _, u := range s.Unplanned {
		if u.OrderID == orderID {
			return u.Why
		}
	}
	return "the order is not accepted, or not open any more"
}

// notThere says why a stop is none for a job.
func (s *Sheet) notThere(j, w int) string {
	job, win := &s.Case.Jobs[j], &s.Case.Windows[w]
	if _, ok := slices.BinarySearch(win.Scope, job.Conveyor); !ok {
		return fmt.Sprintf("conveyor %s runs in the stop %s", s.Case.Conveyors[job.Conveyor].ID, win.ID)
	}
	g := s.Case.Conveyors[job.Conveyor].Group
	var run []string
	for c := range s.Case.Conveyors {
		if _, ok := slices.BinarySearch(win.Scope, c); !ok && s.Case.Conveyors[c].Group == g {
			run = append(run, s.Case.Conveyors[c].ID)
		}
	}
	return fmt.Sprintf("it needs the isolation of %s, and of that %s in the stop %s", s.Case.Groups[g].ID, strings.Join(run, " and ")+pluralRun(len(run)), win.ID)
}

func pluralRun(n int) string {
	if n == 1 {
		return " runs"
	}
	return " run"
}
