package press

import (
	"errors"
	"math"
	"testing"

	"carryside/assets"
)

// vulcanising is a recipe as a lead would type it, invented within the usual bands of large vulcanisers (common practice).
func vulcanising() []assets.CatalogueValue {
	figures := map[string]float64{"set_top_c": 145, "set_bottom_c": 145, "tolerance_k": 5, "heating_rate_least_k_min": 2, "heating_rate_most_k_min": 4,
		"time_to_temperature_most_min": 60, "dwell_least_min": 35, "dwell_most_min": 45, "overshoot_most_k": 5, "pressure_pa": 1e6, "pressure_tolerance_percent": 10,
		"spread_most_k": 6, "cooling_most_min": 60, "release_most_c": 60, "duration_most_min": 140}
	var out []assets.CatalogueValue
	for _, q := range Quantities {
		if v, ok := figures[q.Name]; ok {
			out = append(out, assets.CatalogueValue{Quantity: q.Name, Value: v, Unit: q.Unit, Class: assets.ClassP})
		}
	}
	return out
}

func with(values []assets.CatalogueValue, name string, v float64) []assets.CatalogueValue {
	out := append([]assets.CatalogueValue(nil), values...)
	for i := range out {
		if out[i].Quantity == name {
			out[i].Value = v
			return out
		}
	}
	return append(out, assets.CatalogueValue{Quantity: name, Value: v, Unit: "x", Class: assets.ClassP})
}

func TestRecipeThatContradictsItselfIsRefusedByItsFigure(t *testing.T) {
	if _, err := FromValues(vulcanising()); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name, figure string
		to           float64
		at           string
	}{
		{"opened hotter than it is set", "release_most_c", 146, "values.release_most_c"},
		{"dwell upside down", "dwell_most_min", 20, "values.dwell_most_min"},
		{"a cure without its reference", "cure_least_min", 30, "values.cure_reference_c"},
		{"degrees Fahrenheit typed as Celsius", "set_top_c", 356, "values.set_top_c"},
		{"no number", "pressure_pa", math.NaN(), "values.pressure_pa"},
		{"a figure nobody knows", "colour_c", 1, "values.colour_c"},
	}
	for _, tt := range tests {
		_, err := FromValues(with(vulcanising(), tt.figure, tt.to))
		var bad assets.Invalid
		if !errors.As(err, &bad) || bad[tt.at] == "" {
			t.Errorf("%s: %v, want a message at %s", tt.name, err, tt.at)
		}
	}
	if _, err := FromValues(vulcanising()[1:]); err == nil {
		t.Error("a recipe without its set temperature was taken")
	}
}

func TestFiguresReadOffThePress(t *testing.T) {
	r, err := FromValues(vulcanising())
	if err != nil {
		t.Fatal(err)
	}
	read := map[string]float64{HeatingRateTop: 2.9, HeatingRateBottom: 2.9, TimeToTemperature: 46, DwellTime: 36, Overshoot: 3.2, PressureMin: 9, PressureMax: 11,
		SpreadInDwell: 4, ReleaseTemp: 60, Duration: 119, CoolingTime: 40}
	if c := JudgeFigures(r, read); c.Overall != Within || len(c.Criteria) != 11 {
		t.Errorf("a cycle on its limits: %s with %d criteria, want within with 11", c.Overall, len(c.Criteria))
	}
	read[ReleaseTemp] = 66
	if c := JudgeFigures(r, read); c.Overall != Outside {
		t.Errorf("opened at 66: %s, want outside", c.Overall)
	}
	delete(read, ReleaseTemp)
	if c := JudgeFigures(r, read); c.Overall != CannotJudge {
		t.Errorf("release not read: %s, want cannot judge", c.Overall)
	}
}

// A cycle of 20 to 180 degrees at 20 K/min, 3 min dwell, opened at 50 after 15 K/min takes 8.0 + 3.0 + 8.7 min, a vulcanising one of 25 to 145 at
// 3 K/min, 35 min, to 60 at 2 K/min 40 + 35 + 42.5 min: plain arithmetic, (difference)/rate.
func TestExpectedCycleTimeIsArithmetic(t *testing.T) {
	light := Recipe{SetTopC: 180, SetBottomC: 180, HeatingRate: Band{10, 30}, Dwell: Band{3, 5}, ReleaseMaxC: 50}
	up, dwell, down := light.ExpectedMinutes(20, 15)
	if up != 8 || dwell != 3 || math.Abs(down-8.667) > 0.001 {
		t.Errorf("light press %.3f + %.3f + %.3f, want 8 + 3 + 8.667", up, dwell, down)
	}
	r, err := FromValues(vulcanising())
	if err != nil {
		t.Fatal(err)
	}
	if up, dwell, down := r.ExpectedMinutes(25, 2); up != 40 || dwell != 35 || down != 42.5 {
		t.Errorf("vulcaniser %.1f + %.1f + %.1f, want 40 + 35 + 42.5", up, dwell, down)
	}
	if up, _, _ := (Recipe{}).ExpectedMinutes(20, 2); !math.IsNaN(up) {
		t.Errorf("a recipe without a rate heats in %v min", up)
	}
}

// What FromValues and Allowed say of a recipe is what the judge of traces uses: the same limits decide.
func TestAllowedIsWhatTracesAreJudgedBy(t *testing.T) {
	r, err := FromValues(vulcanising())
	if err != nil {
		t.Fatal(err)
	}
	b, _ := r.Allowed(PressureMax)
	if math.Abs(b.Min-9) > 1e-9 || math.Abs(b.Max-11) > 1e-9 {
		t.Errorf("pressure from %v to %v, want 9 to 11", b.Min, b.Max)
	}
	if _, asked := r.Allowed(EquivalentCure); asked {
		t.Error("a recipe without a cure asks for one")
	}
}
