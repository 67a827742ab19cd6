package signin_test

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/signin"

	"github.com/pquerna/otp/totp"
)

// enter gives a code after a password.
func (b *browser) enter(d *signin.Desk, code string) error {
	return b.do("/signin/code", func(w http.ResponseWriter, r *http.Request) error { return d.ByCode(w, r, code) })
}

// protect sets a second factor up for whoever is at a browser; it returns the seed and the recovery codes.
func (h *hall) protect(b *browser) (seed string, recovery []string) {
	h.t.Helper()
	var s signin.Setup
	h.must(b.do("/second", func(w http.ResponseWriter, r *http.Request) (err error) {
		s, err = h.desk.OfferSecond(w, r)
		return err
	}))
	seed = strings.ReplaceAll(s.Seed, " ", "")
	h.must(b.do("/second/code", func(w http.ResponseWriter, r *http.Request) (err error) {
		recovery, _, err = h.desk.TakeSecond(w, r, h.shown(seed))
		return err
	}))
	return seed, recovery
}

// shown is what an app shows now.
func (h *hall) shown(seed string) string {
	h.t.Helper()
	code, err := totp.GenerateCode(seed, h.now)
	h.must(err)
	return code
}

// TestCodesAreThoseOfTheStandard signs in with the seed, times and codes of RFC 6238, appendix B (its eight digits for
// SHA-1, of which six-digit codes are the last six).
func TestCodesAreThoseOfTheStandard(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	h.must(h.door.SetSecondFactor(t.Context(), &assets.SecondFactor{PersonID: admin, Seed: "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"}, 0, nil, 0))
	for _, c := range []struct {
		seconds int64
		code    string
	}{{59, "94287082"}, {1111111109, "07081804"}, {1111111111, "14050471"}, {1234567890, "89005924"}, {2000000000, "69279037"}, {20000000000, "65353130"}} {
		h.now = time.Unix(c.seconds, 0)
		b := newBrowser()
		if err := b.signIn(h.desk, "i.vanterel", secret); !errors.As(err, new(*signin.MoreProof)) {
			t.Fatalf("the password alone: %v", err)
		}
		if h.known(h.desk, b) != 0 {
			t.Fatal("the password alone lets somebody in")
		}
		if err := b.enter(h.desk, c.code[2:]); err != nil {
			t.Errorf("at %d the code %s is refused: %v", c.seconds, c.code[2:], err)
		}
		if h.known(h.desk, b) != admin {
			t.Errorf("at %d nobody is in", c.seconds)
		}
	}
}

// TestACodeHoldsForItsHalfMinuteAndOnce: the running one and the one before are taken, each once.
func TestACodeHoldsForItsHalfMinuteAndOnce(t *testing.T) {
	h := newHall(t, signin.Options{})
	first, admin := h.first()
	seed, _ := h.protect(first)
	begin := h.now.Add(10 * time.Minute).Truncate(30 * time.Second)
	h.now = begin
	code := h.shown(seed)
	for _, c := range []struct {
		after time.Duration
		taken bool
	}{{-time.Second, false}, {60 * time.Second, false}, {59 * time.Second, true}, {59 * time.Second, false}} {
		h.now = begin.Add(c.after)
		b := newBrowser()
		_ = b.signIn(h.desk, "i.vanterel", secret)
		err := b.enter(h.desk, code[:3]+" "+code[3:])
		if (err == nil) != c.taken || (h.known(h.desk, b) == admin) != c.taken {
			t.Errorf("%s after its half minute began: %v", c.after, err)
		}
	}
}

func TestARecoveryCodeLetsInOnce(t *testing.T) {
	h := newHall(t, signin.Options{})
	first, admin := h.first()
	_, recovery := h.protect(first)
	if len(recovery) != 10 {
		t.Fatalf("%d recovery codes", len(recovery))
	}
	for i, c := range []struct {
		code  string
		taken bool
	}{{recovery[0], true}, {recovery[0], false}, {strings.ToLower(strings.ReplaceAll(recovery[9], "-", " ")), true}, {"AAAA-BBBB-CCCC-DDDD-EEEE-FFFF", false}} {
		b := newBrowser()
		_ = b.signIn(h.desk, "i.vanterel", secret)
		if err := b.enter(h.desk, c.code); (err == nil) != c.taken || (h.known(h.desk, b) == admin) != c.taken {
			t.Errorf("try %d: %v, want taken %v", i, err, c.taken)
		}
	}
	if _, left, err := h.desk.SecondFactor(t.Context(), admin); err != nil || left != 8 {
		t.Errorf("%d are left (%v), want 8", left, err)
	}
	var kept []string
	h.must(h.db.SQL(t.Context()).Raw("SELECT code_hash FROM recovery_codes").Scan(&kept).Error)
	for _, hash := range kept {
		if len(hash) != 64 || strings.Contains(strings.Join(recovery, ""), hash) {
			t.Errorf("a recovery code is kept as %q", hash)
		}
	}
}

