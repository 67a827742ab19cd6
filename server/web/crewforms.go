package web

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// crewList reads who can be sent to the plant of the request.
func (s *Site) crewList(r *Request) (*CrewList, error) {
	return s.CrewBook.CrewOf(r.Context(), r.Scope, r.PlantID(), r.Now)
}

// personOptions are the people of a list by name; members only where asked.
func (l *CrewList) personOptions(members bool) []Option {
	var out []Option
	for id, name := range l.Names {
		if l.member(id) || !members {
			out = append(out, Option{Value: plainInt(id), Label: name})
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Label < out[j].Label })
	return append([]Option{{Label: "choose"}}, out...)
}

func (l *CrewList) ticketOptions() []Option {
	out := []Option{{Label: "choose"}}
	for _, q := range l.Qualifications {
		out = append(out, Option{Value: plainInt(q.ID), Label: q.Name})
	}
	return out
}

func (l *CrewList) plantOptions(none string) []Option {
	var out []Option
	for id, name := range l.Plants {
		out = append(out, Option{Value: plainInt(id), Label: name})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Label < out[j].Label })
	return append([]Option{{Value: "0", Label: none}}, out...)
}

// idOrNone writes a chosen number for a field; none is "".
func idOrNone(id int64) string { return pick(id == 0, "", plainInt(id)) }

// newTicket adds a ticket somebody holds.
func (s *Site) newTicket(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	return s.ticketForm(r, list, assets.PersonQualification{FromDay: r.F.Today()})
}

// editTicket changes a ticket or takes one back that was entered in error.
func (s *Site) editTicket(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	t, err := asked(r, "ticket", list.Tickets)
	if err != nil {
		return err
	}
	return s.ticketForm(r, list, t)
}

// asked finds the row an address names among those of a list.
func asked[T any, P interface {
	*T
	Versioned() *assets.Version
}](r *Request, name string, rows []T) (T, error) {
	id, err := r.ID(name)
	if err != nil {
		return *new(T), err
	}
	for _, row := range rows {
		if P(&row).Versioned().ID == id {
			return row, nil
		}
	}
	return *new(T), fmt.Errorf("%s %d: %w", name, id, assets.ErrNotFound)
}

func (s *Site) ticketForm(r *Request, list *CrewList, t assets.PersonQualification) error {
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(t.ID == 0, "Add the ticket", "Keep the change"), Leave: r.At("crew")}
		p.Sheet, p.Say = "Ticket", pick(t.ID == 0, "Say who holds which ticket, from when to when", "Change the ticket of "+list.Names[t.PersonID]+", "+list.ticketName(t.QualificationID))
		p.Says = []string{"A renewed ticket is a new one: the old one stays for the work done under it.", "The last day is the last on which it holds; empty where the catalogue's months are to count from the first day."}
		f.version(t.Version)
		if to, ok := r.Link("crew/tickets/:ticket/files", t.ID); ok && t.ID != 0 {
			p.Do = append(p.Do, Action{Word: "Certificate", To: to})
		}
		fields := []*Field{f.Select("person", "Person", idOrNone(t.PersonID), list.personOptions(false)).Must(),
			f.Select("qualification", "Ticket", idOrNone(t.QualificationID), list.ticketOptions()).Must(),
			f.Date("from_day", "Holds from", string(t.FromDay)).Must(), f.Date("until_day", "Last day", string(t.UntilDay)),
			f.Text("certificate", "Certificate", t.CertificateNo).Hinted("Its number, as it stands on the paper").OverBoth()}
		if t.ID != 0 {
			fields = append(fields, f.Tick("end", "It was entered in error", false).OverBoth())
		}
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := t
		next.RowID = e.rowID()
		if t.ID != 0 && e.f.Ticked("end") {
			err := s.CrewBook.EndTicket(r.Context(), r.Scope, r.act("take a ticket back", "entered in error"), r.PlantID(), t.ID, next.RowID)
			return r.At("crew"), "The ticket is taken back.", err
		}
		e.offered("person", "choose a person from the list")
		e.offered("qualification", "choose the ticket from the list")
		next.PersonID, next.QualificationID = e.id("person"), e.id("qualification")
		e.must("person", "the person")
		e.must("qualification", "the ticket")
		e.must("from_day", "the first day")
		next.FromDay, next.UntilDay, next.CertificateNo = e.day("from_day"), e.day("until_day"), e.text("certificate")
		if next.UntilDay == "" {
			next.UntilDay = list.holdsUntil(next.QualificationID, next.FromDay)
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveTicket(r.Context(), r.Scope, r.act(pick(t.ID == 0, "add a ticket", "change a ticket"), ""), r.PlantID(), &next)
		return r.At("crew"), "Ticket kept: " + list.ticketName(next.QualificationID) + pick(next.UntilDay == "", ".", " to "+r.F.PlainDay(next.UntilDay)+"."), err
	})
}

