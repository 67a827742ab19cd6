package web

import (
	"context"

	"carryside/assets"
	"carryside/schedule/people"
)

// Owners is the owner's side of the register: customers with their contracts, plants with their contacts.
// Names of people come as typed: the change finds or adds the person at the plant's customer.
type Owners interface {
	// Owner returns a plant's customer with its contracts and plants, and the plant's contacts with their names.
	Owner(ctx context.Context, scope assets.Scope, plantID int64) (*Owner, error)
	// Customers returns the customers of a scope by name.
	Customers(ctx context.Context, scope assets.Scope) ([]assets.Customer, error)
	// AddPlant gives the plant its number; its customer is found by name or added. assets.Invalid names what is wrong.
	AddPlant(ctx context.Context, scope assets.Scope, act Act, p *assets.Plant, customer string) error
	// AlterPlant changes a plant from an instant on; from 0 corrects it. assets.ErrConflict when RowID is not the newest.
	AlterPlant(ctx context.Context, scope assets.Scope, act Act, p *assets.Plant, from assets.Instant) error
	AlterCustomer(ctx context.Context, scope assets.Scope, act Act, c *assets.Customer, from assets.Instant) error
	// SaveContact adds a contact (ID 0) or changes it; the name is the person's.
	SaveContact(ctx context.Context, scope assets.Scope, act Act, c *assets.Contact, name string) error
	EndContact(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
	// SaveContract adds a contract (ID 0) or changes it; every plant it names is the customer's.
	SaveContract(ctx context.Context, scope assets.Scope, act Act, c *assets.Contract) error
	EndContract(ctx context.Context, scope assets.Scope, act Act, customerID, id, rowID int64) error
}

// Owner is who a plant belongs to, and whom to call there.
type Owner struct {
	Customer  assets.Customer
	Plants    []assets.Plant // of the customer, within the scope
	Contacts  []assets.Contact
	Contracts []assets.Contract
	People    map[int64]string // names of the contacts
}

// contact finds a contact of the plant.
func (o *Owner) contact(id int64) (assets.Contact, bool) {
	for _, c := range o.Contacts {
		if c.ID == id {
			return c, true
		}
	}
	return assets.Contact{}, false
}

// contract finds a contract of the customer.
func (o *Owner) contract(id int64) (assets.Contract, bool) {
	for _, c := range o.Contracts {
		if c.ID == id {
			return c, true
		}
	}
	return assets.Contract{}, false
}

// plantPage answers: whose plant is this, what rules hold at its gate, whom do I call, what was agreed?
type plantPage struct {
	Page
	Facts     []Fact
	Settings  string // address of the form; "" for whom it is closed
	Rules     string
	Lines     []lineRow
	NewLine   string
	Contacts  []contactRow
	NewCon    string
	Contracts []contractRow
	NewDeal   string
	Customer  *Link
}

type lineRow struct {
	Name, Conveyors string
	To              string
}

type contactRow struct{ Name, Duty, Phone, Email, To string }

type contractRow struct{ Number, From, Until, Plants, Agreed, Response, To string }

func (s *Site) plantAbout(r *Request) error {
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	plant := r.Plant.Plant
	p := &plantPage{Facts: plantFacts(plant, owner), Rules: plant.SiteRules}
	p.Sheet, p.Say = "Plant", plantSay(r.Plant, owner)
	p.Sub = owner.Customer.Name + ", " + plant.Zone + "."
	r.Offer(&p.Page, "Change it", "settings", true)
	p.NewLine, _ = r.Link("lines/new")
	p.NewCon, _ = r.Link("contacts/new")
	p.NewDeal, _ = r.Link("contracts/new")
	if to, ok := r.Link("customer"); ok {
		p.Customer = &Link{Word: "Change the customer", To: to}
	}
	p.Lines = r.lineRows(reg)
	for _, c := range owner.Contacts {
		to, _ := r.Link("contacts/:contact", c.ID)
		p.Contacts = append(p.Contacts, contactRow{Name: owner.People[c.PersonID], Duty: c.Duty, Phone: c.Phone, Email: c.Email, To: to})
	}
	for _, c := range owner.Contracts {
		p.Contracts = append(p.Contracts, r.contractRow(c, owner))
	}
	return r.Show("plant", p)
}

func (r *Request) lineRows(reg *assets.Register) []lineRow {
	count := map[int64]int{}
	for _, c := range reg.Conveyors {
		if c.Status != assets.ConveyorRetired {
			count[c.LineID]++
		}
	}
	var rows []lineRow
	for _, l := range reg.Lines {
		to, _ := r.Link("lines/:line", l.ID)
		rows = append(rows, lineRow{Name: l.Name, Conveyors: Int(int64(count[l.ID])), To: to})
	}
	return rows
}

func (r *Request) contractRow(c assets.Contract, owner *Owner) contractRow {
	var names []string
	for _, p := range owner.Plants {
		for _, id := range c.PlantIDs {
			if id == p.ID {
				names = append(names, p.Name)
			}
		}
	}
	to, _ := r.Link("contracts/:contract", c.ID)
	row := contractRow{Number: c.Number, From: r.F.PlainDay(c.FromDay), Until: pick(c.UntilDay == "", "open", r.F.PlainDay(c.UntilDay)),
		Plants: List(names), Agreed: c.InspectionRounds, Response: "not agreed", To: to}
	if c.ResponseHours > 0 {
		row.Response = Duration(c.ResponseHours)
	}
	return row
}

func plantFacts(p assets.Plant, owner *Owner) []Fact {
	units := "SI: metres, millimetres, N/mm"
	if p.UnitSystem == assets.UnitsUS {
		units = "US customary: feet, inches, lbf/in"
	}
	facts := []Fact{{"Customer", owner.Customer.Name}, {"Time zone", p.Zone}, {"Units", units}, {"Currency", p.Currency}}
	if p.History.From != "" {
		facts = append(facts, Fact{"Failures on record since", string(p.History.From) + ": " + p.History.Why})
	}
	for _, f := range []Fact{{"Access hours", p.AccessHours}, {"What a visitor needs", p.VisitorNeeds}, {"Remark", p.Remark}, {"On the customer", owner.Customer.Remark}} {
		if f.Value != "" {
			facts = append(facts, f)
		}
	}
	return facts
}

// plantSay is the headline: what the plant has, and what of its settings is still a guess.
func plantSay(p *PlantFrame, owner *Owner) string {
	if p.Plant.SettingsAsked {
		return p.Plant.Name + ": zone, units and currency wait to be confirmed"
	}
	if len(owner.Contacts) == 0 {
		return p.Plant.Name + " has " + p.Counts() + " and nobody to call yet"
	}
	return p.Plant.Name + " has " + p.Counts() + " and " + Count(len(owner.Contacts), "person to call", "people to call")
}

// ownerRoutes are the addresses of the owner's side.
func ownerRoutes() []Route {
	var out []Route
	out = append(out, Route{Method: get, Path: "/plants/:plant/about", May: people.Read, Under: "belts", Back: "about", Do: (*Site).plantAbout})
	for _, m := range []string{get, post} {
		out = append(out, Route{Method: m, Path: "/plants/new", May: people.EditRegister, Under: "plants", Do: (*Site).newPlant})
	}
	form := func(path string, do func(*Site, *Request) error) {
		for _, m := range []string{get, post} {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: people.EditRegister, Under: "belts", Back: "about", Do: do})
		}
	}
	form("settings", (*Site).plantSettings)
	form("customer", (*Site).editCustomer)
	form("contacts/new", (*Site).editContact)
	form("contacts/:contact", (*Site).editContact)
	form("contracts/new", (*Site).editContract)
	form("contracts/:contract", (*Site).editContract)
	return out
}
