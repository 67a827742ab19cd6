package signin_test

import (
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/signin"
)

// The whole way with a device is walked in a real browser (server/browsertest); here is what must not work.

func keyHall(t *testing.T) (*hall, *browser) {
	t.Helper()
	public, err := url.Parse("https://belts.example")
	if err != nil {
		t.Fatal(err)
	}
	h := newHall(t, signin.Options{Public: public, Secure: true})
	b, _ := h.first()
	return h, b
}

func (b *browser) askPasskey(d *signin.Desk) error {
	return b.do("/signin/passkey/ask", func(w http.ResponseWriter, r *http.Request) error {
		_, err := d.AskPasskey(w, r)
		return err
	})
}

func (b *browser) byPasskey(d *signin.Desk, answer string) error {
	return b.do("/signin/passkey", func(w http.ResponseWriter, r *http.Request) error { return d.ByPasskey(w, r, []byte(answer)) })
}

func TestAPasskeysAnswerIsTakenOnceAndWhereItWasAskedFor(t *testing.T) {
	h, _ := keyHall(t)
	if err := newBrowser().byPasskey(h.desk, "{}"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("an answer nobody asked for: %v", err)
	}
	b := newBrowser()
	h.must(b.askPasskey(h.desk))
	trip := *b.cookies["__Host-carryside_trip"]
	var bad assets.Invalid
	for _, nonsense := range []string{"", "{}", "null", strings.Repeat("[", 50_000), `{"id":"x","rawId":"x","type":"public-key","response":{}}`} {
		again := newBrowser()
		h.must(again.askPasskey(h.desk))
		if err := again.byPasskey(h.desk, nonsense); !errors.As(err, &bad) {
			t.Errorf("%.20q: %v", nonsense, err)
		}
	}
	if err := b.byPasskey(h.desk, "{}"); !errors.As(err, &bad) {
		t.Errorf("an answer that does not hold: %v", err)
	}
	b.cookies[trip.Name] = &trip
	if err := b.byPasskey(h.desk, "{}"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("the same way a second time: %v", err)
	}
	late := newBrowser()
	h.must(late.askPasskey(h.desk))
	h.now = h.now.Add(11 * time.Minute)
	if err := late.byPasskey(h.desk, "{}"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("after eleven minutes: %v", err)
	}
}

func TestAPasskeyIsMadeByWhomItIsFor(t *testing.T) {
	h, admin := keyHall(t)
	offer := func(b *browser, name string) (options any, err error) {
		err = b.do("/account/passkeys", func(w http.ResponseWriter, r *http.Request) error {
			options, err = h.desk.OfferPasskey(w, r, name)
			return err
		})
		return options, err
	}
	if _, err := offer(newBrowser(), "phone"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("for nobody: %v", err)
	}
	var bad assets.Invalid
	if _, err := offer(admin, " "); !errors.As(err, &bad) || bad["name"] == "" {
		t.Errorf("without a name: %v", err)
	}
	options, err := offer(admin, "phone")
	h.must(err)
	text, err := json.Marshal(options)
	h.must(err)
	for _, want := range []string{`"id":"belts.example"`, `"residentKey":"required"`, `"userVerification":"required"`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the device is asked without %s: %s", want, text)
		}
	}
	if strings.Contains(string(text), `"excludeCredentials":[{`) {
		t.Error("a device is named that holds no passkey")
	}
	// The way of making one is no way of signing in.
	if err := admin.byPasskey(h.desk, "{}"); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("signs in by it: %v", err)
	}
	if err := admin.do("/account/passkeys/remove", func(_ http.ResponseWriter, r *http.Request) error { return h.desk.RemovePasskey(r, 1) }); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("removes what is not there: %v", err)
	}
}

func TestWaysToAPasskeyAreCountedByAddress(t *testing.T) {
	h, _ := keyHall(t)
	var wait *signin.Wait
	for i := range 201 {
		err := newBrowser().askPasskey(h.desk)
		if i < 200 && err != nil || i == 200 && !errors.As(err, &wait) {
			t.Fatalf("way %d: %v", i+1, err)
		}
	}
}

func TestConfirmingAsksForThePasswordOrAFreshSignIn(t *testing.T) {
	h, admin := keyHall(t)
	confirm := func(b *browser, password string) error {
		return b.do("/account", func(_ http.ResponseWriter, r *http.Request) error { return h.desk.Confirm(r, password) })
	}
	var bad assets.Invalid
	if err := confirm(admin, ""); !errors.As(err, &bad) || bad["password"] == "" {
		t.Errorf("without the password: %v", err)
	}
	h.must(confirm(admin, secret))
	if err := confirm(newBrowser(), secret); !errors.Is(err, assets.ErrForbidden) {
		t.Errorf("nobody confirms: %v", err)
	}
}
