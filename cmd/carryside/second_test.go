package main

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/server/signin"

	"github.com/PuerkitoBio/goquery"
	"github.com/pquerna/otp/totp"
)

func TestASecondFactorIsAskedWhereOthersCanCome(t *testing.T) {
	cert, key := certificate(t)
	for _, tt := range []struct {
		name string
		args []string
		want signin.Need
	}{
		{"this machine alone", nil, signin.NeedOfWhoChose},
		{"this machine alone with a certificate", []string{"--tls-cert", cert, "--tls-key", key}, signin.NeedOfWhoChose},
		{"the network", []string{"--listen", ":8443", "--tls-cert", cert, "--tls-key", key}, signin.NeedOfAll},
		{"the network in the clear", []string{"--listen", ":8080", "--insecure-http"}, signin.NeedOfAll},
		{"a proxy on this machine", []string{"--public-url", "https://belts.example", "--trusted-proxy", "127.0.0.1"}, signin.NeedOfAll},
		{"the network, of keepers", []string{"--listen", ":8443", "--tls-cert", cert, "--tls-key", key, "--second-factor", "keepers"}, signin.NeedOfKeepers},
		{"the network, left to people", []string{"--listen", ":8443", "--tls-cert", cert, "--tls-key", key, "--second-factor", "choice"}, signin.NeedOfWhoChose},
		{"this machine, of everybody", []string{"--second-factor", "everybody"}, signin.NeedOfAll},
	} {
		d, err := flagsOf(t, tt.args...)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
		} else if d.Second != tt.want {
			t.Errorf("%s: asked of %q, want %q", tt.name, d.Second, tt.want)
		}
	}
	if _, err := flagsOf(t, "--breached-passwords", "nowhere.txt"); err == nil || !strings.Contains(err.Error(), "nowhere.txt") {
		t.Errorf("a list that is not there: %v", err)
	}
}

// plainText is what a page says, with plain blanks.
func plainText(page *goquery.Document) string {
	return strings.ReplaceAll(page.Find("main").Text(), "\u00a0", " ")
}

// scanned is the seed as a page shows it to be typed.
func scanned(t *testing.T, page *goquery.Document) string {
	t.Helper()
	seed := strings.ReplaceAll(page.Find(".seed").Text(), " ", "")
	if len(seed) != 32 || page.Find("svg.scan").Length() != 1 {
		t.Fatalf("no seed to scan or type: %s", page.Find("main").Text())
	}
	return seed
}

// TestASecondFactorFromSignUpToLoss goes the way of an installation that asks everybody for one: nothing opens before it
// is set up; then password and code; then a recovery code; then the telephone is lost.
func TestASecondFactorFromSignUpToLoss(t *testing.T) {
	s := serveAs(t, "--db", plantdbtest.Address(t), "--listen", "127.0.0.1:0", "--second-factor", "everybody")
	s.join()
	admin := &visitor{house: &house{t: t, base: s.base}, client: s.client}
	app := func(seed string) string { // the code of the next half minute is not yet, that of the running one may be used
		code, err := totp.GenerateCode(seed, time.Now())
		must(t, err)
		return code
	}
	setUp := func(v *visitor) (seed string, recovery []string) {
		if says := v.get("/people").Find("h1").Text(); !strings.Contains(says, "not enough") {
			t.Fatalf("before it is set up the page says %q", says)
		}
		seed = scanned(t, v.post("/signin/second", nil, http.StatusOK))
		again := v.post("/signin/second/code", url.Values{"code": {"12345"}}, http.StatusUnprocessableEntity)
		if scanned(t, again) != seed {
			t.Error("after a wrong code another seed is shown")
		}
		page := v.post("/signin/second/code", url.Values{"code": {app(seed)}}, http.StatusOK)
		page.Find(".codes li").Each(func(_ int, li *goquery.Selection) { recovery = append(recovery, li.Text()) })
		return seed, recovery
	}
	_, _ = setUp(admin)
	_, code := handed(t, admin.post("/people/new", url.Values{"name": {"M. Okkerdal"}, "role": {"technician"}, "where": {"all"}}, http.StatusOK))
	fitter := admin.newcomer()
	fitter.takeUp(code, "m.okkerdal", doorSecret, http.StatusOK)
	_, recovery := setUp(fitter)
	if len(recovery) != 10 {
		t.Fatalf("%d recovery codes", len(recovery))
	}
	if page := plainText(fitter.get("/account")); !strings.Contains(page, "Ten recovery codes are left") || !strings.Contains(page, "password and code") {
		t.Errorf("the account page says %s", page)
	}
	fitter.post("/account/second/remove", url.Values{"password": {doorSecret}}, http.StatusUnprocessableEntity)
	fitter.post("/account/second/recovery", url.Values{"password": {"not it"}}, http.StatusUnprocessableEntity)
	fresh := fitter.post("/account/second/recovery", url.Values{"password": {doorSecret}}, http.StatusOK).Find(".codes li").First().Text()

	elsewhere := admin.newcomer()
	if says := elsewhere.signIn("m.okkerdal", doorSecret, http.StatusOK).Find("h1").Text(); !strings.Contains(says, "code") {
		t.Fatalf("after the password the page says %q", says)
	}
	elsewhere.post("/signin/code", url.Values{"code": {recovery[0]}}, http.StatusUnprocessableEntity) // newer ones took its place
	elsewhere.post("/signin/code", url.Values{"code": {fresh}, "to": {"/account"}}, http.StatusOK)
	if page := plainText(elsewhere.get("/account")); !strings.Contains(page, "password and recovery code") {
		t.Errorf("the account page says %s", page)
	}

	person := admin.pageOf("M. Okkerdal")
	admin.post(person+"/second", nil, http.StatusUnprocessableEntity)
	admin.post(person+"/second", url.Values{"proof": {"works badge seen at the gate"}}, http.StatusOK)
	if says := elsewhere.get("/account").Find("h1").Text(); !strings.Contains(says, "Sign in") {
		t.Errorf("after it was taken away a session goes on: %q", says)
	}
	elsewhere.signIn("m.okkerdal", doorSecret, http.StatusOK)
	setUp(elsewhere)
	admin.post("/people/1/second", url.Values{"proof": {"it is me"}}, http.StatusUnprocessableEntity) // another administrator does
}

