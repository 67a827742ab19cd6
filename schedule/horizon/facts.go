package horizon

import (
	"cmp"
	"math"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/due"
	"carryside/schedule/stock"
	"carryside/schedule/window"
	"carryside/schedule/workorder"
)

// Facts are what the registry holds of some plants and of those who can be sent to them, read at one moment.
type Facts struct {
	Now, From, Until time.Time
	Company          assets.Company
	Plants           []PlantFacts
	Names            map[int64]string // of people
	Members          []assets.CrewMember
	Hands            []int64 // people who may do a job there, asked where nobody is kept as crew
	Absences         []assets.Absence
	Catalogue        []assets.Qualification
	Tickets          []assets.PersonQualification
	Ways             []assets.TravelTime
	Templates        []assets.WorkTemplate
	Kit              []assets.Kit
	Aways            []assets.KitAway
	Calibrations     []assets.Calibration
	Items            []assets.StockItem
	Lots             []stock.Lot
	Supply           []assets.SupplyOrder
	// Elsewhere is what keeps people and kit busy at plants that are not of the sheet. Whose work it is is not told.
	Elsewhere []Taken
}

// PlantFacts are the facts of one plant, with what is foreseen of its splices.
type PlantFacts struct {
	Register  *assets.Register
	Stops     []assets.StopWindow // asked ones too; work is planned in agreed ones alone
	Groups    []assets.IsolationGroup
	Orders    []workorder.Order // open ones
	Waited    []workorder.Order // that open ones wait for and that are done
	Forecasts []due.Forecast
	Standings []due.Standing
}

// Taken is somebody or something being elsewhere.
type Taken struct {
	PersonID, KitID int64
	PlantID         int64
	Span
}

// Inputs makes a sheet's inputs of the facts.
func (f *Facts) Inputs() *Inputs {
	in := &Inputs{Title: "plan of " + f.Now.UTC().Format(time.RFC3339), From: f.From, Until: f.Until}
	for i := range f.Plants {
		in.Title += ", " + f.Plants[i].Register.Plant.Name
	}
	if in.Money = f.money(); in.Money {
		in.Currency = f.Plants[0].Register.Plant.Currency
	}
	for _, w := range f.Ways {
		in.Ways = append(in.Ways, Way{From: w.FromPlantID, To: w.ToPlantID, Minutes: w.Minutes})
	}
	for i := range f.Plants {
		in.Plants = append(in.Plants, f.plant(&f.Plants[i], in.Money))
	}
	in.People = f.people(in.Money)
	in.Kit = f.kit()
	in.Stock = f.stock(in.Plants)
	return in
}

// leastTaken is the smallest quantity of each item that an order takes.
func leastTaken(plants []Plant) map[int64]int64 {
	least := map[int64]int64{}
	for i := range plants {
		for _, o := range plants[i].Orders {
			for _, n := range o.Stock {
				if had, ok := least[n.Item]; !ok || n.Quantity < had {
					least[n.Item] = n.Quantity
				}
			}
		}
	}
	return least
}

// money tells whether every order's conveyor has a cost per hour of stop, all in one currency. Else hours of stop are what
// all have in common.
func (f *Facts) money() bool {
	some := false
	for i := range f.Plants {
		reg := f.Plants[i].Register
		if reg.Plant.Currency != f.Plants[0].Register.Plant.Currency {
			return false
		}
		for _, o := range f.Plants[i].Orders {
			if c, ok := reg.Conveyor(o.ConveyorID); ok && c.StopCostPerHour <= 0 {
				return false
			}
			some = true
		}
	}
	return some
}

// perHour is what an hour counts for where costs are told in stop hours: a hundred of the sheet's units.
const perHour = 100

func (f *Facts) plant(p *PlantFacts, money bool) Plant {
	reg := p.Register
	out := Plant{ID: reg.Plant.ID, Customer: reg.Plant.CustomerID, Name: reg.Plant.Name, Zone: reg.Plant.Location()}
	group := map[int64]int64{}
	for _, g := range p.Groups {
		setup := g.SetupCost
		if !money {
			setup = float64(g.IsolateMin+g.RestartMin) / 60 * perHour
		}
		out.Groups = append(out.Groups, Group{ID: g.ID, Name: g.Name, IsolateMin: g.IsolateMin, RestartMin: g.RestartMin, SetupCost: setup})
		for _, c := range g.ConveyorIDs {
			group[c] = g.ID
		}
	}
	for _, c := range reg.Conveyors {
		if c.Status != assets.ConveyorRetired {
			out.Conveyors = append(out.Conveyors, Conveyor{ID: c.ID, LineID: c.LineID, GroupID: group[c.ID], Tag: c.Tag})
		}
	}
	for _, w := range p.Stops {
		if w.Agreed() {
			out.Stops = append(out.Stops, f.stop(w, reg))
		}
	}
	for _, o := range p.Orders {
		out.Orders = append(out.Orders, f.order(p, o, money))
	}
	return out
}

