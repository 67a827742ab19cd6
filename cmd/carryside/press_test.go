package main

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/press"
	"carryside/schedule/workorder"

	"github.com/PuerkitoBio/goquery"
)

// vulcanise145 is the recipe of the check values' vulcanising traces, pressures in bar as forms take them.
var vulcanise145 = map[string]string{"set_top_c": "145", "set_bottom_c": "145", "tolerance_k": "5", "heating_rate_least_k_min": "2", "heating_rate_most_k_min": "4",
	"time_to_temperature_most_min": "55", "dwell_least_min": "35", "dwell_most_min": "45", "overshoot_most_k": "8", "pressure_pa": "12", "pressure_tolerance_percent": "5",
	"spread_most_k": "6", "cooling_most_min": "60", "release_most_c": "60", "duration_most_min": "150", "excursion_s": "5", "excursion_k": "2",
	"cure_reference_c": "145", "cure_least_min": "30", "cure_most_min": "60"}

// recipeForm is the recipe as a lead types it.
func recipeForm(name string) map[string]string {
	typed := map[string]string{"name": name, "form": string(assets.FormStepped), "bond": string(assets.BondHotVulcanised)}
	for i, q := range press.Quantities {
		typed[fmt.Sprintf("v%d_value", i)] = vulcanise145[q.Name]
	}
	return typed
}

// vulcanised is a live hot vulcanised splice of the plant.
func vulcanised(t *testing.T, h *house) assets.Splice {
	t.Helper()
	reg, err := registry.PlantAsOf(t.Context(), h.db, assets.PlantScope(1), 1, plantdb.AsOf{})
	must(t, err)
	for _, s := range reg.Splices {
		if s.Ended == nil && s.Bond == assets.BondHotVulcanised && s.Form == assets.FormStepped {
			return s
		}
	}
	t.Fatal("the demonstration has no hot vulcanised splice")
	return assets.Splice{}
}

// sendTrace sends a trace as a browser does and returns the page it leads to.
func (v *visitor) sendTrace(path, file string, typed map[string]string) *goquery.Document {
	v.t.Helper()
	trace, err := os.ReadFile(filepath.Join("..", "..", "schedule", "press", "testdata", "traces", file))
	must(v.t, err)
	body := &bytes.Buffer{}
	w := multipart.NewWriter(body)
	for name, value := range typed {
		must(v.t, w.WriteField(name, value))
	}
	part, err := w.CreateFormFile("file", file)
	must(v.t, err)
	_, err = part.Write(trace)
	must(v.t, err)
	must(v.t, w.Close())
	r, err := v.client.Post(v.base+path, w.FormDataContentType(), body)
	d, status := v.read(r, err)
	if status != http.StatusOK {
		v.t.Fatalf("trace to %s: status %d: %s", path, status, d.Find(".note.bad").Text())
	}
	return d
}

