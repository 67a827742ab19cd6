package main

import (
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb/plantdbtest"

	"github.com/PuerkitoBio/goquery"
)

// newcomer is a browser of somebody who is not signed in yet.
func (v *visitor) newcomer() *visitor {
	jar, err := cookiejar.New(nil)
	must(v.t, err)
	return &visitor{house: v.house, client: &http.Client{Jar: jar}}
}

// handed reads the address that a page hands over, without its host.
func handed(t *testing.T, page *goquery.Document) (path, code string) {
	t.Helper()
	u, err := url.Parse(page.Find("input.wholeline").AttrOr("value", ""))
	if err != nil || u.Query().Get("code") == "" {
		t.Fatalf("no address is handed over: %v %s", err, page.Find("main").Text())
	}
	return u.RequestURI(), u.Query().Get("code")
}

// takeUp signs up, or sets a new password, behind an address.
func (v *visitor) takeUp(code, name, password string, want int) *goquery.Document {
	v.t.Helper()
	return v.post("/join", url.Values{"code": {code}, "sign_in_name": {name}, "password": {password}, "again": {password}}, want)
}

// signIn fills the sign-in page.
func (v *visitor) signIn(name, password string, want int) *goquery.Document {
	v.t.Helper()
	return v.post("/signin", url.Values{"name": {name}, "password": {password}}, want)
}

// begun is an installation with its first administrator signed in.
func begun(t *testing.T) *visitor {
	t.Helper()
	s := serveAs(t, "--db", plantdbtest.Address(t), "--listen", "127.0.0.1:0")
	if status, _ := s.join(); status != http.StatusOK {
		t.Fatalf("signing up: %d", status)
	}
	return &visitor{house: &house{t: t, base: s.base}, client: s.client}
}

// pageOf is the address of a person's page, by their name in the list of people.
func (v *visitor) pageOf(name string) string {
	v.t.Helper()
	return v.get("/people").Find("a[href^='/people/']").FilterFunction(func(_ int, a *goquery.Selection) bool { return a.Text() == name }).AttrOr("href", "")
}

// everyPlantOf is the place of a grant that reaches every plant of a customer.
func (v *visitor) everyPlantOf(customer string) string {
	v.t.Helper()
	return v.get("/people/new").Find("option").FilterFunction(func(_ int, o *goquery.Selection) bool { return o.Text() == "every plant of "+customer }).AttrOr("value", "")
}

func TestAnAdministratorAloneKeepsPeopleAndSeesNoPlant(t *testing.T) {
	admin := begun(t)
	admin.post("/plants/new", url.Values{"customer": {"Skarrow Harbour"}, "name": {"Skarrow Grain Terminal"}, "zone": {"Europe/Oslo"}, "unit_system": {string(assets.UnitsSI)}, "currency": {"NOK"}}, http.StatusOK)
	page := admin.get("/people/1")
	lead := page.Find("tr").FilterFunction(func(_ int, tr *goquery.Selection) bool { return tr.Find("td.tag").Text() == "lead" }).Find("button").AttrOr("value", "")
	admin.post("/people/1/grants/end", url.Values{"grant": {lead}}, http.StatusOK)
	if at := admin.get("/").Find("h1").Text(); !strings.Contains(at, "can sign in") {
		t.Errorf("at home the page says %q", at)
	}
	for path, want := range map[string]int{"/plants": http.StatusForbidden, "/plants/1": http.StatusNotFound, "/plants/1/belts": http.StatusNotFound, "/people": http.StatusOK, "/account": http.StatusOK} {
		d, status := admin.read(admin.client.Get(admin.base + path))
		if status != want {
			t.Errorf("%s: %d, want %d", path, status, want)
		}
		if strings.Contains(d.Text(), "Skarrow") {
			t.Errorf("%s names the plant", path)
		}
	}
	admin.post("/people/1/grants/end", url.Values{"grant": {page.Find("button[name=grant]").First().AttrOr("value", "")}}, http.StatusUnprocessableEntity)
}

func TestAnInvitedPersonSeesTheirPlantAndLosesItAgain(t *testing.T) {
	admin := begun(t)
	for _, name := range []string{"Skarrow Grain Terminal", "Ostrel Lime Works"} {
		admin.post("/plants/new", url.Values{"customer": {name + " Holding"}, "name": {name}, "zone": {"Europe/Oslo"}, "unit_system": {string(assets.UnitsSI)}, "currency": {"NOK"}}, http.StatusOK)
	}
	refused := admin.post("/people/new", url.Values{"name": {" "}, "role": {"king"}, "where": {"p77"}}, http.StatusUnprocessableEntity)
	if n := refused.Find("[aria-invalid=true]").Length(); n != 2 {
		t.Errorf("%d fields are marked", n)
	}
	path, code := handed(t, admin.post("/people/new", url.Values{"name": {"M. Okkerdal"}, "role": {"technician"}, "where": {"p1"}}, http.StatusOK))
	fitter := admin.newcomer()
	fitter.get(path)
	if d := fitter.takeUp(code, "m.okkerdal", "12345678", http.StatusUnprocessableEntity); !strings.Contains(d.Find(".note.bad").Text(), "guesser") {
		t.Errorf("a common password: %s", d.Find(".note.bad").Text())
	}
	fitter.takeUp(code, "m.okkerdal", doorSecret, http.StatusOK)
	if h := fitter.get("/plants").Find("main").Text(); !strings.Contains(h, "Skarrow") || strings.Contains(h, "Ostrel") {
		t.Errorf("sees %s", h)
	}
	if _, status := fitter.read(fitter.client.Get(fitter.base + "/people")); status != http.StatusForbidden {
		t.Errorf("a technician opens the people: %d", status)
	}
	person := admin.pageOf("M. Okkerdal")
	admin.post(person+"/grants", url.Values{"role": {"technician"}, "where": {"p1"}}, http.StatusUnprocessableEntity)
	admin.post(person+"/grants", url.Values{"role": {"auditor"}, "where": {admin.everyPlantOf("Ostrel Lime Works Holding")}}, http.StatusOK)
	grants := admin.get(person).Find("button[name=grant]")
	if grants.Length() != 2 {
		t.Fatalf("%d grants", grants.Length())
	}
	grants.Each(func(_ int, b *goquery.Selection) {
		admin.post(person+"/grants/end", url.Values{"grant": {b.AttrOr("value", "")}}, http.StatusOK)
	})
	if at := fitter.get("/").Find("main").Text(); !strings.Contains(at, "none: you see no plant") { // the same server: at once
		t.Errorf("without a grant: %s", at)
	}
	_, again := handed(t, admin.post(person+"/address", nil, http.StatusOK))
	admin.newcomer().takeUp(again, "", "pebble otter  Quill", http.StatusOK)
	if d := fitter.get("/account"); d.Find("input[name=password]").Length() != 1 || d.Find("h1").Text() != "Sign in to see your plants" {
		t.Errorf("after a new password the old session still opens %q", d.Find("h1").Text())
	}
	admin.post(person+"/account", nil, http.StatusOK)
	fitter.signIn("m.okkerdal", "pebble otter  Quill", http.StatusUnprocessableEntity)
}

