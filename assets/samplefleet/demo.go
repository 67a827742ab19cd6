package samplefleet

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
)

// The people who sign in to the demo.
const (
	planner    = "I. Vanterel"
	technician = "M. Okkerdal"
	auditor    = "T. Brannoch"
	lead       = "A. Kesterlane"
)

// Demo returns the service company with its three plants, their history ending at today.
// The same day gives the same fleet.
func Demo(today time.Time) *Fleet {
	b := newBuilder(today, 20_261_138)
	f := b.fleet
	begin := today.AddDate(-10, 0, -7)
	f.Company = assets.Company{Version: b.version("companies", begin), Name: "Kesterlane Belting Service", Zone: "Europe/Oslo", Currency: "NOK", UnitSystem: assets.UnitsSI}
	for _, p := range []struct {
		name string
		role assets.Role
	}{{planner, assets.RolePlanner}, {technician, assets.RoleTechnician}, {auditor, assets.RoleAuditor}, {lead, assets.RoleLead},
		{"S. Ilveth", assets.RoleTechnician}, {"R. Asquenne", assets.RoleTechnician}, {"P. Quillane", assets.RoleTechnician}} {
		b.grant(b.person(p.name, 0, p.role), p.role)
	}
	b.catalogues(begin)
	for _, s := range []site{skarrow(), ferrant(), dunmarrow()} {
		b.site(s)
	}
	b.rules()
	b.pressed()
	for _, p := range f.Plants {
		b.standstills(p)
	}
	b.crews()
	return f
}

// site draws one plant with its whole history.
func (b *builder) site(s site) {
	f := b.fleet
	start := weekStart(b.today.AddDate(-s.years, 0, 0))
	zone, err := time.LoadLocation(s.zone)
	if err != nil {
		panic("samplefleet: " + err.Error())
	}
	customer := assets.Customer{Version: b.version("customers", start), Name: s.customer, NameKey: assets.NameKey(s.customer)}
	f.Customers = append(f.Customers, customer)
	plant := assets.Plant{Version: b.version("plants", start), CustomerID: customer.ID, Name: s.plant, NameKey: assets.NameKey(s.plant), Zone: s.zone,
		UnitSystem: s.units, Currency: s.currency, SiteRules: s.siteRules, AccessHours: s.access, VisitorNeeds: s.needs}
	f.Plants = append(f.Plants, plant)
	f.Contracts = append(f.Contracts, assets.Contract{Version: b.version("contracts", start), CustomerID: customer.ID, Number: fmt.Sprintf("KB-%d", 110+customer.ID),
		FromDay: assets.DayOf(start), PlantIDs: []int64{plant.ID}, InspectionRounds: fmt.Sprintf("a round every %d days", s.visitEveryDays), ResponseHours: 4})
	shiftLead := b.person(map[string]string{"Europe/Oslo": "H. Drumlett", "America/Chicago": "W. Ostergrove", "Europe/Lisbon": "N. Calderis"}[s.zone], customer.ID, "")
	f.Contacts = append(f.Contacts, assets.Contact{Version: b.version("contacts", start), PlantID: plant.ID, PersonID: shiftLead, Duty: "shift lead", Phone: "ext. 114"})
	var crews []int64
	for _, c := range s.crews {
		crews = append(crews, b.person(c, 0, ""))
	}
	var runs []*run
	nth := 0
	for li, l := range s.lines {
		line := assets.Line{Version: b.version("lines", start), PlantID: plant.ID, Name: l.name, NameKey: assets.NameKey(l.name), Position: li + 1}
		f.Lines = append(f.Lines, line)
		f.Calendars = append(f.Calendars, assets.ProductionCalendar{Version: b.version("production_calendars", start), PlantID: plant.ID, LineID: line.ID, Shifts: l.shifts})
		for ci, c := range l.conveyors {
			conveyor := b.conveyor(plant, line, c, ci, start)
			r := &run{b: b, plant: plant, zone: zone, spec: c, conveyor: conveyor, specID: b.specification(c.specification), ratio: l.ratio, weekH: plannedHours(l.shifts), crews: crews}
			b.live(r, start, nth)
			runs = append(runs, r)
			nth++
		}
		b.window(plant, line, li, zone)
	}
	b.rounds(s, plant, runs, start, zone)
	b.numberOrders(plant.ID)
}

// live runs a conveyor from start to today, with its meter read every Monday and daily in the last days.
func (b *builder) live(r *run, start time.Time, nth int) {
	m := b.meterOf(r.conveyor, r.spec, start, nth)
	m.read(start, 0)
	r.fit(start, true)
	last := start
	for t := start; ; t = t.AddDate(0, 0, 7) {
		next := t.AddDate(0, 0, 7)
		if next.After(b.today) {
			break
		}
		r.week(t)
		m.read(next, r.hours)
		last = next
	}
	// The rest of the current week: a reading each evening, the last one yesterday; one meter did not answer.
	perDay := r.weekH * r.ratio / 7
	for t := last.Add(10 * time.Hour); t.Before(b.today.Add(-6 * time.Hour)); t = t.AddDate(0, 0, 1) {
		elapsed := t.Sub(last).Hours()
		r.hours += math.Min(0.98, perDay/24*b.between(0.85, 1.1)) * elapsed
		last = t
		if r.spec.tag != "R1" {
			m.read(t, r.hours)
		}
	}
	switch r.spec.tag {
	case "G1":
		b.hold(r.conveyor, b.today.Add(-30*time.Hour), round(m.lastH-m.offsetH-412, 1), "backwards",
			"the meter showed more on the last accepted reading; was the meter replaced, or is a digit wrong?")
	case "ML-07":
		b.hold(r.conveyor, b.today.Add(-20*time.Hour), round(m.lastH-m.offsetH+96, 1), "more_than_24_h_a_day",
			"this would be more than 24 running hours a day since the last accepted reading; is a digit wrong?")
	}
}

// weekStart is the Monday 07:00 UTC at or before t.
func weekStart(t time.Time) time.Time {
	t = t.UTC()
	back := (int(t.Weekday()) + 6) % 7
	m := time.Date(t.Year(), t.Month(), t.Day()-back, 7, 0, 0, 0, time.UTC)
	if m.After(t) {
		m = m.AddDate(0, 0, -7)
	}
	return m
}

// window agrees the next stops of a line: a short one within three weeks and a long one within ten.
func (b *builder) window(p assets.Plant, l assets.Line, nth int, zone *time.Location) {
	first := 8 + 3*nth
	if nth >= 4 { // the small lines at the end of a plant stand still more often
		first = 1 + nth
	}
	for _, w := range []struct{ days, hours int }{{first, 10}, {39 + 5*nth, 24}} {
		d := b.today.In(zone).AddDate(0, 0, w.days)
		start := time.Date(d.Year(), d.Month(), d.Day(), 6, 0, 0, 0, zone)
		end := start.Add(time.Duration(w.hours) * time.Hour)
		b.fleet.Windows = append(b.fleet.Windows, assets.StopWindow{Version: b.version("stop_windows", b.today.AddDate(0, -1, 0)), PlantID: p.ID, LineID: l.ID,
			Start: assets.InstantOf(start), End: assets.InstantOf(end), StartLocal: start.Format("2006-01-02T15:04"), EndLocal: end.Format("2006-01-02T15:04"),
			Note: "agreed with operations"})
	}
}
