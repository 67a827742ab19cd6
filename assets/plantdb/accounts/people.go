package accounts

import (
	"context"
	"errors"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/people"
)

// keeper is how far somebody who keeps people reaches: a grant is theirs to see, give and take back when the place it
// is for lies within. keep is their own scope of keeping (schedule/people).
type keeper struct {
	all              bool
	customers, plant map[int64]bool
}

func (d *Door) keeper(ctx context.Context, keep assets.Scope) (keeper, error) {
	all, customers, _ := keep.Reaches()
	k := keeper{all: all, customers: map[int64]bool{}, plant: map[int64]bool{}}
	if all {
		return k, nil
	}
	for _, id := range customers {
		k.customers[id] = true
	}
	plants, err := registry.Plants(ctx, d.DB, keep)
	for _, p := range plants {
		k.plant[p.ID] = true
	}
	return k, err
}

// keeps tells whether a grant lies within.
func (k keeper) keeps(g assets.Grant) bool {
	return k.all || g.PlantID != 0 && k.plant[g.PlantID] || g.PlantID == 0 && k.customers[g.CustomerID]
}

// Members returns everybody who has a grant that the keeper reaches, by name, with those grants and who gave them; for
// one who reaches everything, everybody with an account too.
func (d *Door) Members(ctx context.Context, keep assets.Scope) ([]assets.Member, error) {
	return d.kept(ctx, keep, `id IN (SELECT g.person_id FROM grants g WHERE g.known_to IS NULL)
		OR id IN (SELECT a.person_id FROM accounts a WHERE a.known_to IS NULL)`)
}

// Member returns one person with what they may. assets.ErrNotFound when there is no such person, or none whom the
// keeper reaches.
func (d *Door) Member(ctx context.Context, keep assets.Scope, personID int64) (assets.Member, error) {
	found, err := d.kept(ctx, keep, "id = ?", personID)
	if err == nil && len(found) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Member{}, err
	}
	return found[0], nil
}

