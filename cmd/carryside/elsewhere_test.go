package main

import (
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"

	"carryside/assets/plantdb/plantdbtest"

	"github.com/PuerkitoBio/goquery"
	"github.com/oauth2-proxy/mockoidc"
)

// freePort is an address of localhost that nobody listens on.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer l.Close()
	_, port, err := net.SplitHostPort(l.Addr().String())
	must(t, err)
	return net.JoinHostPort("localhost", port)
}

// An administrator invites somebody, who takes the invitation up with the company's single sign-on and later comes
// back by it: through the screens, by their own links.
func TestAnInvitedPersonComesInByTheCompanysSingleSignOn(t *testing.T) {
	provider, err := mockoidc.Run()
	must(t, err)
	t.Cleanup(func() {
		if err := provider.Shutdown(); err != nil {
			t.Error(err)
		}
	})
	t.Setenv("CARRYSIDE_SSO_SECRET", provider.ClientSecret)
	at := freePort(t)
	s := serveAs(t, "--db", plantdbtest.Address(t), "--listen", at, "--public-url", "http://"+at,
		"--sso-issuer", provider.Issuer(), "--sso-client-id="+provider.ClientID, "--sso-name", "Works")
	s.join()
	v := &visitor{house: &house{t: t, base: s.base}, client: s.client}
	handed := v.post("/people/new", url.Values{"name": {"M. Okkerdal"}, "role": {"technician"}, "where": {"all"}}, http.StatusOK)
	address, err := url.Parse(handed.Find("input.wholeline").AttrOr("value", ""))
	must(t, err)
	if !strings.HasPrefix(address.String(), s.base+"/join?code=") {
		t.Fatalf("handed over: %s: %s", address, handed.Text())
	}

	fitter := func() *visitor {
		jar, err := cookiejar.New(nil)
		must(t, err)
		return &visitor{house: v.house, client: &http.Client{Jar: jar}}
	}
	arrive := func(who *visitor, page string) {
		t.Helper()
		way := who.get(page).Find("a.btn.alt").FilterFunction(func(_ int, a *goquery.Selection) bool { return strings.HasSuffix(a.Text(), "Works") }).AttrOr("href", "")
		if way == "" {
			t.Fatalf("%s offers no single sign-on", page)
		}
		if d := who.get(way); !strings.Contains(d.Find(".beltbar").Text(), "M. Okkerdal, technician") {
			t.Errorf("%s leads to %s, signed in as %q", way, d.Find("h1").Text(), strings.TrimSpace(d.Find(".beltbar").Text()))
		}
	}
	first := fitter()
	arrive(first, address.RequestURI())
	first.get("/account") // knows where the person comes from
	arrive(fitter(), "/signin")
	if _, status := v.read(fitter().client.Get(s.base + address.RequestURI())); status != http.StatusNotFound {
		t.Errorf("the invitation opens a second time: %d", status)
	}
	led, err := http.NewRequest(http.MethodGet, s.base+"/signin/elsewhere", nil)
	must(t, err)
	led.Header.Set("Sec-Fetch-Site", "cross-site")
	if d, _ := v.read(fitter().client.Do(led)); d.Find("input[name=password]").Length() != 1 {
		t.Errorf("another site's page gets somebody signed in: %s", d.Find(".beltbar").Text())
	}
	if d, status := v.read(fitter().client.Get(s.base + "/signin/callback?code=x&state=y")); status != http.StatusForbidden || !strings.Contains(d.Text(), "not begun in this browser") {
		t.Errorf("an answer nobody asked for: %d %s", status, d.Find("main").Text())
	}
}
