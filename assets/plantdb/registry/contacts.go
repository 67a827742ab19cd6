package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Contacts lists the people to reach at a plant; their names are in the table of people.
func Contacts(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.Contact, error) {
	return list[assets.Contact](ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("plant_id = ?", plantID).Order("id"))
}

// SaveContact adds a contact (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveContact(c *plantdb.Change, next *assets.Contact, from assets.Instant) error {
	bad := assets.Invalid{}
	if next.PersonID == 0 {
		bad.Add("person", "give the person's name")
	}
	if next.Phone == "" && next.Email == "" {
		bad.Add("phone", "give a telephone number or an e-mail address")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		return plantdb.Create(c, ch, next)
	}
	return save(c, ch, next, from)
}

// EndContact takes a contact out of the list from an instant on.
func EndContact(c *plantdb.Change, id, rowID int64, from assets.Instant) error {
	row, err := current[assets.Contact](c, id, rowID)
	if err != nil {
		return err
	}
	ch, err := c.PlantChain(row.PlantID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &row, from)
}
