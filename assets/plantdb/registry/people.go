package registry

import (
	"context"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Names returns the names of people by number.
func Names(ctx context.Context, db *plantdb.DB, ids []int64) (map[int64]string, error) {
	names := map[int64]string{}
	ids = slices.Clone(ids)
	slices.Sort(ids)
	for some := range slices.Chunk(slices.Compact(ids), 10000) {
		people, err := list[assets.Person](db.SQL(ctx).Select("id", "name").Where("id IN ?", some))
		if err != nil {
			return nil, err
		}
		for _, p := range people {
			names[p.ID] = p.Name
		}
	}
	return names, nil
}

// Person returns one person of the table of people.
func Person(ctx context.Context, db *plantdb.DB, id int64) (assets.Person, error) {
	return one[assets.Person](db.SQL(ctx).Where("id = ?", id))
}

// People lists the people of the company and of the customers within the scope by name; signing names only
// those who hold a role.
func People(ctx context.Context, db *plantdb.DB, scope assets.Scope, signing bool) ([]assets.Person, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	tx := db.SQL(ctx).Where("("+where+" OR customer_id = 0)", args...).Order("name_key, id")
	if signing {
		tx = tx.Where("role <> ''")
	}
	return list[assets.Person](tx)
}

// GrantsOf returns the grants of a person that are in force at an instant.
func GrantsOf(ctx context.Context, db *plantdb.DB, personID int64, at assets.Instant) ([]assets.Grant, error) {
	return list[assets.Grant](db.SQL(ctx).Where("person_id = ? AND "+inForce, personID, at, at).Order("id"))
}

// inForce are the grants that nobody took back, have begun and have not ended.
const inForce = "known_to IS NULL AND (from_at IS NULL OR from_at <= ?) AND (until_at IS NULL OR until_at > ?)"

// GrantsByPerson returns the grants of everybody that are in force at an instant, by person.
func GrantsByPerson(ctx context.Context, db *plantdb.DB, at assets.Instant) (map[int64][]assets.Grant, error) {
	all, err := list[assets.Grant](db.SQL(ctx).Where(inForce, at, at).Order("id"))
	of := map[int64][]assets.Grant{}
	for _, g := range all {
		of[g.PersonID] = append(of[g.PersonID], g)
	}
	return of, err
}

// GrantsHeldAt returns the grants that a person held at an instant, as the register stood then: one that ended or was taken back since is
// among them, one given since is not.
func GrantsHeldAt(ctx context.Context, db *plantdb.DB, personID int64, at assets.Instant) ([]assets.Grant, error) {
	known, err := db.PositionAt(ctx, 0, at)
	if err != nil {
		return nil, err
	}
	held, err := list[assets.Grant](db.SQL(ctx).Where("person_id = ? AND known_from <= ? AND (known_to IS NULL OR known_to > ?) AND (from_at IS NULL OR from_at <= ?) AND (until_at IS NULL OR until_at > ?)",
		personID, known, known, at, at).Order("id"))
	return asGiven(held), err
}

// GrantsEver returns every grant that a person was ever given, also those that ended or were taken back.
func GrantsEver(ctx context.Context, db *plantdb.DB, personID int64) ([]assets.Grant, error) {
	all, err := list[assets.Grant](db.SQL(ctx).Where("person_id = ?", personID).Order("id"))
	return asGiven(all), err
}

// asGiven leaves out of grants that they were taken back later.
func asGiven(grants []assets.Grant) []assets.Grant {
	for i := range grants {
		grants[i].KnownTo = nil
	}
	return grants
}

// PersonNamed returns the number of a person, or crew, by a name as written: one of the service company's
// people, else of the customer's, to whom a new name is added. "" is nobody and gives 0.
func PersonNamed(c *plantdb.Change, customerID int64, name string) (int64, error) {
	key := assets.NameKey(name)
	if key == "" {
		return 0, nil
	}
	var ids []int64
	if err := c.Tx().Raw("SELECT id FROM people WHERE name_key = ? AND customer_id IN (0, ?) ORDER BY customer_id", key, customerID).Scan(&ids).Error; err != nil {
		return 0, err
	}
	if len(ids) > 0 {
		return ids[0], nil
	}
	p := assets.Person{CustomerID: customerID, Name: strings.TrimSpace(name)}
	err := AddPerson(c, &p)
	return p.ID, err
}

// AddPerson adds a person to the table of people. Who is of a customer stands in its journal, by number: the
// name is kept nowhere but in the table, so that it can be erased.
func AddPerson(c *plantdb.Change, p *assets.Person) error {
	p.NameKey = assets.NameKey(p.Name)
	if p.NameKey == "" {
		return assets.Invalid{"name": "give the person's name"}
	}
	n, err := count(c, "SELECT count(*) FROM people WHERE name_key = ? AND customer_id = ?", p.NameKey, p.CustomerID)
	if err != nil {
		return err
	}
	if n > 0 {
		return assets.Invalid{"name": "there is a person of this name already; add what tells them apart"}
	}
	ch, err := c.Chain(p.CustomerID)
	if err != nil {
		return err
	}
	if p.ID, err = c.NewPersonID(); err != nil {
		return err
	}
	p.KnownFrom = ch.Position
	if err := c.Tx().Create(p).Error; err != nil {
		return err
	}
	c.Wrote(ch, "people", p.ID)
	c.Note(ch, plantdb.Written{Table: "people", ID: p.ID, After: map[string]any{"customer_id": p.CustomerID, "role": p.Role}})
	return nil
}

// SetRole gives a person of the table the role they sign in with.
func SetRole(c *plantdb.Change, personID int64, role assets.Role) error {
	p, err := one[assets.Person](c.Tx().Where("id = ?", personID))
	if err != nil {
		return err
	}
	ch, err := c.Chain(p.CustomerID)
	if err != nil {
		return err
	}
	if err := c.Tx().Exec("UPDATE people SET role = ? WHERE id = ?", role, personID).Error; err != nil {
		return err
	}
	c.Wrote(ch, "people", p.ID)
	c.Note(ch, plantdb.Written{Table: "people", ID: p.ID, Before: map[string]any{"role": p.Role}, After: map[string]any{"role": role}})
	return nil
}

// GiveGrant gives a person a role for all, a customer or a plant. The act must declare the company.
func GiveGrant(c *plantdb.Change, g *assets.Grant) error {
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if g.ID, err = c.NewIDs(ch, "grants", 1); err != nil {
		return err
	}
	g.KnownFrom, g.KnownTo = ch.Position, nil
	return plantdb.Insert(c, ch, g.ID, g)
}

// TakeGrant takes a grant back. The act must declare the company.
func TakeGrant(c *plantdb.Change, id int64) error {
	g, err := one[assets.Grant](c.Tx().Where("id = ? AND known_to IS NULL", id))
	if err != nil {
		return err
	}
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if err := c.Tx().Exec("UPDATE grants SET known_to = ? WHERE id = ? AND known_to IS NULL", ch.Position, id).Error; err != nil {
		return err
	}
	c.Ended(ch, "grants", id)
	c.Note(ch, plantdb.Written{Table: "grants", ID: id, Before: map[string]any{"person_id": g.PersonID, "role": g.Role, "customer_id": g.CustomerID, "plant_id": g.PlantID}})
	return nil
}

// ErasePerson takes a person's name, and phone and mail address wherever they are a contact, out of the database,
// on their request. Their number stays, and so does everything they did. The act must declare the person's customer and the
// plants or customers they are a contact of.
func ErasePerson(c *plantdb.Change, personID int64) error {
	p, err := one[assets.Person](c.Tx().Where("id = ?", personID))
	if err != nil {
		return err
	}
	ch, err := c.Chain(p.CustomerID)
	if err != nil {
		return err
	}
	const gone = "private_salt = '', private_hash = '" + plantdb.Erased + "'"
	name := plantdb.ErasedName(personID)
	if err := c.Tx().Exec("UPDATE people SET name = ?, name_key = ?, "+gone+" WHERE id = ?", name, name, personID).Error; err != nil {
		return err
	}
	c.Wrote(ch, "people", personID)
	c.Note(ch, plantdb.Written{Table: "people", ID: personID, After: map[string]any{"private_hash": plantdb.Erased}})
	contacts, err := list[assets.Contact](c.Tx().Where("person_id = ?", personID).Order("row_id"))
	if err != nil {
		return err
	}
	for _, contact := range contacts {
		ch, err := c.PlantChain(contact.PlantID)
		if err != nil {
			return err
		}
		if err := c.Tx().Exec("UPDATE contacts SET phone = '', email = '', "+gone+" WHERE row_id = ?", contact.RowID).Error; err != nil {
			return err
		}
		c.Wrote(ch, "contacts", contact.RowID)
		c.Note(ch, plantdb.Written{Table: "contacts", ID: contact.ID, After: map[string]any{"private_hash": plantdb.Erased}})
	}
	return nil
}
