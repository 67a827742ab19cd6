package web

import (
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// crewCataloguePage answers: which tickets are there, how long are the ways, and what does each kind of work take?
type crewCataloguePage struct {
	Page
	Tickets   []catalogueTicket
	Ways      []wayLine
	Unknown   string // places between which no way is given
	Templates []templateLine
}

type catalogueTicket struct{ Name, Lets, Holds, Change string }

type wayLine struct{ From, To, Minutes, Change string }

type templateLine struct{ Work, For, Time, Crew, Kit, Isolation, Class, Change string }

func (s *Site) crewCatalogue(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	p := &crewCataloguePage{}
	p.Sheet, p.Say = "Tickets, ways, work", Capital(Count(len(list.Qualifications), "ticket", "tickets"))+", "+Count(len(list.Travel), "way", "ways")+" and what "+Count(len(list.Templates), "kind of work takes", "kinds of work take")
	p.Sub = "What the plan counts with. Tickets and ways are the company's; what work takes is the company's or a customer's own."
	r.Offer(&p.Page, "Add a ticket to the catalogue", "crew/catalogue/tickets/new", false)
	r.Offer(&p.Page, "Add a way", "crew/catalogue/ways/new", false)
	r.Offer(&p.Page, "Add what work takes", "crew/catalogue/work/new", false)
	for _, q := range list.Qualifications {
		l := catalogueTicket{Name: q.Name, Lets: pick(len(q.OrderKinds) == 0, "asked for by name only", strings.Join(q.OrderKinds, ", ")), Holds: "until further notice"}
		if q.ValidMonths > 0 {
			l.Holds = Figure(q.ValidMonths, "month", "months")
		}
		l.Change, _ = r.Link("crew/catalogue/tickets/:qualification", q.ID)
		p.Tickets = append(p.Tickets, l)
	}
	for _, t := range list.Travel {
		l := wayLine{From: list.place(t.FromPlantID), To: list.place(t.ToPlantID), Minutes: With(fmt.Sprint(t.Minutes), "min")}
		l.Change, _ = r.Link("crew/catalogue/ways/:way", t.ID)
		p.Ways = append(p.Ways, l)
	}
	if !list.reached(r.PlantID()) {
		p.Unknown = "No way to " + r.Plant.Plant.Name + " is given: a plan sends nobody there from elsewhere."
	}
	for _, t := range list.Templates {
		p.Templates = append(p.Templates, r.templateLine(list, t))
	}
	return r.Show("crewcatalogue", p)
}

// place names an end of a way.
func (l *CrewList) place(id int64) string {
	if id == 0 {
		return "the depot"
	}
	return l.Plants[id]
}

// reached tells whether any way ends or begins at a plant.
func (l *CrewList) reached(plant int64) bool {
	return slices.ContainsFunc(l.Travel, func(t assets.TravelTime) bool { return t.FromPlantID == plant || t.ToPlantID == plant })
}

func (r *Request) templateLine(list *CrewList, t assets.WorkTemplate) templateLine {
	l := templateLine{Work: t.OrderKind, For: "any splice", Time: Duration(float64(t.DurationMin) / 60), Isolation: pick(t.Isolation, "yes", "no"), Class: string(t.Class) + pick(t.Source == "", "", ", "+t.Source)}
	switch {
	case t.Form != "" && t.Bond != "":
		l.For = formWords(t.Form) + ", " + bondWords(t.Bond)
	case t.Form != "":
		l.For = formWords(t.Form)
	case t.Bond == assets.BondNone:
		l.For = "no bond: mechanical"
	case t.Bond != "":
		l.For = bondWords(t.Bond)
	}
	var crew []string
	for _, n := range t.Crew {
		crew = append(crew, fmt.Sprintf("%d %s", n.Number, list.ticketName(n.QualificationID)))
	}
	l.Crew = strings.Join(crew, ", ")
	var kit []string
	for _, k := range t.Kit {
		kit = append(kit, k.Class+pick(k.AsBelt, " as wide as the belt", "")+pick(k.MinTemperatureC > 0, " that reaches "+r.F.Heat(k.MinTemperatureC), ""))
	}
	l.Kit = strings.Join(kit, ", ")
	l.Change, _ = r.Link("crew/catalogue/work/:template", t.ID)
	if t.CustomerID == 0 && !r.May(people.KeepCrew) {
		l.Change = ""
	}
	return l
}

// newQualification adds a ticket to the catalogue.
func (s *Site) newQualification(r *Request) error {
	return s.qualificationForm(r, assets.Qualification{})
}

// editQualification changes a ticket of the catalogue.
func (s *Site) editQualification(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	q, err := asked(r, "qualification", list.Qualifications)
	if err != nil {
		return err
	}
	return s.qualificationForm(r, q)
}

func (s *Site) qualificationForm(r *Request, q assets.Qualification) error {
	leave := r.At("crew", "catalogue")
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(q.ID == 0, "Add the ticket", "Keep the change"), Leave: leave}
		p.Sheet, p.Say = "Ticket", pick(q.ID == 0, "Say what the ticket is called and what its holder may do", "Change the ticket "+q.Name)
		p.Says = []string{"Work whose kind is ticked asks for one of the tickets ticked for it, unless a work template names others. Work that no ticket is ticked for asks for none."}
		f.version(q.Version)
		var kinds, bonds []Option
		for _, k := range workorder.Kinds {
			kinds = append(kinds, Option{Value: string(k), Label: string(k), Chosen: slices.Contains(q.OrderKinds, string(k))})
		}
		for _, b := range assets.Bonds {
			bonds = append(bonds, Option{Value: string(b), Label: bondWords(b), Chosen: slices.ContainsFunc(q.SpliceKinds, func(k assets.KindPair) bool { return k.Bond == b })})
		}
		p.section("", f.Text("name", "Name", q.Name).Must(), f.Number("months", "A fresh one holds", plainWhole(q.ValidMonths), "months").Hinted("Empty: until further notice"),
			f.Ticks("kinds", "Lets one work at", kinds).OverBoth(), f.Ticks("bonds", "Only at splices", bonds).Hinted("None ticked: at all").OverBoth(), f.Text("remark", "Remark", q.Remark).OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := q
		next.RowID = e.rowID()
		e.offered("kinds", "choose kinds of order from the list")
		e.offered("bonds", "choose from the list")
		next.Name, next.ValidMonths, next.Remark = e.must("name", "the ticket's name"), e.whole("months", 0, 600), e.text("remark")
		next.OrderKinds, next.SpliceKinds = slices.Clone(e.f.Values("kinds")), nil
		for _, b := range e.f.Values("bonds") {
			next.SpliceKinds = append(next.SpliceKinds, assets.KindPair{Bond: assets.Bond(b)})
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveQualification(r.Context(), r.act(pick(q.ID == 0, "add a ticket to the catalogue", "change a ticket of the catalogue"), ""), &next)
		return leave, "Ticket " + next.Name + " kept.", err
	})
}

