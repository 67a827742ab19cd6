package desk

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	crewplan "carryside/schedule/crew"
	"carryside/schedule/kit"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// CrewOf returns the people who can be sent to a plant: the service company's, and those of the plant's customer whose home it is.
func (d *Desk) CrewOf(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.CrewList, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	here := assets.PlantScope(plantID) // a reader of many customers sees at this plant what belongs to it
	l := &web.CrewList{Customer: plant.CustomerID, Plants: map[int64]string{}}
	if l.Members, err = crew.Members(ctx, d.db, here); err != nil {
		return nil, err
	}
	if l.Tickets, err = crew.Tickets(ctx, d.db, here); err != nil {
		return nil, err
	}
	if l.Absences, err = crew.Absences(ctx, d.db, here, assets.DayOf(now.In(plant.Location()))); err != nil {
		return nil, err
	}
	if l.Qualifications, err = crew.Qualifications(ctx, d.db, plantdb.AsOf{}); err != nil {
		return nil, err
	}
	if l.Templates, err = crew.Templates(ctx, d.db, here); err != nil {
		return nil, err
	}
	if l.Travel, err = crew.Travel(ctx, d.db, scope); err != nil {
		return nil, err
	}
	if l.Items, err = stores.Items(ctx, d.db, here, plantdb.AsOf{}); err != nil {
		return nil, err
	}
	l.Travel = slices.DeleteFunc(l.Travel, func(t assets.TravelTime) bool { return t.FromPlantID != plantID && t.ToPlantID != plantID })
	l.Members = slices.DeleteFunc(l.Members, func(m assets.CrewMember) bool { return m.CustomerID != 0 && m.HomePlantID != plantID })
	if err := d.crewNames(ctx, scope, plant, l, now); err != nil {
		return nil, err
	}
	l.Tickets = slices.DeleteFunc(l.Tickets, func(t assets.PersonQualification) bool { return l.Names[t.PersonID] == "" })
	l.Absences = slices.DeleteFunc(l.Absences, func(a assets.Absence) bool { return l.Names[a.PersonID] == "" })
	return l, nil
}

// crewNames adds the names of people and plants, and when members are placed elsewhere.
func (d *Desk) crewNames(ctx context.Context, scope assets.Scope, plant assets.Plant, l *web.CrewList, now time.Time) error {
	people, err := d.Crew(ctx, scope, plant.ID)
	if err != nil {
		return err
	}
	var ids []int64
	for _, p := range people {
		ids = append(ids, p.ID)
	}
	for _, m := range l.Members {
		ids = append(ids, m.PersonID)
	}
	if l.Names, err = registry.Names(ctx, d.db, ids); err != nil {
		return err
	}
	plants, err := registry.Plants(ctx, d.db, scope)
	if err != nil {
		return err
	}
	for _, p := range plants {
		l.Plants[p.ID] = p.Name
	}
	busy, err := crew.BusyBetween(ctx, d.db, ids, assets.InstantOf(now), assets.InstantOf(now.AddDate(1, 1, 0)))
	for _, b := range busy {
		if b.PlantID != plant.ID {
			l.Elsewhere = append(l.Elsewhere, web.BusyElsewhere{PersonID: b.PersonID, Start: b.Start, End: b.End})
		}
	}
	slices.SortFunc(l.Members, func(a, b assets.CrewMember) int {
		return slices.Compare([]string{l.Names[a.PersonID]}, []string{l.Names[b.PersonID]})
	})
	return err
}

// keepCrew changes rows about people, in the chains of the company and of the plant's customer.
func (d *Desk) keepCrew(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, fn func(*plantdb.Change) error) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	both := act(a, plantID)
	both.Company = true
	return d.db.Change(ctx, both, fn)
}

// mayBeSent refuses a person who is neither the company's nor of the customer of the plant.
func (d *Desk) mayBeSent(ctx context.Context, plantID, personID int64) error {
	p, err := registry.Person(ctx, d.db, personID)
	if err != nil {
		return fmt.Errorf("person %d: %w", personID, err)
	}
	customer, err := d.db.CustomerOf(ctx, plantID)
	if err == nil && p.CustomerID != 0 && p.CustomerID != customer {
		err = fmt.Errorf("person %d: %w", personID, assets.ErrNotFound)
	}
	return err
}

// SaveTicket adds a ticket somebody holds, or changes it.
func (d *Desk) SaveTicket(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, t *assets.PersonQualification) error {
	if err := d.mayBeSent(ctx, plantID, t.PersonID); err != nil {
		return err
	}
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.SaveTicket(c, t) })
}

// EndTicket takes a ticket back.
func (d *Desk) EndTicket(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.EndTicket(c, id, rowID) })
}

// SaveMember adds somebody who can be sent, or changes how.
func (d *Desk) SaveMember(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, m *assets.CrewMember) error {
	if err := d.mayBeSent(ctx, plantID, m.PersonID); err != nil {
		return err
	}
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.SaveMember(c, m) })
}

// EndMember takes somebody out of those who can be sent.
func (d *Desk) EndMember(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.EndMember(c, id, rowID) })
}

