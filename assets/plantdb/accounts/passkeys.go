package accounts

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Passkeys returns a person's passkeys in force, by age.
func (d *Door) Passkeys(ctx context.Context, personID int64) ([]assets.Passkey, error) {
	return plantdb.Rows[assets.Passkey](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID).Order("made_at, id"))
}

// PasskeyUses returns how often passkeys were used, by their number.
func (d *Door) PasskeyUses(ctx context.Context, personID int64) (map[int64]assets.PasskeyUse, error) {
	rows, err := plantdb.Rows[assets.PasskeyUse](d.DB.SQL(ctx).Where("id IN (SELECT p.id FROM passkeys p WHERE p.person_id = ? AND p.known_to IS NULL)", personID))
	uses := map[int64]assets.PasskeyUse{}
	for _, u := range rows {
		uses[u.ID] = u
	}
	return uses, err
}

// AddPasskey keeps a passkey of a person.
func (d *Door) AddPasskey(ctx context.Context, p *assets.Passkey, signCount int64) error {
	return d.change(ctx, p.PersonID, "add a passkey", func(c *plantdb.Change, ch *plantdb.Chain) (err error) {
		p.ID = c.Scattered()
		p.MadeAt, p.KnownFrom, p.KnownTo = c.Now(), ch.Position, nil
		if err := c.Tx().Create(p).Error; err != nil {
			return err
		}
		c.Wrote(ch, "passkeys", p.ID)
		c.Note(ch, plantdb.Written{Table: "passkeys", ID: p.ID, After: map[string]any{"person_id": p.PersonID}})
		return c.Tx().Create(&assets.PasskeyUse{ID: p.ID, SignCount: signCount}).Error
	})
}

// UsePasskey keeps that a passkey has signed.
func (d *Door) UsePasskey(ctx context.Context, use assets.PasskeyUse) error {
	return doing("keep the use of a passkey", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		return tx.SQL(ctx).Exec("UPDATE passkey_uses SET sign_count = ?, used_at = ? WHERE id = ?", use.SignCount, use.UsedAt, use.ID).Error
	}))
}

// RemovePasskey takes a passkey from a person. assets.ErrNotFound when it is none of theirs.
func (d *Door) RemovePasskey(ctx context.Context, by, personID, id int64) error {
	return d.change(ctx, by, "remove a passkey", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if _, err := one[assets.Passkey](c.Tx().Where("id = ? AND person_id = ? AND known_to IS NULL", id, personID)); err != nil {
			return err
		}
		return endRow(c, ch, "passkeys", id, map[string]any{"person_id": personID})
	})
}
