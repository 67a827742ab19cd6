package accounts

import (
	"context"
	"errors"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// SecondFactorOf returns the second factor in force of a person. assets.ErrNotFound when there is none.
func (d *Door) SecondFactorOf(ctx context.Context, personID int64) (assets.SecondFactor, error) {
	return one[assets.SecondFactor](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID))
}

// RecoveryCodesLeft counts the recovery codes of a person that were not used.
func (d *Door) RecoveryCodesLeft(ctx context.Context, personID int64) (n int64, err error) {
	err = d.DB.SQL(ctx).Raw("SELECT count(*) FROM recovery_codes WHERE person_id = ? AND known_to IS NULL", personID).Scan(&n).Error
	return n, err
}

// SetSecondFactor keeps a second factor in the place of the one before, with new recovery codes by their hashes. The
// person's other sessions end; the one kept was begun with a password and has shown a code since. step is the half
// minute of that code: it is not taken again.
func (d *Door) SetSecondFactor(ctx context.Context, f *assets.SecondFactor, step int64, codeHashes []string, keep int64) error {
	return d.change(ctx, f.PersonID, "set up a second factor", func(c *plantdb.Change, ch *plantdb.Chain) (err error) {
		if err := endSeconds(c, ch, f.PersonID); err != nil {
			return err
		}
		if f.ID, err = c.NewIDs(ch, "second_factors", 1); err != nil {
			return err
		}
		f.MadeAt, f.KnownFrom, f.KnownTo = c.Now(), ch.Position, nil
		if err := c.Tx().Create(f).Error; err != nil {
			return err
		}
		c.Wrote(ch, "second_factors", f.ID)
		c.Note(ch, plantdb.Written{Table: "second_factors", ID: f.ID, After: map[string]any{"person_id": f.PersonID}})
		if err := c.Tx().Create(&assets.SecondFactorUse{ID: f.ID, LastStep: step, UsedAt: c.Now()}).Error; err != nil {
			return err
		}
		if err := addRecoveryCodes(c, ch, f.PersonID, codeHashes); err != nil {
			return err
		}
		if err := c.Tx().Exec("UPDATE sessions SET way = ? WHERE id = ? AND person_id = ? AND way = ?", assets.ByPasswordAndCode, keep, f.PersonID, assets.ByPassword).Error; err != nil {
			return err
		}
		return endSessions(c.Context(), c.DB, f.PersonID, keep, c.Now())
	})
}

// addRecoveryCodes keeps the hashes of new codes.
func addRecoveryCodes(c *plantdb.Change, ch *plantdb.Chain, personID int64, hashes []string) error {
	first, err := c.NewIDs(ch, "recovery_codes", len(hashes))
	if err != nil {
		return err
	}
	for i, hash := range hashes {
		row := assets.RecoveryCode{ID: first + int64(i), PersonID: personID, CodeHash: hash, KnownFrom: ch.Position}
		if err := c.Tx().Create(&row).Error; err != nil {
			return err
		}
		c.Wrote(ch, "recovery_codes", row.ID)
		c.Note(ch, plantdb.Written{Table: "recovery_codes", ID: row.ID, After: map[string]any{"person_id": personID}})
	}
	return nil
}

// NewRecoveryCodes puts new codes in the place of those before. assets.ErrNotFound for somebody without a second factor.
func (d *Door) NewRecoveryCodes(ctx context.Context, personID int64, hashes []string) error {
	return d.change(ctx, personID, "make new recovery codes", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if _, err := one[assets.SecondFactor](c.Tx().Where("person_id = ? AND known_to IS NULL", personID)); err != nil {
			return err
		}
		if err := endOwned(c, ch, "recovery_codes", personID); err != nil {
			return err
		}
		return addRecoveryCodes(c, ch, personID, hashes)
	})
}

// UseSecondFactor keeps the half minute whose code was taken. assets.ErrNotFound when that one, or a later one, was
// taken before: of two who show the same code, one gets in.
func (d *Door) UseSecondFactor(ctx context.Context, id, step int64) error {
	return doing("keep the use of a second factor", d.DB.InTx(ctx, func(tx *plantdb.DB) error {
		res := tx.SQL(ctx).Exec("UPDATE second_factor_uses SET last_step = ?, used_at = ? WHERE id = ? AND last_step < ?", step, assets.InstantOf(d.Now()), id, step)
		if res.Error == nil && res.RowsAffected != 1 {
			return assets.ErrNotFound
		}
		return res.Error
	}))
}

// UseRecoveryCode takes its use from a recovery code. assets.ErrNotFound when it is none of the person's, or was used.
func (d *Door) UseRecoveryCode(ctx context.Context, personID int64, hash string) error {
	return d.change(ctx, personID, "sign in by a recovery code", func(c *plantdb.Change, ch *plantdb.Chain) error {
		code, err := one[assets.RecoveryCode](c.Tx().Where("person_id = ? AND code_hash = ? AND known_to IS NULL", personID, hash))
		if err != nil {
			return err
		}
		return endRow(c, ch, "recovery_codes", code.ID, map[string]any{"person_id": personID})
	})
}

// RemoveSecondFactor takes a person's own second factor away.
func (d *Door) RemoveSecondFactor(ctx context.Context, personID int64) error {
	return d.change(ctx, personID, "remove the own second factor", func(c *plantdb.Change, ch *plantdb.Chain) error {
		return endSeconds(c, ch, personID)
	})
}

// ResetSecondFactor takes the second factor, the passkeys and every session of somebody who lost them. by is the
// keeper who made sure who it is; proof says how, and stands in the journal. assets.Invalid names the field "proof".
func (d *Door) ResetSecondFactor(ctx context.Context, keep assets.Scope, by, personID int64, proof string) error {
	if err := d.keepsAccount(ctx, keep, personID); err != nil {
		return err
	}
	if proof == "" {
		return assets.Invalid{"proof": "say how you made sure who it is, e.g. came to the office, works badge seen"}
	}
	if by == personID {
		return assets.Invalid{"": "another administrator does this for you: nobody proves their own identity to themselves"}
	}
	act := plantdb.Act{PersonID: by, Origin: plantdb.Screen, Action: "take away a lost second factor", Reason: proof, Now: d.Now(), Company: true}
	return d.run(ctx, act, func(c *plantdb.Change, ch *plantdb.Chain) error {
		if err := endSeconds(c, ch, personID); err != nil {
			return err
		}
		if err := endOwned(c, ch, "passkeys", personID); err != nil {
			return err
		}
		c.Note(ch, plantdb.Written{Table: "sessions", ID: personID, After: map[string]any{"person_id": personID, "ended": "all"}})
		return endSessions(c.Context(), c.DB, personID, 0, c.Now())
	})
}

// endSeconds ends a person's second factor with its recovery codes, where there is one.
func endSeconds(c *plantdb.Change, ch *plantdb.Chain, personID int64) error {
	return errors.Join(endOwned(c, ch, "second_factors", personID), endOwned(c, ch, "recovery_codes", personID))
}

// endOwned ends every row in force that a table of this package keeps of a person.
func endOwned(c *plantdb.Change, ch *plantdb.Chain, table string, personID int64) error {
	var ids []int64
	if err := c.Tx().Raw("SELECT id FROM "+table+" WHERE person_id = ? AND known_to IS NULL ORDER BY id", personID).Scan(&ids).Error; err != nil {
		return err
	}
	for _, id := range ids {
		if err := endRow(c, ch, table, id, map[string]any{"person_id": personID}); err != nil {
			return err
		}
	}
	return nil
}