// stop is a stop as sentences call it: by its day and what stands still.
func (f *Facts) stop(w assets.StopWindow, reg *assets.Register) Stop {
	s := Stop{ID: w.ID, LineID: w.LineID, Conveyors: w.ConveyorIDs, Start: w.Start.Time(), End: w.End.Time()}
	s.Name = s.Start.In(reg.Plant.Location()).Format("2 Jan 15:04")
	if l, ok := reg.Line(w.LineID); ok {
		s.Name += ", " + l.Name
	}
	if len(f.Plants) > 1 {
		s.Name += " at " + reg.Plant.Name
	}
	s.Alias = Alias(w)
	return s
}

// Alias is the number an occurrence of a recurring stop had before it got its row; 0 where it never had another.
func Alias(w assets.StopWindow) int64 {
	if w.ID < 0 || w.Source.RecurrenceID == 0 {
		return 0
	}
	planned, err := calendar.ParseLocal(w.Source.PlannedLocal)
	if err != nil {
		return 0
	}
	return window.Number(w.Source.RecurrenceID, planned)
}

// order is an order with what its work takes: from the template of its kind, else from what the order itself says.
func (f *Facts) order(p *PlantFacts, o workorder.Order, money bool) Order {
	c, _ := p.Register.Conveyor(o.ConveyorID)
	out := Order{ID: o.ID, Number: o.Number, Kind: string(o.Kind), ConveyorID: o.ConveyorID, LatestDay: o.LatestDay, Locked: o.Held(),
		Begun: o.State == workorder.Started, DurationMin: int(math.Round(o.WorkHours * 60)), Isolation: true}
	if o.State == workorder.Raised {
		out.Lacks = "it is raised and not accepted yet"
	}
	if today := assets.DayOf(f.Now.In(p.Register.Plant.Location())); o.LatestDay != "" && o.LatestDay < today {
		out.Lacks = "its latest date has passed; put it off first, with a reason"
	}
	f.waits(&out, p, o)
	f.takes(&out, p, o)
	out.Date = f.date(p, o, c, money)
	if o.WindowID != 0 {
		out.At = standing(o)
	}
	return out
}

// waits says which order it waits for; where that is done, from when on it may begin.
func (f *Facts) waits(out *Order, p *PlantFacts, o workorder.Order) {
	after, wait := o.WaitsFor()
	if after == 0 {
		return
	}
	out.After, out.Wait = after, wait
	for _, w := range p.Waited {
		if w.ID == after && w.DoneAt != 0 {
			out.NotBefore = w.DoneAt.Time().Add(wait)
		}
	}
}

// standing is where an order was placed.
func standing(o workorder.Order) *Placement {
	at := &Placement{StopID: o.WindowID, Crew: o.PlacedCrew, Kit: o.PlacedTools}
	if len(at.Crew) == 0 {
		for _, id := range o.PlacedPeople {
			at.Crew = append(at.Crew, assets.CrewPlace{PersonID: id})
		}
	}
	if o.PlacedStart != nil {
		at.Start = o.PlacedStart.Time()
	}
	return at
}

// takes fills in crew, kit and stock.
func (f *Facts) takes(out *Order, p *PlantFacts, o workorder.Order) {
	s, _ := p.Register.Splice(o.SpliceID)
	belt := beltOf(p.Register, o)
	t, ok := f.template(p.Register.Plant.CustomerID, string(o.Kind), s.Form, s.Bond)
	if !ok || len(t.Crew) == 0 {
		out.Crew = []CrewNeed{{Number: max(1, o.Crew)}}
	}
	if !ok {
		return
	}
	if out.DurationMin <= 0 {
		out.DurationMin = t.DurationMin
	}
	out.Isolation = t.Isolation
	for _, n := range t.Crew {
		out.Crew = append(out.Crew, CrewNeed{Ticket: n.QualificationID, Number: n.Number})
	}
	for _, n := range t.Kit {
		width := n.MinWidthM
		if n.AsBelt {
			width = math.Max(width, belt.WidthM)
		}
		out.Kit = append(out.Kit, KitNeed{Class: n.Class, WidthMM: int(math.Round(width * 1000)), HeatC: int(math.Ceil(n.MinTemperatureC))})
	}
	for _, n := range t.Stock {
		if q := int64(math.Ceil((n.PerSplice+n.PerMWidth*belt.WidthM)*1000 - 1e-6)); q > 0 {
			out.Stock = append(out.Stock, StockNeed{Item: n.ItemID, Quantity: q})
		}
	}
}

