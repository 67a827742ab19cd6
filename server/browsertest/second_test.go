//go:build browser

package browsertest

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"
)

// seedShown is a seed as the page shows it to be typed.
var seedShown = regexp.MustCompile(`(?:[A-Z2-7]{4} ){7}[A-Z2-7]{4}`)

// awaitSignUp waits for the one-time address that a first start prints.
func awaitSignUp(t *testing.T, program *Program) string {
	t.Helper()
	for range 50 {
		if address := printedSignUp.FindString(program.Output()); address != "" {
			return address
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("no sign-up address: %s", program.Output())
	return ""
}

// TestASecondFactorFromSetUpToSignIn goes the way of an installation that asks everybody for more than a password: sign
// up, set up the app, keep the recovery codes, sign in again with password and code.
func TestASecondFactorFromSetUpToSignIn(t *testing.T) {
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	program, err := StartServe(context.Background(), "../..", "--second-factor", "everybody")
	must(err)
	t.Cleanup(func() {
		if err := program.Stop(); err != nil {
			t.Error(err)
		}
	})
	b, err := Start(context.Background())
	must(err)
	t.Cleanup(b.Close)
	p, err := b.Open(awaitSignUp(t, program), Desk)
	must(err)
	t.Cleanup(p.Close)
	must(p.fillIn("Begin", map[string]string{"name": "I. Vanterel", "sign_in_name": "i.vanterel", "password": doorSecret, "again": doorSecret}))
	must(p.awaitPath("/signin/second"))
	sound(t, p, "second")
	must(p.Click("form[action='/signin/second'] button"))
	sound(t, p, "second-scan")
	text, err := p.Text()
	must(err)
	seed := strings.ReplaceAll(seedShown.FindString(text), " ", "")
	code := func(at time.Time) string {
		code, err := totp.GenerateCode(seed, at)
		must(err)
		return code
	}
	must(p.fillIn("Keep it", map[string]string{"code": code(time.Now())}))
	must(p.awaitText("Recovery codes"))
	sound(t, p, "recovery")
	must(p.Click("p.dobar a.btn"))
	must(p.Go(program.URL + "/account"))
	sound(t, p, "account-second")
	must(p.Go(program.URL + "/people/1"))
	sound(t, p, "person-second")
	must(p.Click("form[action='/signout'] button"))
	must(p.fillIn("Sign in", map[string]string{"name": "i.vanterel", "password": doorSecret}))
	must(p.awaitPath("/signin/code"))
	sound(t, p, "code")
	must(p.fillIn("Sign in", map[string]string{"code": "12"}))
	picture(t, p, "code-refused")
	_, err = p.Complaints() // the browser's own line about that refusal
	must(err)
	time.Sleep(time.Until(time.Now().Truncate(30 * time.Second).Add(31 * time.Second))) // the running code was used
	must(p.fillIn("Sign in", map[string]string{"code": code(time.Now())}))
	must(p.awaitPath("/plants"))
}
