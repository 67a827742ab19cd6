package calc

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// scheduleTable is the folder and one file of the testdata of a package of schedule.
func scheduleTable(t *testing.T, folder, name string) (dir string, document []byte) {
	t.Helper()
	dir = filepath.Join("..", "..", "..", "schedule", folder, "testdata")
	document, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return dir, document
}

// tolerances of the press table by the end of a figure's name: our own arithmetic on seeded synthetic traces, its figures
// rounded as shown.
func pressTolerance(name string, want float64) float64 {
	switch {
	case strings.HasPrefix(name, "heating_rate"):
		return 0.02 * math.Abs(want)
	case strings.HasPrefix(name, "equivalent_cure"):
		return 0.005 * math.Abs(want)
	case strings.HasPrefix(name, "pressure"):
		return 0.0101
	case strings.HasSuffix(name, "_min"):
		return 0.101
	default:
		return 0.151
	}
}

// TestPressTable holds the printed judgement against the table of traces and recipes (arithmetic on seeded synthetic
// traces, checked a second time by counting samples, least squares and plain sums).
func TestPressTable(t *testing.T) {
	dir, document := scheduleTable(t, "press", "expected.json")
	var table struct {
		Traces []struct {
			Trace    string `json:"trace"`
			Expected struct {
				Cycles []struct {
					DataRows [2]int `json:"data_rows"`
					Overall  string `json:"overall"`
					Criteria map[string]struct {
						Value   *float64 `json:"value"`
						Verdict string   `json:"verdict"`
					} `json:"criteria"`
				} `json:"cycles"`
				NeedsChoice bool             `json:"needs_choice_of_cycle"`
				Notices     []map[string]any `json:"notices"`
			} `json:"expected"`
		} `json:"traces"`
	}
	if err := json.Unmarshal(document, &table); err != nil {
		t.Fatal(err)
	}
	answers, err := Answer("press", document, Beside{Files: os.DirFS(dir)})
	if err != nil || len(answers) != len(table.Traces) || len(answers) == 0 {
		t.Fatalf("%d answers to %d traces: %v", len(answers), len(table.Traces), err)
	}
	for i, want := range table.Traces {
		t.Run(want.Trace, func(t *testing.T) {
			text, err := json.Marshal(answers[i].Result)
			if err != nil {
				t.Fatal(err)
			}
			got := want.Expected
			got.Cycles, got.Notices = nil, nil
			if err := json.Unmarshal(text, &got); err != nil {
				t.Fatal(err)
			}
			if len(got.Cycles) != len(want.Expected.Cycles) || got.NeedsChoice != want.Expected.NeedsChoice {
				t.Fatalf("%d cycles, choice %v", len(got.Cycles), got.NeedsChoice)
			}
			if d := differs("notices", anyList(want.Expected.Notices), anyList(got.Notices)); d != "" {
				t.Error(d)
			}
			for k, c := range want.Expected.Cycles {
				g := got.Cycles[k]
				if g.DataRows != c.DataRows || g.Overall != c.Overall || len(g.Criteria) != len(c.Criteria) {
					t.Errorf("cycle %d: rows %v, overall %s, %d criteria", k+1, g.DataRows, g.Overall, len(g.Criteria))
				}
				for name, w := range c.Criteria {
					h := g.Criteria[name]
					if h.Verdict != w.Verdict || (h.Value == nil) != (w.Value == nil) || w.Value != nil && math.Abs(*h.Value-*w.Value) > pressTolerance(name, *w.Value) {
						t.Errorf("cycle %d, %s: %s %v, want %s %v", k+1, name, h.Verdict, deref(h.Value), w.Verdict, deref(w.Value))
					}
				}
			}
		})
	}
}

func anyList(maps []map[string]any) []any {
	list := make([]any, len(maps))
	for i, m := range maps {
		list[i] = m
	}
	return list
}

func deref(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

// TestKeyFigureTable holds the printed figures against the table (exact fractions, counted again in SQL; terms in the sense
// of EN 13306 and EN 15341).
func TestKeyFigureTable(t *testing.T) {
	dir, document := scheduleTable(t, "keyfigures", "expected.json")
	orders, err := os.ReadFile(filepath.Join(dir, "orders.csv"))
	if err != nil {
		t.Fatal(err)
	}
	answers, err := Answer("key-figures", document, Beside{Orders: orders})
	if err != nil || len(answers) != 1 {
		t.Fatalf("%d answers, %v", len(answers), err)
	}
	var want map[string]any
	if err := json.Unmarshal(document, &want); err != nil {
		t.Fatal(err)
	}
	got := plainJSON(t, answers[0].Result)
	for _, part := range []string{"figures", "reliability"} {
		if d := differs(part, want[part], got[part]); d != "" {
			t.Error(d)
		}
	}
}

func TestWorkCasesThatAreNotWholeSayWhatIsMissing(t *testing.T) {
	dir, table := scheduleTable(t, "keyfigures", "expected.json")
	press := filepath.Join(dir, "..", "..", "press", "testdata")
	for name, tt := range map[string]struct {
		kind, document string
		beside         Beside
		want           string
	}{
		"trace not there":          {"press", `[{"trace": "traces/none.csv", "recipe": "light-180"}]`, Beside{Files: os.DirFS(press)}, "case 1: its trace traces/none.csv cannot be read; put it beside the case file"},
		"trace outside the folder": {"press", `[{"trace": "../secret.csv", "recipe": "light-180"}]`, Beside{Files: os.DirFS(press)}, "case 1: its trace ../secret.csv cannot be read; put it beside the case file"},
		"recipe not there":         {"press", `[{"id": "P", "trace": "traces/01-good.csv", "recipe": "none"}]`, Beside{Files: os.DirFS(press)}, "case P: there is no recipe none in recipes.json; add it or correct the case"},
		"no recipe named":          {"press", `[{"trace": "traces/01-good.csv"}]`, Beside{Files: os.DirFS(press)}, "case 1: the field recipe is missing; add it"},
		"key figures, no orders":   {"key-figures", string(table), Beside{}, "key-figures needs its orders; give them with --orders FILE"},
		"orders without a column":  {"key-figures", string(table), Beside{Orders: []byte("plant,conveyor\n")}, "the orders have no column kind; add it"},
		"no crew":                  {"key-figures", `{"period": {"from_local": "2025-06-01T00:00", "until_local": "2025-07-01T00:00"}, "plants": []}`, Beside{}, "case 1: the field crew is missing; add it"},
	} {
		t.Run(name, func(t *testing.T) {
			if answers, err := Answer(tt.kind, []byte(tt.document), tt.beside); err == nil || err.Error() != tt.want || answers != nil {
				t.Errorf("%v, %v", answers, err)
			}
		})
	}
}
