package accounts

import (
	"context"
	"errors"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// PINOf returns the number by which a person signs on a device that several use. assets.ErrNotFound when they set none.
func (d *Door) PINOf(ctx context.Context, personID int64) (assets.PersonPIN, error) {
	return one[assets.PersonPIN](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID))
}

// SetPIN keeps a person's own number, by its hash, in the place of the one before.
func (d *Door) SetPIN(ctx context.Context, personID int64, hash string) error {
	return d.change(ctx, personID, "set the number for signing", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if err := endOwned(c, ch, "person_pins", personID); err != nil {
			return err
		}
		pin := assets.PersonPIN{ID: c.Scattered(), PersonID: personID, PINHash: hash, MadeAt: c.Now(), KnownFrom: ch.Position}
		if err := c.Tx().Create(&pin).Error; err != nil {
			return err
		}
		c.Wrote(ch, "person_pins", pin.ID)
		c.Note(ch, plantdb.Written{Table: "person_pins", ID: pin.ID, After: map[string]any{"person_id": personID}})
		return nil
	})
}

// sealKey is the name under which the installation keeps the key that numbers are sealed to on their way in.
const sealKey = "signature_seal"

// SealKey returns the installation's own key, in words; made is kept and returned where there is none yet.
func (d *Door) SealKey(ctx context.Context, made func() (string, error)) (string, error) {
	held, err := d.DB.Meta(ctx, sealKey)
	if err != nil || held != "" {
		return held, err
	}
	words, err := made()
	if err != nil {
		return "", err
	}
	if err := d.DB.KeepMeta(ctx, sealKey, words); err != nil {
		return "", errors.Join(errors.New("the key for signatures could not be kept"), err)
	}
	return d.DB.Meta(ctx, sealKey) // of two servers that make one at once, the first one's holds
}
