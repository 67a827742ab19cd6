package signin_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/signin"
)

func TestASessionSurvivesARestartAndIsSharedByServers(t *testing.T) {
	h := newHall(t, signin.Options{})
	b, admin := h.first()
	other := h.server(signin.Options{})
	if h.known(other, b) != admin {
		t.Error("another server, or this one started again, does not know the session")
	}
	h.must(b.do("/signout", func(w http.ResponseWriter, r *http.Request) error {
		for name := range b.cookies {
			defer func() { b.cookies[name] = r.CookiesNamed(name)[0] }() // a thief keeps the cookie
		}
		return h.desk.SignOut(w, r)
	}))
	if h.known(h.desk, b) != 0 {
		t.Error("the server that signed out still knows the cookie")
	}
	h.now = h.now.Add(5 * time.Second)
	if h.known(other, b) != 0 {
		t.Error("five seconds later another server still knows it")
	}
}

func TestASessionEndsIdleAndInAnyCase(t *testing.T) {
	h := newHall(t, signin.Options{})
	b, admin := h.first()
	began := h.now
	for h.now.Sub(began) < 7*24*time.Hour-11*time.Hour {
		h.now = h.now.Add(11 * time.Hour)
		if h.known(h.desk, b) != admin {
			t.Fatalf("in use every 11 hours it ended after %v", h.now.Sub(began))
		}
	}
	h.now = began.Add(7 * 24 * time.Hour)
	if h.known(h.desk, b) != 0 {
		t.Error("after seven days it goes on")
	}
	h.must(b.signIn(h.desk, "i.vanterel", secret))
	h.now = h.now.Add(12*time.Hour + time.Second)
	if h.known(h.desk, b) != 0 || h.known(h.server(signin.Options{}), b) != 0 {
		t.Error("after twelve hours without a request it goes on")
	}
}

func TestAPlantedTokenIsWorthNothing(t *testing.T) {
	h := newHall(t, signin.Options{})
	thief, admin := h.first()
	planted := thief.cookies["carryside_session"].Value
	victim := newBrowser()
	victim.cookies["carryside_session"] = &http.Cookie{Name: "carryside_session", Value: planted}
	h.must(victim.signIn(h.desk, "i.vanterel", secret))
	if victim.cookies["carryside_session"].Value == planted {
		t.Error("the token stays through the sign-in")
	}
	if h.known(h.desk, victim) != admin || h.known(h.desk, thief) != 0 {
		t.Error("whoever planted the token is signed in with it")
	}
	guess := newBrowser()
	guess.cookies["carryside_session"] = &http.Cookie{Name: "carryside_session", Value: "AAAAAAAAAAAAAAAAAAAAAAAAAA"}
	if h.known(h.desk, guess) != 0 {
		t.Error("a guessed token signs in")
	}
}

func TestCookiesBelongToTheHostByHTTPS(t *testing.T) {
	h := newHall(t, signin.Options{Secure: true})
	b, _ := h.first()
	c := b.cookies["__Host-carryside_session"]
	if c == nil || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" || len(c.Value) < 26 {
		t.Errorf("cookie %+v: wants __Host-, Secure, HttpOnly, SameSite=Lax, the whole host and 130 bits of chance", c)
	}
}

func TestNoSecretStandsInTheDatabaseOrTheLog(t *testing.T) {
	h := newHall(t, signin.Options{})
	b, admin := h.first()
	code, _ := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	if err := newBrowser().signIn(h.desk, "a password typed as name", "mistyped secret"); err == nil {
		t.Fatal("signed in")
	}
	ctx := context.Background()
	var everything strings.Builder
	for _, table := range []string{"accounts", "sessions", "sign_up_codes", "passkeys", "identities", "journal_entries", "grants"} {
		var rows []map[string]any
		h.must(h.db.SQL(ctx).Raw("SELECT * FROM " + table).Scan(&rows).Error)
		text, err := json.Marshal(rows)
		h.must(err)
		everything.Write(text)
	}
	var hash string
	h.must(h.db.SQL(ctx).Raw("SELECT password_hash FROM accounts").Scan(&hash).Error)
	if !strings.HasPrefix(hash, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("the password is kept as %.40s", hash)
	}
	for what, s := range map[string]string{"token": b.cookies["carryside_session"].Value, "code": code, "password": secret} {
		if strings.Contains(everything.String(), s) || strings.Contains(h.log.String(), s) {
			t.Errorf("the %s can be read", what)
		}
	}
	if strings.Contains(h.log.String(), "mistyped") || strings.Contains(h.log.String(), "typed as name") {
		t.Error("the log has what somebody typed, a password perhaps")
	}
	var entries []string
	h.must(h.db.SQL(ctx).Raw("SELECT action || changes FROM journal_entries").Scan(&entries).Error)
	journal := strings.Join(entries, "\n")
	if strings.Contains(journal, "argon2id") || !strings.Contains(journal, "sign up the first administrator") || !strings.Contains(journal, "invite a person") {
		t.Errorf("the journal tells %s", journal)
	}
}

