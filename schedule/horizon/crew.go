package horizon

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/kit"
)

// people are those who can be sent: whoever is kept as crew, and where nobody is, whoever may do a job at the plant, at any
// time.
func (f *Facts) people(money bool) []Person {
	var out []Person
	for _, m := range f.Members {
		out = append(out, f.person(m, money))
	}
	if len(out) > 0 || len(f.Plants) == 0 {
		return out
	}
	for _, id := range f.Hands {
		out = append(out, f.person(assets.CrewMember{PersonID: id, HomePlantID: f.Plants[0].Register.Plant.ID}, money))
	}
	return out
}

func (f *Facts) person(m assets.CrewMember, money bool) Person {
	p := Person{ID: m.PersonID, Customer: m.CustomerID, Name: f.Names[m.PersonID], Home: m.HomePlantID, Callout: m.CalloutCost}
	if p.Name == "" {
		p.Name = fmt.Sprintf("person %d", m.PersonID)
	}
	if !money && p.Callout > 0 {
		p.Callout = perHour
	}
	zone := f.zoneOf(m.HomePlantID)
	for _, t := range f.Tickets {
		if t.PersonID == m.PersonID {
			p.Tickets = append(p.Tickets, f.ticket(t, zone))
		}
	}
	p.Tickets = joined(p.Tickets)
	p.Week = f.week(m.WorkingWeek, zone)
	p.Available = []Span{{From: f.From.Add(-48 * time.Hour), To: f.Until.Add(48 * time.Hour)}}
	for _, a := range f.Absences {
		if a.PersonID == m.PersonID {
			from, err := a.FromDay.Midnight(zone)
			to, err2 := a.UntilDay.End(zone)
			if err == nil && err2 == nil {
				p.Available = outside(p.Available, Span{from, to})
			}
		}
	}
	for _, t := range f.Elsewhere {
		if t.PersonID == m.PersonID && t.PersonID != 0 {
			p.Available = outside(p.Available, f.withWays(t))
		}
	}
	return p
}

// withWays is a stretch elsewhere with the ways there and back; where a way is not known, a day.
func (f *Facts) withWays(t Taken) Span {
	way := 0
	for i := range f.Plants {
		there := f.way(f.Plants[i].Register.Plant.ID, t.PlantID)
		way = max(way, there)
	}
	d := time.Duration(way) * time.Minute
	return Span{t.From.Add(-d), t.To.Add(d)}
}

func (f *Facts) way(a, b int64) int {
	for _, w := range f.Ways {
		if w.FromPlantID == a && w.ToPlantID == b || w.FromPlantID == b && w.ToPlantID == a {
			return w.Minutes
		}
	}
	return 24 * 60
}

// zoneOf is the zone of a home plant that is of the sheet, else the company's.
func (f *Facts) zoneOf(plantID int64) *time.Location {
	for i := range f.Plants {
		if f.Plants[i].Register.Plant.ID == plantID {
			return f.Plants[i].Register.Plant.Location()
		}
	}
	if z, err := time.LoadLocation(f.Company.Zone); err == nil {
		return z
	}
	return time.UTC
}

// ticket holds from the beginning of its first day to the end of its last one.
func (f *Facts) ticket(t assets.PersonQualification, zone *time.Location) Ticket {
	out := Ticket{ID: t.QualificationID, Name: fmt.Sprintf("ticket %d", t.QualificationID)}
	if i := slices.IndexFunc(f.Catalogue, func(q assets.Qualification) bool { return q.ID == t.QualificationID }); i >= 0 {
		out.Name = f.Catalogue[i].Name
	}
	if t.FromDay != "" {
		out.From, _ = t.FromDay.Midnight(zone)
	}
	if t.UntilDay != "" {
		out.To, _ = t.UntilDay.End(zone)
	}
	return out
}

// joined makes one of tickets of a kind that follow each other without a gap: one renewed to the day holds through the night.
func joined(list []Ticket) []Ticket {
	slices.SortStableFunc(list, func(a, b Ticket) int { return cmp.Or(cmp.Compare(a.ID, b.ID), a.From.Compare(b.From)) })
	var out []Ticket
	for _, t := range list {
		if n := len(out); n > 0 && out[n-1].ID == t.ID && (out[n-1].To.IsZero() || !t.From.After(out[n-1].To)) {
			if last := &out[n-1]; !last.To.IsZero() && (t.To.IsZero() || t.To.After(last.To)) {
				last.To = t.To
			}
			continue
		}
		out = append(out, t)
	}
	return out
}