// The traces and what is expected of them are the check values of press cycles: 19 inside its recipe, 21 held too long.
func TestATraceIsJudgedKeptAndWhatIsOutsideIsLookedAtEarly(t *testing.T) {
	h := openHouse(t)
	kester, okker := h.as("A. Kesterlane"), h.as("M. Okkerdal")
	kester.submit("/plants/1/recipes/new", "Keep the recipe", recipeForm("Vulcanise 145"), http.StatusOK)
	sp := vulcanised(t, h)
	path := fmt.Sprintf("/plants/1/splices/%d/press", sp.ID)
	typed := map[string]string{"recipe": recipeID(t, okker.get(path)), "press": "press 1", "pressed_at": "2022-03-14T05:00", "order_id": ""}

	page := okker.sendTrace(path, "19-vulcanise-good.csv", typed)
	if say := page.Find("h1").Text(); !strings.Contains(say, "inside its recipe: all 12 figures are within") {
		t.Errorf("a good cycle: %q", say)
	}
	if page.Find("svg[aria-label*='Press cycle of'] path.l-a").Length() != 2 || page.Find("svg[aria-label*='Press cycle of'] path.setv").Length() != 1 || page.Find("svg[aria-label*='Press cycle of'] rect.tol").Length() != 2 || page.Find("details tbody tr").Length() < 15 {
		t.Error("the cycle is not drawn, or has no table of its numbers")
	}
	kept := okker.sendJudged(page, map[string]string{})
	if say := kept.Find("h1").Text(); !strings.Contains(say, "inside its recipe") {
		t.Errorf("kept: %q", say)
	}

	page = okker.sendTrace(path, "19-vulcanise-good.csv", typed)
	twice := okker.post(path, filled(page.Find("form:has(input[name=trace])").First()), http.StatusUnprocessableEntity)
	if msg := twice.Find(".note.bad").Text(); !strings.Contains(msg, "kept already") {
		t.Errorf("the same cycle a second time: %q", msg)
	}
	typed["pressed_at"] = "2022-03-14T02:00"
	page = okker.sendTrace(path, "21-vulcanise-too-long.csv", typed)
	if say := page.Find("h1").Text(); !strings.Contains(say, "outside its recipe") {
		t.Errorf("held too long: %q", say)
	}
	if row := page.Find("tr:contains('Dwell')").Text(); !strings.Contains(row, "59") || !strings.Contains(row, "outside") {
		t.Errorf("the dwell's row says %q, want 59 min and outside", row)
	}
	refused := okker.sendJudged(page, map[string]string{})
	if msg := refused.Find(".note.bad").Text(); !strings.Contains(msg, "say why") {
		t.Errorf("kept without a reason: %q", msg)
	}
	kept = okker.sendJudged(page, map[string]string{"reason": "press left on while the crew was called away"})
	if text := kept.Find("main").Text(); !strings.Contains(text, "press left on while") || !strings.Contains(text, "an early inspection") {
		t.Error("the record does not show reason and inspection")
	}
	list, _, err := orders.List(t.Context(), h.db, assets.PlantScope(1), orders.Filter{PlantID: 1, SpliceID: sp.ID, Kind: workorder.KindInspection, Open: true})
	must(t, err)
	if n := len(list); n != 1 || !strings.Contains(list[0].Reason, "dwell") {
		t.Errorf("%d early inspections, want one that names the dwell: %+v", n, list)
	}
	recipe := kester.get("/plants/1/recipes").Find("td.tag a:contains('Vulcanise 145')").First().AttrOr("href", "")
	if say := kester.get(recipe).Find("h1").Text(); !strings.Contains(say, "two\u00a0splices made with it") {
		t.Errorf("the recipe says %q", say)
	}
}

func recipeID(t *testing.T, page *goquery.Document) string {
	t.Helper()
	id := ""
	page.Find("select[name=recipe] option").Each(func(_ int, o *goquery.Selection) {
		if strings.Contains(o.Text(), "Vulcanise 145") {
			id = o.AttrOr("value", "")
		}
	})
	if id == "" {
		t.Fatal("the recipe is not offered")
	}
	return id
}

// sendJudged fills the form beside a judgement and keeps the record.
func (v *visitor) sendJudged(page *goquery.Document, typed map[string]string) *goquery.Document {
	v.t.Helper()
	form := page.Find("form:has(input[name=trace])").First()
	values := filled(form)
	for name, value := range typed {
		values.Set(name, value)
	}
	want := http.StatusOK
	if values.Get("reason") == "" && strings.Contains(page.Find("h1").Text(), "outside") {
		want = http.StatusUnprocessableEntity
	}
	return v.post(form.AttrOr("action", ""), values, want)
}

func TestARecipeThatContradictsItselfIsRefusedAtItsFigure(t *testing.T) {
	h := openHouse(t)
	typed := recipeForm("Upside down")
	for i, q := range press.Quantities {
		if q.Name == "dwell_most_min" {
			typed[fmt.Sprintf("v%d_value", i)] = "20"
		}
	}
	page := h.as("A. Kesterlane").submit("/plants/1/recipes/new", "Keep the recipe", typed, http.StatusUnprocessableEntity)
	if msg := page.Find(".note.bad").Text(); !strings.Contains(msg, "he most is below the least dwell") {
		t.Errorf("refused with %q", msg)
	}
	if v := page.Find("input[name=v0_value]").AttrOr("value", ""); v != "145" {
		t.Errorf("what was typed is gone: %q", v)
	}
}
