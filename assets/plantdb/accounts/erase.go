package accounts

import (
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// Erase takes a person's name and how they signed in out of the database, on their request. Their number stays, and
// so does everything they did. The act must declare the company, and what registry.ErasePerson asks for.
func Erase(c *plantdb.Change, personID int64) error {
	ch, err := c.Chain(0)
	if err != nil {
		return err
	}
	if err := endAccount(c, ch, personID); err != nil {
		return err
	}
	var accounts []int64
	if err := c.Tx().Raw("SELECT id FROM accounts WHERE person_id = ? ORDER BY id", personID).Scan(&accounts).Error; err != nil {
		return err
	}
	for _, id := range accounts {
		err := c.Tx().Exec("UPDATE accounts SET sign_in_name = '', sign_in_key = '', private_salt = '', private_hash = ? WHERE id = ?", plantdb.Erased, id).Error
		if err != nil {
			return err
		}
		c.Wrote(ch, "accounts", id)
		c.Note(ch, plantdb.Written{Table: "accounts", ID: id, After: map[string]any{"private_hash": plantdb.Erased}})
	}
	if err := erasePasskeys(c, ch, personID); err != nil {
		return err
	}
	if err := c.Tx().Exec("DELETE FROM sessions WHERE person_id = ?", personID).Error; err != nil {
		return err
	}
	return registry.ErasePerson(c, personID)
}

// erasePasskeys empties what a person called their devices, and the keys.
func erasePasskeys(c *plantdb.Change, ch *plantdb.Chain, personID int64) error {
	var keys []int64
	if err := c.Tx().Raw("SELECT id FROM passkeys WHERE person_id = ? ORDER BY id", personID).Scan(&keys).Error; err != nil {
		return err
	}
	for _, id := range keys {
		if err := c.Tx().Exec("UPDATE passkeys SET name = '', credential_id = '', credential = '' WHERE id = ?", id).Error; err != nil {
			return err
		}
		c.Wrote(ch, "passkeys", id)
		c.Note(ch, plantdb.Written{Table: "passkeys", ID: id, After: map[string]any{"name": ""}})
	}
	return nil
}
