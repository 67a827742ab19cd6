package main

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"carryside/assets"

	"github.com/PuerkitoBio/goquery"
)

// TestEveryPageOfANewInstallationOpens begins an installation, adds a plant of which nothing is known, and follows every link that its
// first person is shown: nothing that a plant has not got yet (a conveyor, a stop, a company set up) may close a page.
func TestEveryPageOfANewInstallationOpens(t *testing.T) {
	first := begun(t)
	first.post("/plants/new", url.Values{"customer": {"Skarrow Harbour"}, "name": {"Skarrow Grain Terminal"}, "zone": {"Europe/Oslo"}, "unit_system": {string(assets.UnitsSI)}, "currency": {"NOK"}}, http.StatusOK)
	seen, next := map[string]bool{}, []string{"/plants", "/plants/1"}
	for len(next) > 0 {
		at, err := url.Parse(next[0])
		must(t, err)
		next = next[1:]
		kind := at.Path + "?" + strings.Join(slices.Sorted(maps.Keys(at.Query())), "&")
		if seen[kind] {
			continue // the same page of another day, or in another order
		}
		seen[kind], seen[at.Path] = true, true
		page, status := first.read(first.client.Get(first.base + at.RequestURI()))
		if status != http.StatusOK {
			t.Errorf("%s answers %d: %s", at, status, page.Find("h1").Text())
		}
		page.Find("a[href^='/']").Each(func(_ int, a *goquery.Selection) { next = append(next, a.AttrOr("href", "")) })
	}
	for _, page := range []string{"horizon", "stores", "belts", "orders", "life", "reports", "journal", "stops"} {
		if !seen["/plants/1/"+page] {
			t.Errorf("no link leads to %s", page)
		}
	}
	t.Logf("%d pages", len(seen))
}
