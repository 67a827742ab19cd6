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
	p := Person{ID: m.PersonID, Name: f.Names[m.PersonID], Home: m.HomePlantID, Callout: m.CalloutCost}
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
		p := Kit{ID: k.ID, Name: k.Name, Class: string(k.Class), WidthMM: int(math.Round(k.WorkingWidthM * 1000)), HeatC: int(math.Floor(k.MaxTemperatureC)), Home: k.HomePlantID, Mobile: k.Mobile}
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

// stock is what lies at the plants of the sheet and at the depot, fit for use today, and what is on its way there. Of several plants one
// that has enough for all its own orders takes from its own shelf, and no other plant from that; the others share theirs and the depot's.
func (f *Facts) stock(plants []Plant) []Item {
	least := leastTaken(plants)
	var out []Item
	for _, it := range f.Items {
		if len(plants) == 1 {
			out = append(out, f.item(it, least[it.ID], f.near))
			continue
		}
		lacking := map[int64]bool{}
		for i := range plants {
			p := &plants[i]
			wanted := p.wants(it.ID)
			if wanted == 0 {
				continue
			}
			own := f.item(it, least[it.ID], func(id int64) bool { return id == p.ID })
			if lacking[p.ID] = own.lasting() < wanted; !lacking[p.ID] {
				own.ID, own.Name = -(it.ID<<20 | int64(i+1)), it.Name+" at "+p.Name
				p.takeFrom(it.ID, own.ID)
				out = append(out, own)
			}
		}
		out = append(out, f.item(it, least[it.ID], func(id int64) bool { return id == 0 || lacking[id] }))
	}
	return out
}

// wants is how much of an item all orders of a plant take.
func (p *Plant) wants(item int64) int64 {
	var sum int64
	for _, o := range p.Orders {
		for _, n := range o.Stock {
			if n.Item == item {
				sum += n.Quantity
			}
		}
	}
	return sum
}

// takeFrom lets the orders of a plant take from another item.
func (p *Plant) takeFrom(item, other int64) {
	for k := range p.Orders {
		for n := range p.Orders[k].Stock {
			if p.Orders[k].Stock[n].Item == item {
				p.Orders[k].Stock[n].Item = other
			}
		}
	}
}

// lasting is what of the quantity on hand does not go out of date on the sheet.
func (x *Item) lasting() int64 {
	left := x.OnHand
	for _, e := range x.Expire {
		left -= e.Quantity
	}
	return left
}

// item is what of an item lies at some places, and is on its way there. What goes in cuts, each of them in one piece, does not count where an
// end is shorter than the smallest cut that an order takes.
func (f *Facts) item(it assets.StockItem, least int64, at func(plantID int64) bool) Item {
	today := assets.DayOf(f.Now.UTC())
	p := Item{ID: it.ID, Name: it.Name, Unit: it.Unit}
	for _, l := range f.Lots {
		if l.ItemID != it.ID || !l.Fit(today) || !at(l.PlantID) || it.InCuts() && int64(l.OnHand) < least {
			continue
		}
		p.OnHand += int64(l.OnHand)
		if at, err := l.GoodUntil.End(f.zoneOf(l.PlantID)); l.GoodUntil != "" && err == nil && at.Before(f.Until) {
			p.Expire = append(p.Expire, Arrival{At: at, Quantity: int64(l.OnHand)})
		}
	}
	for _, s := range f.Supply {
		if s.ItemID != it.ID || s.Outstanding() <= 0 || s.ExpectedDay == "" || !at(s.PlantID) {
			continue
		}
		switch at, err := s.ExpectedDay.End(f.zoneOf(s.PlantID)); {
		case err != nil:
		case !at.After(f.Now): // when it comes is not known any more
			p.Late = it.Unit.Of(s.Outstanding()) + " of " + it.Name + " were to come by " + dayWords(s.ExpectedDay) + " and have not; give the supply order a new date"
		default:
			p.Arrivals = append(p.Arrivals, Arrival{At: at, Quantity: int64(s.Outstanding())})
		}
	}
	return p
}

// near tells whether stock lies at the depot or at a plant of the sheet.
func (f *Facts) near(plantID int64) bool {
	return plantID == 0 || slices.ContainsFunc(f.Plants, func(p PlantFacts) bool { return p.Register.Plant.ID == plantID })
}
