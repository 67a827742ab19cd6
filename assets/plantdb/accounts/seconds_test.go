package accounts_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
)

// protected gives somebody a second factor with two recovery codes.
func (h *house) protected(p assets.Person) assets.SecondFactor {
	h.t.Helper()
	f := assets.SecondFactor{PersonID: p.ID, Seed: "SEEDOF" + fmt.Sprint(p.ID)}
	h.must(h.door.SetSecondFactor(h.ctx, &f, 100, []string{"code one of " + p.Name, "code two of " + p.Name}, 0))
	return f
}

func TestACodeAndARecoveryCodeAreTakenOnce(t *testing.T) {
	h := open(t)
	p := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	f := h.protected(p)
	for _, c := range []struct {
		step  int64
		taken bool
	}{{100, false}, {99, false}, {101, true}, {101, false}, {105, true}, {104, false}} {
		if err := h.door.UseSecondFactor(h.ctx, f.ID, c.step); (err == nil) != c.taken || err != nil && !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("the code of half minute %d: %v, want taken %v", c.step, err, c.taken)
		}
	}
	h.must(h.door.UseRecoveryCode(h.ctx, p.ID, "code one of M. Okkerdal"))
	for what, hash := range map[string]string{"used": "code one of M. Okkerdal", "made up": "code three"} {
		if err := h.door.UseRecoveryCode(h.ctx, p.ID, hash); !errors.Is(err, assets.ErrNotFound) {
			t.Errorf("a recovery code that is %s: %v", what, err)
		}
	}
	if err := h.door.UseRecoveryCode(h.ctx, h.admin.ID, "code two of M. Okkerdal"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("somebody else's recovery code: %v", err)
	}
	if n, err := h.door.RecoveryCodesLeft(h.ctx, p.ID); err != nil || n != 1 {
		t.Errorf("%d recovery codes left (%v), want one", n, err)
	}
	h.must(h.door.NewRecoveryCodes(h.ctx, p.ID, []string{"a", "b", "c"}))
	if err := h.door.UseRecoveryCode(h.ctx, p.ID, "code two of M. Okkerdal"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a recovery code that newer ones took the place of: %v", err)
	}
}

// TestALostSecondFactorIsTakenAwayOnProofOfWhoItIs: it takes a keeper who reaches the account, another person, and words
// on how it was made sure, which stand in the journal.
func TestALostSecondFactorIsTakenAwayOnProofOfWhoItIs(t *testing.T) {
	h := open(t)
	p := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	h.protected(p)
	h.must(h.door.AddPasskey(h.ctx, &assets.Passkey{PersonID: p.ID, Name: "phone", CredentialID: "c", Credential: "{}"}, 0))
	h.must(h.door.OpenSession(h.ctx, &assets.Session{TokenHash: "t", PersonID: p.ID, Way: assets.ByPasswordAndCode, UsedAt: assets.InstantOf(h.now), EndsAt: assets.InstantOf(h.now.Add(time.Hour))}))
	h.refused("no word on how", h.door.ResetSecondFactor(h.ctx, assets.JobScope(), h.admin.ID, p.ID, ""), "proof")
	h.refused("one's own", h.door.ResetSecondFactor(h.ctx, assets.JobScope(), p.ID, p.ID, "it is me"), "")
	h.refused("beyond the keeper", h.door.ResetSecondFactor(h.ctx, assets.PlantScope(h.other.Plant.ID), h.admin.ID, p.ID, "seen"), "")
	if _, err := h.door.SecondFactorOf(h.ctx, p.ID); err != nil {
		t.Fatalf("what was refused took it away: %v", err)
	}
	h.must(h.door.ResetSecondFactor(h.ctx, assets.JobScope(), h.admin.ID, p.ID, "works badge seen at the gate"))
	if _, err := h.door.SecondFactorOf(h.ctx, p.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("it is still there: %v", err)
	}
	keys, err := h.door.Passkeys(h.ctx, p.ID)
	h.must(err)
	sessions, err := h.door.SessionsOf(h.ctx, p.ID, assets.InstantOf(h.now))
	h.must(err)
	if len(keys) != 0 || len(sessions) != 0 {
		t.Errorf("%d passkeys and %d sessions are left", len(keys), len(sessions))
	}
	var reason string
	h.must(h.home.DB.SQL(h.ctx).Raw("SELECT reason FROM journal_entries WHERE chain_id = 1 ORDER BY position DESC LIMIT 1").Scan(&reason).Error)
	if reason != "works badge seen at the gate" {
		t.Errorf("the journal says %q", reason)
	}
}

