package samplefleet

import (
	"slices"
	"time"

	"carryside/assets"
)

// This file gives the demo its recurring, asked and refused stops, the groups isolated together, and who can be sent with which
// tickets.

// standstills adds to a plant the stops that come again, one that waits for an answer, one that was refused, and its
// isolation groups.
func (b *builder) standstills(p assets.Plant) {
	f := b.fleet
	zone := p.Location()
	from := b.today.AddDate(0, -1, 0)
	var lines []assets.Line
	for _, l := range f.Lines {
		if l.PlantID == p.ID {
			lines = append(lines, l)
		}
	}
	contact := int64(0)
	for _, c := range f.Contacts {
		if c.PlantID == p.ID {
			contact = c.ID
		}
	}
	asked := assets.StopAnswer{Word: assets.AnswerAsked}
	agreed := assets.StopAnswer{Word: assets.AnswerAgreed, ContactID: contact, At: assets.InstantOf(from)}
	first := func(weekday time.Weekday, after, hour, hours int) (start, end string) {
		d := b.today.In(zone).AddDate(0, 0, after)
		for d.Weekday() != weekday {
			d = d.AddDate(0, 0, 1)
		}
		s := time.Date(d.Year(), d.Month(), d.Day(), hour, 0, 0, 0, time.UTC)
		return s.Format("2006-01-02T15:04"), s.Add(time.Duration(hours) * time.Hour).Format("2006-01-02T15:04")
	}
	often := func(l assets.Line, name, rule string, a assets.StopAnswer, start, end string) {
		f.Recurrences = append(f.Recurrences, assets.StopRecurrence{Version: b.version("stop_recurrences", from), PlantID: p.ID, LineID: l.ID, Rule: rule,
			StartLocal: start, EndLocal: end, Keeps: assets.KeepsClock, Note: name, Answer: a})
	}
	once := func(line int64, note string, a assets.StopAnswer, conveyors []int64, start, end string) {
		at := func(text string) assets.Instant {
			t, err := time.ParseInLocation("2006-01-02T15:04", text, zone)
			if err != nil {
				panic("samplefleet: " + err.Error())
			}
			return assets.InstantOf(t)
		}
		f.Windows = append(f.Windows, assets.StopWindow{Version: b.version("stop_windows", from), PlantID: p.ID, LineID: line, ConveyorIDs: conveyors,
			Start: at(start), End: at(end), StartLocal: start, EndLocal: end, Note: note, Answer: a})
	}
	last := lines[len(lines)-1]
	start, end := first(time.Saturday, 24, 20, 10)
	often(lines[min(2, len(lines)-1)], lines[min(2, len(lines)-1)].Name+", night", "FREQ=WEEKLY;INTERVAL=4", asked, start, end)
	start, end = first(time.Sunday, 14, 6, 10)
	often(last, last.Name+", every 6 weeks", "FREQ=WEEKLY;INTERVAL=6", agreed, start, end)
	start, end = first(time.Saturday, 56, 6, 24)
	once(lines[0].ID, "Two belts could be done in one go", asked, nil, start, end)
	start, end = first(time.Sunday, 70, 6, 12)
	refused := assets.StopAnswer{Word: assets.AnswerRefused, ContactID: contact, At: assets.InstantOf(b.today.AddDate(0, 0, -4)), Why: "orders for that week are sold"}
	once(lines[1].ID, "Gallery clean-out", refused, nil, start, end)
	if c := slices.IndexFunc(f.Conveyors, func(c assets.Conveyor) bool { return c.LineID == lines[0].ID }); c >= 0 {
		start, end = first(time.Wednesday, 30, 7, 6)
		once(lines[0].ID, "Pulley lagging, the rest of the line runs", agreed, []int64{f.Conveyors[c].ID}, start, end)
	}
	b.isolated(p, from)
}

// isolated makes a group of the conveyors that share an isolation point.
func (b *builder) isolated(p assets.Plant, from time.Time) {
	f := b.fleet
	var points []string
	of := map[string][]int64{}
	for _, c := range f.Conveyors {
		if c.PlantID != p.ID || c.IsolationGroup == "" || c.ValidTo != nil || slices.Contains(of[c.IsolationGroup], c.ID) {
			continue
		}
		if of[c.IsolationGroup] == nil {
			points = append(points, c.IsolationGroup)
		}
		of[c.IsolationGroup] = append(of[c.IsolationGroup], c.ID)
	}
	for i, point := range points {
		f.IsolationGroups = append(f.IsolationGroups, assets.IsolationGroup{Version: b.version("isolation_groups", from), PlantID: p.ID, Name: point, NameKey: assets.NameKey(point),
			Point: point + ", switch " + two(i+1), IsolateMin: 20 + 5*(i%3), RestartMin: 15, SetupCost: map[string]float64{"NOK": 1800, "USD": 180, "EUR": 160}[p.Currency], ConveyorIDs: of[point]})
	}
}

// The tickets of the demo's catalogue.
const (
	hotTicket  = "hot vulcanising"
	coldTicket = "cold bonding"
	clipTicket = "mechanical fasteners"
	lockTicket = "lock-out"
)