func beltOf(reg *assets.Register, o workorder.Order) assets.Belt {
	if b, ok := reg.Belt(o.BeltID); ok {
		return b
	}
	if s, ok := reg.Splice(o.SpliceID); ok {
		b, _ := reg.Belt(s.BeltID)
		return b
	}
	if list := reg.BeltsOf(o.ConveyorID); len(list) > 0 {
		return list[0]
	}
	return assets.Belt{}
}

// template is what the work takes: the customer's entry before the company's, one for the splice before one for any.
func (f *Facts) template(customer int64, kind string, form assets.Form, bond assets.Bond) (assets.WorkTemplate, bool) {
	var best assets.WorkTemplate
	rank := -1
	for _, t := range f.Templates {
		if t.OrderKind != kind || t.CustomerID != 0 && t.CustomerID != customer || t.Form != "" && t.Form != form || t.Bond != "" && t.Bond != bond {
			continue
		}
		n := 0
		for _, narrower := range []bool{t.CustomerID != 0, t.Form != "", t.Bond != ""} {
			n *= 2
			if narrower {
				n++
			}
		}
		if n > rank {
			best, rank = t, n
		}
	}
	return best, rank >= 0
}

// noLifeDays is how long a replacement is taken to last where nothing is known of it: ten years (our own choice, stated).
const noLifeDays = 3650

// date is the penalty of leaving the best date of an order.
func (f *Facts) date(p *PlantFacts, o workorder.Order, c assets.Conveyor, money bool) Date {
	d := Date{Words: "the latest date of the order"}
	d.Planned, d.Unplanned = f.costs(p, o, c, money)
	d.PerDay = d.Planned / noLifeDays
	if o.LatestDay != "" {
		d.Due, _ = o.LatestDay.End(p.Register.Plant.Location())
	}
	if o.Kind != workorder.KindResplice || o.SpliceID == 0 {
		return d
	}
	if i := slices.IndexFunc(p.Standings, func(s due.Standing) bool { return s.SpliceID == o.SpliceID }); i >= 0 {
		if st := &p.Standings[i]; !st.DueAt.IsZero() {
			d.Due, d.Words = st.DueAt, st.Reason
		}
	}
	i := slices.IndexFunc(p.Forecasts, func(x due.Forecast) bool { return x.SpliceID == o.SpliceID })
	if i < 0 || len(p.Forecasts[i].Causes) == 0 {
		return d
	}
	fc := &p.Forecasts[i]
	d.Chance = func(by time.Time) float64 { any, _ := fc.Chances(by); return any }
	d.PerDay, d.Words = d.Planned/f.lifeDays(p, fc), "the chance of coming due and the life given up"
	return d
}

// lifeDays is how many days a remade splice lasts: to the best age, else to the date by which half have come due.
func (f *Facts) lifeDays(p *PlantFacts, fc *due.Forecast) float64 {
	i := slices.IndexFunc(p.Standings, func(s due.Standing) bool { return s.SpliceID == fc.SpliceID })
	if i < 0 || !p.Standings[i].Age.Known {
		return noLifeDays
	}
	age := float64(p.Standings[i].Age.Days)
	for _, at := range []time.Time{fc.Best.At, fc.Band.At50} {
		if !at.IsZero() && at.After(f.Now) {
			return math.Max(30, age+at.Sub(f.Now).Hours()/24)
		}
	}
	return math.Max(30, age)
}

// costs are what the work costs in time and after a failure, in the units of the sheet.
func (f *Facts) costs(p *PlantFacts, o workorder.Order, c assets.Conveyor, money bool) (planned, unplanned float64) {
	scale := 1.0
	if !money {
		c.StopCostPerHour, scale = 0, perHour
	}
	if s, ok := p.Register.Splice(o.SpliceID); ok {
		if kind, ok := p.Register.Kind(s.Form, s.Bond); ok {
			if v, ok := due.CostOf(kind, c, p.Register.Plant.Currency); ok {
				return v.Planned * scale, v.Unplanned * scale
			}
		}
	}
	hour := cmp.Or(c.StopCostPerHour, 1) * scale
	hours := cmp.Or(o.WorkHours, 1)
	return hours * hour, 2 * hours * hour
}
