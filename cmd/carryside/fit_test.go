package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The sets and the figures expected of them were computed with R 4.2.2 and its package survival 3.5-3 (Newton on the likelihood as
// defined, survreg, survfit; Turnbull by EM, cosmesis also by npsurv); each expected file names where its lives are from.
const livesFolder = "../../schedule/life/testdata"

// expectedSet is an expected file as far as every field is compared by the same rule.
type expectedSet struct {
	CSV       string             `json:"csv"`
	Args      []string           `json:"args"`
	Ignored   []any              `json:"ignored_columns"`
	Tolerance map[string]float64 `json:"tolerance"`
	Cohorts   []map[string]any   `json:"cohorts"`
	Common    map[string]any     `json:"common_shape"`
}

// toleranceOf is the relative tolerance of a figure by the name it stands under.
func (e expectedSet) toleranceOf(path string) float64 {
	for _, rule := range []struct {
		part string
		tol  float64
	}{
		{"p_shape_1", 1e-4}, {"p_value", 1e-4}, {"limits", e.Tolerance["limit"]}, {".lower", e.Tolerance["limit"]}, {".upper", e.Tolerance["limit"]},
		{"goodness", e.Tolerance["goodness"]}, {"deviance", e.Tolerance["goodness"]}, {"loglik", e.Tolerance["loglik"]},
		{"std_error", e.Tolerance["std_error"]}, {"covariance", 2 * e.Tolerance["std_error"]}, {"rests_on", 0},
	} {
		if strings.Contains(path, rule.part) {
			return rule.tol
		}
	}
	return e.Tolerance["estimate"]
}

// compare walks what is expected and says where the answer falls short.
func (e expectedSet) compare(t *testing.T, path string, want, got any) {
	t.Helper()
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			t.Errorf("%s: got %v, want an object", path, got)
			return
		}
		for name, v := range w {
			if name == "cross_check" || name == "kaplan_meier_rows" {
				continue
			}
			e.compare(t, path+"."+name, v, g[name])
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			t.Errorf("%s: got %v, want %v", path, got, want)
			return
		}
		for i := range w {
			e.compare(t, fmt.Sprintf("%s[%d]", path, i), w[i], g[i])
		}
	case float64:
		g, ok := got.(float64)
		if tol := e.toleranceOf(path); !ok || math.Abs(g-w) > tol*max(math.Abs(w), 1e-6) {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	default:
		if want != got {
			t.Errorf("%s: got %v, want %v", path, got, want)
		}
	}
}

func TestFitOfPublishedLives(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(livesFolder, "sets", "*.expected.json"))
	if err != nil || len(files) < 19 {
		t.Fatalf("%d sets, %v", len(files), err)
	}
	for _, name := range files {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".expected.json"), func(t *testing.T) {
			var want expectedSet
			decodeFile(t, name, &want)
			args := append([]string{"fit", filepath.Join(livesFolder, "sets", want.CSV)}, want.Args...)
			code, stdout, stderr := called(t, args...)
			if code != 0 || stderr != "" {
				t.Fatalf("exit %d: %s", code, stderr)
			}
			var got struct {
				Format  string
				Ignored []any `json:"ignored_columns"`
				Cohorts []map[string]any
				Common  map[string]any `json:"common_shape"`
			}
			if err := json.Unmarshal([]byte(stdout), &got); err != nil {
				t.Fatal(err)
			}
			if got.Format != "carryside-fit/1" || len(got.Cohorts) != len(want.Cohorts) || len(got.Ignored) != len(want.Ignored) {
				t.Fatalf("format %s, %d cohorts, %v ignored", got.Format, len(got.Cohorts), got.Ignored)
			}
			for i, w := range want.Cohorts {
				compareCurves(t, w, got.Cohorts[i], want.Tolerance)
				want.compare(t, fmt.Sprint(w["cohort"]), w, got.Cohorts[i])
			}
			if want.Common != nil || got.Common != nil {
				want.compare(t, "common_shape", want.Common, got.Common)
			}
		})
	}
}

// compareCurves holds the product-limit and Turnbull tables, which are sampled or need not be unique, and takes them out.
func compareCurves(t *testing.T, want, got map[string]any, tol map[string]float64) {
	t.Helper()
	if steps, ok := want["kaplan_meier"].([]any); ok {
		compareSteps(t, steps, got["kaplan_meier"], int(want["kaplan_meier_rows"].(float64)), tol)
	} else if got["kaplan_meier"] != nil {
		t.Errorf("%v: a product-limit table beside intervals", want["cohort"])
	}
	goodness := want["goodness"].(map[string]any)
	switch w, _ := want["turnbull"].(map[string]any); {
	case w != nil:
		compareMasses(t, w, got["turnbull"].(map[string]any), tol)
		if gap, known := goodness["max_gap"].(float64); known {
			if g := got["goodness"].(map[string]any)["max_gap"].(float64); math.Abs(g-gap) > 1.5*tol["turnbull_survival_abs"] {
				t.Errorf("max_gap: got %v, want %v", g, gap)
			}
		}
		delete(goodness, "max_gap")
	case got["kaplan_meier"] == nil: // not compared: the survivals of greatest likelihood are too many
		delete(goodness, "max_gap")
	}
	delete(want, "kaplan_meier")
	delete(want, "turnbull")
}

