//go:build browser

package browsertest

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
)

// printedSignUp finds the one-time address in what the program prints.
var printedSignUp = regexp.MustCompile(`http://\S+/join\?code=[A-Z2-7]{26}`)

// doorSecret is a password that fits the rules.
const doorSecret = "heron gravel Lantern 7"

// fillIn fills fields by their name in the form that has the button, and presses it.
func (p *Page) fillIn(button string, fields map[string]string) error {
	var set strings.Builder
	for name, value := range fields {
		fmt.Fprintf(&set, "form.elements[%q].value = %q;", name, value)
	}
	found, err := Script[bool](p, fmt.Sprintf(`(() => {
		const wanted = [...document.querySelectorAll('form button')].find((b) => b.textContent.trim() === %q);
		if (!wanted) return false;
		const form = wanted.form;
		%s
		wanted.setAttribute('data-press', '');
		return true;
	})()`, button, set.String()))
	if err != nil || !found {
		text, _ := p.Text() // only for the message
		return fmt.Errorf("no form with the button %q (%v): %.400s", button, err, text)
	}
	return p.Click("[data-press]")
}

// awaitPath waits until script has led the page to a path.
func (p *Page) awaitPath(path string) error {
	said := ""
	for range 100 {
		at, err := Script[string](p, "location.pathname + ' ' + document.readyState + ' ' + [...document.querySelectorAll('[role=alert]:not([hidden])')].map((e) => e.textContent).join(' ')")
		if err == nil {
			if said = at; strings.HasPrefix(at, path+" complete") {
				return nil
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("not led to %s but at %s", path, said)
}

// picture keeps a picture where one is asked for, for people to look at.
func picture(t *testing.T, p *Page, name string) {
	t.Helper()
	dir := os.Getenv("CARRYSIDE_TEST_PICTURES")
	if dir == "" {
		return
	}
	for _, view := range Views() {
		if err := p.Look(view); err != nil {
			t.Fatal(err)
		}
		if err := p.SavePicture(dir, name); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.Look(Desk); err != nil {
		t.Fatal(err)
	}
}

// sound wants a page without faults in every view.
func sound(t *testing.T, p *Page, name string) {
	t.Helper()
	picture(t, p, name)
	for _, view := range Views() {
		if err := p.Look(view); err != nil {
			t.Fatal(err)
		}
		faults, err := p.Faults()
		if err != nil {
			t.Fatal(err)
		}
		if len(faults) > 0 {
			t.Errorf("%s, %s: %s", name, view.Name, strings.Join(faults, "\n\t"))
		}
	}
	if err := p.Look(Desk); err != nil {
		t.Fatal(err)
	}
}

// TestFromTheFirstStartToPasskeys goes the way of a new installation: its first administrator signs up, invites
// somebody, makes a passkey, and signs in by it.
func TestFromTheFirstStartToPasskeys(t *testing.T) {
	program, err := StartServe(context.Background(), "../..")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := program.Stop(); err != nil {
			t.Error(err)
		}
	})
	address := printedSignUp.FindString(program.Output())
	for range 50 { // the line follows the one with the address
		if address != "" {
			break
		}
		time.Sleep(100 * time.Millisecond)
		address = printedSignUp.FindString(program.Output())
	}
	if address == "" {
		t.Fatalf("no sign-up address: %s", program.Output())
	}
	b, err := Start(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	p, err := b.Open(address, Desk)
	must(err)
	t.Cleanup(p.Close)
	sound(t, p, "join")
	must(p.fillIn("Begin", map[string]string{"name": "", "sign_in_name": "", "password": "short", "again": ""}))
	picture(t, p, "join-refused")
	_, err = p.Complaints() // the browser's own line about that refusal
	must(err)
	must(p.fillIn("Begin", map[string]string{"name": "I. Vanterel", "sign_in_name": "i.vanterel", "password": doorSecret, "again": doorSecret}))
	at, err := p.URL()
	must(err)
	if !strings.HasSuffix(at, "/plants") {
		t.Fatalf("signed up, the browser is at %s", at)
	}
	must(p.Go(program.URL + "/people/new"))
	sound(t, p, "people-new")
	must(p.fillIn("Invite", map[string]string{"name": "M. Okkerdal", "role": "technician"}))
	sound(t, p, "invited")
	must(p.Go(program.URL + "/people"))
	sound(t, p, "people")
	must(p.Click("a[href^='/people/']:not([href='/people/1']):not([href='/people/new'])"))
	sound(t, p, "person")

	must(p.Go(program.URL + "/account"))
	authenticator(t, p)
	must(p.fillInScript("Add a passkey", map[string]string{"name": "test key", "password": "not it"}))
	must(p.awaitText("this was try 1"))
	_, err = p.Complaints() // the browser's own line about that refusal
	must(err)
	must(p.fillInScript("Add a passkey", map[string]string{"name": "test key", "password": doorSecret}))
	must(p.awaitText("The passkey is kept"))
	sound(t, p, "account")
	must(p.Click("form[action='/signout'] button"))
	sound(t, p, "signin")
	must(p.fillIn("Sign in", map[string]string{"name": "i.vanterel", "password": "wrong"}))
	picture(t, p, "signin-refused")
	must(p.Go(program.URL + "/signin?to=%2Faccount"))
	_, err = chromedp.Run(p.ctx, chromedp.Click(chromedp.CSS("[data-passkey-signin] button")))
	must(err)
	must(p.awaitPath("/account"))
	text, err := p.Text()
	must(err)
	if !strings.Contains(text, "test key") || !strings.Contains(text, "passkey") {
		t.Errorf("signed in by passkey the account page says %.600s", text)
	}
	must(p.fillIn("Remove", map[string]string{"password": doorSecret}))
	must(p.Click("form[action='/signout'] button"))
	_, err = chromedp.Run(p.ctx, chromedp.Click(chromedp.CSS("[data-passkey-signin] button")))
	must(err)
	must(p.awaitText("was not taken"))
}

// fillInScript fills a form that script sends.
func (p *Page) fillInScript(button string, fields map[string]string) error {
	var set strings.Builder
	for name, value := range fields {
		fmt.Fprintf(&set, "form.elements[%q].value = %q;", name, value)
	}
	_, err := Script[bool](p, fmt.Sprintf(`(() => {
		const wanted = [...document.querySelectorAll('form button')].find((b) => b.textContent.trim() === %q);
		const form = wanted.form;
		%s
		form.requestSubmit(wanted);
		return true;
	})()`, button, set.String()))
	return err
}

// awaitText waits until a page says something.
func (p *Page) awaitText(want string) error {
	said := ""
	for range 100 {
		text, err := p.Text()
		if err == nil {
			if said = text; strings.Contains(text, want) {
				return nil
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("the page does not say %q but %.900s", want, said)
}

// authenticator gives the page a device that holds passkeys and knows its owner by a finger.
func authenticator(t *testing.T, p *Page) {
	t.Helper()
	if _, err := chromedp.Call(p.ctx, webauthn.Enable, webauthn.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	_, err := chromedp.Call(p.ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal, HasResidentKey: true, HasUserVerification: true,
		IsUserVerified: true, AutomaticPresenceSimulation: true}})
	if err != nil {
		t.Fatal(err)
	}
}
