package web

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// These forms answer: where is the plant, in what units does it think, whom do I call, what was agreed?

// zones are offered by the plant form; any other IANA name may be typed.
const zoneHint = "As the time zone database names it, e.g. Europe/Oslo or America/Chicago"

func (p *formPage) plantFields(plant assets.Plant) {
	f := p.Form
	p.section("Name and place",
		f.Text("name", "Name", plant.Name).Must(),
		f.Text("zone", "Time zone", plant.Zone).Must().Hinted(zoneHint),
		f.Select("unit_system", "Units", string(plant.UnitSystem), []Option{{Value: string(assets.UnitsSI), Label: "SI: m, mm, N/mm"}, {Value: string(assets.UnitsUS), Label: "US customary: ft, in, lbf/in"}}),
		f.Text("currency", "Currency", plant.Currency).Must().Hinted("Three letters, e.g. EUR"))
	p.section("At its gate",
		f.Text("access_hours", "Access hours", plant.AccessHours),
		f.Text("visitor_needs", "What a visitor needs to get in", plant.VisitorNeeds),
		f.Area("site_rules", "Site rules", plant.SiteRules).Hinted("Shown with every job").OverBoth(),
		f.Area("remark", "Remark", plant.Remark).OverBoth())
	p.section("Its history",
		f.Date("history_from", "Failures are on record since", string(plant.History.From)).Hinted("Splices made before count in life figures from that day on. Empty: the month of the first ending in the register is taken"),
		f.Text("history_why", "How that is known", plant.History.Why).Hinted("E.g. the log book begins then"))
}

// plant reads the fields of a plant.
func (e *entry) plant(p *assets.Plant) {
	p.Name, p.Zone, p.Currency = e.must("name", "the plant's name"), e.must("zone", "a time zone"), e.must("currency", "a currency")
	p.NameKey = assets.NameKey(p.Name)
	if _, err := time.LoadLocation(p.Zone); p.Zone != "" && (err != nil || p.Zone == "Local") {
		e.bad.Add("zone", "there is no time zone "+p.Zone+"; write it as the time zone database does, e.g. Europe/Oslo")
	}
	if len(p.Currency) != 3 {
		e.bad.Add("currency", "write the currency with three letters, e.g. EUR")
	}
	p.UnitSystem = oneOf(e, "unit_system", "choose SI or US customary", assets.UnitsSI, assets.UnitsUS)
	p.AccessHours, p.VisitorNeeds, p.SiteRules, p.Remark = e.text("access_hours"), e.text("visitor_needs"), e.text("site_rules"), e.text("remark")
	p.History = assets.History{From: assets.Day(e.text("history_from")), Why: e.text("history_why")}
}

// plantSettings changes what holds at a plant; saving confirms what was taken from defaults.
func (s *Site) plantSettings(r *Request) error {
	plant := r.Plant.Plant
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("about")}
		p.Sheet, p.Say = "Plant", "Change what holds at "+plant.Name
		if plant.SettingsAsked {
			p.Say = "Confirm zone, units and currency of " + plant.Name
		}
		p.Says = []string{"The time zone decides on which day work falls due; units change what is shown and typed, not what is kept."}
		f.version(plant.Version)
		p.plantFields(plant)
		p.reason(false, "Kept in the records")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := plant
		next.RowID, next.SettingsAsked = e.rowID(), false
		e.plant(&next)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Owners.AlterPlant(r.Context(), r.Scope, r.act("change plant "+next.Name, e.text("reason")), &next, assets.InstantOf(r.Now))
		return r.At("about"), next.Name + " changed.", err
	})
}

// newPlant adds a plant of a customer who is there or new.
func (s *Site) newPlant(r *Request) error {
	customers, err := s.Owners.Customers(r.Context(), r.Scope)
	if err != nil {
		return err
	}
	customers = r.mayAddTo(customers)
	var id int64
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Add the plant", Leave: "/plants"}
		p.Sheet, p.Say = "New plant", "Add a plant; its conveyors come next"
		p.section("Whose it is", r.newOwner(p, f, customers).Must().OverBoth())
		p.plantFields(assets.Plant{UnitSystem: assets.UnitsSI})
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		plant, customer := assets.Plant{}, e.must("customer", "the customer's name")
		e.plant(&plant)
		e.mayOwn(customers, customer)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Owners.AddPlant(r.Context(), r.Scope, r.act("add plant "+plant.Name, ""), &plant, customer)
		id = plant.ID
		return at(id), plant.Name + " added.", err
	})
}

