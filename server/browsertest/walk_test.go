//go:build browser

package browsertest

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"
)

func TestShape(t *testing.T) {
	tests := map[string]string{
		"/":                                   "/",
		"/conveyors/17":                       "/conveyors/*",
		"/conveyors/17/belts?page=2":          "/conveyors/*/belts",
		"/plants/3/days/2026-03-29":           "/plants/*/days/*",
		"/orders/":                            "/orders",
		"/imports/0f3ac2b19d6e48aa/refused":   "/imports/*/refused",
		"/reports/splice-age?as-of=2026-01-1": "/reports/splice-age",
	}
	for address, want := range tests {
		if got := Shape(address); got != want {
			t.Errorf("Shape(%q) = %q, want %q", address, got, want)
		}
	}
}

// TestDiscover walks a small site of pages, a file and a loop of links.
func TestDiscover(t *testing.T) {
	pages := map[string]string{
		"/plants/1":  `<a href="/conveyors">Conveyors</a> <a href="/register.csv">file</a> <a href="/register.xlsx" download>book</a>`,
		"/conveyors": `<a href="/conveyors/1">C-1</a> <a href="/conveyors/2">C-2</a> <a href="/">Today</a>`,
		"/conveyors/1": `<a href="/conveyors/1/belts">Belts</a> <form action="/make"><input name="day" value="2026-03-09">
			<select name="scope"><option value="all">All</option></select><button name="as" value="csv">CSV</button></form>`,
		"/conveyors/2":       `<a href="/conveyors/2/belts">known</a> <a href="/conveyors/2/meters/9">only here was a meter replaced</a>`,
		"/conveyors/1/belts": "", "/conveyors/2/meters/9": "",
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, known := pages[r.URL.Path]
		switch {
		case r.URL.Path == "/":
			http.Redirect(w, r, "/plants/1", http.StatusSeeOther)
		case r.URL.Path == "/register.csv":
			w.Header().Set("Content-Type", "text/csv")
		case r.URL.Path == "/make":
			if r.URL.RawQuery != "as=csv&day=2026-03-09&scope=all" {
				http.NotFound(w, r)
				return
			}
			w.Header().Set("Content-Type", "text/csv")
		case !known:
			http.NotFound(w, r)
		default:
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			fmt.Fprint(w, "<!doctype html><title>p</title>"+body)
		}
	}))
	t.Cleanup(server.Close)
	found, err := Discover(browser, server.URL, "/")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range found.Screens {
		names = append(names, s.Name)
	}
	if want := []string{"today", "conveyors", "conveyors-one", "conveyors-one-belts", "conveyors-one-meters-one"}; !slices.Equal(names, want) {
		t.Errorf("found %q, want %q", names, want)
	}
	if want := []string{"/register.csv", "/make?as=csv&day=2026-03-09&scope=all"}; !slices.Equal(found.Files, want) {
		t.Errorf("files %q, want %q: a download is not followed", found.Files, want)
	}
	pages["/conveyors/1"] += `<a href="/dead">gone</a>`
	found, err = Discover(browser, server.URL, "/")
	if want := []string{"/dead, linked from /conveyors/1, answers with status 404"}; err != nil || !slices.Equal(found.Dead, want) {
		t.Errorf("dead links %q, %v; want %q", found.Dead, err, want)
	}
}
