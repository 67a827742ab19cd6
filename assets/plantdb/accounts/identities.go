package accounts

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Identified returns the identity in force of a provider's subject, by its hash. assets.ErrNotFound when it is
// linked to nobody.
func (d *Door) Identified(ctx context.Context, subjectHash string) (assets.Identity, error) {
	return one[assets.Identity](d.DB.SQL(ctx).Where("subject_hash = ? AND known_to IS NULL", subjectHash))
}

// IdentitiesOf returns where a person may come from by single sign-on.
func (d *Door) IdentitiesOf(ctx context.Context, personID int64) ([]assets.Identity, error) {
	return plantdb.Rows[assets.Identity](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID).Order("id"))
}

// link says who a person is at a provider. assets.Invalid when the provider's person is linked to somebody.
func link(c *plantdb.Change, ch *plantdb.Chain, i *assets.Identity) error {
	held, err := plantdb.Rows[assets.Identity](c.Tx().Where("subject_hash = ? AND known_to IS NULL", i.SubjectHash))
	if err != nil {
		return err
	}
	if len(held) > 0 {
		return assets.Invalid{"": "the account you chose at the provider belongs to somebody here already; choose your own"}
	}
	if i.ID, err = c.NewIDs(ch, "identities", 1); err != nil {
		return err
	}
	i.KnownFrom, i.KnownTo = ch.Position, nil
	return plantdb.Insert(c, ch, i.ID, i)
}
