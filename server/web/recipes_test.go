package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/press"
)

func (o *fakeOffice) Recipes(context.Context) ([]assets.Recipe, error) { return o.recipes, nil }

func (o *fakeOffice) Editions(context.Context, int64) ([]assets.Recipe, map[int64]string, error) {
	return nil, nil, assets.ErrNotFound
}

func (o *fakeOffice) SaveRecipe(_ context.Context, act Act, r *assets.Recipe) error {
	return o.change(act, *r)
}

func (o *fakeOffice) Pressed(context.Context, assets.Scope, PressFilter) ([]PressedSplice, error) {
	return nil, nil
}

func (o *fakeOffice) PressRecord(context.Context, assets.Scope, int64) (PressFile, error) {
	return PressFile{}, assets.ErrNotFound
}

func (o *fakeOffice) KeepPress(_ context.Context, _ assets.Scope, act Act, r *assets.PressRecord, _ assets.Day) error {
	return o.change(act, *r)
}

func (o *fakeOffice) WithdrawPress(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

// hotRecipe is a recipe for stepped splices of rubber belts (invented): rate 2 to 4 K/min, 5 minutes up for each 15 K, opened at 60 degC.
func hotRecipe(id int64, name string, edition int64, thinnestM, dwellMin float64) assets.Recipe {
	rc := assets.Recipe{Name: name, Edition: edition, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, ThinnestM: &thinnestM}
	rc.ID = id
	for i, v := range []float64{140, 140, 5, 2, 4, 60, dwellMin, dwellMin + 10, 6, 1e6, 10, 6, 60, 60, 240} {
		rc.Values = append(rc.Values, assets.CatalogueValue{Quantity: press.Quantities[i].Name, Value: v, Unit: press.Quantities[i].Unit, Class: assets.ClassA, Source: "the maker's chart"})
	}
	return rc
}

// Splice 2 of Q3 lies in a belt 15 mm thick. Heated from 20 to 140 degC at 3 K/min, held, cooled to 60 at 2 K/min: 40 + 35 + 40 minutes.
func TestTheSheetOfAThickBeltNamesTheRecipeForThickBeltsAndItsCycleTime(t *testing.T) {
	f := skarrow()
	f.office().recipes = []assets.Recipe{hotRecipe(1, "HV thick", 3, 0.012, 35), hotRecipe(2, "HV thickest", 1, 0.02, 55)}
	says := strings.ReplaceAll(text(as(t, f, assets.RoleTechnician).get("/plants/3/orders/412"), "main"), nb, " ")
	for _, want := range []string{"HV thick, version 3, for any belt, 12 mm and thicker", "115 min", "by HV thick, version 3: 40 up, 35 dwell, 40 down"} {
		if !strings.Contains(strings.ReplaceAll(says, "12.0", "12"), want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
}

func TestTheSheetSaysWhyItNamesNoRecipe(t *testing.T) {
	tooThick, thin := hotRecipe(1, "HV thickest", 1, 0.02, 55), hotRecipe(2, "HV thin", 2, 0.004, 30)
	for name, c := range map[string]struct {
		kept []assets.Recipe
		says string
	}{
		"two that both fit":         {[]assets.Recipe{thin, hotRecipe(3, "HV other", 1, 0.006, 40)}, "two recipes fit (HV thin, version 2"},
		"only one for other belts":  {[]assets.Recipe{tooThick}, "is for this belt"},
		"none for this kind at all": {nil, "no recipe for hot vulcanised, stepped is kept; have the lead keep one"},
	} {
		t.Run(name, func(t *testing.T) {
			f := skarrow()
			f.office().recipes = c.kept
			says := strings.ReplaceAll(text(as(t, f, assets.RoleTechnician).get("/plants/3/orders/412"), "main"), nb, " ")
			if !strings.Contains(says, "none is named: ") || !strings.Contains(says, c.says) {
				t.Errorf("the sheet does not say %q", c.says)
			}
			if strings.Contains(says, "Expected press cycle") {
				t.Error("the sheet tells a cycle time of a recipe it does not name")
			}
		})
	}
}

// A pressure typed as pascals, a temperature as degrees Fahrenheit: what can be meant is said in the units that stand beside the box.
func TestWhatARecipeMayAskIsSaidInThePlantsUnits(t *testing.T) {
	for system, want := range map[assets.UnitSystem][]string{assets.UnitsSI: {"from 0.1 bar to 60 bar", "from 40 °C to 320 °C"}, assets.UnitsUS: {"psi to 870.2 psi", "from 104 °F to 608 °F"}} {
		f := skarrow()
		f.frames[0].Plant.UnitSystem = system
		f.staff = append(f.staff, assets.Person{ID: 9, Name: "N. Corvane", Role: assets.RoleLead})
		form := url.Values{"name": {"HV 140"}, "form": {"stepped"}, "bond": {"hot vulcanised"}}
		for i, v := range hotRecipe(1, "", 1, 0, 35).Values {
			form.Set(fmt.Sprintf("v%d_class", i), "P")
			switch v.Quantity {
			case "set_top_c":
				form.Set(fmt.Sprintf("v%d_value", i), "1450")
			case "pressure_pa":
				form.Set(fmt.Sprintf("v%d_value", i), "1200000")
			}
		}
		d := as(t, f, assets.RoleLead).post("/plants/3/recipes/new", form, http.StatusUnprocessableEntity)
		got := strings.ReplaceAll(text(d, "[data-errors]"), nb, " ")
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: %q does not say %q", system, got, w)
			}
		}
	}
}