// TestGrantsAreGivenForDays gives a grant with days by the form, and reads them back on the pages.
func TestGrantsAreGivenForDays(t *testing.T) {
	admin := begun(t)
	admin.post("/plants/new", url.Values{"customer": {"Skarrow Harbour"}, "name": {"Skarrow Grain Terminal"}, "zone": {"America/New_York"}, "unit_system": {string(assets.UnitsUS)}, "currency": {"USD"}}, http.StatusOK)
	day := func(days int) string { return time.Now().UTC().AddDate(0, 0, days).Format(time.DateOnly) }
	for field, values := range map[string]url.Values{"until": {"until": {day(-3)}}, "until before from": {"from": {day(9)}, "until": {day(5)}}, "from": {"from": {"soon"}}} {
		values.Set("name", "S. Ilveth")
		values.Set("role", "auditor")
		values.Set("where", "p1")
		name, _, _ := strings.Cut(field, " ")
		if d := admin.post("/people/new", values, http.StatusUnprocessableEntity); d.Find("[name="+name+"][aria-invalid=true]").Length() != 1 {
			t.Errorf("%s is not marked: %s", field, d.Find(".note.bad").Text())
		}
	}
	_, code := handed(t, admin.post("/people/new", url.Values{"name": {"S. Ilveth"}, "role": {"auditor"}, "where": {"p1"}, "from": {day(2)}, "until": {day(20)}}, http.StatusOK))
	auditor := admin.newcomer()
	auditor.takeUp(code, "s.ilveth", doorSecret, http.StatusOK)
	if at := auditor.get("/").Find("main").Text(); !strings.Contains(at, "none: you see no plant") {
		t.Errorf("before the first day: %s", at)
	}
	from, err := time.Parse(time.DateOnly, day(2))
	must(t, err)
	for _, path := range []string{"/people", admin.pageOf("S. Ilveth")} {
		if text := plainText(admin.get(path)); !strings.Contains(text, "from "+from.Format("Mon 2 Jan 2006")+", up to ") {
			t.Errorf("%s does not say when the grant holds: %s", path, text)
		}
	}
}

// TestAnAdministratorAloneIsToldAboutTokens: the page opens, and says why a token would open nothing.
func TestAnAdministratorAloneIsToldAboutTokens(t *testing.T) {
	admin := begun(t)
	page := admin.get("/people/1")
	lead := page.Find("tr").FilterFunction(func(_ int, tr *goquery.Selection) bool { return tr.Find("td.tag").Text() == "lead" }).Find("button").AttrOr("value", "")
	admin.post("/people/1/grants/end", url.Values{"grant": {lead}}, http.StatusOK)
	if admin.get("/account").Find("a[href='/tokens']").Length() != 1 {
		t.Error("the account page does not lead to the tokens")
	}
	if text := admin.get("/tokens").Find("main").Text(); !strings.Contains(text, "would open nothing") {
		t.Errorf("the page of tokens says %s", text)
	}
	day := time.Now().UTC().AddDate(0, 0, 9).Format(time.DateOnly)
	admin.post("/tokens", url.Values{"name": {"control room"}, "may": {"read"}, "expires": {day}}, http.StatusUnprocessableEntity)
}
