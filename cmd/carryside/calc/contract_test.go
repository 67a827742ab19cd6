package calc

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
)

// answered runs a document and returns what would be printed, case by case.
func answered(t *testing.T, kind, document string) []string {
	t.Helper()
	answers, err := Answer(kind, []byte(document), Beside{})
	if err != nil {
		t.Fatalf("%s: %v", document, err)
	}
	lines := make([]string, len(answers))
	for i, a := range answers {
		line, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		lines[i] = string(line)
	}
	return lines
}

const (
	mass    = `"what": "belt mass", "input": {"width_mm": 400, "length_m": 12.5, "mass_per_area_kg_m2": 5}`
	massIs  = `"result":{"above_25_kg_lift_plan":false,"mass_kg":25}`
	badMass = `"what": "belt mass", "input": {"width_mm": 0, "length_m": 12.5, "mass_per_area_kg_m2": 5}`
)

func TestCasesAreNumberedByTheirPlace(t *testing.T) {
	for name, tt := range map[string]struct {
		document string
		want     []string
	}{
		"no case":                      {`[]`, nil},
		"ids kept as they are written": {`[{"id": "M-04", ` + mass + `}, {"id": 7, ` + mass + `}]`, []string{`{"id":"M-04",` + massIs + `}`, `{"id":7,` + massIs + `}`}},
		"without an id the place":      {`[{"id": "M-04", ` + mass + `}, {` + mass + `}, {"id": null, ` + mass + `}]`, []string{`{"id":"M-04",` + massIs + `}`, `{"id":2,` + massIs + `}`, `{"id":3,` + massIs + `}`}},
		"an object of arrays is one list in the order written": {
			`{"z": [{` + mass + `}], "note": "not a list", "a": [{` + mass + `}]}`, []string{`{"id":1,` + massIs + `}`, `{"id":2,` + massIs + `}`},
		},
		"expected figures are not looked at": {`[{` + mass + `, "expected": {"mass_kg": 99}, "tolerance": 1, "library": 3}]`, []string{`{"id":1,` + massIs + `}`}},
		"byte order mark":                    {"\ufeff[{" + mass + "}]", []string{`{"id":1,` + massIs + `}`}},
		"one refused between two others": {`[{` + mass + `}, {` + badMass + `}, {` + mass + `}]`, []string{
			`{"id":1,` + massIs + `}`, `{"id":2,"error":"bad_input","text":"the belt width must be above zero; 0 given"}`, `{"id":3,` + massIs + `}`,
		}},
	} {
		t.Run(name, func(t *testing.T) {
			got := answered(t, "cutting", tt.document)
			if strings.Join(got, "\n") != strings.Join(tt.want, "\n") {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tt.want, "\n"))
			}
		})
	}
}

func TestACaseThatIsNotWholeStopsTheRun(t *testing.T) {
	loopOf := func(pulley string) string {
		return `[{"id": "G-99", "input": {"sense": "clockwise", "belt_thickness_mm": 0, "pulleys": [` + pulley + `]}}]`
	}
	const whole = `{"x_mm": 0, "y_mm": 0, "diameter_mm": 300, "face": "inner"}`
	for name, tt := range map[string]struct{ kind, document, names, field string }{
		"pulley without diameter":        {"loop", loopOf(whole + `, {"x_mm": 900, "y_mm": 0, "face": "inner"}`), "G-99", "input.pulleys[1].diameter_mm"},
		"diameter null":                  {"loop", loopOf(`{"x_mm": 900, "y_mm": 0, "diameter_mm": null, "face": "inner"}`), "G-99", "input.pulleys[0].diameter_mm"},
		"diameter in words":              {"loop", loopOf(`{"x_mm": 900, "y_mm": 0, "diameter_mm": "large", "face": "inner"}`), "G-99", "input.pulleys[0].diameter_mm"},
		"pulley that is a number":        {"loop", loopOf(`7`), "G-99", "input.pulleys[0]"},
		"no pulleys":                     {"loop", `[{"input": {"sense": "clockwise", "belt_thickness_mm": 0}}]`, "1", "input.pulleys"},
		"pulleys in an object":           {"loop", `[{"input": {"sense": "clockwise", "belt_thickness_mm": 0, "pulleys": {}}}]`, "1", "input.pulleys"},
		"no input":                       {"two-pulleys", `[{"id": "T-01"}]`, "T-01", "input"},
		"no arrangement":                 {"two-pulleys", `[{"id": 12, "input": {"centre_distance_mm": 900}}]`, "12", "input.arrangement"},
		"no formula named":               {"cutting", `[{"input": {"width_mm": 3}}]`, "1", "what"},
		"neither bias":                   {"cutting", `[{"id": "B-1", "what": "bias offset", "input": {"width_mm": 3}}]`, "B-1", "input.bias_from_square_deg"},
		"plies and a half":               {"cutting", `[{"what": "stepped splice", "input": {"plies": 2.5}}]`, "1", "input.plies"},
		"refused, and a field missing":   {"cutting", `[{"what": "belt mass", "input": {"width_mm": -3, "length_m": 2}}]`, "1", "input.mass_per_area_kg_m2"},
		"length not typed":               {"units", `{"lengths": [{"id": "UL-1"}]}`, "UL-1", "typed"},
		"factor without unit":            {"units", `{"lengths": [{"typed": "1 in"}], "factors": [{"value": "1", "si_unit": "m"}]}`, "2", "unit"},
		"temperature without a value":    {"units", `{"temperatures": [{"id": "UT-1", "unit": "degF", "other_unit": "degC"}]}`, "UT-1", "value"},
		"nothing to show in inches":      {"units", `{"si_shown_in_us": [{"id": "US-1"}]}`, "US-1", "mm"},
		"a whole case before and behind": {"cutting", `[{` + mass + `}, {"id": "M-9", "what": "belt mass", "input": {"width_mm": 1, "length_m": 1}}, {` + mass + `}]`, "M-9", "input.mass_per_area_kg_m2"},
	} {
		t.Run(name, func(t *testing.T) {
			answers, err := Answer(tt.kind, []byte(tt.document), Beside{})
			var missing *MissingField
			if !errors.As(err, &missing) || answers != nil {
				t.Fatalf("got %v and %v, want a missing field", answers, err)
			}
			if missing.Case != tt.names || missing.Field != tt.field {
				t.Errorf("got case %s field %s, want %s and %s", missing.Case, missing.Field, tt.names, tt.field)
			}
			if !strings.Contains(err.Error(), tt.names) || !strings.Contains(err.Error(), tt.field) || strings.Contains(err.Error(), "\n") {
				t.Errorf("the line does not name case and field: %q", err)
			}
		})
	}
}

