package signin_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/signin"

	"github.com/oauth2-proxy/mockoidc"
)

// asProvider makes the test binary a provider of single sign-on, a process of its own.
const asProvider = "CARRYSIDE_TEST_AS_PROVIDER"

func TestMain(m *testing.M) {
	if os.Getenv(asProvider) == "" {
		os.Exit(m.Run())
	}
	if err := provide(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// provide serves OpenID Connect until its standard input ends. Each line it reads is the subject of who signs in next.
func provide() error {
	m, err := mockoidc.Run()
	if err != nil {
		return err
	}
	if err := json.NewEncoder(os.Stdout).Encode(m.Config()); err != nil {
		return err
	}
	lines := bufio.NewScanner(os.Stdin)
	for lines.Scan() {
		m.QueueUser(&mockoidc.MockUser{Subject: lines.Text(), Email: "i.vanterel@belts.example", EmailVerified: true})
		fmt.Println("queued")
	}
	return m.Shutdown()
}

// elsewhere is the provider as the tests steer it.
type elsewhere struct {
	mockoidc.Config
	in  io.WriteCloser
	out *bufio.Scanner
}

func startProvider(t *testing.T) *elsewhere {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), asProvider+"=1")
	cmd.Stderr = os.Stderr
	e := &elsewhere{}
	if e.in, err = cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		e.in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("the provider ended badly: %v", err)
		}
	})
	e.out = bufio.NewScanner(out)
	if !e.out.Scan() {
		t.Fatal("the provider says nothing")
	}
	if err := json.Unmarshal(e.out.Bytes(), &e.Config); err != nil {
		t.Fatal(err)
	}
	return e
}

// options are those of a server that signs in at the provider.
func (e *elsewhere) options() signin.Options {
	public, _ := url.Parse("https://belts.example")
	return signin.Options{Public: public, Secure: true, Provider: &signin.Provider{Issuer: e.Issuer, ClientID: e.ClientID, Secret: e.ClientSecret, Name: "Works"}}
}

// visit signs a subject in at the provider and returns the address it leads back to.
func (e *elsewhere) visit(t *testing.T, subject, address string) *url.URL {
	t.Helper()
	fmt.Fprintln(e.in, subject)
	e.out.Scan()
	client := &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	r, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	back, err := r.Location()
	if err != nil {
		body, _ := io.ReadAll(r.Body)
		t.Fatalf("the provider answers %d: %.300s", r.StatusCode, body)
	}
	return back
}

// setOut begins at our side.
func (b *browser) setOut(d *signin.Desk, invitation string) (address string, err error) {
	err = b.do("/signin/elsewhere", func(w http.ResponseWriter, r *http.Request) error {
		address, err = d.SetOut(w, r, invitation, "/plants")
		return err
	})
	return address, err
}

// comeBack ends at our side.
func (b *browser) comeBack(d *signin.Desk, back *url.URL) error {
	return b.do(back.RequestURI(), func(w http.ResponseWriter, r *http.Request) error {
		to, err := d.ComeBack(w, r)
		if err == nil && to != "/plants" {
			err = fmt.Errorf("leads to %s", to)
		}
		return err
	})
}

// through goes there and back.
func (e *elsewhere) through(t *testing.T, d *signin.Desk, b *browser, invitation, subject string) error {
	t.Helper()
	address, err := b.setOut(d, invitation)
	if err != nil {
		t.Fatal(err)
	}
	return b.comeBack(d, e.visit(t, subject, address))
}

func TestSingleSignOnLinksAnInvitedPersonAndNobodyElse(t *testing.T) {
	e := startProvider(t)
	h := newHall(t, e.options())
	h.now = time.Now() // the provider has a clock of its own
	_, admin := h.first()
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)

	var no *signin.ErrElsewhere
	stranger := newBrowser()
	if err := e.through(t, h.desk, stranger, "", "subject-of-okkerdal"); !errors.As(err, &no) || h.known(h.desk, stranger) != 0 {
		t.Errorf("somebody not linked, with the mail address of the administrator: %v", err)
	}
	b := newBrowser()
	h.must(e.through(t, h.desk, b, code, "subject-of-okkerdal"))
	if got := h.known(h.desk, b); got != p.ID {
		t.Errorf("the invitation leads to person %d, want %d", got, p.ID)
	}
	if _, err := b.setOut(h.desk, code); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the invitation is good twice: %v", err)
	}
	again := newBrowser()
	h.must(e.through(t, h.desk, again, "", "subject-of-okkerdal"))
	if h.known(h.desk, again) != p.ID {
		t.Error("who is linked is not known the next time")
	}
	code, _ = h.invite(admin, "S. Ilveth", assets.RoleTechnician)
	if err := e.through(t, h.desk, newBrowser(), code, "subject-of-okkerdal"); !errors.As(err, &no) {
		t.Errorf("one account of the provider for two people: %v", err)
	}
	h.must(e.through(t, h.desk, newBrowser(), code, "subject-of-ilveth")) // the invitation stayed good
	h.must(h.door.EndAccount(context.Background(), assets.JobScope(), admin, p.ID))
	if err := e.through(t, h.desk, newBrowser(), "", "subject-of-okkerdal"); !errors.As(err, &no) {
		t.Errorf("after the account ended: %v", err)
	}
}

