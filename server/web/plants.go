package web

import "carryside/schedule/people"

// plantsPage answers: which plants are mine, which of them has something late, whose hours are old.
type plantsPage struct {
	Page
	Plants []plantLine
	Visits *visitsPart
	Empty  Empty
}

type plantLine struct {
	Customer, Name, To                      string // Customer only where it differs from the line above
	Conveyors, Splices, Open, Overdue, Held string
	ReadTo                                  string
	Late                                    bool
}

func (s *Site) plants(r *Request) error {
	all, err := s.Plants.PlantList(r.Context(), r.Scope)
	if err != nil {
		return err
	}
	p := &plantsPage{Empty: Empty{What: "No plant yet", Why: "A plant appears here when its list is brought in, or when you are granted one."}}
	p.Sheet, p.Say = "All plants", plantsSay(all)
	p.Sub = "Each plant's dates are in its own time."
	customers, err := s.Owners.Customers(r.Context(), r.Scope)
	if err != nil {
		return err
	}
	if r.mayAddAny() || len(r.mayAddTo(customers)) > 0 {
		p.Do = append(p.Do, Action{Word: "Add a plant", To: "/plants/new"})
	}
	if r.Who.MayAnywhere(people.KeepCrew) && len(all) > 0 {
		p.Do = append(p.Do, Action{Word: "Plan over plants", To: "/plants/plan"})
	}
	if len(all) > 0 {
		p.Do = append(p.Do, Action{Word: "Week of the crews", To: "/plants/week"})
	}
	if s.tokens != nil {
		p.Do = append(p.Do, Action{Word: "Tokens for programs", To: "/tokens"})
	}
	if len(all) > 0 {
		if p.Visits, err = s.visits(r, all); err != nil {
			return err
		}
		p.Say = visitsSay(p.Visits, p.Say)
	}
	for i, a := range all {
		p.Plants = append(p.Plants, r.plantLine(a, i == 0 || all[i-1].Customer != a.Customer))
	}
	return r.Show("plants", p)
}

func (r *Request) plantLine(a PlantSummary, first bool) plantLine {
	f := Format{Zone: a.Plant.Location(), Now: r.Now}
	l := plantLine{
		Name: a.Plant.Name, To: at(a.Plant.ID), Late: a.Overdue > 0,
		Conveyors: Int(int64(a.Conveyors)), Splices: Int(int64(a.Splices)), Open: Int(int64(a.Open)),
		Overdue: Int(int64(a.Overdue)), Held: Int(int64(a.Held)), ReadTo: "no readings yet",
	}
	if !a.ReadTo.IsZero() {
		l.ReadTo = f.Stamp(a.ReadTo)
	}
	if first {
		l.Customer = a.Customer
	}
	return l
}

// visitsSay is the headline where plants need a visit: how many, and what is in the way.
func visitsSay(v *visitsPart, late string) string {
	n := len(v.Rows)
	if n == 0 {
		return late
	}
	open := 0
	for _, row := range v.Rows {
		if row.Fault {
			open++
		}
	}
	say := Capital(Word(n)) + " of " + Count(v.Of, "plant", "plants") + " " + pick(n == 1, "needs", "need") + " a visit before " + v.Before
	if v.Of == 1 {
		say = v.Rows[0].Plant + " needs a visit before " + v.Before
	}
	if open > 0 && v.Of > 1 {
		return say + "; " + Count(open, "has work without a stop", "have work without a stop")
	}
	return say
}

// plantsSay is the headline of the list of plants.
func plantsSay(all []PlantSummary) string {
	if len(all) == 0 {
		return "No plant is open to you yet"
	}
	late, worst := 0, PlantSummary{}
	for _, a := range all {
		if a.Overdue > 0 {
			late++
		}
		if a.Overdue > worst.Overdue {
			worst = a
		}
	}
	of := "your plant"
	if len(all) > 1 {
		of = Int(int64(len(all))) + " plants"
	}
	switch late {
	case 0:
		if len(all) == 1 {
			return all[0].Plant.Name + " has no order past its latest date"
		}
		return "None of " + of + " has an order past its latest date"
	case len(all):
		if len(all) > 1 {
			return Capital(Word(late)) + nb + "plants, all there are, have orders past their latest date; " + worst.Plant.Name + " has the most, " + Word(worst.Overdue)
		}
		fallthrough
	case 1:
		return worst.Plant.Name + " has " + Count(worst.Overdue, "order", "orders") + " past " + pick(worst.Overdue == 1, "its latest date", "their latest dates")
	}
	return Capital(Word(late)) + " of " + Word(len(all)) + nb + "plants have orders past their latest date; " +
		worst.Plant.Name + " has the most, " + Word(worst.Overdue)
}

// Empty is what a page says where there is nothing yet: what is missing, why it matters, the one next step.
type Empty struct {
	What, Why string
	Do        []Action
}

// Pager leads through a long list.
type Pager struct {
	Says       string
	Prev, Next string
}

// Many tells whether there is more than one page.
func (p Pager) Many() bool { return p.Prev != "" || p.Next != "" }
