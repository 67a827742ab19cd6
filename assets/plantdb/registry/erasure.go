package registry

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Erasure is what the erasure of a person touches: what its act must declare.
type Erasure struct {
	Person   assets.Person
	Plants   []int64 // of which they are or were a contact
	Contacts int64   // rows with a phone number or mail address of theirs, those that were ended too
}

// ErasureOf finds a person by their number. assets.ErrNotFound when there is none.
func ErasureOf(ctx context.Context, db *plantdb.DB, personID int64) (e Erasure, err error) {
	if e.Person, err = one[assets.Person](db.SQL(ctx).Where("id = ?", personID)); err != nil {
		return e, fmt.Errorf("person %d: %w", personID, err)
	}
	if err := db.SQL(ctx).Raw("SELECT DISTINCT plant_id FROM contacts WHERE person_id = ? ORDER BY 1", personID).Scan(&e.Plants).Error; err != nil {
		return e, err
	}
	err = db.SQL(ctx).Raw("SELECT count(*) FROM contacts WHERE person_id = ? AND (phone <> '' OR email <> '')", personID).Scan(&e.Contacts).Error
	return e, err
}

// PeopleCalled returns everybody of a name, with a role or without.
func PeopleCalled(ctx context.Context, db *plantdb.DB, name string) ([]assets.Person, error) {
	return list[assets.Person](db.SQL(ctx).Where("name_key = ?", assets.NameKey(name)).Order("id"))
}
