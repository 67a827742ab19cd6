package accounts

import (
	"context"
	"errors"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// AccountNamed returns the account in force of a sign-in name. assets.ErrNotFound when there is none.
func (d *Door) AccountNamed(ctx context.Context, name string) (assets.Account, error) {
	return one[assets.Account](d.DB.SQL(ctx).Where("sign_in_key = ? AND known_to IS NULL", assets.NameKey(name)))
}

// AccountOf returns the account in force of a person. assets.ErrNotFound when there is none.
func (d *Door) AccountOf(ctx context.Context, personID int64) (assets.Account, error) {
	return one[assets.Account](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID))
}

// AccountHandled returns the account in force of a passkey's handle. assets.ErrNotFound when there is none.
func (d *Door) AccountHandled(ctx context.Context, handle string) (assets.Account, error) {
	return one[assets.Account](d.DB.SQL(ctx).Where("handle = ? AND known_to IS NULL", handle))
}

// HasAdministrator tells whether somebody with an account in force is administrator for all plants.
func (d *Door) HasAdministrator(ctx context.Context) (bool, error) {
	n, err := administrators(ctx, d.DB, 0, assets.InstantOf(d.Now()))
	return n > 0, err
}

// lasting are the grants of an administrator for all plants that hold and do not end by themselves.
const lasting = "g.role = 'administrator' AND g.customer_id = 0 AND g.plant_id = 0 AND g.known_to IS NULL AND g.until_at IS NULL AND (g.from_at IS NULL OR g.from_at <= ?)"

// administrators counts the people with an account who are administrator for all plants, without an end, by a grant
// other than one.
func administrators(ctx context.Context, db *plantdb.DB, exceptGrant int64, at assets.Instant) (n int64, err error) {
	err = db.SQL(ctx).Raw(`SELECT count(DISTINCT g.person_id) FROM grants g JOIN accounts a ON a.person_id = g.person_id AND a.known_to IS NULL
		WHERE `+lasting+" AND g.id <> ?", at, exceptGrant).Scan(&n).Error
	return n, err
}

// OpenFirst makes the first person of an installation by the code that was printed at its start: administrator, and
// lead for all plants. A person of the service company who stands in the records by this name already is who they are;
// the account they may have keeps its sign-in name, takes the new password and loses its second factor, since whoever
// reads what the program prints has the database in hand. assets.ErrNotFound when the code is no longer good.
func (d *Door) OpenFirst(ctx context.Context, codeID int64, name string, account *assets.Account) (p assets.Person, err error) {
	err = d.change(ctx, 0, "sign up the first administrator", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if err := useCode(c, codeID); err != nil {
			return err
		}
		if p, err = namedOrNew(c, name); err != nil {
			return err
		}
		for _, role := range []assets.Role{assets.RoleAdministrator, assets.RoleLead} {
			if _, err := giveGrant(c, assets.Grant{PersonID: p.ID, Role: role}); err != nil {
				return err
			}
		}
		account.PersonID = p.ID
		if err := endSeconds(c, ch, p.ID); err != nil {
			return err
		}
		return takeUp(c, ch, account)
	})
	return p, err
}

// namedOrNew returns the person of the service company by a name, who is added where there is none.
func namedOrNew(c *plantdb.Change, name string) (assets.Person, error) {
	p, err := one[assets.Person](c.Tx().Where("name_key = ? AND customer_id = 0", assets.NameKey(name)))
	if !errors.Is(err, assets.ErrNotFound) {
		return p, err
	}
	p = assets.Person{Name: strings.Join(strings.Fields(name), " ")}
	return p, registry.AddPerson(c, &p)
}

// openAccount writes a person's account. assets.Invalid when its name is taken or the person has one.
func openAccount(c *plantdb.Change, ch *plantdb.Chain, a *assets.Account) (err error) {
	a.SignInName = strings.Join(strings.Fields(a.SignInName), " ")
	a.SignInKey = assets.NameKey(a.SignInName)
	var same []assets.Account
	if same, err = plantdb.Rows[assets.Account](c.Tx().Where("(sign_in_key = ? OR person_id = ?) AND known_to IS NULL", a.SignInKey, a.PersonID)); err != nil {
		return err
	}
	switch {
	case slices.ContainsFunc(same, func(other assets.Account) bool { return other.PersonID == a.PersonID }):
		return assets.Invalid{"": "this person has an account already; sign in with it"}
	case len(same) > 0:
		return assets.Invalid{"sign_in_name": "somebody signs in by this name already; choose another"}
	}
	if a.ID, err = c.NewIDs(ch, "accounts", 1); err != nil {
		return err
	}
	a.KnownFrom, a.KnownTo = ch.Position, nil
	if err := c.Tx().Create(a).Error; err != nil {
		return err
	}
	c.Wrote(ch, "accounts", a.ID)
	c.Note(ch, plantdb.Written{Table: "accounts", ID: a.ID, After: map[string]any{"person_id": a.PersonID, "password": a.PasswordHash != ""}})
	return nil
}