// TestCodesAreNotGuessed: ten wrong ones in ten minutes, from wherever, and the right one waits too.
func TestCodesAreNotGuessed(t *testing.T) {
	h := newHall(t, signin.Options{})
	first, _ := h.first()
	seed, _ := h.protect(first)
	h.now = h.now.Add(time.Minute)
	right := h.shown(seed)
	wrong := "000000"
	if right == wrong {
		wrong = "000001"
	}
	for i := range 10 {
		b := newBrowser()
		b.from = "198.51.100." + string(rune('1'+i%9))
		_ = b.signIn(h.desk, "i.vanterel", secret)
		if err := b.enter(h.desk, wrong); !errors.As(err, new(assets.Invalid)) {
			t.Fatalf("wrong code %d: %v", i, err)
		}
	}
	b := newBrowser()
	_ = b.signIn(h.desk, "i.vanterel", secret)
	if err := b.enter(h.desk, right); !errors.As(err, new(*signin.Wait)) {
		t.Errorf("the eleventh, right, is not made to wait: %v", err)
	}
	h.now = h.now.Add(11 * time.Minute)
	_ = b.signIn(h.desk, "i.vanterel", secret)
	if err := b.enter(h.desk, h.shown(seed)); err != nil {
		t.Errorf("after ten minutes: %v", err)
	}
}

// TestNoCodeWithoutThePassword: the code belongs to the browser that gave the password, a moment ago.
func TestNoCodeWithoutThePassword(t *testing.T) {
	h := newHall(t, signin.Options{})
	first, _ := h.first()
	seed, _ := h.protect(first)
	h.now = h.now.Add(time.Minute)
	if err := newBrowser().enter(h.desk, h.shown(seed)); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("without a password: %v", err)
	}
	b := newBrowser()
	_ = b.signIn(h.desk, "i.vanterel", secret)
	h.now = h.now.Add(11 * time.Minute)
	if err := b.enter(h.desk, h.shown(seed)); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("eleven minutes after the password: %v", err)
	}
}

// TestASecondFactorIsAskedOfWhomTheInstallationSays: who is asked and has none is halfway in, and every page stays
// shut until it is set up.
func TestASecondFactorIsAskedOfWhomTheInstallationSays(t *testing.T) {
	for _, c := range []struct {
		need  signin.Need
		role  assets.Role
		asked bool
	}{
		{signin.NeedOfWhoChose, assets.RoleLead, false},
		{signin.NeedOfKeepers, assets.RoleAdministrator, true}, {signin.NeedOfKeepers, assets.RoleLead, true}, {signin.NeedOfKeepers, assets.RoleAuditor, true},
		{signin.NeedOfKeepers, assets.RoleTechnician, false}, {signin.NeedOfKeepers, assets.RoleCustomerViewer, false},
		{signin.NeedOfAll, assets.RoleTechnician, true}, {signin.NeedOfAll, assets.RoleCustomerViewer, true},
	} {
		h := newHall(t, signin.Options{})
		_, admin := h.first()
		code, p := h.invite(admin, "M. Okkerdal", c.role)
		h.desk = h.server(signin.Options{Second: c.need})
		b := newBrowser()
		h.must(b.join(h.desk, code, signin.Joining{SignInName: "m.okkerdal", Password: secret, Again: secret}))
		for _, way := range []string{"signing up", "signing in"} {
			who, half, err := h.desk.Halfway(b.request("/"))
			h.must(err)
			if half != c.asked || half && who.Person.ID != p.ID || (h.known(h.desk, b) == 0) != c.asked {
				t.Errorf("%s as %s where it is asked of %q: halfway %v, in %v", way, c.role, c.need, half, h.known(h.desk, b) != 0)
			}
			h.must(b.signIn(h.desk, "m.okkerdal", secret))
		}
		if !c.asked {
			continue
		}
		h.now = h.now.Add(31 * time.Minute)
		if _, half, _ := h.desk.Halfway(b.request("/")); half {
			t.Error("half an hour later the password still opens the way in")
		}
		h.must(b.signIn(h.desk, "m.okkerdal", secret))
		h.protect(b)
		if h.known(h.desk, b) != p.ID {
			t.Errorf("%s is not in after setting it up", c.role)
		}
		if err := h.desk.RemoveSecond(b.request("/account")); !errors.As(err, new(assets.Invalid)) {
			t.Errorf("what is asked is removed: %v", err)
		}
	}
}

