package signin_test

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/server/signin"
)

// hall is a server's door over a real database.
type hall struct {
	t    *testing.T
	db   *plantdb.DB
	door *accounts.Door
	desk *signin.Desk
	now  time.Time
	log  strings.Builder
}

// secret is a password that fits the rules.
const secret = "heron gravel  Lantern 7"

func newHall(t *testing.T, o signin.Options) *hall {
	t.Helper()
	h := &hall{t: t, db: plantdbtest.Open(t), now: time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)}
	h.door = &accounts.Door{DB: h.db, Now: h.clock}
	h.desk = h.server(o)
	return h
}

func (h *hall) clock() time.Time { return h.now }

// server is one more server on the same database.
func (h *hall) server(o signin.Options) *signin.Desk {
	h.t.Helper()
	d, err := signin.NewDesk(h.door, h.clock, slog.New(slog.NewTextHandler(&h.log, nil)), o)
	h.must(err)
	return d
}

func (h *hall) must(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// browser is one browser with its cookies.
type browser struct {
	from    string
	cookies map[string]*http.Cookie
}

func newBrowser() *browser { return &browser{from: "192.0.2.7", cookies: map[string]*http.Cookie{}} }

// request is what the browser sends.
func (b *browser) request(path string) *http.Request {
	r := httptest.NewRequest("GET", "http://belts.example"+path, nil)
	r.RemoteAddr = b.from + ":4000"
	r.Header.Set("User-Agent", "test browser")
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	return r
}

// do runs something of the desk for a request of the browser, and keeps the cookies it sets.
func (b *browser) do(path string, fn func(w http.ResponseWriter, r *http.Request) error) error {
	rec := httptest.NewRecorder()
	err := fn(rec, b.request(path))
	for _, c := range rec.Result().Cookies() {
		if c.MaxAge < 0 {
			delete(b.cookies, c.Name)
			continue
		}
		b.cookies[c.Name] = c
	}
	return err
}

func (b *browser) signIn(d *signin.Desk, name, password string) error {
	return b.do("/signin", func(w http.ResponseWriter, r *http.Request) error { return d.SignIn(w, r, name, password) })
}

// known returns who the browser is to a server; 0 when nobody.
func (h *hall) known(d *signin.Desk, b *browser) int64 {
	h.t.Helper()
	who, ok, err := d.Asking(b.request("/"))
	h.must(err)
	if !ok {
		return 0
	}
	return who.Person.ID
}

func (b *browser) join(d *signin.Desk, code string, j signin.Joining) error {
	return b.do("/join", func(w http.ResponseWriter, r *http.Request) error {
		o, err := d.Offered(r.Context(), code)
		if err != nil {
			return err
		}
		return d.Join(w, r, o, j)
	})
}

// first signs the first administrator up.
func (h *hall) first() (*browser, int64) {
	h.t.Helper()
	code, err := signin.FirstCode(context.Background(), h.door, h.now, false)
	h.must(err)
	b := newBrowser()
	h.must(b.join(h.desk, code, signin.Joining{Name: "I. Vanterel", SignInName: "i.vanterel", Password: secret, Again: secret}))
	return b, h.known(h.desk, b)
}

// invite has the administrator invite somebody; it returns the secret of the address.
func (h *hall) invite(by int64, name string, role assets.Role) (string, assets.Person) {
	h.t.Helper()
	code, row := signin.NewCode(assets.CodeInvitation, 0, by, h.now)
	p, err := h.door.Invite(context.Background(), assets.JobScope(), by, name, assets.Grant{Role: role}, &row)
	h.must(err)
	return code, p
}

// quiet is a log that goes nowhere.
func (h *hall) quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }
