package web

import (
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/people"
)

// linesPage answers: which stretches of the plant stand still together, in which order does the material
// flow, and when is each planned to run?
type linesPage struct {
	Page
	Lines []lineLine
}

type lineLine struct{ Name, Place, Conveyors, Planned, To, Calendar string }

func (s *Site) lines(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	calendars, err := s.Calendars.Calendars(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &linesPage{}
	p.Sheet, p.Say = "Lines", linesSay(reg)
	p.Sub = "A line stands still together. Its production calendar says when it is planned to run; running hours are projected by it."
	r.Offer(&p.Page, "The plant's calendar", "calendar", false)
	r.Offer(&p.Page, "Add a line", "lines/new", true)
	for _, l := range reg.Lines {
		p.Lines = append(p.Lines, r.lineLine(reg, calendars, l))
	}
	return r.Show("lines", p)
}

func linesSay(reg *assets.Register) string {
	without := 0
	for _, c := range reg.Conveyors {
		if c.LineID == 0 && c.Status != assets.ConveyorRetired {
			without++
		}
	}
	switch {
	case len(reg.Lines) == 0:
		return "No line is named yet, so stops can be entered for the whole plant only"
	case without > 0:
		return Capital(Count(len(reg.Lines), "line", "lines")) + "; " + Count(without, "conveyor is on none", "conveyors are on none")
	}
	return Capital(Count(len(reg.Lines), "line", "lines")) + " and every conveyor on one of them"
}

func (r *Request) lineLine(reg *assets.Register, calendars []assets.ProductionCalendar, l assets.Line) lineLine {
	n := 0
	for _, c := range reg.Conveyors {
		if c.LineID == l.ID {
			n++
		}
	}
	out := lineLine{Name: l.Name, Place: Int(int64(l.Position)), Conveyors: Int(int64(n)), Planned: "as the plant"}
	if c, ok := calendarOf(calendars, l.ID); ok {
		out.Planned = With(Short(weekHours(c), 1), "h a week")
	} else if c, ok := calendarOf(calendars, 0); ok {
		out.Planned = "as the plant, " + With(Short(weekHours(c), 1), "h a week")
	}
	if r.May(people.EditRegister) {
		out.To, out.Calendar = r.At("lines", l.ID), r.At("lines", l.ID, "calendar")
	}
	return out
}

// editLine adds, renames or moves a line.
func (s *Site) editLine(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	line := assets.Line{PlantID: r.PlantID(), Position: len(reg.Lines) + 1}
	if r.C.Param("line") != "" {
		var ok bool
		if line, ok = reg.Line(numberOf(r.C.Param("line"))); !ok {
			return assets.ErrNotFound
		}
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the line", Leave: r.At("lines")}
		p.Sheet, p.Say = "Line", pick(line.ID == 0, "Name a line of the plant", "Change the line "+line.Name)
		f.version(line.Version)
		p.section("", f.Text("name", "Name", line.Name).Must(), f.Number("position", "Place in the flow", plainWhole(line.Position), "").Hinted("1 is the first that the material meets"))
		if line.ID != 0 {
			p.section("", f.Tick("end", "There is no such line any more", false).Hinted("Only when no conveyor stands on it"))
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := line
		next.RowID, next.Name, next.Position = e.rowID(), strings.TrimSpace(e.must("name", "the line's name")), e.whole("position", 0, 10_000)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if line.ID != 0 && e.f.Ticked("end") {
			err := s.Registers.EndLine(r.Context(), r.Scope, r.act("end the line "+line.Name, ""), r.PlantID(), line.ID, e.rowID())
			return r.At("lines"), "Line " + line.Name + " is ended.", err
		}
		from := assets.Instant(0)
		if line.ID != 0 {
			from = assets.InstantOf(r.Now)
		}
		err := s.Registers.SaveLine(r.Context(), r.Scope, r.act("keep the line "+next.Name, ""), &next, from)
		return r.At("lines"), "Line " + next.Name + " kept.", err
	})
}

func calendarOf(all []assets.ProductionCalendar, lineID int64) (assets.ProductionCalendar, bool) {
	i := slices.IndexFunc(all, func(c assets.ProductionCalendar) bool { return c.LineID == lineID })
	if i < 0 {
		return assets.ProductionCalendar{}, false
	}
	return all[i], true
}
