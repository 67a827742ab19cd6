package web

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// Calendars is the production calendars of a plant and its lines.
type Calendars interface {
	// Calendars lists them: the plant's own (LineID 0) and those of its lines.
	Calendars(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.ProductionCalendar, error)
	// SaveCalendar adds one (ID 0), changes it from an instant on, or from 0 corrects it.
	SaveCalendar(ctx context.Context, scope assets.Scope, act Act, c *assets.ProductionCalendar, from assets.Instant) error
	// EndCalendar lets a line run as the plant from an instant on.
	EndCalendar(ctx context.Context, scope assets.Scope, act Act, plantID, id int64, from assets.Instant) error
}

// These forms answer: when is a line planned to run, and on which days otherwise?

// weekdays in the order of a week at work; the register counts Sunday as 0.
var weekdays = []struct {
	number int
	name   string
}{{1, "Monday"}, {2, "Tuesday"}, {3, "Wednesday"}, {4, "Thursday"}, {5, "Friday"}, {6, "Saturday"}, {0, "Sunday"}}

// shiftHours is the length of a shift on the clock; one that does not end after its start ends the next day.
func shiftHours(s assets.Shift) float64 {
	a, errA := calendar.ParseTimeOfDay(s.Start)
	b, errB := calendar.ParseTimeOfDay(s.End)
	if errA != nil || errB != nil {
		return 0
	}
	if b <= a {
		b += 24 * 3600
	}
	return float64(b-a) / 3600
}

func weekHours(c assets.ProductionCalendar) float64 {
	h := 0.0
	for _, s := range c.Shifts {
		h += shiftHours(s)
	}
	return h
}

// shiftsWords writes shifts as they are typed: "06:00-14:00, 14:00-22:00".
func shiftsWords(shifts []assets.Shift) string {
	var out []string
	for _, s := range shifts {
		out = append(out, s.Start+"-"+s.End)
	}
	return strings.Join(out, ", ")
}

// readShifts reads what shiftsWords writes.
func readShifts(text string, weekday int) ([]assets.Shift, error) {
	var out []assets.Shift
	for _, part := range strings.Split(text, ",") {
		part = strings.TrimSpace(strings.ReplaceAll(part, "–", "-"))
		if part == "" {
			continue
		}
		from, to, ok := strings.Cut(part, "-")
		if !ok {
			return nil, fmt.Errorf("%q is no shift; write it as 06:00-14:00, several set apart by commas", part)
		}
		s := assets.Shift{Weekday: weekday}
		for _, end := range []struct {
			text string
			to   *string
		}{{from, &s.Start}, {to, &s.End}} {
			t, err := calendar.ParseTimeOfDay(strings.TrimSpace(end.text))
			if err != nil {
				return nil, fmt.Errorf("%q is no time of day; write a shift as 06:00-14:00", strings.TrimSpace(end.text))
			}
			*end.to = t.String()
		}
		if s.Start == "24:00" {
			return nil, fmt.Errorf("%q begins at the end of the day; write 00:00 on the next day", part)
		}
		out = append(out, s)
	}
	return out, nil
}

// plantCalendar keeps the calendar of the whole plant, lineCalendar that of one line.
func (s *Site) plantCalendar(r *Request) error { return s.calendarForm(r, 0, "the plant") }

func (s *Site) lineCalendar(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	line, ok := reg.Line(numberOf(r.C.Param("line")))
	if !ok {
		return assets.ErrNotFound
	}
	return s.calendarForm(r, line.ID, line.Name)
}