// holdsUntil is the last day of a fresh ticket by the catalogue; "" where it names no months.
func (l *CrewList) holdsUntil(qualification int64, from assets.Day) assets.Day {
	i := slices.IndexFunc(l.Qualifications, func(q assets.Qualification) bool { return q.ID == qualification })
	d, err := calendar.ParseDate(string(from))
	if i < 0 || err != nil || l.Qualifications[i].ValidMonths == 0 {
		return ""
	}
	return assets.Day(d.AddMonths(l.Qualifications[i].ValidMonths).AddDays(-1).String())
}

// newAbsence enters days on which somebody is away.
func (s *Site) newAbsence(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	return s.absenceForm(r, list, assets.Absence{})
}

// editAbsence changes days away or takes them back.
func (s *Site) editAbsence(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	a, err := asked(r, "absence", list.Absences)
	if err != nil {
		return err
	}
	return s.absenceForm(r, list, a)
}

func (s *Site) absenceForm(r *Request, list *CrewList, a assets.Absence) error {
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(a.ID == 0, "Keep them", "Keep the change"), Leave: r.At("crew")}
		p.Sheet, p.Say = "Days away", pick(a.ID == 0, "Say who is away, from which day to which", "Change the days away of "+list.Names[a.PersonID])
		p.Says = []string{"Whole days. Work placed with this person in that time stays placed: the page of people and the plan say so."}
		f.version(a.Version)
		fields := []*Field{f.Select("person", "Person", idOrNone(a.PersonID), list.personOptions(true)).Must(), f.Text("why", "Why", a.Why).Hinted("Leave, course, sick: in few words, or nothing"),
			f.Date("from_day", "First day", string(a.FromDay)).Must(), f.Date("until_day", "Last day", string(a.UntilDay)).Must()}
		if a.ID != 0 {
			fields = append(fields, f.Tick("end", "They are there after all", false).OverBoth())
		}
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := a
		next.RowID = e.rowID()
		if a.ID != 0 && e.f.Ticked("end") {
			err := s.CrewBook.EndAbsence(r.Context(), r.Scope, r.act("take days away back", ""), r.PlantID(), a.ID, next.RowID)
			return r.At("crew"), "The days away are taken back.", err
		}
		e.offered("person", "choose a person from the list")
		e.must("person", "the person")
		e.must("from_day", "the first day away")
		e.must("until_day", "the last day away")
		next.PersonID, next.FromDay, next.UntilDay, next.Why = e.id("person"), e.day("from_day"), e.day("until_day"), e.text("why")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveAbsence(r.Context(), r.Scope, r.act("enter days away", ""), r.PlantID(), &next)
		return r.At("crew"), list.Names[next.PersonID] + " is away " + r.awayDays(next) + ".", err
	})
}

// newMember adds somebody to those who can be sent.
func (s *Site) newMember(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	return s.memberForm(r, list, assets.CrewMember{HomePlantID: r.PlantID()})
}

// editMember changes from where and when somebody can be sent.
func (s *Site) editMember(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	m, err := asked(r, "member", list.Members)
	if err != nil {
		return err
	}
	return s.memberForm(r, list, m)
}

