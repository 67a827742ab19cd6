package accounts_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/people"
)

// house is a company with two plants of two customers and its first administrator.
type house struct {
	t           *testing.T
	ctx         context.Context
	door        *accounts.Door
	home, other *plantdbtest.Site
	admin       assets.Person
	now         time.Time
}

func open(t *testing.T) *house {
	t.Helper()
	home := plantdbtest.Plant(t)
	h := &house{t: t, ctx: context.Background(), home: home, other: plantdbtest.PlantIn(t, home.DB, "Tarrow Pit"), now: plantdbtest.Noon.Add(time.Hour)}
	h.door = &accounts.Door{DB: home.DB, Now: func() time.Time { return h.now }}
	code := assets.SignUpCode{CodeHash: "first", Purpose: assets.CodeFirst, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	h.must(h.door.MakeCode(h.ctx, &code))
	var err error
	h.admin, err = h.door.OpenFirst(h.ctx, code.ID, "I. Vanterel", &assets.Account{SignInName: "i.vanterel", PasswordHash: "hash", Handle: "h1"})
	h.must(err)
	return h
}

func (h *house) must(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// invite adds somebody with a grant and an account.
func (h *house) invite(name string, g assets.Grant) assets.Person {
	h.t.Helper()
	code := assets.SignUpCode{CodeHash: "code of " + name, Purpose: assets.CodeInvitation, MadeBy: h.admin.ID, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	p, err := h.door.Invite(h.ctx, assets.JobScope(), h.admin.ID, name, g, &code)
	h.must(err)
	h.must(h.door.TakeCode(h.ctx, code, &assets.Account{SignInName: name, PasswordHash: "hash", Handle: fmt.Sprintf("handle %x", name)}, nil))
	return p
}

// refused wants assets.Invalid with a message for a field.
func (h *house) refused(what string, err error, field string) {
	h.t.Helper()
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad[field] == "" {
		h.t.Errorf("%s: %v, want a message for %q", what, err, field)
	}
}

func TestGrantsAreGivenAndTakenBackInTheJournal(t *testing.T) {
	h := open(t)
	p := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	h.must(h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleAuditor, CustomerID: h.other.Customer.ID}))
	h.refused("the same again", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleAuditor, CustomerID: h.other.Customer.ID}), "role")
	h.refused("a role there is not", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: "king"}), "role")
	h.refused("a plant there is not", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleLead, PlantID: 99}), "where")
	m, err := h.door.Member(h.ctx, assets.JobScope(), p.ID)
	h.must(err)
	if len(m.Grants) != 2 || m.Grants[1].By != "I. Vanterel" || m.Grants[1].At != assets.InstantOf(h.now) || m.Person.Role != assets.RoleTechnician || m.Account == nil {
		t.Fatalf("the page would show %+v", m)
	}
	h.must(h.door.EndGrant(h.ctx, assets.JobScope(), h.admin.ID, p.ID, m.Grants[0].ID))
	if err := h.door.EndGrant(h.ctx, assets.JobScope(), h.admin.ID, p.ID, m.Grants[0].ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("ended twice: %v", err)
	}
	if err := h.door.EndGrant(h.ctx, assets.JobScope(), h.admin.ID, h.admin.ID, m.Grants[1].ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a grant of somebody else by its number: %v", err)
	}
	if m, err = h.door.Member(h.ctx, assets.JobScope(), p.ID); err != nil || m.Person.Role != assets.RoleAuditor {
		t.Errorf("goes by %q now (%v), want by the role that is left", m.Person.Role, err)
	}
	var entries []plantdb.Entry
	h.must(h.home.DB.SQL(h.ctx).Where("chain_id = 1 AND person_id = ?", h.admin.ID).Order("position").Find(&entries).Error)
	var actions []string
	for _, e := range entries {
		actions = append(actions, e.Action)
	}
	if got := strings.Join(actions, ", "); got != "invite a person, give a grant, end a grant" {
		t.Errorf("the journal tells of the administrator: %s", got)
	}
	if last := entries[len(entries)-1].Changes; !strings.Contains(last, `"before"`) || !strings.Contains(last, "technician") {
		t.Errorf("the entry does not say what was so before: %s", last)
	}
}