func (s *Site) calendarForm(r *Request, lineID int64, name string) error {
	all, err := s.Calendars.Calendars(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	held, has := calendarOf(all, lineID)
	if !has {
		held = assets.ProductionCalendar{PlantID: r.PlantID(), LineID: lineID}
		if plant, ok := calendarOf(all, 0); ok {
			held.Shifts, held.Exceptions = plant.Shifts, plant.Exceptions
		}
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the calendar", Leave: r.At("lines")}
		p.Sheet, p.Say = "Production calendar", "Say when "+name+" is planned to run"
		p.Says = []string{"Running hours after the last reading are projected by these hours times how much of them was run before.", "A shift that does not end after its start ends on the next day. Plant time, " + r.F.zone().String() + "."}
		p.FactsOf, p.Facts = "As it stands", []fact{{"Planned", pick(has, With(Short(weekHours(held), 1), "h a week"), "no calendar of its own")}}
		f.version(held.Version)
		var days []*Field
		for _, d := range weekdays {
			days = append(days, f.Text(fmt.Sprintf("day%d", d.number), d.name, shiftsWords(shiftsOn(held.Shifts, d.number))).Hinted("06:00-14:00, 14:00-22:00; empty: none"))
		}
		p.section("Week by week", days...)
		p.section("Days on which it is otherwise", f.Area("exceptions", "One a line", exceptionsWords(held.Exceptions)).Hinted("As 2026-12-24: 06:00-12:00 half day, or 2026-12-25: none").OverBoth())
		if has && lineID != 0 {
			p.section("", f.Tick("end", "No calendar of its own any more: it runs as the plant", false))
		}
		p.section("", fromWhen(f, ""))
		p.reason(false, "Needed for a correction")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := held
		next.RowID = e.rowID()
		e.calendar(&next)
		from := e.changesFrom()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		act := r.act("keep the production calendar of "+name, e.text("reason"))
		if has && e.f.Ticked("end") {
			return r.At("lines"), Capital(name) + " runs as the plant from now on.", s.Calendars.EndCalendar(r.Context(), r.Scope, act, r.PlantID(), held.ID, from)
		}
		if !has {
			from = 0
		}
		err := s.Calendars.SaveCalendar(r.Context(), r.Scope, act, &next, from)
		return r.At("lines"), fmt.Sprintf("Calendar of %s kept: %s h a week.", name, Short(weekHours(next), 1)), err
	})
}

func shiftsOn(all []assets.Shift, weekday int) []assets.Shift {
	var out []assets.Shift
	for _, s := range all {
		if s.Weekday == weekday {
			out = append(out, s)
		}
	}
	return out
}

func exceptionsWords(all []assets.ExceptionDay) string {
	var lines []string
	for _, x := range all {
		what := shiftsWords(x.Shifts)
		if what == "" {
			what = "none"
		}
		lines = append(lines, strings.TrimSpace(string(x.Day)+": "+what+" "+x.Note))
	}
	return strings.Join(lines, "\n")
}

// calendar reads the fields of a calendar.
func (e *entry) calendar(c *assets.ProductionCalendar) {
	c.Shifts = nil
	for _, d := range weekdays {
		name := fmt.Sprintf("day%d", d.number)
		shifts, err := readShifts(e.text(name), d.number)
		if err != nil {
			e.bad.Add(name, err.Error())
		}
		c.Shifts = append(c.Shifts, shifts...)
	}
	c.Exceptions = nil
	seen := map[assets.Day]bool{}
	for _, line := range strings.Split(e.text("exceptions"), "\n") {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		x, err := readException(line)
		if err == nil && seen[x.Day] {
			err = fmt.Errorf("%s stands twice; write all its shifts in one line", x.Day)
		}
		if err != nil {
			e.bad.Add("exceptions", err.Error())
			continue
		}
		seen[x.Day] = true
		c.Exceptions = append(c.Exceptions, x)
	}
}

// readException reads a line of exceptionsWords: day, shifts or none, and a note behind.
func readException(line string) (assets.ExceptionDay, error) {
	day, rest, ok := strings.Cut(line, ":")
	if d, err := calendar.ParseDate(strings.TrimSpace(day)); !ok || err != nil || d.IsZero() {
		return assets.ExceptionDay{}, fmt.Errorf("%q does not begin with a date; write a line as 2026-12-24: 06:00-12:00 half day", line)
	}
	x := assets.ExceptionDay{Day: assets.Day(strings.TrimSpace(day))}
	rest = strings.TrimSpace(rest)
	if note, none := strings.CutPrefix(rest, "none"); none {
		x.Note = strings.TrimSpace(note)
		return x, nil
	}
	times := strings.TrimRight(takeWhile(rest, "0123456789:-–, "), " ,")
	x.Note = strings.TrimSpace(rest[len(takeWhile(rest, "0123456789:-–, ")):])
	var err error
	if x.Shifts, err = readShifts(times, 0); err != nil {
		return x, err
	}
	if len(x.Shifts) == 0 {
		return x, fmt.Errorf("%q gives no shift; write 06:00-12:00, or none where nothing runs", line)
	}
	return x, nil
}

// takeWhile is the beginning of a text that is made of certain characters.
func takeWhile(s, of string) string {
	for i, r := range s {
		if !strings.ContainsRune(of, r) {
			return s[:i]
		}
	}
	return s
}
