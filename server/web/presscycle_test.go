package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/press"
)

// light180 is the recipe of the check values' trace of two cycles, in the order of press.Quantities.
var light180 = []float64{180, 180, 4, 10, 30, 12, 3, 5, 6, 2e5, 10, 5, 10, 50, 25, 5, 2}

// One trace holds two cycles, each inside its recipe, rows 1 to 617 and 618 to 1184 (check values of press cycles): nobody has said which made
// the splice, so neither is kept.
func TestOfTwoCyclesInATraceSomebodySaysWhichMadeTheSplice(t *testing.T) {
	f := skarrow()
	trace, err := os.ReadFile(filepath.Join("..", "..", "schedule", "press", "testdata", "traces", "16-two-cycles.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rc := assets.Recipe{Name: "Light 180", Edition: 1, Form: assets.FormStepped, Bond: assets.BondHotVulcanised}
	rc.ID = 1
	for i, v := range light180 {
		rc.Values = append(rc.Values, assets.CatalogueValue{Quantity: press.Quantities[i].Name, Value: v, Unit: press.Quantities[i].Unit, Class: assets.ClassB, Source: "check values"})
	}
	o := f.office()
	o.recipes, o.trace = []assets.Recipe{rc}, trace
	o.files = []assets.Attachment{{PlantID: 3, OfKind: assets.AttachedToSplice, OfID: 32, Name: "press 1.csv", Version: assets.Version{ID: 1}}}
	v := as(t, f, assets.RoleTechnician)
	const path = "/plants/3/splices/32/press"
	asked := url.Values{"trace": {"1"}, "recipe": {"1"}, "press": {"press 1"}, "at": {plainInt(int64(assets.InstantOf(morning)))}}

	d := v.get(path + "?" + asked.Encode())
	if say := text(d, "h1"); !strings.HasPrefix(say, "Two press cycles are in this trace: say which one made") {
		t.Errorf("the page says %q", say)
	}
	if sub := text(d, "main, .head"); !strings.Contains(text(d, "body"), "Cycle 2 of 2 is shown") {
		t.Errorf("which cycle is shown is not said: %.300s", sub)
	}
	to, _ := d.Find("a:contains('Show cycle 1')").Attr("href")
	first := v.get(to)
	if say := text(first, "h1"); !strings.Contains(say, "inside its recipe") || first.Find("select[name=cycle] option[selected]").AttrOr("value", "") != "1" {
		t.Errorf("the first cycle shown: %q", say)
	}

	form := url.Values{"trace": {"1"}, "recipe": {"1"}, "press": {"press 1"}, "pressed_at": {"2026-11-25T05:00"}, "order_id": {""}, "cycle": {""}}
	before := len(o.acts)
	d = v.post(path, form, http.StatusUnprocessableEntity)
	if got := text(d, "[data-errors]"); !strings.Contains(got, "which of the cycles made this splice") {
		t.Errorf("kept without saying which: %q", got)
	}
	if len(o.acts) != before {
		t.Error("something was kept though nobody said which cycle")
	}
	if kept := d.Find("input[name=press]").AttrOr("value", ""); kept != "press 1" {
		t.Errorf("the press that was typed comes back as %q", kept)
	}
	form.Set("cycle", "3")
	v.post(path, form, http.StatusUnprocessableEntity)
	form.Set("cycle", "1")
	v.post(path, form, http.StatusSeeOther)
}
