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
		err := c.Tx().Exec("UPDATE accounts SET sign_in_name = '', sign_in_key = '', private_salt = '', private_hash = ?, password_hash = '', handle = ? WHERE id = ?", plantdb.Erased, plantdb.ErasedName(id), id).Error
		if err != nil {
			return err
		}
		c.Wrote(ch, "accounts", id)
		c.Note(ch, plantdb.Written{Table: "accounts", ID: id, After: map[string]any{"private_hash": plantdb.Erased}})
	}
	if err := endOwned(c, ch, "person_pins", personID); err != nil {
		return err
	}
	for _, e := range []struct{ table, empty string }{{"passkeys", "name = '', credential_id = '', credential = ''"}, {"second_factors", "seed = ''"},
		{"recovery_codes", "code_hash = ''"}, {"person_pins", "pin_hash = ''"}, {"identities", "issuer = '', subject_hash = ''"}} {
		if err := emptied(c, ch, e.table, e.empty, personID); err != nil {
			return err
		}
	}
	if err := c.Tx().Exec("DELETE FROM sessions WHERE person_id = ?", personID).Error; err != nil {
		return err
	}
	return registry.ErasePerson(c, personID)
}

// emptied takes from the ended rows of a person what they were known by: what they called their devices, keys, seeds,
// who they are at a provider.
func emptied(c *plantdb.Change, ch *plantdb.Chain, table, empty string, personID int64) error {
	var ids []int64
	if err := c.Tx().Raw("SELECT id FROM "+table+" WHERE person_id = ? ORDER BY id", personID).Scan(&ids).Error; err != nil {
		return err
	}
	for _, id := range ids {
		if err := c.Tx().Exec("UPDATE "+table+" SET "+empty+" WHERE id = ?", id).Error; err != nil {
			return err
		}
		c.Wrote(ch, table, id)
		c.Note(ch, plantdb.Written{Table: table, ID: id, After: map[string]any{"emptied": true}})
	}
	return nil
}
