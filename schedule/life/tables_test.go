package life

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// The tables were computed with R 4.2.2 (pgamma, uniroot, integrate, lm, predict); each says in "defines" what its columns are.

// table is one file of rows.
type table struct {
	Rows  []map[string]any `json:"rows"`
	Aged  []map[string]any `json:"aged"`
	Cases []map[string]any `json:"cases"`
}

// readTable reads a table of testdata.
func readTable(t *testing.T, name string) table {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "tables", name))
	if err != nil {
		t.Fatal(err)
	}
	var read table
	if err := json.Unmarshal(text, &read); err != nil {
		t.Fatal(err)
	}
	if len(read.Rows)+len(read.Cases) == 0 {
		t.Fatalf("%s holds no rows", name)
	}
	return read
}

// lawOf is the law of a row.
func lawOf(row map[string]any) Weibull {
	return Weibull{row["shape"].(float64), row["scale"].(float64)}
}

// near compares with a relative tolerance; a figure that is not known meets null only.
func near(t *testing.T, what string, row map[string]any, column string, got Figure, tol float64) {
	t.Helper()
	want, known := row[column].(float64)
	if known != got.Known() || known && math.Abs(float64(got)-want) > max(tol*math.Abs(want), 1e-12) {
		t.Errorf("%s, %s: got %v, want %v", what, column, got, row[column])
	}
}

