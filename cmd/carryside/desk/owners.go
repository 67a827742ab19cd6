package desk

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// Owner returns a plant's customer with its contracts and plants, and the plant's contacts.
func (d *Desk) Owner(ctx context.Context, scope assets.Scope, plantID int64) (*web.Owner, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	o := &web.Owner{}
	if o.Customer, err = registry.Customer(ctx, d.db, scope, plant.CustomerID); err != nil {
		return nil, err
	}
	plants, err := registry.Plants(ctx, d.db, scope)
	if err != nil {
		return nil, err
	}
	for _, p := range plants {
		if p.CustomerID == plant.CustomerID {
			o.Plants = append(o.Plants, p)
		}
	}
	if o.Contracts, err = registry.Contracts(ctx, d.db, scope, plant.CustomerID); err != nil {
		return nil, err
	}
	if o.Contacts, err = registry.Contacts(ctx, d.db, scope, plantID); err != nil {
		return nil, err
	}
	var ids []int64
	for _, c := range o.Contacts {
		ids = append(ids, c.PersonID)
	}
	o.People, err = registry.Names(ctx, d.db, ids)
	return o, err
}

// Customers returns the customers of a scope.
func (d *Desk) Customers(ctx context.Context, scope assets.Scope) ([]assets.Customer, error) {
	return registry.Customers(ctx, d.db, scope)
}

// ofCompany is an act on what belongs to the company, its customers among it.
func ofCompany(a web.Act) plantdb.Act {
	return plantdb.Act{PersonID: a.PersonID, Origin: plantdb.Screen, Action: a.Action, Reason: a.Reason, Now: a.Now, Company: true}
}

// AddPlant adds a plant; its customer is found by name or added.
func (d *Desk) AddPlant(ctx context.Context, scope assets.Scope, a web.Act, p *assets.Plant, customer string) error {
	act := ofCompany(a)
	known, err := registry.Customers(ctx, d.db, scope)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(known, func(c assets.Customer) bool { return c.NameKey == assets.NameKey(customer) })
	if i >= 0 {
		act.Customers = []int64{known[i].ID}
	}
	return d.db.Change(ctx, act, func(c *plantdb.Change) error {
		p.ID = 0
		if i >= 0 {
			p.CustomerID = known[i].ID
			return registry.AddPlant(c, p)
		}
		owner := assets.Customer{Name: customer}
		if err := registry.AddCustomer(c, &owner); err != nil {
			return err
		}
		p.CustomerID = owner.ID
		return registry.AddPlant(c, p)
	})
}

// AlterPlant changes or corrects a plant's settings.
func (d *Desk) AlterPlant(ctx context.Context, scope assets.Scope, a web.Act, p *assets.Plant, from assets.Instant) error {
	return d.write(ctx, scope, a, p.ID, func(c *plantdb.Change) error { return registry.AlterPlant(c, p, from) })
}

// AlterCustomer changes or corrects a customer.
func (d *Desk) AlterCustomer(ctx context.Context, scope assets.Scope, a web.Act, next *assets.Customer, from assets.Instant) error {
	if err := d.reachCustomer(ctx, scope, next.ID); err != nil {
		return err
	}
	return d.db.Change(ctx, ofCompany(a), func(c *plantdb.Change) error { return registry.AlterCustomer(c, next, from) })
}

// reachCustomer returns ErrNotFound for a customer of whom the scope reaches nothing.
func (d *Desk) reachCustomer(ctx context.Context, scope assets.Scope, id int64) error {
	_, err := registry.Customer(ctx, d.db, scope, id)
	return err
}

// SaveContact adds or changes a contact of a plant.
func (d *Desk) SaveContact(ctx context.Context, scope assets.Scope, a web.Act, contact *assets.Contact, name string) error {
	return d.write(ctx, scope, a, contact.PlantID, func(c *plantdb.Change) (err error) {
		if contact.PersonID, err = named(c, contact.PlantID, name); err != nil {
			return err
		}
		return registry.SaveContact(c, contact, c.Now())
	}, name)
}

// EndContact takes a contact off the list.
func (d *Desk) EndContact(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return registry.EndContact(c, id, rowID, c.Now()) })
}

// ofCustomer runs one change of what belongs to a customer.
func (d *Desk) ofCustomer(ctx context.Context, scope assets.Scope, a web.Act, customerID int64, fn func(*plantdb.Change) error) error {
	if err := d.reachCustomer(ctx, scope, customerID); err != nil {
		return err
	}
	act := ofCompany(a)
	act.Company, act.Customers = false, []int64{customerID}
	return d.db.Change(ctx, act, fn)
}

// SaveContract adds or changes a contract; every plant it names must be in the scope.
func (d *Desk) SaveContract(ctx context.Context, scope assets.Scope, a web.Act, contract *assets.Contract) error {
	for _, p := range contract.PlantIDs {
		if err := d.db.Reach(ctx, scope, p); err != nil {
			return fmt.Errorf("a plant of the contract: %w", err)
		}
	}
	return d.ofCustomer(ctx, scope, a, contract.CustomerID, func(c *plantdb.Change) error { return registry.SaveContract(c, contract, c.Now()) })
}

// EndContract ends a contract.
func (d *Desk) EndContract(ctx context.Context, scope assets.Scope, a web.Act, customerID, id, rowID int64) error {
	return d.ofCustomer(ctx, scope, a, customerID, func(c *plantdb.Change) error { return registry.EndContract(c, id, rowID, c.Now()) })
}