// SaveAbsence enters days away, or changes them.
func (d *Desk) SaveAbsence(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, b *assets.Absence) error {
	if err := d.mayBeSent(ctx, plantID, b.PersonID); err != nil {
		return err
	}
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.SaveAbsence(c, b) })
}

// EndAbsence takes days away back.
func (d *Desk) EndAbsence(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.EndAbsence(c, id, rowID) })
}

// SaveQualification adds a ticket to the catalogue, or changes it.
func (d *Desk) SaveQualification(ctx context.Context, a web.Act, q *assets.Qualification) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return crew.SaveQualification(c, q) })
}

// SaveTravel adds a way, or changes it.
func (d *Desk) SaveTravel(ctx context.Context, a web.Act, t *assets.TravelTime) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return crew.SaveTravel(c, t) })
}

// EndTravel takes a way back.
func (d *Desk) EndTravel(ctx context.Context, a web.Act, id, rowID int64) error {
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return crew.EndTravel(c, id, rowID) })
}

// SaveTemplate adds what a kind of work takes, or changes it.
func (d *Desk) SaveTemplate(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, t *assets.WorkTemplate) error {
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.SaveTemplate(c, t) })
}

// EndTemplate takes an entry of what work takes back.
func (d *Desk) EndTemplate(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.keepCrew(ctx, scope, a, plantID, func(c *plantdb.Change) error { return crew.EndTemplate(c, id, rowID) })
}

// WeekOf returns the orders placed in stops of a stretch of time, over the plants of a scope.
func (d *Desk) WeekOf(ctx context.Context, scope assets.Scope, from, to time.Time) (*web.WeekFacts, error) {
	f := &web.WeekFacts{Plants: map[int64]assets.Plant{}, Kit: map[int64]web.WeekKit{}}
	var err error
	if f.Zone, err = d.ReportZone(ctx); err != nil {
		return nil, err
	}
	begin, err := assets.DayOf(from).Midnight(f.Zone)
	if err != nil {
		return nil, err
	}
	placed, err := crew.PlacedBetween(ctx, d.db, scope, assets.InstantOf(begin), assets.InstantOf(begin.Add(to.Sub(from))))
	if err != nil {
		return nil, err
	}
	var people []int64
	for _, p := range placed {
		people = append(people, p.Order.PlacedPeople...)
		f.Work = append(f.Work, web.WeekWork{Order: p.Order, Window: p.Window, Tag: p.Conveyor.Tag, WidthM: p.Belt.WidthM, Form: p.Splice.Form, Bond: p.Splice.Bond})
	}
	plants, err := registry.Plants(ctx, d.db, scope)
	if err != nil {
		return nil, err
	}
	for _, p := range plants {
		f.Plants[p.ID] = p
	}
	if f.Names, err = registry.Names(ctx, d.db, people); err != nil {
		return nil, err
	}
	return f, d.weekShared(ctx, scope, f)
}

// VisitsAhead returns the open orders that call somebody to a plant until an instant.
func (d *Desk) VisitsAhead(ctx context.Context, scope assets.Scope, now, until time.Time) ([]web.VisitNeed, error) {
	needs, err := crew.NeedsBy(ctx, d.db, scope, assets.DayOf(until), assets.InstantOf(now), assets.InstantOf(until))
	if err != nil {
		return nil, err
	}
	pieces, err := stores.Kit(ctx, d.db, scope, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	name := map[int64]string{}
	for _, k := range pieces {
		name[k.ID] = k.Name
	}
	out := make([]web.VisitNeed, len(needs))
	for i, n := range needs {
		out[i] = web.VisitNeed{OrderID: n.OrderID, PlantID: n.PlantID, Number: n.Number, SpliceID: n.SpliceID, Title: n.Title, Tag: n.Tag, Placed: n.State == workorder.Placed, Raised: n.State == workorder.Raised, LatestDay: n.LatestDay, Start: n.Start, End: n.End, People: n.People, Tools: n.Tools}
		for _, id := range n.Tools {
			out[i].ToolNames = append(out[i].ToolNames, cmp.Or(name[id], fmt.Sprintf("kit %d", id)))
		}
	}
	return out, nil
}

// DepotEnds returns the tickets of people and the calibrations of kit at home in the depot that end by a day, and what of it is at its limit, the first first.
func (d *Desk) DepotEnds(ctx context.Context, scope assets.Scope, now time.Time, until assets.Day) ([]web.DepotEnd, error) {
	all := assets.JobScope()
	members, err := crew.Members(ctx, d.db, all)
	if err != nil {
		return nil, err
	}
	tickets, err := crew.Tickets(ctx, d.db, all)
	if err != nil {
		return nil, err
	}
	roster := crewplan.Roster{Members: members, Tickets: tickets}
	if roster.Qualifications, err = crew.Qualifications(ctx, d.db, plantdb.AsOf{}); err != nil {
		return nil, err
	}
	var out []web.DepotEnd
	var ids []int64
	for _, t := range roster.Ending(assets.DayOf(now.AddDate(0, 0, -30)), until) {
		i := slices.IndexFunc(members, func(m assets.CrewMember) bool {
			return m.PersonID == t.PersonID && m.CustomerID == 0 && m.HomePlantID == 0
		})
		q := slices.IndexFunc(roster.Qualifications, func(q assets.Qualification) bool { return q.ID == t.QualificationID })
		if i >= 0 && q >= 0 {
			out, ids = append(out, web.DepotEnd{PersonID: t.PersonID, What: roster.Qualifications[q].Name, Day: t.UntilDay}), append(ids, t.PersonID)
		}
	}
	names, err := registry.Names(ctx, d.db, ids)
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i].Who = names[out[i].PersonID]
	}
	list, err := stores.Kit(ctx, d.db, all, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(k assets.Kit) bool { return k.CustomerID != 0 || k.HomePlantID != 0 || k.InUseUntilDay != "" })
	due, err := d.depotCalibrations(ctx, list, now, until)
	if err != nil {
		return nil, err
	}
	worn, err := d.depotWear(ctx, scope, list)
	out = slices.Concat(out, due, worn)
	slices.SortStableFunc(out, func(a, b web.DepotEnd) int { return cmp.Compare(a.Day, b.Day) })
	return out, err
}