// TestANewPasswordIsNoWayRoundASecondFactor, nor is setting up another with the password alone.
func TestANewPasswordIsNoWayRoundASecondFactor(t *testing.T) {
	h := newHall(t, signin.Options{Second: signin.NeedOfAll})
	b, _ := h.first()
	seed, _ := h.protect(b)
	admin := h.known(h.desk, b)
	h.now = h.now.Add(time.Minute)
	code, row := signin.NewCode(assets.CodeNewPassword, admin, admin, h.now)
	h.must(h.door.MakeCode(t.Context(), &row))
	other := newBrowser()
	if err := other.join(h.desk, code, signin.Joining{Password: secret + "!", Again: secret + "!"}); !errors.As(err, new(*signin.MoreProof)) {
		t.Fatalf("a new password alone: %v", err)
	}
	if h.known(h.desk, other) != 0 {
		t.Error("a new password alone lets somebody in")
	}
	if err := other.do("/second", func(w http.ResponseWriter, r *http.Request) error { _, err := h.desk.OfferSecond(w, r); return err }); !errors.Is(err, assets.ErrForbidden) {
		t.Errorf("another second factor by the password alone: %v", err)
	}
	h.must(other.enter(h.desk, h.shown(seed)))
	if h.known(h.desk, other) != admin {
		t.Error("with the code nobody is in")
	}
}

// TestAPasskeyIsNotPutAsideByAPassword where more than a password is asked.
func TestAPasskeyIsNotPutAsideByAPassword(t *testing.T) {
	public, err := url.Parse("https://belts.example")
	if err != nil {
		t.Fatal(err)
	}
	h := newHall(t, signin.Options{Second: signin.NeedOfAll, Public: public})
	b, _ := h.first()
	admin, half, err := h.desk.Halfway(b.request("/"))
	h.must(err)
	if !half {
		t.Fatal("the first administrator is not asked for a second factor")
	}
	h.must(h.door.AddPasskey(t.Context(), &assets.Passkey{PersonID: admin.Person.ID, Name: "phone", CredentialID: "id", Credential: "{}"}, 0))
	if err := newBrowser().signIn(h.desk, "i.vanterel", secret); !errors.As(err, new(*signin.UsePasskey)) {
		t.Errorf("by password: %v", err)
	}
	if err := b.do("/second", func(w http.ResponseWriter, r *http.Request) error { _, err := h.desk.OfferSecond(w, r); return err }); !errors.As(err, new(assets.Invalid)) {
		t.Errorf("another second proof by the password alone: %v", err)
	}
}

// TestASecondFactorEndsTheOtherSessions and none begun by a password alone stays.
func TestASecondFactorEndsTheOtherSessions(t *testing.T) {
	h := newHall(t, signin.Options{})
	here, admin := h.first()
	there := newBrowser()
	h.must(there.signIn(h.desk, "i.vanterel", secret))
	h.protect(here)
	if h.known(h.desk, here) != admin || h.known(h.desk, there) != 0 {
		t.Errorf("here %d, there %d", h.known(h.desk, here), h.known(h.desk, there))
	}
	all, _, err := h.desk.OwnSessions(here.request("/account"))
	h.must(err)
	if len(all) != 1 || all[0].Way != assets.ByPasswordAndCode {
		t.Errorf("sessions: %+v", all)
	}
	if strings.Contains(h.log.String(), "code=") {
		t.Error("the log tells a code")
	}
}