func TestTheAccountPageAsksForThePassword(t *testing.T) {
	here := begun(t)
	there := here.newcomer()
	there.signIn("i.vanterel", doorSecret, http.StatusOK)
	wrong := here.post("/account/sessions", url.Values{"end": {"others"}, "password": {"not it"}}, http.StatusUnprocessableEntity)
	if says := wrong.Find("[role=alert]").Text(); !strings.Contains(says, "not your password") {
		t.Errorf("the page says %q", says)
	}
	there.get("/account")
	here.post("/account/sessions", url.Values{"end": {"others"}, "password": {doorSecret}}, http.StatusOK)
	if at := there.get("/account").Find("h1").Text(); !strings.Contains(at, "Sign in") {
		t.Errorf("the other session goes on: %s", at)
	}
	d := here.post("/account/password", url.Values{"password": {doorSecret}, "new_password": {"pebble otter  Quill"}, "again": {"pebble otter Quill"}}, http.StatusUnprocessableEntity)
	if d.Find("#f-pw-again[aria-invalid=true]").Length() != 1 || strings.Contains(d.Find("main").Text(), "Quill") || d.Find("input[value*=Quill]").Length() != 0 {
		t.Error("two that differ: the field is marked, and neither is sent back")
	}
	here.post("/account/password", url.Values{"password": {doorSecret}, "new_password": {"pebble otter  Quill"}, "again": {"pebble otter  Quill"}}, http.StatusOK)
	there.signIn("i.vanterel", doorSecret, http.StatusUnprocessableEntity)
	there.signIn("i.vanterel", "pebble otter  Quill", http.StatusOK)
	for i := range 6 {
		want := http.StatusUnprocessableEntity
		if i == 5 {
			want = http.StatusTooManyRequests
		}
		d = here.newcomer().signIn("nobody", fmt.Sprint("guess", i), want)
	}
	if says := d.Find("[role=alert]").Text(); !strings.Contains(says, "ten\u00a0minutes") {
		t.Errorf("the sixth try is told %q", says)
	}
}

// TestAPlannerOfOneCustomerAddsPlantsToThatCustomerOnly: also where another role lets them see a second customer's plants.
func TestAPlannerOfOneCustomerAddsPlantsToThatCustomerOnly(t *testing.T) {
	admin := begun(t)
	plant := func(customer, name string) url.Values {
		return url.Values{"customer": {customer}, "name": {name}, "zone": {"Europe/Oslo"}, "unit_system": {string(assets.UnitsSI)}, "currency": {"NOK"}}
	}
	for _, name := range []string{"Skarrow", "Ostrel"} {
		admin.post("/plants/new", plant(name+" Holding", name+" One"), http.StatusOK)
	}
	_, code := handed(t, admin.post("/people/new", url.Values{"name": {"R. Asquenne"}, "role": {"planner"}, "where": {"c1"}}, http.StatusOK))
	admin.post(admin.pageOf("R. Asquenne")+"/grants", url.Values{"role": {"customer viewer"}, "where": {admin.everyPlantOf("Ostrel Holding")}}, http.StatusOK)
	planner := admin.newcomer()
	planner.takeUp(code, "r.asquenne", doorSecret, http.StatusOK)
	if n := planner.get("/plants").Find("a[href='/plants/new']").Length(); n != 1 {
		t.Errorf("%d links to add a plant", n)
	}
	var offered []string
	planner.get("/plants/new").Find("select[name=customer] option").Each(func(_ int, o *goquery.Selection) { offered = append(offered, o.Text()) })
	if strings.Join(offered, ", ") != "Skarrow Holding" {
		t.Errorf("offered are %q", offered)
	}
	for _, customer := range []string{"Ostrel Holding", "Somebody New"} {
		planner.post("/plants/new", plant(customer, "Two"), http.StatusUnprocessableEntity)
	}
	planner.post("/plants/new", plant("Skarrow Holding", "Skarrow Two"), http.StatusOK)
	if text := admin.get("/plants").Find("main").Text(); !strings.Contains(text, "Skarrow Two") || strings.Contains(text, "Somebody New") {
		t.Errorf("the plants are %s", text)
	}
}