// newWay adds a way between two places.
func (s *Site) newWay(r *Request) error {
	return s.wayForm(r, assets.TravelTime{FromPlantID: r.PlantID()})
}

// editWay changes a way, or lets it be not known any more.
func (s *Site) editWay(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	t, err := asked(r, "way", list.Travel)
	if err != nil {
		return err
	}
	return s.wayForm(r, t)
}

func (s *Site) wayForm(r *Request, t assets.TravelTime) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	leave := r.At("crew", "catalogue")
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(t.ID == 0, "Add the way", "Keep the change"), Leave: leave}
		p.Sheet, p.Say = "Way", pick(t.ID == 0, "Say how long the way is", "Change the way from "+list.place(t.FromPlantID)+" to "+list.place(t.ToPlantID))
		p.Says = []string{"There and back take the same unless the way back is given too. Where no way is given a plan sends nobody."}
		f.version(t.Version)
		fields := []*Field{f.Select("from", "From", plainInt(t.FromPlantID), list.plantOptions("the depot")), f.Select("to", "To", plainInt(t.ToPlantID), list.plantOptions("the depot")),
			f.Number("minutes", "Takes", plainWhole(t.Minutes), "min").Must()}
		if t.ID != 0 {
			fields = append(fields, f.Tick("end", "The way is not known any more", false).OverBoth())
		}
		p.section("", fields...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := t
		next.RowID = e.rowID()
		if t.ID != 0 && e.f.Ticked("end") {
			err := s.CrewBook.EndTravel(r.Context(), r.act("take a way back", ""), t.ID, next.RowID)
			return leave, "The way is not known any more.", err
		}
		e.offered("from", "choose a place from the list")
		e.offered("to", "choose a place from the list")
		e.must("minutes", "the minutes the way takes")
		next.FromPlantID, next.ToPlantID, next.Minutes = e.id("from"), e.id("to"), e.whole("minutes", 1, 10080)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveTravel(r.Context(), r.act(pick(t.ID == 0, "add a way", "change a way"), ""), &next)
		return leave, "The way takes " + With(fmt.Sprint(next.Minutes), "min") + ".", err
	})
}