// TestWhoSignsUpAtTheMachineLosesTheOldSecondFactor: the address printed at a start is the way back in when an only
// administrator lost password and telephone.
func TestWhoSignsUpAtTheMachineLosesTheOldSecondFactor(t *testing.T) {
	h := open(t)
	h.protected(h.admin)
	code := assets.SignUpCode{CodeHash: "again", Purpose: assets.CodeFirst, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	h.must(h.door.MakeCode(h.ctx, &code))
	_, err := h.door.OpenFirst(h.ctx, code.ID, "I. Vanterel", &assets.Account{SignInName: "other", PasswordHash: "new hash", Handle: "h2"})
	h.must(err)
	if _, err := h.door.SecondFactorOf(h.ctx, h.admin.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the old second factor still asks: %v", err)
	}
}

// TestAnErasedPersonLeavesNothingToSignInBy reads every column of the tables of sign-in.
func TestAnErasedPersonLeavesNothingToSignInBy(t *testing.T) {
	h := open(t)
	p := h.invite("M. Okkerdal", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	h.protected(p)
	h.must(h.door.AddPasskey(h.ctx, &assets.Passkey{PersonID: p.ID, Name: "phone", CredentialID: "credential", Credential: `{"k":1}`}, 0))
	code := assets.SignUpCode{CodeHash: "link", Purpose: assets.CodeNewPassword, PersonID: p.ID, MadeBy: h.admin.ID, EndsAt: assets.InstantOf(h.now.Add(time.Hour))}
	h.must(h.door.MakeCode(h.ctx, &code))
	h.must(h.door.TakeCode(h.ctx, code, &assets.Account{PasswordHash: "hash two"}, &assets.Identity{Issuer: "https://id.example", SubjectHash: "subject"}))
	act := plantdb.Act{Origin: plantdb.Command, Action: "erase a person", Now: h.now, Company: true}
	h.must(h.home.DB.Change(h.ctx, act, func(c *plantdb.Change) error { return accounts.Erase(c, p.ID) }))
	for table, columns := range map[string][]string{"accounts": {"password_hash", "handle", "sign_in_name", "sign_in_key"}, "second_factors": {"seed"}, "recovery_codes": {"code_hash"},
		"passkeys": {"name", "credential_id", "credential"}, "identities": {"issuer", "subject_hash"}} {
		for _, column := range columns {
			var values []string
			h.must(h.home.DB.SQL(h.ctx).Raw("SELECT "+column+" FROM "+table+" WHERE person_id = ?", p.ID).Scan(&values).Error)
			if len(values) == 0 {
				t.Errorf("%s has no row of the person: this proves nothing", table)
			}
			if slices.ContainsFunc(values, func(v string) bool { return v != "" && !strings.HasPrefix(v, "erased") }) {
				t.Errorf("%s.%s still holds %q", table, column, values)
			}
		}
	}
}

// TestAGrantHoldsFromItsFirstDayToItsLast asks before, within and after, on every way that gives grants.
func TestAGrantHoldsFromItsFirstDayToItsLast(t *testing.T) {
	h := open(t)
	p := h.invite("S. Ilveth", assets.Grant{Role: assets.RoleTechnician, PlantID: h.home.Plant.ID})
	at := func(d time.Duration) *assets.Instant { i := assets.InstantOf(h.now.Add(d)); return &i }
	grant := assets.Grant{PersonID: p.ID, Role: assets.RoleAuditor, CustomerID: h.other.Customer.ID, FromAt: at(24 * time.Hour), UntilAt: at(72 * time.Hour)}
	h.must(h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, grant))
	h.refused("the same again while it is to come", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, grant), "role")
	h.refused("over before it begins", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleLead, FromAt: at(48 * time.Hour), UntilAt: at(24 * time.Hour)}), "until")
	h.refused("over already", h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleLead, UntilAt: at(-time.Hour)}), "until")
	h.must(h.door.OpenSession(h.ctx, &assets.Session{TokenHash: "t", PersonID: p.ID, Way: assets.ByPassword, UsedAt: assets.InstantOf(h.now), EndsAt: assets.InstantOf(h.now.Add(1000 * time.Hour))}))
	start := h.now
	for _, c := range []struct {
		when time.Duration
		sees bool
	}{{0, false}, {24*time.Hour - time.Microsecond, false}, {24 * time.Hour, true}, {71 * time.Hour, true}, {72 * time.Hour, false}, {500 * time.Hour, false}} {
		h.now = start.Add(c.when)
		own, err := h.door.GrantsOf(h.ctx, p.ID)
		h.must(err)
		_, _, asking, err := h.door.AskingSession(h.ctx, "t", assets.InstantOf(h.now))
		h.must(err)
		for what, grants := range map[string][]assets.Grant{"the person": own, "the session": asking} {
			if got := assets.ScopeOf(grants).Holds(h.other.Customer.ID, h.other.Plant.ID); got != c.sees {
				t.Errorf("after %s %s sees the plant: %v, want %v", c.when, what, got, c.sees)
			}
			if !assets.ScopeOf(grants).Holds(h.home.Customer.ID, h.home.Plant.ID) {
				t.Errorf("after %s %s no longer has the grant without an end", c.when, what)
			}
		}
	}
	h.must(h.door.GiveGrant(h.ctx, assets.JobScope(), h.admin.ID, assets.Grant{PersonID: p.ID, Role: assets.RoleAuditor, CustomerID: h.other.Customer.ID})) // the one that is over is none
}

// TestAnAdministratorWithAnEndIsNotTheLastOne: when the grant ends by itself somebody must be left.
func TestAnAdministratorWithAnEndIsNotTheLastOne(t *testing.T) {
	h := open(t)
	end := assets.InstantOf(h.now.Add(24 * time.Hour))
	h.invite("R. Asquenne", assets.Grant{Role: assets.RoleAdministrator, UntilAt: &end})
	h.refused("ending the only account that lasts", h.door.EndAccount(h.ctx, assets.JobScope(), h.admin.ID, h.admin.ID), "")
	m, err := h.door.Member(h.ctx, assets.JobScope(), h.admin.ID)
	h.must(err)
	h.refused("taking the only grant that lasts back", h.door.EndGrant(h.ctx, assets.JobScope(), h.admin.ID, h.admin.ID, m.Grants[0].ID), "")
}