// nowhere is the number of no plant and no customer: what may be done there may be done by a grant for more.
const nowhere = -1

// mayAddTo keeps the customers for all of whose plants whoever asks may change the register: a plant that is added
// becomes one of them.
func (r *Request) mayAddTo(customers []assets.Customer) []assets.Customer {
	return slices.DeleteFunc(customers, func(c assets.Customer) bool { return !r.Who.May(people.EditRegister, c.ID, nowhere) })
}

// mayAddAny tells whether whoever asks may add a plant of a customer who is new.
func (r *Request) mayAddAny() bool { return r.Who.May(people.EditRegister, nowhere, nowhere) }

// newOwner is the field of whose a new plant is: any name for who works at all plants, else the customers of the grants.
func (r *Request) newOwner(p *formPage, f *Form, customers []assets.Customer) *Field {
	if r.mayAddAny() {
		p.FactsOf = "Customers so far"
		for _, c := range customers {
			p.Facts = append(p.Facts, fact{Term: c.Name, Says: c.Remark})
		}
		return f.Text("customer", "Customer", "").Hinted("A name that is not known yet makes a new customer")
	}
	if len(customers) == 0 {
		p.Says = []string{"You may change the plants you were granted. Adding one takes a role for all plants of its customer: ask your administrator."}
	}
	var options []Option
	for _, c := range customers {
		options = append(options, Option{Value: c.Name, Label: c.Name})
	}
	return f.Select("customer", "Customer", "", options).Hinted("Whose plants you were all granted; a new customer is added by somebody who works at every plant")
}

// mayOwn refuses a customer for whose plants whoever asks was not granted a role that adds one.
func (e *entry) mayOwn(customers []assets.Customer, name string) {
	if e.r.mayAddAny() || slices.ContainsFunc(customers, func(c assets.Customer) bool { return assets.NameKey(c.Name) == assets.NameKey(name) }) {
		return
	}
	e.bad.Add("customer", "choose a customer whose plants you were all granted")
}

// editCustomer changes the customer a plant belongs to.
func (s *Site) editCustomer(r *Request) error {
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	c := owner.Customer
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("about")}
		p.Sheet, p.Say = "Customer", "Change what is known of "+c.Name
		f.version(c.Version)
		p.section("", f.Text("name", "Name", c.Name).Must(), f.Area("remark", "Remark", c.Remark).OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := c
		next.RowID, next.Name, next.Remark = e.rowID(), e.must("name", "the customer's name"), e.text("remark")
		next.NameKey = assets.NameKey(next.Name)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Owners.AlterCustomer(r.Context(), r.Scope, r.act("change customer "+next.Name, ""), &next, assets.InstantOf(r.Now))
		return r.At("about"), next.Name + " changed.", err
	})
}

// editContact adds or changes somebody to call at a plant, or takes them off the list.
func (s *Site) editContact(r *Request) error {
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	c := assets.Contact{PlantID: r.PlantID()}
	if r.C.Param("contact") != "" {
		id, err := r.ID("contact")
		if err != nil {
			return err
		}
		var ok bool
		if c, ok = owner.contact(id); !ok {
			return assets.ErrNotFound
		}
	}
	name := owner.People[c.PersonID]
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("about")}
		p.Sheet, p.Say = "Contact", pick(c.ID == 0, "Add somebody to call", "Change how "+name+" is reached")
		f.version(c.Version)
		p.section("", f.Text("name", "Name", name).Must(), f.Text("duty", "Duty", c.Duty).Hinted("e.g. shift lead, permit office"),
			f.Text("phone", "Telephone", c.Phone), f.Text("email", "E-mail", c.Email))
		if c.ID != 0 {
			p.section("", f.Tick("gone", "No longer to be called here", false).OverBoth())
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := c
		next.RowID, next.Duty, next.Phone, next.Email = e.rowID(), e.text("duty"), e.text("phone"), e.mailAddress("email")
		name := e.must("name", "the name")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if e.f.Ticked("gone") && c.ID != 0 {
			return r.At("about"), name + " is no longer on the list.", s.Owners.EndContact(r.Context(), r.Scope, r.act("end contact "+name, ""), r.PlantID(), c.ID, next.RowID)
		}
		return r.At("about"), name + " kept.", s.Owners.SaveContact(r.Context(), r.Scope, r.act("keep contact "+name, ""), &next, name)
	})
}