func TestAKeeperOfOnePlantReachesNothingElse(t *testing.T) {
	h := open(t)
	local := h.invite("R. Asquenne", assets.Grant{Role: assets.RoleAdministrator, PlantID: h.home.Plant.ID})
	here := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	away := h.invite("S. Ilveth", assets.Grant{Role: assets.RoleTechnician, PlantID: h.other.Plant.ID})
	both := h.invite("T. Brannoch", assets.Grant{Role: assets.RoleAuditor, PlantID: h.home.Plant.ID})
	h.must(h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: both.ID, Role: assets.RoleLead}))
	grants, err := h.door.GrantsOf(h.ctx, local.ID)
	h.must(err)
	keep := people.KeepScope(grants)

	members, err := h.door.Members(h.ctx, keep)
	h.must(err)
	var names []string
	for _, m := range members {
		names = append(names, m.Person.Name)
		if m.Person.ID == both.ID && (len(m.Grants) != 1 || m.Account != nil || m.Person.Role != assets.RoleAuditor) {
			t.Errorf("of somebody who is lead elsewhere it shows %+v", m)
		}
	}
	if got := strings.Join(names, ", "); got != "M. Okkerdal, R. Asquenne, T. Brannoch" {
		t.Errorf("shows %s", got)
	}
	if _, err := h.door.Member(h.ctx, keep, away.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the page of somebody of another plant: %v", err)
	}
	customers, plants, err := h.door.Places(h.ctx, keep)
	h.must(err)
	if len(customers) != 0 || len(plants) != 1 || plants[0].ID != h.home.Plant.ID {
		t.Errorf("offers %v and %v", customers, plants)
	}
	for _, g := range []assets.Grant{{Role: assets.RoleLead}, {Role: assets.RoleLead, CustomerID: h.home.Customer.ID}, {Role: assets.RoleLead, PlantID: h.other.Plant.ID}} {
		g.PersonID = local.ID
		h.refused("a grant beyond the own plant, to oneself", h.door.GiveGrant(h.ctx, keep, local.ID, g), "where")
	}
	code := func() *assets.SignUpCode {
		return &assets.SignUpCode{CodeHash: "new", Purpose: assets.CodeNewPassword, PersonID: both.ID, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	}
	h.refused("an address to come in as the lead", h.door.NewAddress(h.ctx, keep, code()), "")
	h.refused("the lead's sessions", h.door.SignOut(h.ctx, keep, local.ID, both.ID), "")
	h.refused("the lead's account", h.door.EndAccount(h.ctx, keep, local.ID, both.ID), "")
	h.refused("somebody's account of another plant", h.door.EndAccount(h.ctx, keep, local.ID, away.ID), "")
	lead, err := h.door.GrantsOf(h.ctx, both.ID)
	h.must(err)
	if err := h.door.EndGrant(h.ctx, keep, local.ID, both.ID, lead[1].ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the grant for all is taken back: %v", err)
	}
	h.must(h.door.EndGrant(h.ctx, keep, local.ID, both.ID, lead[0].ID))
	h.must(h.door.GiveGrant(h.ctx, keep, local.ID, assets.Grant{PersonID: here.ID, Role: assets.RolePlanner, PlantID: h.home.Plant.ID}))
	h.must(h.door.EndAccount(h.ctx, keep, local.ID, here.ID))

	// Somebody of the records who was given a role before there were accounts.
	h.must(h.door.EndAccount(h.ctx, assets.JobScope(), h.admin.ID, away.ID))
	_, err = h.door.Invite(h.ctx, keep, local.ID, "S. Ilveth", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID}, code())
	h.refused("an invitation that opens another plant too", err, "name")
}

func TestTheLastAdministratorStays(t *testing.T) {
	h := open(t)
	m, err := h.door.Member(h.ctx, assets.JobScope(), h.admin.ID)
	h.must(err)
	grant := m.Grants[0]
	if grant.Role != assets.RoleAdministrator {
		t.Fatalf("grants %+v", m.Grants)
	}
	h.refused("the only administrator's grant", h.door.EndGrant(h.ctx, assets.JobScope(), h.admin.ID, h.admin.ID, grant.ID), "")
	h.refused("the only administrator's account", h.door.EndAccount(h.ctx, assets.JobScope(), h.admin.ID, h.admin.ID), "")
	p := h.invite("R. Asquenne", assets.Grant{Role: assets.RoleAdministrator})
	h.must(h.door.EndGrant(h.ctx, assets.JobScope(), p.ID, h.admin.ID, grant.ID))
	h.refused("now the other is the only one", h.door.EndAccount(h.ctx, assets.JobScope(), h.admin.ID, p.ID), "")
}