// newTemplate adds what a kind of work takes.
func (s *Site) newTemplate(r *Request) error {
	return s.templateForm(r, assets.WorkTemplate{OrderKind: string(workorder.KindResplice), Class: assets.ClassP, Isolation: true})
}

// editTemplate changes what a kind of work takes.
func (s *Site) editTemplate(r *Request) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	t, err := asked(r, "template", list.Templates)
	if err != nil {
		return err
	}
	return s.templateForm(r, t)
}

// templateCrew is how many tickets a template's form asks for.
const templateCrew = 3

// kitClasses are the classes of kit that work asks for.
var kitClasses = []string{"press", "cutter", "vulcaniser", "template", "thermometer", "gauge"}

func (s *Site) templateForm(r *Request, t assets.WorkTemplate) error {
	list, err := s.crewList(r)
	if err != nil {
		return err
	}
	leave := r.At("crew", "catalogue")
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(t.ID == 0, "Add it", "Keep the change"), Leave: leave}
		p.Sheet, p.Say = "What work takes", pick(t.ID == 0, "Say what the work takes: time, people, kit", "Change what a "+t.OrderKind+" takes")
		p.Says = []string{"The most exact entry counts: a customer's own before the company's, one for the kind of splice before one for any.", "A plan places the work where its people, kit and stock are there in time."}
		f.version(t.Version)
		var kinds []Option
		for _, k := range workorder.Kinds {
			kinds = append(kinds, Option{Value: string(k), Label: string(k)})
		}
		own := []Option{{Value: "0", Label: "every customer"}, {Value: "1", Label: "the customer of " + r.Plant.Plant.Name + " only"}}
		p.section("The work", f.Select("kind", "Kind of order", t.OrderKind, kinds), f.Select("whose", "For", pick(t.CustomerID == 0, "0", "1"), own),
			f.Select("form", "Form of the splice", string(t.Form), choices("any", assets.Forms, formWords)), f.Select("bond", "Bond", string(t.Bond), choices("any", assets.Bonds, bondWords)),
			f.Number("hours", "Time in the stop", plainNumber(float64(t.DurationMin)/60), "h").Must(), f.Tick("isolation", "The conveyor is isolated for it", t.Isolation))
		var crew []*Field
		for i := range templateCrew {
			need := assets.CrewNeed{}
			if i < len(t.Crew) {
				need = t.Crew[i]
			}
			crew = append(crew, f.Select(fmt.Sprintf("ticket_%d", i+1), "Ticket", idOrNone(need.QualificationID), append([]Option{{Label: "none"}}, list.ticketOptions()[1:]...)), f.Number(fmt.Sprintf("people_%d", i+1), "People with it", plainWhole(need.Number), ""))
		}
		p.section("People", crew...)
		var kit []Option
		for _, k := range kitClasses {
			kit = append(kit, Option{Value: k, Label: k, Chosen: slices.ContainsFunc(t.Kit, func(n assets.KitNeed) bool { return n.Class == k })})
		}
		wide, heat := false, 0.0
		for _, n := range t.Kit {
			wide, heat = wide || n.AsBelt, max(heat, n.MinTemperatureC)
		}
		p.section("Kit", f.Ticks("kit", "Of each one", kit).OverBoth(), f.Tick("as_belt", "Press and vulcaniser at least as wide as the belt", wide).OverBoth(),
			f.Quantity("kit_heat_c", "Press and vulcaniser reach", unit.Heat, heat, nil).Hinted("Empty: any. Of a piece of kit its page says how hot it gets"))
		p.section("Stock it takes", f.templateStock(t, list)...)
		p.section("On what evidence", f.Select("class", "Class", string(t.Class), choices("", assets.Classes, func(c assets.Class) string { return string(c) + ": " + c.Words() })), f.Text("source", "Source", t.Source))
		if t.ID != 0 {
			p.section("", f.Tick("end", "This entry holds no more", false).OverBoth())
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := t
		next.RowID = e.rowID()
		if t.ID != 0 && e.f.Ticked("end") {
			err := s.CrewBook.EndTemplate(r.Context(), r.Scope, r.act("take back what work takes", ""), r.PlantID(), t.ID, next.RowID)
			return leave, "The entry holds no more.", err
		}
		e.template(&next, list)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.CrewBook.SaveTemplate(r.Context(), r.Scope, r.act("enter what work takes", ""), r.PlantID(), &next)
		return leave, Capital(next.OrderKind) + " kept: " + Duration(float64(next.DurationMin)/60) + ".", err
	})
}

// templateItems is how many items of stock a template's form asks for at least.
const templateItems = 4