// editContract adds or changes what was agreed with the customer, or ends it.
func (s *Site) editContract(r *Request) error {
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	c := assets.Contract{CustomerID: owner.Customer.ID, PlantIDs: []int64{r.PlantID()}, FromDay: r.F.Today()}
	if r.C.Param("contract") != "" {
		id, err := r.ID("contract")
		if err != nil {
			return err
		}
		var ok bool
		if c, ok = owner.contract(id); !ok {
			return assets.ErrNotFound
		}
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep it", Leave: r.At("about")}
		p.Sheet, p.Say = "Contract", pick(c.ID == 0, "Record what was agreed with "+owner.Customer.Name, "Change contract "+c.Number)
		f.version(c.Version)
		p.section("", f.Text("number", "Number", c.Number).Must(), f.Number("response_hours", "Hours from call to crew at the conveyor", plainNumber(c.ResponseHours), "h").Hinted("Empty: not agreed"),
			f.Date("from_day", "From", string(c.FromDay)).Must(), f.Date("until_day", "Until", string(c.UntilDay)).Hinted("Empty: open"),
			f.Text("inspection_rounds", "Inspection rounds", c.InspectionRounds).Hinted("In words: monthly, belts running").OverBoth(),
			f.Ticks("plants", "Plants", plantOptions(owner, c)).OverBoth(), f.Area("remark", "Remark", c.Remark).OverBoth())
		if c.ID != 0 {
			p.section("", f.Tick("gone", "Recorded in error: take it off", false).OverBoth())
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := c
		e.contract(&next, owner)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if e.f.Ticked("gone") && c.ID != 0 {
			return r.At("about"), "Contract " + c.Number + " taken off.", s.Owners.EndContract(r.Context(), r.Scope, r.act("end contract "+c.Number, ""), c.CustomerID, c.ID, next.RowID)
		}
		return r.At("about"), "Contract " + next.Number + " kept.", s.Owners.SaveContract(r.Context(), r.Scope, r.act("keep contract "+next.Number, ""), &next)
	})
}

func plantOptions(owner *Owner, c assets.Contract) []Option {
	var options []Option
	for _, p := range owner.Plants {
		o := Option{Value: plainInt(p.ID), Label: p.Name}
		for _, id := range c.PlantIDs {
			o.Chosen = o.Chosen || id == p.ID
		}
		options = append(options, o)
	}
	return options
}

// contract reads the fields of a contract; plants outside the scope of whoever edits stay in it.
func (e *entry) contract(c *assets.Contract, owner *Owner) {
	seen := map[int64]bool{}
	for _, p := range owner.Plants {
		seen[p.ID] = true
	}
	var plants []int64
	for _, id := range c.PlantIDs {
		if !seen[id] {
			plants = append(plants, id)
		}
	}
	for _, text := range e.f.Values("plants") {
		if id := numberOf(text); seen[id] {
			plants = append(plants, id)
		}
	}
	if len(plants) == 0 {
		e.bad.Add("plants", "tick at least one plant that the contract is for")
	}
	c.RowID, c.PlantIDs = e.rowID(), plants
	c.Number, c.FromDay, c.UntilDay = e.must("number", "the contract's number"), e.day("from_day"), e.day("until_day")
	e.must("from_day", "the day from which it holds")
	if c.UntilDay != "" && c.UntilDay < c.FromDay {
		e.bad.Add("until_day", "it cannot end before it begins; give a day on or after "+string(c.FromDay))
	}
	if c.ResponseHours = e.number("response_hours"); c.ResponseHours < 0 {
		e.bad.Add("response_hours", "give the hours as a number above 0, or leave it empty")
	}
	c.InspectionRounds, c.Remark = e.text("inspection_rounds"), e.text("remark")
}
