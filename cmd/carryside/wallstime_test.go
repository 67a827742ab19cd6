package main

import (
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server"
	"carryside/server/signin"
)

// elsewhere serves the same plants once more, otherwise, and lets whoever enters from now on come there.
func (w *walled) elsewhere(c server.Config) {
	w.t.Helper()
	h, err := server.Handler(c)
	must(w.t, err)
	s := httptest.NewServer(h)
	w.t.Cleanup(s.Close)
	w.house.base = s.URL
}

// TestWhoIsHalfwayInReachesNothing asks for every address as somebody who gave a password alone where a second factor
// is asked: pages lead to setting it up, programs are told to sign in, and nothing is told of any plant.
func TestWhoIsHalfwayInReachesNothing(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	c := w.serving()
	c.Door = signin.Options{Second: signin.NeedOfAll}
	w.elsewhere(c)
	for _, role := range []assets.Role{assets.RoleLead, assets.RoleAdministrator} {
		w.employ("halfway "+string(role), assets.Grant{Role: role})
		a := &asker{visitor: w.enter("halfway " + string(role)), role: role, grant: "all"}
		asked := 0
		for _, rt := range walked(w.routes()) {
			if doorOf(rt.Method, rt.Path) == "open" {
				continue
			}
			path := w.home.address(rt.Path, "", "")
			got := a.ask(rt.Method, path, sending)
			if got.status != http.StatusUnauthorized && (got.status != http.StatusSeeOther || got.to != "/signin/second") {
				t.Errorf("%s: %s %s: %d to %q, want to be led to set it up", role, rt.Method, path, got.status, got.to)
			}
			if strings.Contains(got.body, w.home.mark) {
				t.Errorf("%s: %s %s tells of the plant", role, rt.Method, path)
			}
			asked++
		}
		if asked < 100/walkEvery {
			t.Errorf("only %d addresses were asked", asked)
		}
		if got := a.ask(http.MethodGet, "/signin/second", nil); got.status != http.StatusOK || !strings.Contains(got.body, "/signin/second") {
			t.Errorf("%s: the page that sets it up: %d", role, got.status)
		}
	}
}

// TestAfterItsLastDayAGrantShowsNothing reads every page and file of a plant within the days of a grant and after them,
// by session and by token: then the plant answers as one that is not there, and no page names it.
func TestAfterItsLastDayAGrantShowsNothing(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	now := plantDay.Add(time.Hour)
	w.elsewhere(w.servingAt(func() time.Time { return now }))
	end := assets.InstantOf(now.Add(2 * time.Hour))
	w.employ("for a while", assets.Grant{Role: assets.RoleAuditor, PlantID: w.home.plant, UntilAt: &end})
	a := &asker{visitor: w.enter("for a while"), role: assets.RoleAuditor, grant: "plant", token: w.tokens("for a while")}
	paths := walked(w.readable(w.home))
	open := len(a.readAll(paths))
	if open < 40/walkEvery {
		t.Fatalf("within its days the grant opens %d of %d pages", open, len(paths))
	}
	now = now.Add(2 * time.Hour)
	for _, path := range paths {
		got := a.take(path)
		if strings.Contains(got.without(path), w.home.mark) { // what was asked for may be repeated
			t.Errorf("%s names the plant after the grant ended", path)
		}
		if strings.HasPrefix(path, w.home.address("/plants/:plant", "", "")) && got.status != http.StatusNotFound {
			t.Errorf("%s: %d after the grant ended", path, got.status)
		}
	}
	if got := a.ask(http.MethodGet, "/api/v1/plants", nil); strings.Contains(got.body, w.home.mark) || !slices.Contains([]int{http.StatusOK, http.StatusForbidden, http.StatusUnauthorized}, got.status) {
		t.Errorf("the token still reads: %d %s", got.status, got.body)
	}
}

// TestWhoOpensPagesLikeAProgramIsToldToWait: bursts pass, then pages come at the pace the operator gave and forms ten
// times slower; each person has their own measure, and what is no screen is not counted.
func TestWhoOpensPagesLikeAProgramIsToldToWait(t *testing.T) {
	t.Parallel() // plants of its own
	w := openWalls(t)
	now := plantDay.Add(time.Hour)
	c := w.servingAt(func() time.Time { return now })
	c.PagesPerSecond = 2
	w.elsewhere(c)
	one, other := w.asker(assets.RoleLead, "all"), w.asker(assets.RolePlanner, "all")
	passed := func(a *asker, method, path string, tries int) (n int) {
		for range tries {
			switch got := a.ask(method, path, nil); got.status {
			case http.StatusTooManyRequests:
				if got.header.Get("Retry-After") == "" {
					t.Error("it does not say when to come again")
				}
			default:
				n++
			}
		}
		return n
	}
	if n := passed(one, http.MethodGet, "/account", 100); n != 61 {
		t.Errorf("%d pages at once, want half a minute's worth and one", n)
	}
	if n := passed(other, http.MethodGet, "/account", 10); n != 10 {
		t.Errorf("somebody else's pages: %d of 10", n)
	}
	now = now.Add(10 * time.Second)
	if n := passed(one, http.MethodGet, "/account", 100); n != 20 {
		t.Errorf("%d pages in the ten seconds after, want two a second", n)
	}
	if n := passed(one, http.MethodGet, "/healthz", 30); n != 30 {
		t.Errorf("what is no screen: %d of 30", n)
	}
	now = now.Add(time.Hour)
	if n := passed(one, http.MethodPost, "/account/sessions", 40); n != 13 {
		t.Errorf("%d forms at once, want a minute's worth and one", n)
	}
	nobody := w.nobody()
	if n := passed(nobody, http.MethodGet, "/signin", 100); n != 61 {
		t.Errorf("%d pages at once at an address nobody is signed in at", n)
	}
}
