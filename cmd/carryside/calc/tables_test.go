package calc

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// These tests hold the way from a case file to the printed answer against the tables of the packages that compute;
// where the figures come from is said beside those tables.

// tableOf reads a case file of another package's testdata.
func tableOf(t *testing.T, folder, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "assets", folder, "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// plainJSON turns an answer into what a reader of the printed line sees.
func plainJSON(t *testing.T, v any) map[string]any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var plain map[string]any
	if err := json.Unmarshal(text, &plain); err != nil {
		t.Fatal(err)
	}
	return plain
}

// differs says where an answer falls short of what was expected, "" for nowhere.
func differs(path string, want, got any) string {
	switch w := want.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		if len(g) != len(w) {
			return fmt.Sprintf("%s: got %v, want the fields of %v", path, got, want)
		}
		for k, v := range w {
			if d := differs(path+"."+k, v, g[k]); d != "" {
				return d
			}
		}
	case []any:
		g, _ := got.([]any)
		if len(g) != len(w) {
			return fmt.Sprintf("%s: got %v, want %v", path, got, want)
		}
		for i, v := range w {
			if d := differs(fmt.Sprintf("%s[%d]", path, i), v, g[i]); d != "" {
				return d
			}
		}
	case float64:
		if g, ok := got.(float64); !ok || math.Abs(g-w) > 1e-4 {
			return fmt.Sprintf("%s: got %v, want %v", path, got, want)
		}
	default:
		if got != want {
			return fmt.Sprintf("%s: got %v, want %v", path, got, want)
		}
	}
	return ""
}

func TestGeometryTables(t *testing.T) {
	for kind, file := range map[string]string{"loop": "loops.json", "two-pulleys": "two-pulleys.json", "cutting": "formulas.json"} {
		document := tableOf(t, "loop", file)
		var cases []struct {
			ID       string         `json:"id"`
			Expected map[string]any `json:"expected"`
		}
		if err := json.Unmarshal(document, &cases); err != nil {
			t.Fatal(err)
		}
		answers, err := Answer(kind, document, Beside{})
		if err != nil || len(answers) != len(cases) {
			t.Fatalf("%s: %d answers to %d cases, %v", kind, len(answers), len(cases), err)
		}
		for i, c := range cases {
			t.Run(kind+" "+c.ID, func(t *testing.T) {
				got := plainJSON(t, answers[i])
				if got["id"] != c.ID {
					t.Errorf("id %v", got["id"])
				}
				if class := c.Expected["error"]; class != nil {
					if got["error"] != class || got["text"] == "" || got["result"] != nil {
						t.Errorf("got %v, want the error %v", got, class)
					}
					return
				}
				if d := differs("result", map[string]any(c.Expected), got["result"]); d != "" {
					t.Error(d)
				}
			})
		}
	}
}

func TestUnitTables(t *testing.T) {
	document := tableOf(t, "unit", "units.json")
	answers, err := Answer("units", document, Beside{})
	if err != nil {
		t.Fatal(err)
	}
	byID := map[string]map[string]any{}
	for _, a := range answers {
		got := plainJSON(t, a)
		byID[fmt.Sprint(got["id"])] = got
	}
	for list, names := range map[string][]string{
		"lengths": {"mm", "shown_us", "shown_si_mm"}, "factors": {"si_value", "shown_si", "shown_back"},
		"temperatures": {"other_value", "shown_other", "shown_back"}, "si_shown_in_us": {"shown_us"},
	} {
		var lists map[string]json.RawMessage
		var cases []map[string]any
		if json.Unmarshal(document, &lists) != nil || json.Unmarshal(lists[list], &cases) != nil || len(cases) == 0 {
			t.Fatalf("no cases in %s", list)
		}
		for _, c := range cases {
			got := byID[c["id"].(string)]
			if c["error"] != got["error"] {
				t.Errorf("%s: got %v, want error %v", c["id"], got, c["error"])
			}
			want := map[string]any{}
			for _, name := range names {
				if v, there := c[name]; there {
					want[name] = v
				}
			}
			if result, _ := got["result"].(map[string]any); len(want) > 0 {
				if list == "factors" { // the table ends some decimals earlier
					result["si_value"] = result["si_value"].(string)[:min(15, len(result["si_value"].(string)))]
					want["si_value"] = want["si_value"].(string)[:min(15, len(want["si_value"].(string)))]
				}
				if d := differs("result", want, any(result)); d != "" {
					t.Errorf("%s: %s", c["id"], d)
				}
			}
		}
	}
}