// kept is members without what lies beyond the keeper.
func (d *Door) kept(ctx context.Context, keep assets.Scope, where string, args ...any) ([]assets.Member, error) {
	k, err := d.keeper(ctx, keep)
	if err != nil {
		return nil, err
	}
	found, err := d.members(ctx, where, args...)
	if err != nil || k.all {
		return found, err
	}
	var reached []assets.Member
	for _, m := range found {
		everything := len(m.Grants)
		m.Grants = slices.DeleteFunc(m.Grants, func(g assets.GrantGiven) bool { return !k.keeps(g.Grant) })
		if len(m.Grants) == 0 {
			continue
		}
		if len(m.Grants) < everything { // how and when they come in elsewhere is not told
			m.Account, m.LastIn, m.Sessions, m.CodeEndsAt = nil, 0, 0, 0
			m.Person.Role = m.Grants[0].Role
			m.Elsewhere = true
		}
		reached = append(reached, m)
	}
	return reached, nil
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
	err := d.DB.SQL(ctx).Raw(`SELECT g.id, g.person_id, g.role, g.customer_id, g.plant_id, g.from_at, g.until_at, g.known_from, e.at AS given_at, e.person_id AS by_id, coalesce(p.name, '') AS by_name
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

// Places returns the customers and plants that a keeper can give a grant for, by name: names and numbers only, since
// whoever gives grants need see no plant.
func (d *Door) Places(ctx context.Context, keep assets.Scope) (customers []assets.Customer, plants []assets.Plant, err error) {
	k, err := d.keeper(ctx, keep)
	if err != nil {
		return nil, nil, err
	}
	if customers, err = registry.Customers(ctx, d.DB, keep); err != nil {
		return nil, nil, err
	}
	customers = slices.DeleteFunc(customers, func(c assets.Customer) bool { return !k.all && !k.customers[c.ID] })
	plants, err = registry.Plants(ctx, d.DB, keep)
	return customers, plants, err
}

// mayGive refuses a grant for a place beyond the keeper, as if the place were not there.
func (d *Door) mayGive(ctx context.Context, keep assets.Scope, g assets.Grant) error {
	k, err := d.keeper(ctx, keep)
	if err == nil && !k.keeps(g) {
		err = assets.Invalid{"where": "choose a place from the list"}
	}
	return err
}

// keepsAccount refuses what is done to a person's account by a keeper who does not reach everything that the account
// opens: with an address for a new password they could come in as that person.
func (d *Door) keepsAccount(ctx context.Context, keep assets.Scope, personID int64) error {
	k, err := d.keeper(ctx, keep)
	if err != nil || k.all {
		return err
	}
	held, err := plantdb.Rows[assets.Grant](d.DB.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID)) // those to come too
	if err != nil {
		return err
	}
	if len(held) == 0 || slices.ContainsFunc(held, func(g assets.Grant) bool { return !k.keeps(g) }) {
		return assets.Invalid{"": "an administrator for all plants keeps this account"}
	}
	return nil
}

// Invite adds a person of the service company (or takes the one of this name who has no account), gives a grant and
// keeps the code of their invitation, in one change. assets.Invalid says what is wrong.
func (d *Door) Invite(ctx context.Context, keep assets.Scope, by int64, name string, g assets.Grant, code *assets.SignUpCode) (p assets.Person, err error) {
	if assets.NameKey(name) == "" {
		return p, assets.Invalid{"name": "give the person's name as it should stand in the records"}
	}
	k, err := d.keeper(ctx, keep)
	if err == nil {
		err = d.mayGive(ctx, keep, g)
	}
	if err != nil {
		return p, err
	}
	err = d.change(ctx, by, "invite a person", func(c *plantdb.Change, ch *plantdb.Chain) error {
		if p, err = namedOrNew(c, name); err != nil {
			return err
		}
		if err := mayInvite(c, k, p.ID); err != nil {
			return err
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

// mayInvite refuses somebody who has an account, and somebody of the records who holds more than the keeper reaches.
func mayInvite(c *plantdb.Change, k keeper, personID int64) error {
	taken := assets.Invalid{"name": "somebody of this name is here already; add what tells them apart, or have an administrator for all plants open their page"}
	_, err := one[assets.Account](c.Tx().Where("person_id = ? AND known_to IS NULL", personID))
	if err == nil {
		return taken
	}
	if !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	held, err := plantdb.Rows[assets.Grant](c.Tx().Where("person_id = ? AND known_to IS NULL", personID))
	if err == nil && slices.ContainsFunc(held, func(g assets.Grant) bool { return !k.keeps(g) }) {
		err = taken
	}
	return err
}

// NewAddress keeps the code of an address for somebody who is there already.
func (d *Door) NewAddress(ctx context.Context, keep assets.Scope, code *assets.SignUpCode) error {
	if err := d.keepsAccount(ctx, keep, code.PersonID); err != nil {
		return err
	}
	return d.MakeCode(ctx, code)
}

// SignOut ends every session of a person.
func (d *Door) SignOut(ctx context.Context, keep assets.Scope, by, personID int64) error {
	if err := d.keepsAccount(ctx, keep, personID); err != nil {
		return err
	}
	return d.EndSessions(ctx, by, personID, 0)
}

// GiveGrant gives a person a role somewhere. assets.Invalid when they have it already, or it makes no sense.
func (d *Door) GiveGrant(ctx context.Context, keep assets.Scope, by int64, g assets.Grant) error {
	if err := d.mayGive(ctx, keep, g); err != nil {
		return err
	}
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
		if h.Role == g.Role && h.CustomerID == g.CustomerID && h.PlantID == g.PlantID && !h.Over(c.Now()) {
			return false, nil
		}
	}
	if err := registry.GiveGrant(c, &g); err != nil {
		return false, err
	}
	return true, settleRole(c, g.PersonID)
}

// sensible refuses roles and places that are not there.
func sensible(c *plantdb.Change, g assets.Grant) error {
	if !people.Known(g.Role) {
		return assets.Invalid{"role": "choose a role from the list"}
	}
	if g.Over(c.Now()) || g.UntilAt != nil && g.FromAt != nil && *g.UntilAt <= *g.FromAt {
		return assets.Invalid{"until": "give a last day that is not over, and not before the first"}
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
func (d *Door) EndGrant(ctx context.Context, keep assets.Scope, by, personID, grantID int64) error {
	p, err := registry.Person(ctx, d.DB, personID)
	if err != nil {
		return err
	}
	k, err := d.keeper(ctx, keep)
	if err != nil {
		return err
	}
	return d.change(ctx, by, "end a grant", func(c *plantdb.Change, _ *plantdb.Chain) error {
		if err := mayEnd(c, k, personID, grantID); err != nil {
			return err
		}
		if err := registry.TakeGrant(c, grantID); err != nil {
			return err
		}
		return settleRole(c, personID)
	}, p.CustomerID)
}

// mayEnd refuses a grant of somebody else or beyond the keeper, and the last administrator's.
func mayEnd(c *plantdb.Change, k keeper, personID, grantID int64) error {
	g, err := one[assets.Grant](c.Tx().Where("id = ? AND person_id = ? AND known_to IS NULL", grantID, personID))
	if err == nil && !k.keeps(g) {
		err = assets.ErrNotFound
	}
	if err != nil || g.Role != assets.RoleAdministrator || g.CustomerID != 0 || g.PlantID != 0 {
		return err
	}
	if g.UntilAt != nil {
		return nil // it ends by itself: somebody else's lasts
	}
	n, err := administrators(c.Context(), c.DB, grantID, c.Now())
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