// crews adds who can be sent, the tickets they hold, who is away, the ways between plants and what work takes.
func (b *builder) crews() {
	f := b.fleet
	from := b.today.AddDate(-1, 0, 0)
	ticket := map[string]int64{}
	for _, q := range []struct {
		name   string
		kinds  []string
		bonds  []assets.Bond
		months int
	}{
		{hotTicket, []string{"re-splice", "belt change", "insert piece"}, []assets.Bond{assets.BondHotVulcanised, assets.BondHotPressed}, 60},
		{coldTicket, []string{"re-splice", "insert piece"}, []assets.Bond{assets.BondColdBonded}, 36},
		{clipTicket, []string{"re-splice", "insert piece"}, []assets.Bond{assets.BondNone}, 60},
		{lockTicket, nil, nil, 24},
	} {
		v := b.version("qualifications", from)
		row := assets.Qualification{Version: v, Name: q.name, NameKey: assets.NameKey(q.name), OrderKinds: q.kinds, ValidMonths: q.months}
		for _, bond := range q.bonds {
			row.SpliceKinds = append(row.SpliceKinds, assets.KindPair{Bond: bond})
		}
		ticket[q.name] = v.ID
		f.Qualifications = append(f.Qualifications, row)
	}
	home := f.Plants[0].ID
	day := func(days int) assets.Day { return assets.DayOf(b.today.AddDate(0, 0, days)) }
	for _, m := range []struct {
		name  string
		home  int64
		holds map[string]int // days from today on which the ticket ends
	}{
		{technician, home, map[string]int{hotTicket: 553, coldTicket: 309, lockTicket: 217}},
		{"S. Ilveth", home, map[string]int{hotTicket: 79, coldTicket: 309, lockTicket: 217}},
		{"R. Asquenne", 0, map[string]int{hotTicket: 857, coldTicket: 115, clipTicket: 640, lockTicket: 217}},
		{"P. Quillane", 0, map[string]int{hotTicket: 432, coldTicket: 640, clipTicket: 432, lockTicket: 350}},
	} {
		who := b.people[assets.NameKey(m.name)]
		f.CrewMembers = append(f.CrewMembers, assets.CrewMember{Version: b.version("crew_members", from), PersonID: who, HomePlantID: m.home, WorkingWeek: week("06:00", "16:00", 1, 2, 3, 4, 5), CalloutCost: 2400})
		for _, name := range []string{hotTicket, coldTicket, clipTicket, lockTicket} {
			if ends, ok := m.holds[name]; ok {
				f.Tickets = append(f.Tickets, assets.PersonQualification{Version: b.version("person_qualifications", from), PersonID: who, QualificationID: ticket[name], FromDay: day(ends - 3*365), UntilDay: day(ends)})
			}
		}
	}
	f.Absences = append(f.Absences,
		assets.Absence{Version: b.version("absences", b.today.AddDate(0, 0, -10)), PersonID: b.people[assets.NameKey("P. Quillane")], FromDay: day(12), UntilDay: day(23), Why: "leave"},
		assets.Absence{Version: b.version("absences", b.today.AddDate(0, 0, -3)), PersonID: b.people[assets.NameKey("S. Ilveth")], FromDay: day(49), UntilDay: day(50), Why: "course"})
	for i, p := range f.Plants {
		f.Travel = append(f.Travel, assets.TravelTime{Version: b.version("travel_times", from), ToPlantID: p.ID, Minutes: []int{40, 900, 420}[i%3]})
	}
	for i, p := range f.Plants[1:] {
		f.Travel = append(f.Travel, assets.TravelTime{Version: b.version("travel_times", from), FromPlantID: home, ToPlantID: p.ID, Minutes: []int{880, 400}[i%2]})
	}
	for _, t := range []struct {
		kind, ticket string
		form         assets.Form
		bond         assets.Bond
		minutes, n   int
		kit          []assets.KitNeed
	}{
		{"re-splice", hotTicket, assets.FormStepped, assets.BondHotVulcanised, 480, 2, []assets.KitNeed{{Class: "press", AsBelt: true}, {Class: "cutter"}}},
		{"re-splice", hotTicket, assets.FormFinger, assets.BondHotPressed, 180, 1, []assets.KitNeed{{Class: "press", AsBelt: true}, {Class: "cutter"}}},
		{"re-splice", coldTicket, assets.FormStepped, assets.BondColdBonded, 360, 2, []assets.KitNeed{{Class: "cutter"}}},
		{"re-splice", clipTicket, assets.FormBoltedPlate, assets.BondNone, 120, 1, nil},
	} {
		f.Templates = append(f.Templates, assets.WorkTemplate{Version: b.version("work_templates", from), OrderKind: t.kind, Form: t.form, Bond: t.bond, DurationMin: t.minutes,
			Crew: []assets.CrewNeed{{QualificationID: ticket[t.ticket], Number: t.n}}, Kit: t.kit, Isolation: true, Class: assets.ClassP, Source: "own times, set by the lead"})
	}
}