func TestSingleSignOnTakesOnlyItsOwnAnswerOnce(t *testing.T) {
	e := startProvider(t)
	h := newHall(t, e.options())
	h.now = time.Now()
	_, admin := h.first()
	code, p := h.invite(admin, "M. Okkerdal", assets.RoleTechnician)
	h.must(e.through(t, h.desk, newBrowser(), code, "s1"))
	var no *signin.ErrElsewhere
	refused := func(name string, b *browser, back *url.URL) {
		t.Helper()
		if err := b.comeBack(h.desk, back); !errors.As(err, &no) || h.known(h.desk, b) == p.ID {
			t.Errorf("%s: %v", name, err)
		}
	}
	begin := func() (*browser, *url.URL) {
		b := newBrowser()
		address, err := b.setOut(h.desk, "")
		h.must(err)
		return b, e.visit(t, "s1", address)
	}
	with := func(u *url.URL, key, value string) *url.URL {
		q, other := u.Query(), *u
		q.Set(key, value)
		other.RawQuery = q.Encode()
		return &other
	}

	b, back := begin()
	trip := *b.cookies["__Host-carryside_trip"]
	h.must(b.comeBack(h.desk, back))
	replay := newBrowser()
	replay.cookies[trip.Name] = &trip
	refused("the same answer again, with the cookie of the first time", replay, back)

	_, back = begin()
	refused("an answer to another browser", newBrowser(), back)
	victim, _ := begin()
	refused("an answer that somebody else got, in a browser that waits for its own", victim, back)

	b, back = begin()
	refused("a state that was changed", b, with(back, "state", "AAAA"))
	b, back = begin()
	refused("an answer that names another issuer", b, with(back, "iss", "https://elsewhere.example"))
	b, back = begin()
	refused("no code", b, with(back, "code", ""))
	b, back = begin()
	h.now = h.now.Add(11 * time.Minute)
	refused("after eleven minutes", b, back)
	h.now = time.Now()

	b = newBrowser()
	address, err := b.setOut(h.desk, "")
	h.must(err)
	asked, err := url.Parse(address)
	h.must(err)
	refused("an identity made for another nonce", b, e.visit(t, "s1", with(asked, "nonce", "AAAA").String()))

	// The code of one way, taken up in another: the provider holds verifier and code together (PKCE).
	_, stolen := begin()
	b, back = begin()
	refused("a stolen code", b, with(back, "code", stolen.Query().Get("code")))
}

func TestSingleSignOnAsksWithPKCEStateAndNonce(t *testing.T) {
	e := startProvider(t)
	h := newHall(t, e.options())
	address, err := newBrowser().setOut(h.desk, "")
	h.must(err)
	u, err := url.Parse(address)
	h.must(err)
	q := u.Query()
	if q.Get("code_challenge_method") != "S256" || len(q.Get("code_challenge")) != 43 || len(q.Get("state")) < 26 || len(q.Get("nonce")) < 26 ||
		q.Get("response_type") != "code" || q.Get("redirect_uri") != "https://belts.example/signin/callback" || q.Get("scope") != "openid" {
		t.Errorf("asks with %v", q)
	}
	if strings.Contains(address, e.ClientSecret) {
		t.Error("the secret goes through the browser")
	}
}

func TestAProviderThatIsSomebodyElseIsRefused(t *testing.T) {
	e := startProvider(t)
	o := e.options()
	o.Provider.Issuer = strings.Replace(e.Issuer, "127.0.0.1", "localhost", 1) // answers, and calls itself otherwise
	h := newHall(t, o)
	var no *signin.ErrElsewhere
	if _, err := newBrowser().setOut(h.desk, ""); !errors.As(err, &no) {
		t.Errorf("an issuer that names itself differently: %v", err)
	}

	o = e.options()
	o.Provider.ClientID = "another program" // whose identities are not meant for us
	h = newHall(t, o)
	b := newBrowser()
	address, err := b.setOut(h.desk, "")
	h.must(err)
	u, err := url.Parse(address)
	h.must(err)
	q := u.Query()
	q.Set("client_id", e.ClientID)
	u.RawQuery = q.Encode()
	if err := b.comeBack(h.desk, e.visit(t, "s1", u.String())); !errors.As(err, &no) {
		t.Errorf("an identity for another program: %v", err)
	}
}

func TestWithoutAProviderThereIsNoWayThere(t *testing.T) {
	h := newHall(t, signin.Options{})
	if _, err := newBrowser().setOut(h.desk, ""); !errors.Is(err, assets.ErrNotFound) || h.desk.ProviderName() != "" {
		t.Errorf("%v", err)
	}
}