func TestDocumentsThatHoldNoCases(t *testing.T) {
	for _, document := range []string{``, ` `, `null`, `7`, `"loop"`, `{}`, `{"a": 1}`, `[1]`, `[null]`, `[[]]`, `[{}`, `[{}] x`, `{"a": [}`, "\x00", `[{"a": NaN}]`, `{"a": [1]}`} {
		for _, kind := range []string{"loop", "units"} {
			if answers, err := Answer(kind, []byte(document), Beside{}); err == nil || answers != nil || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s of %q: got %v, %v; want one line", kind, document, answers, err)
			}
		}
	}
}

func TestUnknownKinds(t *testing.T) {
	for _, kind := range []string{"", "Loop", "loops", "gearbox"} {
		if _, err := Answer(kind, []byte(`[]`), Beside{}); !errors.Is(err, ErrUnknownKind) || Known(kind) {
			t.Errorf("%q: got %v", kind, err)
		}
	}
	for _, kind := range []string{"loop", "two-pulleys", "cutting", "units"} {
		if !Known(kind) {
			t.Errorf("%s is not known", kind)
		}
	}
}

func TestUnitsInABareArrayAreToldApartByTheirFields(t *testing.T) {
	got := answered(t, "units", `[{"typed": "5'-3 1/2\""}, {"value": 100, "unit": "ft/min", "si_unit": "m/s"}, {"value": "356", "unit": "degF", "other_unit": "degC"}, {"mm": 600}, {"typed": "18"}]`)
	want := []string{
		`{"id":1,"result":{"mm":"1612.9","shown_si_mm":"1612.9","shown_us":"5'-3 1/2\""}}`,
		`{"id":2,"result":{"shown_back":"100.0","shown_si":"0.508","si_value":"0.508"}}`,
		`{"id":3,"result":{"other_value":"180","shown_back":"356","shown_other":"180"}}`,
		`{"id":4,"result":{"shown_us":"23 5/8\""}}`,
	}
	if len(got) != 5 || strings.Join(got[:4], "\n") != strings.Join(want, "\n") || !strings.Contains(got[4], `"error":"refused"`) {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
}

func TestNumbersPastFloat64AreRefusedNotRead(t *testing.T) {
	got := answered(t, "two-pulleys", `[{"input": {"arrangement": "open", "centre_distance_mm": 1e999, "diameter_large_mm": 200, "diameter_small_mm": 200, "belt_thickness_mm": 0}}]`)
	if !strings.Contains(got[0], `"error":"bad_input"`) {
		t.Errorf("got %s", got[0])
	}
	got = answered(t, "units", `{"factors": [{"value": "1e999999999", "unit": "psi", "si_unit": "MPa"}, {"value": 1e5, "unit": "psi", "si_unit": "MPa"}]}`)
	for _, line := range got {
		if !strings.Contains(line, `"error":"refused"`) {
			t.Errorf("got %s", line)
		}
	}
}