func TestTheOwnSessionsAreListedAndEnded(t *testing.T) {
	h := newHall(t, signin.Options{})
	here, admin := h.first()
	there, third := newBrowser(), newBrowser()
	there.from = "198.51.100.9"
	h.must(there.signIn(h.desk, "i.vanterel", secret))
	h.now = h.now.Add(time.Hour)
	h.must(third.signIn(h.desk, "i.vanterel", secret))
	all, current, err := h.desk.OwnSessions(here.request("/account"))
	h.must(err)
	if len(all) != 3 || current == 0 || all[0].Browser != "test browser" {
		t.Fatalf("%d sessions, this one %d: %+v", len(all), current, all)
	}
	var id int64
	for _, s := range all {
		if s.Address == "198.51.100.9" {
			id = s.ID
		}
	}
	h.must(h.desk.EndOwn(here.request("/account"), id))
	if h.known(h.desk, there) != 0 || h.known(h.desk, third) != admin {
		t.Error("the one that was chosen ends, the others go on")
	}
	h.must(h.desk.EndOwn(here.request("/account"), 0))
	if h.known(h.desk, third) != 0 || h.known(h.desk, here) != admin {
		t.Error("all others end, this one goes on")
	}
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	fitter := newBrowser()
	h.must(fitter.join(h.desk, code, signin.Joining{SignInName: "m", Password: secret, Again: secret}))
	_, own, err := h.desk.OwnSessions(here.request("/account"))
	h.must(err)
	if err := h.desk.EndOwn(fitter.request("/account"), own); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a technician ends the administrator's session: %v", err)
	}
	h.must(h.door.EndSessions(context.Background(), admin, p.ID, 0)) // the administrator does, at another server
	h.now = h.now.Add(5 * time.Second)
	if h.known(h.desk, fitter) != 0 {
		t.Error("five seconds after the administrator ended it a session goes on")
	}
}

func TestAnEndedGrantAndAnEndedAccountEndSoon(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	ctx := context.Background()
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	fitter := newBrowser()
	h.must(fitter.join(h.desk, code, signin.Joining{SignInName: "m", Password: secret, Again: secret}))
	grants, err := h.door.GrantsOf(ctx, p.ID)
	h.must(err)
	h.must(h.door.EndGrant(ctx, assets.JobScope(), admin, p.ID, grants[0].ID))
	h.now = h.now.Add(5 * time.Second)
	who, ok, err := h.desk.Asking(fitter.request("/"))
	h.must(err)
	if !ok || who.MayAnywhere(people.Read) {
		t.Errorf("five seconds after the grant ended: %v %+v", ok, who.Grants)
	}
	h.must(h.door.EndAccount(ctx, assets.JobScope(), admin, p.ID))
	h.now = h.now.Add(5 * time.Second)
	if h.known(h.desk, fitter) != 0 {
		t.Error("the session of an ended account goes on")
	}
	if err := newBrowser().signIn(h.desk, "m", secret); err == nil {
		t.Error("an ended account signs in")
	}
}

func TestPlantAndNoticeRideOnTheSession(t *testing.T) {
	h := newHall(t, signin.Options{})
	b, _ := h.first()
	h.desk.LookAt(b.request("/plants/3"), 3)
	h.desk.Tell(b.request("/plants/3"), "/plants/3?line=2", "Reading kept.")
	other := h.server(signin.Options{})
	if told := other.Told(b.request("/plants/4")); told != "" {
		t.Errorf("told on another page: %q", told)
	}
	if told := other.Told(b.request("/plants/3")); told != "Reading kept." {
		t.Errorf("another server tells %q", told)
	}
	if told := other.Told(b.request("/plants/3")); told != "" {
		t.Errorf("told twice: %q", told)
	}
	if got := other.LookedAt(b.request("/")); got != 3 {
		t.Errorf("looked at plant %d last, want 3", got)
	}
}

