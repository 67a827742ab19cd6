package signin

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

type crew struct {
	people []assets.Person
	grants map[int64][]assets.Grant
}

func (c *crew) SignIns(context.Context) ([]assets.Person, error) { return c.people, nil }
func (c *crew) GrantsOf(_ context.Context, id int64) ([]assets.Grant, error) {
	return c.grants[id], nil
}
func (c *crew) AddPerson(_ context.Context, name string, role assets.Role) (assets.Person, error) {
	p := assets.Person{ID: int64(len(c.people) + 1), Name: name, Role: role}
	c.people = append(c.people, p)
	return p, nil
}

func desk() (*Desk, *crew, *time.Time) {
	c := &crew{
		people: []assets.Person{{ID: 1, Name: "I. Vanterel", Role: assets.RolePlanner}},
		grants: map[int64][]assets.Grant{1: {{PersonID: 1, Role: assets.RolePlanner, PlantID: 3}}},
	}
	now := time.Date(2026, 11, 25, 6, 40, 0, 0, time.UTC)
	return NewDesk(c, func() time.Time { return now }), c, &now
}

func signedIn(t *testing.T, d *Desk, id int64) *http.Request {
	t.Helper()
	rec := httptest.NewRecorder()
	if err := d.SignIn(context.Background(), rec, id); err != nil {
		t.Fatal(err)
	}
	c := rec.Result().Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || len(c.Value) < 26 {
		t.Errorf("cookie %+v: wants HttpOnly, SameSite=Lax and 130 bits of chance", c)
	}
	r := httptest.NewRequest("GET", "http://localhost/", nil)
	r.AddCookie(c)
	return r
}

func TestSessionLastsAsLongAsItIsUsed(t *testing.T) {
	d, _, now := desk()
	r := signedIn(t, d, 1)
	for range 3 {
		*now = now.Add(11 * time.Hour)
		if who, ok, err := d.Asking(r); err != nil || !ok || who.Person.Name != "I. Vanterel" {
			t.Fatalf("in use every 11 hours: %v %v %v", who, ok, err)
		}
	}
	*now = now.Add(13 * time.Hour)
	if _, ok, _ := d.Asking(r); ok {
		t.Error("still signed in after 13 hours without a request")
	}
}

func TestSignOutEndsTheSession(t *testing.T) {
	d, _, _ := desk()
	r := signedIn(t, d, 1)
	d.SignOut(httptest.NewRecorder(), r)
	if _, ok, _ := d.Asking(r); ok {
		t.Error("the old cookie still signs in")
	}
}

func TestAnEndedGrantEndsSoon(t *testing.T) {
	d, c, now := desk()
	r := signedIn(t, d, 1)
	c.grants[1] = nil
	*now = now.Add(time.Minute)
	who, ok, err := d.Asking(r)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	if who.May(people.Read, 1, 3) || who.MayAnywhere(people.Read) {
		t.Error("a minute after the grant ended it still opens the plant")
	}
}

func TestOnlyPeopleWithARoleSignIn(t *testing.T) {
	d, _, _ := desk()
	if err := d.SignIn(context.Background(), httptest.NewRecorder(), 42); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("person 42: %v", err)
	}
	r := httptest.NewRequest("GET", "/", nil)
	r.AddCookie(&http.Cookie{Name: cookieName, Value: "guessed"})
	if _, ok, _ := d.Asking(r); ok {
		t.Error("a guessed cookie signs in")
	}
}

func TestRegisterAsksForNameAndRole(t *testing.T) {
	d, c, _ := desk()
	_, err := d.Register(context.Background(), "  ", "caretaker")
	var bad assets.Invalid
	if !errors.As(err, &bad) || bad["name"] == "" || bad["role"] == "" {
		t.Errorf("blank name, unknown role: %v", err)
	}
	p, err := d.Register(context.Background(), "R. Asquenne", assets.RoleTechnician)
	if err != nil || p.Name != "R. Asquenne" || len(c.people) != 2 {
		t.Errorf("%v %v", p, err)
	}
}

func TestPlantAndNoticeRideOnTheSession(t *testing.T) {
	d, _, _ := desk()
	r := signedIn(t, d, 1)
	d.LookAt(r, 3)
	d.Tell(r, "/plants/3?line=2", "Reading kept.")
	other := r.Clone(r.Context())
	other.URL.Path = "/plants/4"
	if d.Told(other) != "" {
		t.Error("the notice is told on another page")
	}
	r.URL.Path = "/plants/3"
	if d.LookedAt(r) != 3 || d.Told(r) != "Reading kept." || d.Told(r) != "" {
		t.Error("plant is kept, a notice is told once")
	}
}

func TestFullDeskDropsTheSessionUsedLongestAgo(t *testing.T) {
	d, _, now := desk()
	first := signedIn(t, d, 1)
	for range most {
		*now = now.Add(time.Second)
		if err := d.SignIn(context.Background(), httptest.NewRecorder(), 1); err != nil {
			t.Fatal(err)
		}
	}
	if _, ok, _ := d.Asking(first); ok || len(d.sessions) > most {
		t.Errorf("%d sessions kept, first still there: %v", len(d.sessions), ok)
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
		if got := FromLoopback(r); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}