func (s *Site) memberForm(r *Request, list *CrewList, m assets.CrewMember) error {
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(m.ID == 0, "Add the person", "Keep the change"), Leave: r.At("crew")}
		p.Sheet, p.Say = "Person", pick(m.ID == 0, "Say who can be sent, from where and when in a week", "Change how "+list.Names[m.PersonID]+" can be sent")
		p.Says = []string{"The working week is in the time of the home plant, of the company at the depot. Outside it, and away from home, the call-out cost counts in the plan.",
			"Whoever has a grant, or is named in the records, can be chosen. A new person gets a grant first."}
		f.version(m.Version)
		options := list.personOptions(false)
		if m.ID != 0 {
			options = []Option{{Value: plainInt(m.PersonID), Label: list.Names[m.PersonID]}}
		}
		fields := []*Field{f.Select("person", "Person", idOrNone(m.PersonID), options).Must(),
			f.Select("home", "Home", plainInt(m.HomePlantID), list.plantOptions("the depot")),
			f.Text("week", "Working week", weekTyped(m.WorkingWeek)).Hinted("Mon-Fri 06:00-14:00; Sat 06:00-12:00. Empty: any time").OverBoth(),
			f.Number("callout", "Call-out cost", plainNumber(m.CalloutCost), "")}
		if m.ID != 0 {
			fields = append(fields, f.Tick("end", "Is not sent any more", false).OverBoth())
		}
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := m
		next.RowID = e.rowID()
		if m.ID != 0 && e.f.Ticked("end") {
			err := s.CrewBook.EndMember(r.Context(), r.Scope, r.act("take a person out of the crews", ""), r.PlantID(), m.ID, next.RowID)
			return r.At("crew"), list.Names[m.PersonID] + " is not sent any more.", err
		}
		e.offered("person", "choose a person from the list")
		e.offered("home", "choose the home from the list")
		e.must("person", "the person")
		next.PersonID, next.HomePlantID, next.CalloutCost = e.id("person"), e.id("home"), e.notNegative("callout", "the cost")
		next.WorkingWeek = e.week("week")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveMember(r.Context(), r.Scope, r.act(pick(m.ID == 0, "add a person to the crews", "change how a person can be sent"), ""), r.PlantID(), &next)
		return r.At("crew"), list.Names[next.PersonID] + " can be sent: " + weekWords(next.WorkingWeek) + ".", err
	})
}

// notNegative reads a number from 0 on.
func (e *entry) notNegative(name, what string) float64 {
	v := e.number(name)
	if v < 0 {
		e.bad.Add(name, what+" cannot be below 0")
	}
	return v
}

// weekTyped writes a working week as its field takes it.
func weekTyped(week []assets.Shift) string {
	words := weekWords(week)
	if len(week) == 0 {
		return ""
	}
	return strings.ReplaceAll(words, " to ", "-")
}

// week reads a working week: "Mon-Fri 06:00-14:00; Sat 06:00-12:00".
func (e *entry) week(name string) []assets.Shift {
	week, wrong := readWeek(e.text(name))
	if wrong != "" {
		e.bad.Add(name, fmt.Sprintf("%q is no part of a week; write it as Mon-Fri 06:00-14:00; Sat 06:00-12:00", wrong))
	}
	return week
}

// readWeek reads a working week; wrong is the part that cannot be read.
func readWeek(text string) (week []assets.Shift, wrong string) {
	for _, part := range strings.FieldsFunc(text, func(c rune) bool { return c == ';' }) {
		words := strings.Fields(strings.ReplaceAll(strings.ReplaceAll(part, ", ", ","), " - ", "-"))
		if len(words) == 0 {
			continue
		}
		if len(words) != 2 {
			return nil, strings.TrimSpace(part)
		}
		start, end, ok := strings.Cut(words[1], "-")
		_, err1 := time.Parse("15:04", start)
		_, err2 := time.Parse("15:04", end)
		days, known := readWeekdays(words[0])
		if !ok || err1 != nil || err2 != nil && end != "24:00" || !known {
			return nil, strings.TrimSpace(part)
		}
		for _, d := range days {
			week = append(week, assets.Shift{Weekday: (d + 1) % 7, Start: start, End: end})
		}
	}
	return week, ""
}

// readWeekdays reads Mon, Mon-Fri, Mon,Wed as days from Monday 0.
func readWeekdays(text string) (days []int, ok bool) {
	number := func(name string) int {
		return slices.IndexFunc(weekdayNames, func(d string) bool { return len(name) >= 3 && strings.EqualFold(d, name[:3]) })
	}
	for _, part := range strings.Split(text, ",") {
		first, last, stretch := strings.Cut(part, "-")
		a, b := number(first), number(last)
		if !stretch {
			b = a
		}
		if a < 0 || b < 0 {
			return nil, false
		}
		for d := a; ; d = (d + 1) % 7 {
			days = append(days, d)
			if d == b {
				break
			}
		}
	}
	return days, len(days) > 0
}