// what names a row.
func what(t *testing.T, row map[string]any) string {
	t.Helper()
	text, err := json.Marshal(row)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func TestReplacementTable(t *testing.T) {
	for _, row := range readTable(t, "age_replacement.json").Rows {
		r, err := Replace(lawOf(row), Costs{row["cost_planned"].(float64), row["cost_unplanned"].(float64)})
		if err != nil {
			t.Fatal(err)
		}
		reason, _ := row["reason"].(string)
		if r.Result != row["result"] || r.Reason != reason {
			t.Errorf("%s: got %s %s", what(t, row), r.Result, r.Reason)
		}
		for column, got := range map[string]Figure{"T_opt": r.Age, "cost_rate": r.CostRate, "saving": r.Saving, "T_low_5pct": r.Low, "T_high_5pct": r.High} {
			near(t, what(t, row), row, column, got, 1e-6)
		}
		if r.Result != Optimum {
			continue
		}
		// The curve of costs goes through the table's least cost at its best age, and ends at that of running to failure.
		law, costs := lawOf(row), Costs{row["cost_planned"].(float64), row["cost_unplanned"].(float64)}
		near(t, what(t, row), row, "cost_rate", Figure(CostRate(law, costs, row["T_opt"].(float64))), 1e-6)
		near(t, what(t, row), row, "cost_rate_run_to_failure", Figure(CostRate(law, costs, 40*law.Scale)), 1e-6)
	}
}

func TestConditionalAndResidualTables(t *testing.T) {
	for _, row := range readTable(t, "conditional_failure.json").Rows {
		p, err := lawOf(row).Risk(row["age"].(float64), row["x"].(float64))
		if err != nil {
			t.Fatal(err)
		}
		if want := row["p"].(float64); math.Abs(p-want) > 1e-9*want {
			t.Errorf("%s: got %v", what(t, row), p)
		}
	}
	for _, row := range readTable(t, "residual_life.json").Rows {
		r, err := lawOf(row).Residual(row["age"].(float64))
		if err != nil {
			t.Fatal(err)
		}
		for column, got := range map[string]float64{"q10": r.Q10, "q50": r.Q50, "q90": r.Q90, "mean": r.Mean} {
			near(t, what(t, row), row, column, Figure(got), 1e-8)
		}
	}
}

func TestRenewalTable(t *testing.T) {
	read := readTable(t, "renewal.json")
	for _, row := range read.Rows {
		m, err := Renewals(lawOf(row), row["t"].(float64))
		if err != nil {
			t.Fatal(err)
		}
		near(t, what(t, row), row, "M", Figure(m), 1e-5)
	}
	for _, row := range read.Aged {
		m, err := AgedRenewals(lawOf(row), row["age"].(float64), row["x"].(float64))
		if err != nil {
			t.Fatal(err)
		}
		near(t, what(t, row), row, "expected", Figure(m), 1e-5)
	}
}

// TestRenewalsWithoutWear holds M(t) = t/mean, which is exact for shape 1, and that new units then count as aged ones.
func TestRenewalsWithoutWear(t *testing.T) {
	law := Weibull{1, 500}
	for _, at := range []float64{1, 400, 5000, 90000} {
		m, err := Renewals(law, at)
		aged, err2 := AgedRenewals(law, 1234, at)
		if err != nil || err2 != nil || math.Abs(m-at/500) > 1e-6*m || math.Abs(aged-m) > 1e-6*m {
			t.Errorf("at %g: new %v, aged %v, %v, %v", at, m, aged, err, err2)
		}
	}
}

func TestTrendTable(t *testing.T) {
	for _, c := range readTable(t, "trend.json").Cases {
		m := Measurements{Limit: c["limit"].(float64), Confidence: c["confidence"].(float64)}
		for _, v := range c["t"].([]any) {
			m.Times = append(m.Times, v.(float64))
		}
		for _, v := range c["y"].([]any) {
			m.Values = append(m.Values, v.(float64))
		}
		r, err := m.Robust()
		o, err2 := m.LeastSquares()
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		robust, squares := c["theil_sen"].(map[string]any), c["ols"].(map[string]any)
		for column, got := range map[string]Figure{
			"slope": Figure(r.Slope), "intercept": Figure(r.Intercept), "slope_lower": r.SlopeLower, "slope_upper": r.SlopeUpper,
			"crossing": r.Crossing, "crossing_earliest": r.CrossEarliest, "crossing_latest": r.CrossLatest,
		} {
			near(t, c["name"].(string)+" robust", robust, column, got, 1e-8)
		}
		for column, got := range map[string]Figure{
			"slope": Figure(o.Slope), "intercept": Figure(o.Intercept), "residual_sd": o.ResidualSD, "r2": o.R2, "slope_lower": o.SlopeLower,
			"slope_upper": o.SlopeUpper, "crossing": o.Crossing, "prediction_earliest": o.PredictionEarliest,
			"prediction_latest": o.PredictionLatest, "mean_earliest": o.MeanEarliest, "mean_latest": o.MeanLatest,
		} {
			near(t, c["name"].(string)+" least squares", squares, column, got, 1e-8)
		}
	}
}

func TestTrendsThatCannotBeLaid(t *testing.T) {
	for name, m := range map[string]Measurements{
		"one reading":            {Times: []float64{1}, Values: []float64{2}, Confidence: 0.9},
		"all at one time":        {Times: []float64{1, 1, 1}, Values: []float64{2, 3, 4}, Confidence: 0.9},
		"a value short":          {Times: []float64{1, 2}, Values: []float64{2}, Confidence: 0.9},
		"certain":                {Times: []float64{1, 2}, Values: []float64{2, 3}, Confidence: 1},
		"a value without a size": {Times: []float64{1, 2}, Values: []float64{2, math.Inf(1)}, Confidence: 0.9},
	} {
		_, err := m.Robust()
		_, err2 := m.LeastSquares()
		if err == nil || err2 == nil {
			t.Errorf("%s: %v, %v", name, err, err2)
		}
	}
	away, err := Measurements{Times: []float64{0, 1, 2}, Values: []float64{5, 6, 7}, Limit: 2, Confidence: 0.9}.LeastSquares()
	if err != nil || away.Crossing.Known() || away.PredictionEarliest.Known() {
		t.Errorf("a line that heads away meets the limit: %+v, %v", away, err)
	}
}

// TestChances holds quantiles and tails against printed tables: Student t 0.975 and chi-square 0.95 (Abramowitz and Stegun, tables 26.10
// and 26.8).
func TestChances(t *testing.T) {
	for df, want := range map[int]float64{1: 12.706, 2: 4.303, 5: 2.571, 30: 2.042, 120: 1.980} {
		if got := studentRoot(0.95, df); math.Abs(got-want) > 6e-4 {
			t.Errorf("Student with %d: got %v, want %v", df, got, want)
		}
	}
	for df, want := range map[int]float64{1: 3.84146, 2: 5.99147, 10: 18.3070, 100: 124.342} {
		if got := chiSquareAbove(want, df); math.Abs(got-0.05) > 1e-5 {
			t.Errorf("chi-square with %d above %g: got %v, want 0.05", df, want, got)
		}
	}
}