// templateStock asks for the stock that work takes, with room for more.
func (f *Form) templateStock(t assets.WorkTemplate, list *CrewList) []*Field {
	options := []Option{{Label: "none"}}
	for _, it := range list.Items {
		if !it.Ended || slices.ContainsFunc(t.Stock, func(n assets.StockNeed) bool { return n.ItemID == it.ID }) {
			options = append(options, Option{Value: plainInt(it.ID), Label: it.Name + ", in " + string(it.Unit)})
		}
	}
	var fields []*Field
	for i := range max(templateItems, len(t.Stock)+1) {
		need := assets.StockNeed{}
		if i < len(t.Stock) {
			need = t.Stock[i]
		}
		fields = append(fields, f.Select(fmt.Sprintf("item_%d", i+1), fmt.Sprintf("Item %d", i+1), idOrNone(need.ItemID), options).OverBoth(),
			f.Number(fmt.Sprintf("per_splice_%d", i+1), "Of it, for each splice", plainNumber(need.PerSplice), ""), f.Number(fmt.Sprintf("per_m_%d", i+1), "And for each metre of belt width", plainNumber(need.PerMWidth), ""))
	}
	return fields
}

// templateStock reads the stock that work takes.
func (e *entry) templateStock(t *assets.WorkTemplate, list *CrewList) {
	rows := max(templateItems, len(t.Stock)+1)
	t.Stock = nil
	for i := range rows {
		item, each, metre := fmt.Sprintf("item_%d", i+1), fmt.Sprintf("per_splice_%d", i+1), fmt.Sprintf("per_m_%d", i+1)
		e.offered(item, "choose the item from the list")
		n := assets.StockNeed{ItemID: e.id(item), PerSplice: e.notNegative(each, "the quantity"), PerMWidth: e.notNegative(metre, "the quantity")}
		takes := n.PerSplice > 0 || n.PerMWidth > 0
		switch at := slices.IndexFunc(list.Items, func(it assets.StockItem) bool { return it.ID == n.ItemID }); {
		case (n.ItemID == 0) == takes:
			e.bad.Add(pick(takes, item, each), "give an item and how much of it, or neither")
		case slices.ContainsFunc(t.Stock, func(o assets.StockNeed) bool { return o.ItemID == n.ItemID }):
			e.bad.Add(item, "the item stands above already; write its quantities in one row")
		case at >= 0 && t.CustomerID == 0 && list.Items[at].CustomerID != 0:
			e.bad.Add(item, "the item is on one customer's list; enter the work for that customer alone, or choose one of the company's list")
		case takes:
			t.Stock = append(t.Stock, n)
		}
	}
}

// template reads the fields of what work takes.
func (e *entry) template(t *assets.WorkTemplate, list *CrewList) {
	t.OrderKind = string(oneOf(e, "kind", "choose the kind of order", workorder.Kinds...))
	t.CustomerID = 0
	if e.text("whose") == "1" {
		t.CustomerID = list.Customer
	}
	t.Form = oneOf(e, "form", "choose a form from the list", append([]assets.Form{""}, assets.Forms...)...)
	t.Bond = oneOf(e, "bond", "choose a bond from the list", append([]assets.Bond{""}, assets.Bonds...)...)
	e.must("hours", "the time the work takes in the stop, hours")
	t.DurationMin, t.Isolation = int(e.notNegative("hours", "the time")*60+0.5), e.f.Ticked("isolation")
	t.Crew = nil
	for i := range templateCrew {
		ticket, number := fmt.Sprintf("ticket_%d", i+1), fmt.Sprintf("people_%d", i+1)
		e.offered(ticket, "choose the ticket from the list")
		id, n := e.id(ticket), e.whole(number, 0, 50)
		if (id == 0) != (n == 0) {
			e.bad.Add(number, "give a ticket and how many people with it, or neither")
		}
		if id != 0 && n > 0 {
			t.Crew = append(t.Crew, assets.CrewNeed{QualificationID: id, Number: n})
		}
	}
	e.offered("kit", "choose kit from the list")
	t.Kit = nil
	heat := e.quantity("kit_heat_c", unit.Heat)
	if heat < 0 || heat > press.HottestC {
		e.bad.Add("kit_heat_c", "no recipe asks for more than "+e.r.F.Heat(press.HottestC)+"; correct the figure, or leave it empty")
	}
	for _, k := range e.f.Values("kit") {
		n := assets.KitNeed{Class: k}
		if k == "press" || k == "vulcaniser" {
			n.AsBelt, n.MinTemperatureC = e.f.Ticked("as_belt"), heat
		}
		t.Kit = append(t.Kit, n)
	}
	e.templateStock(t, list)
	t.Class = oneOf(e, "class", "choose the class of evidence", assets.Classes...)
	t.Source = e.text("source")
}