// week lays a working week over the sheet, on the clock of its zone.
func (f *Facts) week(shifts []assets.Shift, zone *time.Location) []Span {
	if len(shifts) == 0 {
		return nil
	}
	z := calendar.ZoneOf(zone)
	var out []Span
	for d := z.Date(f.From).AddDays(-1); z.StartOfDay(d).Before(f.Until); d = d.AddDays(1) {
		for _, s := range shifts {
			if time.Weekday(s.Weekday) != d.Weekday() {
				continue
			}
			start, err := calendar.ParseLocal(d.String() + "T" + s.Start)
			end, err2 := calendar.ParseLocal(endDay(d, s).String() + "T" + clockEnd(s.End))
			if err == nil && err2 == nil {
				out = append(out, Span{z.Instant(start), z.Instant(end)})
			}
		}
	}
	slices.SortFunc(out, func(a, b Span) int { return a.From.Compare(b.From) })
	return out
}

// endDay is the day on which a shift ends: the next when its end is not after its start.
func endDay(d calendar.Date, s assets.Shift) calendar.Date {
	if s.End <= s.Start || s.End == "24:00" {
		return d.AddDays(1)
	}
	return d
}

func clockEnd(end string) string {
	if end == "24:00" {
		return "00:00"
	}
	return end
}

// outside takes one stretch out of others.
func outside(list []Span, b Span) []Span {
	var out []Span
	for _, v := range list {
		if !b.To.After(v.From) || !b.From.Before(v.To) {
			out = append(out, v)
			continue
		}
		if v.From.Before(b.From) {
			out = append(out, Span{v.From, b.From})
		}
		if b.To.Before(v.To) {
			out = append(out, Span{b.To, v.To})
		}
	}
	return out
}

// kit is what is in use and not away.
func (f *Facts) kit() []Kit {
	var out []Kit
	for _, k := range f.Kit {
		zone := f.zoneOf(k.HomePlantID)
		p := Kit{ID: k.ID, Customer: k.CustomerID, Name: k.Name, Class: string(k.Class), WidthMM: int(math.Round(k.WorkingWidthM * 1000)), HeatC: int(math.Floor(k.MaxTemperatureC)), Home: k.HomePlantID, Mobile: k.Mobile}
		span := Span{From: f.From.Add(-48 * time.Hour), To: f.Until.Add(48 * time.Hour)}
		if at, err := k.InUseFromDay.Midnight(zone); err == nil && k.InUseFromDay != "" && at.After(span.From) {
			span.From = at
		}
		if at, err := k.InUseUntilDay.End(zone); err == nil && k.InUseUntilDay != "" && at.Before(span.To) {
			span.To = at
		}
		if !span.From.Before(span.To) {
			continue
		}
		if span, p.Barred = f.calibrated(k, span, zone); span.From.Before(span.To) {
			p.Available = []Span{span}
		}
		for _, a := range f.Aways {
			if a.KitID == k.ID && !a.Cancelled {
				to := f.Until.Add(48 * time.Hour)
				if a.ToAt != 0 {
					to = a.ToAt.Time()
				}
				p.Available = outside(p.Available, Span{a.FromAt.Time(), to})
			}
		}
		for _, t := range f.Elsewhere {
			if t.KitID == k.ID && t.KitID != 0 {
				p.Available = outside(p.Available, f.withWays(t))
			}
		}
		out = append(out, p)
	}
	return out
}

// calibrated cuts kit that measures off at the end of the day its calibration is due, and says so. Kit without a calibration on record
// is left as it is: nobody has said that it is calibrated at all, and its page says that.
func (f *Facts) calibrated(k assets.Kit, span Span, zone *time.Location) (Span, string) {
	var mine []assets.Calibration
	for _, c := range f.Calibrations {
		if c.KitID == k.ID {
			mine = append(mine, c)
		}
	}
	due := kit.CalibrationDue(mine, assets.DayOf(f.Now.In(zone)))
	end, err := due.Day.End(zone)
	if due.Day == "" || err != nil || !end.Before(span.To) {
		return span, ""
	}
	span.To = end
	said := "its calibration is due on " + dayWords(due.Day) + "; calibrate it before"
	if due.Overdue {
		said = "its calibration was due on " + dayWords(due.Day) + "; calibrate it first"
	}
	return span, said
}

func dayWords(d assets.Day) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return t.Format("2 Jan 2006")
}
