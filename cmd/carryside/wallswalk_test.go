//go:build !race && !postgres

package main

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"carryside/assets"
)

// TestNumbersInFormsAreOfTheOwnPlant sends every form of the home plant with the numbers of things elsewhere in every
// field that names a thing: it answers as for a number that is nowhere, and refuses both.
func TestNumbersInFormsAreOfTheOwnPlant(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	tried, forms := 0, map[string]bool{}
	for _, grant := range grants {
		a := w.asker(assets.RoleLead, grant)
		for _, p := range a.readAll(w.readable(w.home)) {
			if !strings.HasPrefix(p.header.Get("Content-Type"), "text/html") {
				continue
			}
			for _, f := range w.formsOf(p.path, p.body) {
				forms[f.to] = true
				for field, before := range f.ids {
					if field == "reach" {
						before = "p"
					}
					if slices.Contains(figures, field) || strings.HasPrefix(field, "p") && numberIn.MatchString(field) {
						continue
					}
					kind := named[field]
					if kind == "" {
						t.Errorf("%s: the field %s looks as if it named a thing: say which in 'named', or that it is a figure", p.path, field)
						continue
					}
					for _, other := range []*estate{w.sister, w.foreign} {
						if other.value(kind) == w.home.value(kind) {
							continue // it is of the customer, not of a plant
						}
						if kind == "plant" && w.reaches(grant, other) && (other == w.sister || field == "reach" || field == "home" || field == "from" || field == "to") {
							continue // a contract may be for each of the customer's plants, a token for each of the grant
						}
						w.tryField(a, f, field, before, other.value(kind))
						tried++
					}
				}
			}
		}
	}
	t.Logf("%d forms, %d foreign numbers sent", len(forms), tried)
}

// tryField sends a form with one foreign number and with one that is nowhere.
func (w *walled) tryField(a *asker, f sentForm, field, before, foreign string) {
	w.t.Helper()
	send := func(number string) (reply, string) {
		v := f.fillIn()
		v.Set(field, before+number)
		got := a.ask(http.MethodPost, f.to, v)
		return got, strings.ReplaceAll(fresh.ReplaceAllString(fmt.Sprint(got.status, " ", got.to, "\n", got.body), ""), number, "NUMBER")
	}
	got, there := send(foreign)
	nowhere, no := send(absent)
	if there != no {
		w.t.Errorf("grant for %s: %s with %s = %s%s of another plant answers %d, a number that is nowhere %d: …%s…", a.grant, f.to, field, before, foreign, got.status, nowhere.status, firstDifference(no, there))
	}
	if got.status < 400 {
		w.t.Errorf("grant for %s: %s takes %s = %s%s, which is not of this plant (%d to %s)", a.grant, f.to, field, before, foreign, got.status, got.to)
	}
}

// TestFormsWithTheirOwnNumbersAreTaken is the control of the test above: with the own plant's numbers the same forms
// are taken, so what it saw refused was refused for the number.
func TestFormsWithTheirOwnNumbersAreTaken(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	a := w.asker(assets.RoleLead, "all")
	taken := map[string]bool{}
	for _, p := range a.readAll(w.readable(w.home)) {
		for _, f := range w.formsOf(p.path, p.body) {
			for field, before := range f.ids {
				if kind := named[field]; kind != "" && !slices.Contains(figures, field) {
					v := f.fillIn()
					v.Set(field, f.ids[field]+w.home.value(kind))
					got := a.ask(http.MethodPost, f.to, v)
					if got.status < 400 {
						taken[field] = true
					} else {
						t.Logf("%s %s=%s: %d %s", f.to, field, before, got.status, complaints(got.body))
					}
				}
			}
		}
	}
	for _, p := range a.readAll(w.readable(w.home)) {
		for _, f := range w.formsOf(p.path, p.body) {
			for field := range f.ids {
				if named[field] != "" && !taken[field] && !slices.Contains(withFile, field) {
					t.Errorf("%s: no form with %s of the own plant was taken", p.path, field)
				}
			}
		}
	}
}