func TestAPageCostsAtMostOneReadOfTheSession(t *testing.T) {
	h := newHall(t, signin.Options{})
	b, admin := h.first()
	reads := &countedReads{Store: h.door}
	desk, err := signin.NewDesk(reads, h.clock, h.quiet(), signin.Options{})
	h.must(err)
	for range 20 { // twenty pages, each asking several times, in a second
		h.now = h.now.Add(50 * time.Millisecond)
		if h.known(desk, b) != admin {
			t.Fatal("not known")
		}
		desk.LookAt(b.request("/plants/3"), 3)
		desk.Told(b.request("/plants/3"))
	}
	stale := newBrowser()
	stale.cookies["carryside_session"] = &http.Cookie{Name: "carryside_session", Value: "of long ago"}
	for range 3 {
		if h.known(desk, stale) != 0 || desk.Told(stale.request("/signin")) != "" {
			t.Fatal("a token of long ago is known")
		}
	}
	if reads.n != 2 {
		t.Errorf("%d reads, want one for each of the two tokens", reads.n)
	}
	if reads.kept > 1 {
		t.Errorf("%d writes for twenty pages within a second, want one at most", reads.kept)
	}
}

// countedReads counts what a desk asks its database.
type countedReads struct {
	signin.Store
	n, kept int
}

func (c *countedReads) AskingSession(ctx context.Context, hash string, now assets.Instant) (assets.Session, assets.Person, []assets.Grant, error) {
	c.n++
	return c.Store.AskingSession(ctx, hash, now)
}

func (c *countedReads) KeepSession(ctx context.Context, s assets.Session) error {
	c.kept++
	return c.Store.KeepSession(ctx, s)
}

func TestOneClickIsTheDemonstrationsAndForThisMachine(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	click := func(d *signin.Desk, from string) error {
		r := httptest.NewRequest("POST", "http://localhost:8080/signin", nil)
		r.RemoteAddr = from
		return d.OneClick(httptest.NewRecorder(), r, admin)
	}
	if err := click(h.desk, "127.0.0.1:5000"); !errors.Is(err, assets.ErrForbidden) {
		t.Errorf("an installation signs in with one click: %v", err)
	}
	demo := h.server(signin.Options{Demo: true})
	if err := click(demo, "192.0.2.7:5000"); !errors.Is(err, assets.ErrForbidden) {
		t.Errorf("the demonstration lets another machine in: %v", err)
	}
	h.must(click(demo, "127.0.0.1:5000"))
}

func TestWhereARequestComesFrom(t *testing.T) {
	o := signin.Options{Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/30"), netip.MustParsePrefix("fd00::/64")}}
	tests := []struct{ name, peer, forwarded, want string }{
		{"no proxy", "192.0.2.7:5000", "", "192.0.2.7"},
		{"somebody who says they are a proxy", "192.0.2.7:5000", "203.0.113.5", "192.0.2.7"},
		{"through the proxy", "10.0.0.1:5000", "192.0.2.7", "192.0.2.7"},
		{"through two of ours", "10.0.0.1:5000", "192.0.2.7, 10.0.0.2", "192.0.2.7"},
		{"what a client put before it", "10.0.0.1:5000", "203.0.113.5, 192.0.2.7", "192.0.2.7"},
		{"the proxy itself", "10.0.0.1:5000", "", "10.0.0.1"},
		{"nonsense passed on", "10.0.0.1:5000", "192.0.2.7, nonsense", "10.0.0.1"},
		{"with a port", "10.0.0.1:5000", "192.0.2.7:4711", "192.0.2.7"},
		{"IPv6", "[fd00::1]:5000", "2001:db8::5", "2001:db8::5"},
		{"IPv4 written as IPv6", "[::ffff:10.0.0.1]:5000", "192.0.2.7", "192.0.2.7"},
	}
	for _, tt := range tests {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = tt.peer
		if tt.forwarded != "" {
			r.Header.Set("X-Forwarded-For", tt.forwarded)
		}
		if got := o.From(r); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

func TestFromLoopbackLooksAtAddressAndHost(t *testing.T) {
	tests := []struct {
		name, from, host string
		want             bool
	}{
		{"this machine by name", "127.0.0.1:5000", "localhost:8080", true},
		{"this machine by address", "127.0.0.1:5000", "127.0.0.1:8080", true},
		{"IPv6", "[::1]:5000", "[::1]:8080", true},
		{"IPv6 without a port", "[::1]:5000", "[::1]", true},
		{"a name pointed at loopback by somebody else", "127.0.0.1:5000", "plant.example:8080", false},
		{"another machine", "192.0.2.7:5000", "localhost:8080", false},
		{"no address", "", "localhost", false},
	}
	for _, tt := range tests {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr, r.Host = tt.from, tt.host
		if got := signin.FromLoopback(r); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}

func TestPasskeysNeedAHostsName(t *testing.T) {
	for address, want := range map[string]bool{"": false, "https://belts.example": true, "http://localhost:8080": true, "http://belts.example": false,
		"http://127.0.0.1:8080": false, "https://192.0.2.7": false} {
		o := signin.Options{}
		if address != "" {
			o.Public, _ = url.Parse(address)
		}
		if got := newHall(t, o).desk.Passkeys(); got != want {
			t.Errorf("%q: %v, want %v", address, got, want)
		}
	}
}