// TakeCode lets an invited person in: it opens their account, or gives the one they have a new password, and links an
// identity where one comes with it. After a new password every session of before is over. assets.ErrNotFound when the
// code is no longer good.
func (d *Door) TakeCode(ctx context.Context, code assets.SignUpCode, account *assets.Account, identity *assets.Identity) error {
	return d.change(ctx, code.PersonID, "take up "+string(code.Purpose), func(c *plantdb.Change, ch *plantdb.Chain) error {
		if err := useCode(c, code.ID); err != nil {
			return err
		}
		account.PersonID = code.PersonID
		if err := takeUp(c, ch, account); err != nil {
			return err
		}
		if identity == nil {
			return nil
		}
		identity.PersonID = code.PersonID
		return link(c, ch, identity)
	})
}

// takeUp opens an account or sets the password of the one that is there.
func takeUp(c *plantdb.Change, ch *plantdb.Chain, a *assets.Account) error {
	held, err := one[assets.Account](c.Tx().Where("person_id = ? AND known_to IS NULL", a.PersonID))
	if errors.Is(err, assets.ErrNotFound) {
		return openAccount(c, ch, a)
	}
	if err != nil {
		return err
	}
	hash := a.PasswordHash
	*a = held
	if hash == "" {
		return nil
	}
	return setPassword(c, ch, held, hash, 0)
}

// SetPassword changes a person's own password and ends their sessions but one.
func (d *Door) SetPassword(ctx context.Context, account assets.Account, hash string, keep int64) error {
	return d.change(ctx, account.PersonID, "change the own password", func(c *plantdb.Change, ch *plantdb.Chain) error {
		return setPassword(c, ch, account, hash, keep)
	})
}

func setPassword(c *plantdb.Change, ch *plantdb.Chain, a assets.Account, hash string, keep int64) error {
	res := c.Tx().Exec("UPDATE accounts SET password_hash = ? WHERE id = ? AND password_hash = ? AND known_to IS NULL", hash, a.ID, a.PasswordHash)
	if res.Error == nil && res.RowsAffected != 1 {
		return assets.ErrConflict
	}
	if res.Error != nil {
		return res.Error
	}
	c.Wrote(ch, "accounts", a.ID)
	c.Note(ch, plantdb.Written{Table: "accounts", ID: a.ID, Before: map[string]any{"password": a.PasswordHash != ""}, After: map[string]any{"password": true}})
	return endSessions(c.Context(), c.DB, a.PersonID, keep, c.Now())
}

// EndAccount takes a person's account away with everything that signs in to it. Their grants stay, and open nothing.
func (d *Door) EndAccount(ctx context.Context, keep assets.Scope, by, personID int64) error {
	if err := d.keepsAccount(ctx, keep, personID); err != nil {
		return err
	}
	return d.change(ctx, by, "end an account", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if err := keepsAnAdministrator(c, personID); err != nil {
			return err
		}
		return endAccount(c, ch, personID)
	})
}

// keepsAnAdministrator refuses to take the account of the only administrator away.
func keepsAnAdministrator(c *plantdb.Change, personID int64) error {
	var others, own int64
	err := c.Tx().Raw(`SELECT count(DISTINCT g.person_id) FROM grants g JOIN accounts a ON a.person_id = g.person_id AND a.known_to IS NULL
		WHERE `+lasting+" AND g.person_id <> ?", c.Now(), personID).Scan(&others).Error
	if err == nil {
		err = c.Tx().Raw("SELECT count(*) FROM grants g WHERE "+lasting+" AND g.person_id = ?", c.Now(), personID).Scan(&own).Error
	}
	if err == nil && own > 0 && others == 0 {
		return lastAdministrator
	}
	return err
}

var lastAdministrator = assets.Invalid{"": "nobody else is administrator; make somebody else one first, or nobody could give grants any more"}

func endAccount(c *plantdb.Change, ch *plantdb.Chain, personID int64) error {
	for _, table := range []string{"accounts", "passkeys", "identities", "second_factors", "recovery_codes"} {
		if err := endOwned(c, ch, table, personID); err != nil {
			return err
		}
	}
	if err := voidCodes(c, personID); err != nil {
		return err
	}
	return endSessions(c.Context(), c.DB, personID, 0, c.Now())
}

// endRow ends a row of a table of this package, once. assets.ErrNotFound when it has ended.
func endRow(c *plantdb.Change, ch *plantdb.Chain, table string, id int64, before map[string]any) error {
	res := c.Tx().Exec("UPDATE "+table+" SET known_to = ? WHERE id = ? AND known_to IS NULL", ch.Position, id)
	if res.Error == nil && res.RowsAffected != 1 {
		return assets.ErrNotFound
	}
	if res.Error != nil {
		return res.Error
	}
	c.Ended(ch, table, id)
	c.Note(ch, plantdb.Written{Table: table, ID: id, Before: before})
	return nil
}
