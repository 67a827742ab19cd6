package accounts

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/people"
)

// Members returns everybody who has a grant or an account, by name, with what they may and who gave it.
func (d *Door) Members(ctx context.Context) ([]assets.Member, error) {
	return d.members(ctx, `id IN (SELECT g.person_id FROM grants g WHERE g.known_to IS NULL)
		OR id IN (SELECT a.person_id FROM accounts a WHERE a.known_to IS NULL)`)
}

// Member returns one person with what they may. assets.ErrNotFound when there is no such person.
func (d *Door) Member(ctx context.Context, personID int64) (assets.Member, error) {
	found, err := d.members(ctx, "id = ?", personID)
	if err == nil && len(found) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Member{}, err
	}
	return found[0], nil
}

func (d *Door) members(ctx context.Context, where string, args ...any) ([]assets.Member, error) {
	persons, err := plantdb.Rows[assets.Person](d.DB.SQL(ctx).Where(where, args...).Order("name_key, id"))
	if err != nil {
		return nil, err
	}
	members, at, ids := make([]assets.Member, len(persons)), map[int64]int{}, make([]int64, 0, len(persons)+1)
	for i, p := range persons {
		members[i].Person, at[p.ID] = p, i
		ids = append(ids, p.ID)
	}
	ids = append(ids, -1) // an empty list is no SQL
	if err := d.addGrants(ctx, members, at, ids); err != nil {
		return nil, err
	}
	return members, d.addAccounts(ctx, members, at, ids)
}

// addGrants adds the grants in force with who gave them and when, as the journal has it.
func (d *Door) addGrants(ctx context.Context, members []assets.Member, at map[int64]int, ids []int64) error {
	var rows []struct {
		assets.Grant
		ByID    int64
		ByName  string
		GivenAt assets.Instant
	}
	err := d.DB.SQL(ctx).Raw(`SELECT g.id, g.person_id, g.role, g.customer_id, g.plant_id, g.known_from, e.at AS given_at, e.person_id AS by_id, coalesce(p.name, '') AS by_name
		FROM grants g LEFT JOIN journal_entries e ON e.chain_id = 1 AND e.position = g.known_from LEFT JOIN people p ON p.id = e.person_id
		WHERE g.known_to IS NULL AND g.person_id IN ? ORDER BY g.id`, ids).Scan(&rows).Error
	for _, r := range rows {
		m := &members[at[r.PersonID]]
		m.Grants = append(m.Grants, assets.GrantGiven{Grant: r.Grant, ByID: r.ByID, By: r.ByName, At: r.GivenAt})
	}
	return err
}

// addAccounts adds how and when people sign in.
func (d *Door) addAccounts(ctx context.Context, members []assets.Member, at map[int64]int, ids []int64) error {
	accounts, err := plantdb.Rows[assets.Account](d.DB.SQL(ctx).Where("known_to IS NULL AND person_id IN ?", ids))
	if err != nil {
		return err
	}
	for _, a := range accounts {
		members[at[a.PersonID]].Account = &a
	}
	var last []struct {
		PersonID int64
		UsedAt   assets.Instant
		Open     int
	}
	err = d.DB.SQL(ctx).Raw(`SELECT person_id, max(used_at) AS used_at, sum(CASE WHEN ended_at IS NULL AND ends_at > ? THEN 1 ELSE 0 END) AS open
		FROM sessions WHERE person_id IN ? GROUP BY person_id`, assets.InstantOf(d.Now()), ids).Scan(&last).Error
	if err != nil {
		return err
	}
	for _, l := range last {
		m := &members[at[l.PersonID]]
		m.LastIn, m.Sessions = l.UsedAt, l.Open
	}
	var waiting []struct {
		PersonID int64
		EndsAt   assets.Instant
	}
	err = d.DB.SQL(ctx).Raw("SELECT person_id, max(ends_at) AS ends_at FROM sign_up_codes WHERE used_at IS NULL AND ends_at > ? AND purpose IN ? AND person_id IN ? GROUP BY person_id",
		assets.InstantOf(d.Now()), []assets.CodePurpose{assets.CodeInvitation, assets.CodeNewPassword}, ids).Scan(&waiting).Error
	for _, w := range waiting {
		members[at[w.PersonID]].CodeEndsAt = w.EndsAt
	}
	return err
}

// Places returns the customers and plants that a grant can be for, by name: names and numbers only, for whoever
// gives grants and need see no plant.
func (d *Door) Places(ctx context.Context) (customers []assets.Customer, plants []assets.Plant, err error) {
	if customers, err = registry.Customers(ctx, d.DB, assets.JobScope()); err != nil {
		return nil, nil, err
	}
	plants, err = registry.Plants(ctx, d.DB, assets.JobScope())
	return customers, plants, err
}