// compareSteps holds the rows of a product-limit table that the expected file has kept.
func compareSteps(t *testing.T, want []any, got any, rows int, tol map[string]float64) {
	t.Helper()
	table, ok := got.([]any)
	if !ok || len(table) != rows {
		t.Errorf("got %d steps, want %d", len(table), rows)
		return
	}
	byTime := map[float64]map[string]any{}
	for _, r := range table {
		row := r.(map[string]any)
		byTime[row["time"].(float64)] = row
	}
	for _, r := range want {
		w := r.(map[string]any)
		g := byTime[w["time"].(float64)]
		for name, slack := range map[string]float64{"at_risk": 0, "failures": 0, "survival": tol["km"], "std_error": tol["km_std_error"]} {
			x, known := w[name].(float64)
			y, shown := g[name].(float64)
			if known != shown || math.Abs(x-y) > slack*max(x, 1e-12) {
				t.Errorf("product limit at %v, %s: got %v, want %v", w["time"], name, g[name], w[name])
			}
		}
	}
}

// compareMasses holds the likelihood of a Turnbull estimate and its survival where the data determine it.
func compareMasses(t *testing.T, want, got map[string]any, tol map[string]float64) {
	t.Helper()
	if x, y := want["loglik"].(float64), got["loglik"].(float64); math.Abs(x-y) > tol["turnbull_loglik"]*math.Abs(x) {
		t.Errorf("turnbull loglik: got %v, want %v", y, x)
	}
	for _, r := range want["rows"].([]any) {
		w := r.(map[string]any)
		if w["upper"] == nil || w["determined"] != true {
			continue
		}
		survival := 1.0
		for _, g := range got["rows"].([]any) {
			row := g.(map[string]any)
			if upper, ends := row["upper"].(float64); ends && upper <= w["upper"].(float64)*(1+1e-12) {
				survival = row["survival"].(float64)
			}
		}
		if math.Abs(survival-w["survival"].(float64)) > tol["turnbull_survival_abs"] {
			t.Errorf("turnbull survival at %v: got %v, want %v", w["upper"], survival, w["survival"])
		}
	}
}

// decodeFile reads a JSON file.
func decodeFile(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func TestLivesThatAreRefused(t *testing.T) {
	var refused struct {
		Cases []struct {
			CSV   string
			Line  *int
			OneOf []string `json:"one_of"`
		}
		Usage [][]string
	}
	folder := filepath.Join(livesFolder, "refused")
	decodeFile(t, filepath.Join(folder, "expected.json"), &refused)
	for _, c := range refused.Cases {
		t.Run(c.CSV, func(t *testing.T) {
			name := filepath.Join(folder, c.CSV)
			code, stdout, stderr := called(t, "fit", name)
			said := strings.ReplaceAll(stderr, name, "FILE")
			if code != 1 || stdout != "" || strings.Count(stderr, "\n") != 1 {
				t.Errorf("exit %d, printed %q, said %q", code, stdout, stderr)
			}
			if c.Line != nil && !strings.Contains(said, fmt.Sprintf("line %d:", *c.Line)) {
				t.Errorf("%q does not name line %d", said, *c.Line)
			}
			if !regexp.MustCompile(`\b(` + strings.Join(c.OneOf, "|") + `)\b`).MatchString(said) {
				t.Errorf("%q names none of %v", said, c.OneOf)
			}
		})
	}
	good := filepath.Join(livesFolder, "sets", "thin_default.csv")
	more := [][]string{{"--confidence", "NaN"}, {"--fixed-shape", "0"}, {"--fixed-shape=-2"}, {"--fixed-shape", "+Inf"}, {"--quantile", "0.1,0.2"}, {good}}
	for _, usage := range append(refused.Usage, more...) {
		if code, stdout, stderr := called(t, append([]string{"fit", good}, usage...)...); code != 2 || stdout != "" || strings.Count(stderr, "\n") != 1 {
			t.Errorf("%v: exit %d, printed %q, said %q", usage, code, stdout, stderr)
		}
	}
	if code, _, _ := called(t, "fit"); code != 2 {
		t.Errorf("without a file: exit %d", code)
	}
	if code, _, stderr := called(t, "fit", good+".gone"); code != 1 || !strings.Contains(stderr, good+".gone") {
		t.Errorf("a file that is not there: exit %d, said %q", code, stderr)
	}
}
