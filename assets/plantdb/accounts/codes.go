package accounts

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// MakeCode keeps a one-time code, journalled without it. Earlier codes of the same purpose and person are void
// from then on: the newest address is the one that works.
func (d *Door) MakeCode(ctx context.Context, code *assets.SignUpCode) error {
	act := plantdb.Act{PersonID: code.MadeBy, Origin: plantdb.Screen, Action: "give a person an address for a new password", Now: d.Now(), Company: true}
	switch code.Purpose {
	case assets.CodeFirst:
		act.Origin, act.Action = plantdb.Command, "print a sign-up address"
	case assets.CodeInvitation:
		act.Action = "invite a person"
	}
	return d.run(ctx, act, func(c *plantdb.Change, ch *plantdb.Chain) error { return makeCode(c, ch, code) })
}

func makeCode(c *plantdb.Change, ch *plantdb.Chain, code *assets.SignUpCode) error {
	code.ID, code.MadeAt = randomID(), c.Now()
	if err := voidCodes(c, code.PersonID); err != nil {
		return err
	}
	if err := c.Tx().Create(code).Error; err != nil {
		return err
	}
	c.Note(ch, plantdb.Written{Table: "sign_up_codes", ID: code.ID, After: map[string]any{"purpose": code.Purpose, "person_id": code.PersonID, "ends_at": code.EndsAt}})
	return nil
}

// voidCodes takes their use from the codes that let a person in; with person 0, those for a first administrator.
func voidCodes(c *plantdb.Change, personID int64) error {
	return c.Tx().Exec("UPDATE sign_up_codes SET used_at = ? WHERE person_id = ? AND purpose IN ? AND used_at IS NULL", c.Now(), personID,
		[]assets.CodePurpose{assets.CodeFirst, assets.CodeInvitation, assets.CodeNewPassword}).Error
}

// FindCode returns a code by its hash. assets.ErrNotFound when there is none, when it was used, is void or past its
// end: whoever holds a code learns nothing else.
func (d *Door) FindCode(ctx context.Context, hash string, now assets.Instant) (assets.SignUpCode, error) {
	code, err := one[assets.SignUpCode](d.DB.SQL(ctx).Where("code_hash = ? AND used_at IS NULL AND ends_at > ?", hash, now))
	return code, doing("look up a code", err)
}

// useCode takes its use from a code: of two who come at once, one gets in.
func useCode(c *plantdb.Change, id int64) error {
	res := c.Tx().Exec("UPDATE sign_up_codes SET used_at = ? WHERE id = ? AND used_at IS NULL AND ends_at > ?", c.Now(), id, c.Now())
	if res.Error == nil && res.RowsAffected != 1 {
		return assets.ErrNotFound
	}
	return res.Error
}

// OpenTrip keeps the code of a way there and back (to a provider, to a passkey). Those past their end go.
func (d *Door) OpenTrip(ctx context.Context, code *assets.SignUpCode) error {
	now := assets.InstantOf(d.Now())
	code.ID, code.MadeAt = randomID(), now
	return doing("begin to sign in", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		trips := []assets.CodePurpose{assets.CodeSingleSign, assets.CodePasskey, assets.CodeSecond, assets.CodeNewSecond}
		if err := tx.SQL(ctx).Exec("DELETE FROM sign_up_codes WHERE ends_at < ? AND purpose IN ?", now, trips).Error; err != nil {
			return err
		}
		return tx.SQL(ctx).Create(code).Error
	}))
}

// TakeTrip returns the code of a way there and back and takes its use from it. assets.ErrNotFound when there is
// none, when it was taken before or is past its end.
func (d *Door) TakeTrip(ctx context.Context, hash string, purpose assets.CodePurpose) (code assets.SignUpCode, err error) {
	now := assets.InstantOf(d.Now())
	err = d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		if code, err = one[assets.SignUpCode](tx.SQL(ctx).Where("code_hash = ? AND purpose = ? AND used_at IS NULL AND ends_at > ?", hash, purpose, now)); err != nil {
			return err
		}
		res := tx.SQL(ctx).Exec("UPDATE sign_up_codes SET used_at = ? WHERE id = ? AND used_at IS NULL", now, code.ID)
		if res.Error == nil && res.RowsAffected != 1 {
			return assets.ErrNotFound
		}
		return res.Error
	})
	return code, doing("come back to sign in", err)
}