// Invite adds a person of the service company (or takes the one of this name who has no account), gives a grant and
// keeps the code of their invitation, in one change. assets.Invalid says what is wrong.
func (d *Door) Invite(ctx context.Context, by int64, name string, g assets.Grant, code *assets.SignUpCode) (p assets.Person, err error) {
	if assets.NameKey(name) == "" {
		return p, assets.Invalid{"name": "give the person's name as it should stand in the records"}
	}
	err = d.change(ctx, by, "invite a person", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if p, err = namedOrNew(c, name); err != nil {
			return err
		}
		if _, err := one[assets.Account](c.Tx().Where("person_id = ? AND known_to IS NULL", p.ID)); err == nil {
			return assets.Invalid{"name": "this person has an account already; open their page to give a grant or a new password"}
		}
		g.PersonID = p.ID
		if _, err := giveGrant(c, g); err != nil {
			return err
		}
		code.PersonID = p.ID
		return makeCode(c, ch, code)
	})
	return p, err
}

// GiveGrant gives a person a role somewhere. assets.Invalid when they have it already, or it makes no sense.
func (d *Door) GiveGrant(ctx context.Context, by int64, g assets.Grant) error {
	p, err := registry.Person(ctx, d.DB, g.PersonID)
	if err != nil {
		return err
	}
	return d.change(ctx, by, "give a grant", func(c *plantdb.Change, _ *plantdb.Chain) error {
		given, err := giveGrant(c, g)
		if err == nil && !given {
			err = assets.Invalid{"role": "this person holds the role there already"}
		}
		return err
	}, p.CustomerID)
}

// giveGrant gives a grant that makes sense; false when it is held already.
func giveGrant(c *plantdb.Change, g assets.Grant) (given bool, err error) {
	if err := sensible(c, g); err != nil {
		return false, err
	}
	held, err := plantdb.Rows[assets.Grant](c.Tx().Where("person_id = ? AND known_to IS NULL", g.PersonID).Order("id"))
	if err != nil {
		return false, err
	}
	for _, h := range held {
		if h.Role == g.Role && h.CustomerID == g.CustomerID && h.PlantID == g.PlantID {
			return false, nil
		}
	}
	if err := registry.GiveGrant(c, &g); err != nil {
		return false, err
	}
	return true, settleRole(c, g.PersonID)
}

// sensible refuses roles and places that are not there, and an administrator of less than everything.
func sensible(c *plantdb.Change, g assets.Grant) error {
	if !people.Known(g.Role) {
		return assets.Invalid{"role": "choose a role from the list"}
	}
	if g.Role == assets.RoleAdministrator && (g.CustomerID != 0 || g.PlantID != 0) {
		return assets.Invalid{"where": "an administrator keeps the accounts of the whole company; choose all plants"}
	}
	for table, id := range map[string]int64{"customers": g.CustomerID, "plants": g.PlantID} {
		if id == 0 {
			continue
		}
		var n int64
		if err := c.Tx().Raw("SELECT count(*) FROM "+table+" WHERE id = ? AND known_to IS NULL AND valid_to IS NULL", id).Scan(&n).Error; err != nil {
			return err
		}
		if n == 0 {
			return assets.Invalid{"where": "choose a place from the list"}
		}
	}
	return nil
}

// EndGrant takes a grant back. assets.ErrNotFound when it is none of the person's or has ended; assets.Invalid when
// nobody would be administrator any more.
func (d *Door) EndGrant(ctx context.Context, by, personID, grantID int64) error {
	p, err := registry.Person(ctx, d.DB, personID)
	if err != nil {
		return err
	}
	return d.change(ctx, by, "end a grant", func(c *plantdb.Change, _ *plantdb.Chain) error {
		if err := mayEnd(c, personID, grantID); err != nil {
			return err
		}
		if err := registry.TakeGrant(c, grantID); err != nil {
			return err
		}
		return settleRole(c, personID)
	}, p.CustomerID)
}

// mayEnd refuses a grant of somebody else, and the last administrator's.
func mayEnd(c *plantdb.Change, personID, grantID int64) error {
	g, err := one[assets.Grant](c.Tx().Where("id = ? AND person_id = ? AND known_to IS NULL", grantID, personID))
	if err != nil || g.Role != assets.RoleAdministrator {
		return err
	}
	n, err := administrators(c.Context(), c.DB, grantID)
	if err == nil && n == 0 {
		err = lastAdministrator
	}
	return err
}

// settleRole lets a person go by a role they hold: the one they went by, else the first that is not the
// administrator's, else that.
func settleRole(c *plantdb.Change, personID int64) error {
	p, err := one[assets.Person](c.Tx().Where("id = ?", personID))
	if err != nil {
		return err
	}
	held, err := plantdb.Rows[assets.Grant](c.Tx().Where("person_id = ? AND known_to IS NULL", personID).Order("id"))
	if err != nil {
		return err
	}
	role := assets.Role("")
	for _, g := range held {
		if g.Role == p.Role && g.Role != assets.RoleAdministrator {
			return nil
		}
		if role == "" || role == assets.RoleAdministrator {
			role = g.Role
		}
	}
	if role == p.Role {
		return nil
	}
	return registry.SetRole(c, personID, role)
}