func TestAPersonOfTheRecordsKeepsTheirNumber(t *testing.T) {
	h := open(t)
	var splicer assets.Person
	act := plantdb.Act{Origin: plantdb.Screen, Action: "test", Now: h.now, Company: true}
	h.must(h.home.DB.Change(h.ctx, act, func(c *plantdb.Change) error {
		splicer = assets.Person{Name: "S. Ilveth"}
		return registry.AddPerson(c, &splicer)
	}))
	p := h.invite(" s. ILVETH ", assets.Grant{Role: assets.RoleTechnician})
	if p.ID != splicer.ID || p.Name != "S. Ilveth" {
		t.Errorf("invited %+v, want the splicer of the records, number %d", p, splicer.ID)
	}
	code := assets.SignUpCode{CodeHash: "x", Purpose: assets.CodeInvitation, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	_, err := h.door.Invite(h.ctx, assets.JobScope(), h.admin.ID, "S. Ilveth", assets.Grant{Role: assets.RoleLead}, &code)
	h.refused("somebody who has an account", err, "name")
	if grants, err := h.door.GrantsOf(h.ctx, p.ID); err != nil || len(grants) != 1 {
		t.Errorf("a refused invitation left a grant: %v %v", grants, err)
	}
}

func TestAnErasedPersonSignsInNoMore(t *testing.T) {
	h := open(t)
	p := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician})
	key := assets.Passkey{PersonID: p.ID, Name: "phone", CredentialID: "id", Credential: "{}"}
	h.must(h.door.AddPasskey(h.ctx, &key, 0))
	session := assets.Session{TokenHash: "t", PersonID: p.ID, Way: assets.ByPassword, EndsAt: assets.InstantOf(h.now.Add(time.Hour)), Address: "192.0.2.7", Browser: "okkerdal's own"}
	h.must(h.door.OpenSession(h.ctx, &session))
	act := plantdb.Act{PersonID: h.admin.ID, Origin: plantdb.Screen, Action: "erase a person", Now: h.now, Company: true}
	h.must(h.home.DB.Change(h.ctx, act, func(c *plantdb.Change) error { return accounts.Erase(c, p.ID) }))
	if _, err := h.door.AccountOf(h.ctx, p.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the account is there: %v", err)
	}
	if _, _, _, err := h.door.AskingSession(h.ctx, "t", assets.InstantOf(h.now)); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the session is there: %v", err)
	}
	for _, table := range []string{"accounts", "sessions", "passkeys", "people"} {
		var rows []map[string]any
		h.must(h.home.DB.SQL(h.ctx).Raw("SELECT * FROM " + table).Scan(&rows).Error)
		for _, row := range rows {
			for column, v := range row {
				if s, ok := v.(string); ok && (strings.Contains(strings.ToLower(s), "okkerdal") || s == "192.0.2.7" || s == "phone") {
					t.Errorf("%s.%s still holds %q", table, column, s)
				}
			}
		}
	}
}

func TestSessionsAreFoundThroughIndexes(t *testing.T) {
	db := plantdbtest.Again(t, plantdbtest.SQLiteFile(t))
	for _, query := range []string{
		`SELECT s.id, p.name, g.role FROM sessions s JOIN people p ON p.id = s.person_id LEFT JOIN grants g ON g.person_id = s.person_id AND g.known_to IS NULL
			WHERE s.token_hash = 'x' AND s.ended_at IS NULL AND s.ends_at > 5 ORDER BY g.id`,
		"SELECT * FROM sessions WHERE person_id = 1 AND ended_at IS NULL ORDER BY used_at DESC, id",
		"DELETE FROM sessions WHERE ends_at < 5",
		"SELECT * FROM accounts WHERE sign_in_key = 'x' AND known_to IS NULL",
		"SELECT * FROM accounts WHERE handle = 'x' AND known_to IS NULL",
		"SELECT * FROM sign_up_codes WHERE code_hash = 'x' AND used_at IS NULL",
		"SELECT * FROM identities WHERE subject_hash = 'x' AND known_to IS NULL",
		"SELECT * FROM passkeys WHERE person_id = 1 AND known_to IS NULL",
	} {
		var plan []struct{ Detail string }
		if err := db.SQL(context.Background()).Raw("EXPLAIN QUERY PLAN " + query).Scan(&plan).Error; err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		for _, step := range plan {
			if strings.HasPrefix(step.Detail, "SCAN") {
				t.Errorf("%s\nreads everything: %s", query, step.Detail)
			}
		}
	}
}

func TestATamperedAccountIsFound(t *testing.T) {
	h := open(t)
	h.must(h.home.DB.InTx(h.ctx, func(tx *plantdb.DB) error {
		return tx.SQL(h.ctx).Exec("UPDATE accounts SET password_hash = 'of somebody who can write the file'").Error
	}))
	verdict, err := h.home.DB.Verify(h.ctx, nil)
	h.must(err)
	if len(verdict.Breaks) != 1 || !strings.Contains(verdict.Breaks[0].Says, "accounts") {
		t.Errorf("breaks %+v", verdict.Breaks)
	}
	h.must(h.home.DB.InTx(h.ctx, func(tx *plantdb.DB) error {
		return tx.SQL(h.ctx).Exec("UPDATE accounts SET password_hash = 'hash'").Error
	}))
}