func kitIDs(list []assets.Kit) []int64 {
	ids := make([]int64, len(list))
	for i, k := range list {
		ids[i] = k.ID
	}
	return ids
}

// depotWear returns which counters of kit are at their limit, since when, and the order for it where the scope reaches its plant.
func (d *Desk) depotWear(ctx context.Context, scope assets.Scope, list []assets.Kit) ([]web.DepotEnd, error) {
	counters, err := stores.Counters(ctx, d.db, plantdb.AsOf{}, kitIDs(list))
	if err != nil {
		return nil, err
	}
	reached, err := stores.ReachedAt(ctx, d.db, counters)
	if err != nil {
		return nil, err
	}
	answers, err := orders.AnswersTo(ctx, d.db, assets.JobScope(), rules.TargetCounter, slices.Collect(maps.Keys(reached)))
	if err != nil {
		return nil, err
	}
	var out []web.DepotEnd
	for _, c := range counters {
		at, is := reached[c.ID]
		i := slices.IndexFunc(list, func(k assets.Kit) bool { return k.ID == c.KitID })
		if !is || i < 0 || !c.Moves() {
			continue
		}
		end := web.DepotEnd{KitID: c.KitID, Who: list[i].Name, What: strings.TrimPrefix(c.Part+", "+string(c.Counts), ", "), Day: assets.DayOf(at.At.Time()),
			Count: fmt.Sprintf("%.0f of %.0f %s", c.Count, c.Limit*float64(c.Cycle()), c.Counts.Unit())}
		o, ordered := answered(answers[c.ID], c)
		if ordered && !o.State.Open() {
			continue // serviced
		}
		if end.Ordered = ordered; ordered && d.db.Reach(ctx, scope, o.PlantID) == nil {
			end.PlantID, end.Number = o.PlantID, o.Number
		}
		out = append(out, end)
	}
	return out, nil
}

// answered is the order for the limit that a counter reached last.
func answered(all []orders.Answered, c kit.Counter) (workorder.Order, bool) {
	i := slices.IndexFunc(all, func(a orders.Answered) bool { return a.Cycle == rules.CounterCycle(c.FittedAt, c.Cycle()) })
	if i < 0 {
		return workorder.Order{}, false
	}
	return all[i].Order, true
}

func (d *Desk) depotCalibrations(ctx context.Context, list []assets.Kit, now time.Time, until assets.Day) ([]web.DepotEnd, error) {
	all, err := stores.Calibrations(ctx, d.db, plantdb.AsOf{}, kitIDs(list))
	if err != nil {
		return nil, err
	}
	of := map[int64][]assets.Calibration{}
	for _, c := range all {
		of[c.KitID] = append(of[c.KitID], c)
	}
	var out []web.DepotEnd
	for _, k := range list {
		if due := kit.CalibrationDue(of[k.ID], assets.DayOf(now)); due.Day != "" && due.Day <= until {
			out = append(out, web.DepotEnd{KitID: k.ID, Who: k.Name, What: "calibration", Day: due.Day})
		}
	}
	return out, nil
}

// weekShared adds what crews travel and work by.
func (d *Desk) weekShared(ctx context.Context, scope assets.Scope, f *web.WeekFacts) (err error) {
	if f.Members, err = crew.Members(ctx, d.db, scope); err != nil {
		return err
	}
	if f.Ways, err = crew.Travel(ctx, d.db, scope); err != nil {
		return err
	}
	if f.Templates, err = crew.Templates(ctx, d.db, scope); err != nil {
		return err
	}
	if f.Items, err = stores.Items(ctx, d.db, scope, plantdb.AsOf{}); err != nil {
		return err
	}
	if f.Lots, err = stores.Lots(ctx, d.db, scope, plantdb.AsOf{}, false); err != nil {
		return err
	}
	pieces, err := stores.Kit(ctx, d.db, scope, plantdb.AsOf{})
	for _, k := range pieces {
		f.Kit[k.ID] = web.WeekKit{Name: k.Name, Class: string(k.Class), Home: k.HomePlantID}
	}
	return err
}
