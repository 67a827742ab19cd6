package web

import (
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/schedule/people"
)

// groupsPage answers: which conveyors are isolated together, where, and how long does that take?
type groupsPage struct {
	Page
	Rows    []groupLine
	Without string // conveyors that are in no group
}

type groupLine struct{ Name, Point, Isolate, Restart, Cost, Conveyors, Change string }

func (s *Site) isolationGroups(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	groups, err := s.StopBook.IsolationGroups(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &groupsPage{}
	in := map[int64]bool{}
	costs := r.May(people.ReadCosts)
	for _, g := range groups {
		l := groupLine{Name: g.Name, Point: g.Point, Isolate: With(fmt.Sprint(g.IsolateMin), "min"), Restart: With(fmt.Sprint(g.RestartMin), "min"), Conveyors: strings.Join(stopTags(reg, g.ConveyorIDs), ", ")}
		if costs {
			l.Cost = With(Num(g.SetupCost, 0), r.Plant.Plant.Currency)
		}
		l.Change, _ = r.Link("stops/isolation/:group", g.ID)
		p.Rows = append(p.Rows, l)
		for _, id := range g.ConveyorIDs {
			in[id] = true
		}
	}
	var without []string
	for _, c := range reg.Conveyors {
		if !in[c.ID] && c.Status != assets.ConveyorRetired {
			without = append(without, c.Tag)
		}
	}
	p.Sheet, p.Say = "Isolation groups", groupsSay(len(groups), len(without))
	p.Sub = "Minutes at the beginning and the end of a stop that work cannot use. How a conveyor is isolated is settled by the site's own rules."
	p.Without = strings.Join(without, ", ")
	r.Offer(&p.Page, "Add a group", "stops/isolation/new", true)
	return r.Show("isolation", p)
}

func groupsSay(groups, without int) string {
	switch {
	case groups == 0:
		return "No isolation group is entered; every conveyor counts as isolated by itself, in no time"
	case without == 0:
		return "Every conveyor is in one of " + Count(groups, "isolation group", "isolation groups")
	}
	return Capital(Count(groups, "isolation group", "isolation groups")) + "; " + Figure(without, "conveyor is", "conveyors are") + " in none and counted as isolated by itself, in no time"
}

// newGroup adds an isolation group.
func (s *Site) newGroup(r *Request) error {
	return s.groupForm(r, assets.IsolationGroup{PlantID: r.PlantID()})
}

// editGroup changes an isolation group.
func (s *Site) editGroup(r *Request) error {
	g, err := s.groupAsked(r)
	if err != nil {
		return err
	}
	return s.groupForm(r, g)
}

func (s *Site) groupAsked(r *Request) (assets.IsolationGroup, error) {
	id, err := r.ID("group")
	if err != nil {
		return assets.IsolationGroup{}, err
	}
	groups, err := s.StopBook.IsolationGroups(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return assets.IsolationGroup{}, err
	}
	for _, g := range groups {
		if g.ID == id {
			return g, nil
		}
	}
	return assets.IsolationGroup{}, fmt.Errorf("isolation group %d: %w", id, assets.ErrNotFound)
}

func (s *Site) groupForm(r *Request, g assets.IsolationGroup) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(g.ID == 0, "Add the group", "Keep the change"), Leave: r.At("stops", "isolation")}
		p.Sheet, p.Say = "Isolation group", pick(g.ID == 0, "Say which conveyors are isolated together", "Change the isolation group "+g.Name)
		p.Says = []string{"The plan keeps these minutes free of work and counts one isolation for all work on the group in a stop. It isolates nothing and frees nothing."}
		f.version(g.Version)
		f.Text("name", "Name", g.Name).Must()
		f.Text("point", "Isolated at", g.Point).Must().Hinted("The point as the plant names it, e.g. E-14")
		f.Number("isolate_min", "To isolate", plainWhole(g.IsolateMin), "min")
		f.Number("restart_min", "To restart", plainWhole(g.RestartMin), "min")
		f.Number("setup_cost", "Cost of one isolation", plainNumber(g.SetupCost), r.Plant.Plant.Currency)
		f.Text("conveyors", "Conveyors", strings.Join(stopTags(reg, g.ConveyorIDs), ", ")).Must().Hinted("Tags such as Q3, Q4; each conveyor in one group at most").OverBoth()
		if g.ID != 0 {
			f.Tick("end", "There is no such group any more", false).OverBoth()
		}
		p.section("", f.Fields[1:]...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := g
		next.RowID = e.rowID()
		if g.ID != 0 && e.f.Ticked("end") {
			err := s.StopBook.EndIsolationGroup(r.Context(), r.Scope, r.act("end an isolation group", ""), r.PlantID(), g.ID, next.RowID)
			return r.At("stops", "isolation"), "The group " + g.Name + " is no more.", err
		}
		next.Name, next.Point = e.must("name", "the group's name"), e.must("point", "the point at which it is isolated")
		next.IsolateMin, next.RestartMin = e.whole("isolate_min", 0, 1440), e.whole("restart_min", 0, 1440)
		next.SetupCost = e.number("setup_cost")
		e.must("conveyors", "the conveyors that are isolated together")
		next.ConveyorIDs = e.conveyorTags("conveyors", reg, 0)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StopBook.SaveIsolationGroup(r.Context(), r.Scope, r.act(pick(g.ID == 0, "add an isolation group", "change an isolation group"), ""), &next)
		return r.At("stops", "isolation"), "Isolation group " + next.Name + " kept.", err
	})
}
