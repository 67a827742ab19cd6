package web

import (
	"fmt"
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/round"
	"carryside/schedule/workorder"
)

// A walk is what a round saw of an inspection since that was raised.
type walk struct {
	due    round.Due
	found  []assets.Finding // at its points since it was raised, the earliest first
	people []int64          // who found
}

// walkedInspection answers: everything this inspection looks at was seen on a round; is it done, from when to when, and what is to be said of it?
// That a point was seen says nothing of what else the order asks for: a person reports it done, and another may sign.
func (s *Site) walkedInspection(r *Request) error {
	rd, w, err := s.walkOver(r)
	if err != nil {
		return err
	}
	o := w.due.Order
	if w.due.Points == 0 {
		return r.Done(r.At("orders", o.Number), fmt.Sprintf("Order %d is no open inspection of the round %s; nothing was reported done.", o.Number, rd.Name))
	}
	if w.due.Seen < w.due.Points {
		return r.Done(r.At("rounds"), fmt.Sprintf("%d of the %s of order %d were seen since it was raised; nothing was reported done.", w.due.Seen, Figure(w.due.Points, "point", "points"), o.Number))
	}
	if !r.mayReport(o) {
		return r.Done(r.At("orders", o.Number), "The round has seen all of it. A planner accepts and places this order, or reports it done by the round.")
	}
	names, err := s.Meters.NamesOf(r.Context(), w.people)
	if err != nil {
		return err
	}
	first, last := w.found[0].FoundAt, w.found[len(w.found)-1].FoundAt
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: fmt.Sprintf("Report order %d done", o.Number), Leave: r.At("rounds"), Facts: r.walkFacts(w, names), FactsOf: "Seen since it was raised"}
		p.Sheet, p.Say = "Round", fmt.Sprintf("Report order %s done by the round %s", orderShort(o), rd.Name)
		p.Sub = "Done means that what its sheet asks for was done, not only that somebody walked past. It is signed after that, as any other work."
		f.Hidden("edit", plainInt(o.EditVersion))
		p.section("", f.At("began", "Began", first).Must(), f.At("at", "Finished", last).Must(),
			f.Number("hours", "Hours of work", plainNumber(math.Max(0.1, math.Round(last.Time().Sub(first.Time()).Hours()*10)/10)), "h").Must(),
			f.Area("note", "What was done", fmt.Sprintf("seen on the round %s: %s", rd.Name, Figure(w.due.Points, "point", "points"))).OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		began, at, hours := e.moment("began"), e.moment("at"), e.number("hours")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		steps := r.walkSteps(o.State, workorder.Placement{WindowDay: assets.DayOf(r.F.Local(at)), Where: "the round " + rd.Name, People: w.people}, began, at, workorder.Work{Hours: hours, Note: e.text("note")})
		err := s.Orders.Steps(r.Context(), r.Scope, r.act("report an inspection done by a round", ""), r.PlantID(), o.Number, numberOf(e.text("edit")), steps)
		return r.At("orders", o.Number), fmt.Sprintf("Order %d is done; it waits for a signature.", o.Number), renamed(err, map[string]string{"window": "at", "people": ""})
	})
}

// stepsToDone are the steps that an order has still to take until it is done.
func stepsToDone(from workorder.State) []workorder.Action {
	way := []workorder.Action{workorder.ToAccept, workorder.ToPlace, workorder.ToStart, workorder.ToFinish}
	at := slices.Index([]workorder.State{workorder.Raised, workorder.Accepted, workorder.Placed, workorder.Started}, from)
	if at < 0 {
		return nil
	}
	return way[at:]
}

// walkSteps takes an order from where it stands to done, by whoever reports it: the steps were so when the round was walked.
func (r *Request) walkSteps(from workorder.State, in workorder.Placement, began, at assets.Instant, done workorder.Work) []OrderStep {
	by, now := r.actor(), r.Now
	take := map[workorder.Action]OrderStep{
		workorder.ToAccept: func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Accept(o, by, began.Time(), now)
		},
		workorder.ToPlace: func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Place(o, by, began.Time(), now, in)
		},
		workorder.ToStart: func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Start(o, by, began.Time(), now)
		},
		workorder.ToFinish: func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Finish(o, by, at.Time(), now, done)
		},
	}
	var out []OrderStep
	for _, a := range stepsToDone(from) {
		out = append(out, take[a])
	}
	return out
}

// walkOver is an order with what a round saw of it since it was raised: of no point where it is no open inspection of the round.
func (s *Site) walkOver(r *Request) (assets.Round, walk, error) {
	var w walk
	id, err := r.ID("round")
	if err != nil {
		return assets.Round{}, w, err
	}
	number, err := r.ID("order")
	if err != nil {
		return assets.Round{}, w, err
	}
	rd, err := s.RoundBook.Round(r.Context(), r.Scope, r.PlantID(), id)
	if err != nil {
		return rd, w, err
	}
	reg, err := s.register(r)
	if err != nil {
		return rd, w, err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return rd, w, err
	}
	i := slices.IndexFunc(open, func(o workorder.Order) bool { return o.Number == number })
	if i < 0 { // none of this plant, or done by now
		file, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), number)
		if err == nil {
			w.due.Order = file.Order
		}
		return rd, w, err
	}
	w.due.Order = open[i]
	wide, err := s.RoundBook.WideInspections(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return rd, w, err
	}
	found, err := s.RoundBook.RoundFindings(r.Context(), r.Scope, r.PlantID(), open[i].RaisedAt)
	if err != nil {
		return rd, w, err
	}
	points := round.Points(reg, rd.LineIDs, open, wide)
	due := round.DueOf(points, open[i:i+1], found)
	if len(due) == 0 {
		return rd, w, nil
	}
	w.due = due[0]
	for _, f := range found {
		seen := slices.ContainsFunc(points, func(p round.Point) bool { return slices.Contains(p.Orders, number) && p.Of(f) })
		if !seen || f.FoundAt < open[i].RaisedAt {
			continue
		}
		w.found = append(w.found, f)
		if f.FoundByID != 0 && !slices.Contains(w.people, f.FoundByID) {
			w.people = append(w.people, f.FoundByID)
		}
	}
	slices.SortFunc(w.found, func(a, b assets.Finding) int { return a.FoundAt.Time().Compare(b.FoundAt.Time()) })
	return rd, w, nil
}

// walkFacts lists what was seen and by whom.
func (r *Request) walkFacts(w walk, names map[int64]string) []fact {
	var out []fact
	for _, f := range w.found {
		out = append(out, fact{orNotKnown(names[f.FoundByID]), r.findingWords(f)})
	}
	return out
}

// mayReport tells whether whoever asks may take an inspection to done.
func (r *Request) mayReport(o workorder.Order) bool {
	return !slices.ContainsFunc(stepsToDone(o.State), func(a workorder.Action) bool {
		step, _ := workorder.StepOf(a)
		return !r.May(step.Deed)
	}) && r.May(people.DoJob)
}
