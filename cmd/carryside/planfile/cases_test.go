package planfile

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

// A known result. The optima were proven by two mixed-integer solvers, HiGHS and CBC, on the model with an order variable for every two
// jobs, and by enumeration; the large ones carry the best plan of an earlier search and the bound of a relaxation without start times.
type known struct {
	Kind      string `json:"kind"`
	Status    string `json:"status"`
	Optimum   int    `json:"optimum"`
	BestKnown int    `json:"best_known"`
	Bound     int    `json:"bound"`
}

// readKnown reads the results.
func readKnown(t *testing.T) map[string]known {
	t.Helper()
	text, err := os.ReadFile("testdata/cases/optima.json")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]known{}
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

// readCase reads a case of the testdata.
func readCase(t *testing.T, name string) *plan.Case {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata/cases", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := Read(text)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSmallCasesAtTheirOptimum(t *testing.T) {
	known := readKnown(t)
	for i, name := range slices.Sorted(maps.Keys(known)) {
		k := known[name]
		if k.Kind == "large" || testing.Short() && i%4 > 0 {
			continue
		}
		t.Run(name, func(t *testing.T) {
			c := readCase(t, name)
			got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			if k.Status == "infeasible" {
				if got.Status != plan.Infeasible || len(got.Conflict) == 0 {
					t.Errorf("%s with conflict %q, want infeasible", got.Status, got.Conflict)
				}
				return
			}
			for _, broken := range plantest.Judge(c, got) {
				t.Error(broken)
			}
			if got.Status != plan.Optimal || got.Cost != k.Optimum {
				t.Errorf("%s plan of cost %d, the optimum is %d", got.Status, got.Cost, k.Optimum)
			}
			hintsHold(t, c, got)
		})
	}
}

// hintsHold applies every change and plans again: the job must be placed.
func hintsHold(t *testing.T, c *plan.Case, p *plan.Plan) {
	t.Helper()
	for _, l := range p.LeftOut {
		for i, changes := range l.Changes {
			after, err := plan.Solve(t.Context(), c.With(changes), plan.Settings{Seed: 2, Plain: true})
			if err != nil {
				t.Fatal(err)
			}
			for _, again := range after.LeftOut {
				if again.Job == l.Job {
					t.Errorf("job %s is still left out with %q", c.Jobs[l.Job].ID, l.Help[i])
				}
			}
		}
	}
}

func TestEverySmallestSizeHasAFirstPlanAtOnce(t *testing.T) {
	c := readCase(t, "l3")
	got, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1, Steps: 1, Plain: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, broken := range plantest.Judge(c, got) {
		t.Error(broken)
	}
	if len(got.Placed) < 700 {
		t.Errorf("the first plan places %d of %d jobs", len(got.Placed), len(c.Jobs))
	}
}

func TestBadCasesAreRefusedInOneSentence(t *testing.T) {
	text, err := os.ReadFile("testdata/bad/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	var expected map[string]struct {
		Exit  int      `json:"exit"`
		Names []string `json:"names"`
	}
	if err := json.Unmarshal(text, &expected); err != nil {
		t.Fatal(err)
	}
	for name, e := range expected {
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(filepath.Join("testdata/bad", name+".json"))
			if err != nil {
				t.Fatal(err)
			}
			c, err := Read(text)
			said := ""
			switch e.Exit {
			case 1:
				if err == nil {
					t.Fatal("the case was read")
				}
				said = err.Error()
			default:
				if err != nil {
					t.Fatal(err)
				}
				p, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
				if err != nil {
					t.Fatal(err)
				}
				if (p.Status == plan.Infeasible) != (e.Exit == 3) {
					t.Errorf("status %s, exit %d is expected", p.Status, e.Exit)
				}
				said = strings.Join(p.Conflict, " ")
			}
			for _, n := range e.Names {
				if !strings.Contains(strings.ToLower(said), strings.ToLower(n)) {
					t.Errorf("%q does not name %s", said, n)
				}
			}
		})
	}
}

// good is a case to be spoilt.
const good = `{"format": 1, "id": "k", "title": "t", "note": "", "horizon": 4000, "sites": ["A", "B"], "travel": [[0, 30], [30, 0]],
"groups": [{"id": "GA", "site": "A", "isolate": 10, "restart": 10, "setup": 5}, {"id": "GB", "site": "B", "isolate": 0, "restart": 0, "setup": 0}],
"conveyors": [{"id": "CA", "group": "GA"}, {"id": "CB", "group": "GB"}, {"id": "CC", "group": "GA"}],
"windows": [{"id": "W1", "site": "A", "start": 600, "end": 900, "scope": ["CA", "CC"]}, {"id": "W2", "site": "B", "start": 600, "end": 900, "scope": ["CB"]}],
"technicians": [{"id": "T1", "home": "A", "quals": [{"q": "splice", "from": 0, "to": 4000}], "avail": [[0, 2000], [2000, 4000]], "callout_windows": {"W2": 7}}],
"tools": [{"id": "P1", "class": "press", "width": 1000, "site": "A", "avail": [[0, 4000]]}],
"stock": [{"id": "M1", "on_hand": 1, "arrivals": [[100, 2]]}],
"jobs": [{"id": "J1", "kind": "re-splice", "conveyor": "CA", "duration": 100, "crew": [["splice", 1]], "tools": [["press", 800]], "stock": [["M1", 1]],
  "release": 0, "deadline": null, "isolation": true, "costs": {"W1": 5}, "unplaced": 900, "locked": {"window": "W1", "start": 700, "techs": ["T1"], "tools": ["P1"]},
  "previous": {"window": "gone", "techs": ["nobody"], "change_window": 5}},
 {"id": "J2", "kind": "check", "conveyor": "CB", "duration": 10, "costs": {"W2": 0}, "unplaced": 1, "surplus": [1, {"x": null}]}],
"exclusions": [["J1", "J2"]], "precedences": [{"before": "J1", "after": "J2", "min_lag": 0, "max_lag": null}]}`

func TestSpoiltCases(t *testing.T) {
	if _, err := Read([]byte(good)); err != nil {
		t.Fatalf("the case to be spoilt: %v", err)
	}
	for name, tt := range map[string]struct{ from, to, names string }{
		"another format":             {`"format": 1`, `"format": 2`, "format"},
		"no format":                  {`"format": 1, `, ``, "format"},
		"horizon of nothing":         {`"horizon": 4000`, `"horizon": 0`, "horizon"},
		"horizon with a point":       {`"horizon": 4000`, `"horizon": 4000.0`, "horizon"},
		"horizon as a text":          {`"horizon": 4000`, `"horizon": "4000"`, "horizon"},
		"horizon beyond all":         {`"horizon": 4000`, `"horizon": 99999999999999999999999`, "horizon"},
		"horizon in powers":          {`"horizon": 4000`, `"horizon": 4e3`, "horizon"},
		"site twice":                 {`"sites": ["A", "B"]`, `"sites": ["A", "A"]`, "site A"},
		"site without a name":        {`"sites": ["A", "B"]`, `"sites": ["A", ""]`, "sites[1]"},
		"travel too small":           {`[[0, 30], [30, 0]]`, `[[0, 30]]`, "travel"},
		"travel ragged":              {`[[0, 30], [30, 0]]`, `[[0, 30], [30]]`, "travel from site B"},
		"travel to itself":           {`[[0, 30], [30, 0]]`, `[[1, 30], [30, 0]]`, "site A"},
		"travel negative":            {`[[0, 30], [30, 0]]`, `[[0, -30], [30, 0]]`, "travel"},
		"group at no site":           {`"GA", "site": "A"`, `"GA", "site": "Z"`, "group GA: site: site Z"},
		"group twice":                {`"id": "GB", "site"`, `"id": "GA", "site"`, "group GA is listed twice"},
		"group without isolation":    {`"isolate": 10, `, ``, "group GA has no isolate"},
		"conveyor of no group":       {`"CB", "group": "GB"`, `"CB", "group": "GX"`, "conveyor CB"},
		"window upside down":         {`"W1", "site": "A", "start": 600, "end": 900`, `"W1", "site": "A", "start": 900, "end": 600`, "window W1"},
		"window past the horizon":    {`"W2", "site": "B", "start": 600, "end": 900`, `"W2", "site": "B", "start": 600, "end": 4001`, "window W2"},
		"conveyor of another site":   {`"scope": ["CB"]`, `"scope": ["CB", "CA"]`, "conveyor CA"},
		"conveyor twice in scope":    {`"scope": ["CB"]`, `"scope": ["CB", "CB"]`, "conveyor CB is twice"},
		"group not wholly stopped":   {`"scope": ["CA", "CC"]`, `"scope": ["CA"]`, "conveyor CC runs"},
		"conveyor not in scope":      {`"scope": ["CB"]`, `"scope": []`, "job J2"},
		"person of no site":          {`"home": "A"`, `"home": "Q"`, "technician T1"},
		"availability unsorted":      {`[[0, 2000], [2000, 4000]]`, `[[2000, 4000], [0, 2000]]`, "technician T1: avail[1]"},
		"availability empty":         {`[[0, 2000], [2000, 4000]]`, `[[5, 5]]`, "technician T1"},
		"availability of three":      {`[[0, 2000], [2000, 4000]]`, `[[0, 1, 2]]`, "technician T1"},
		"qualification backwards":    {`"from": 0, "to": 4000`, `"from": 10, "to": 10`, "qualification splice"},
		"call-out of no window":      {`{"W2": 7}`, `{"W7": 7}`, "window W7"},
		"call-out negative":          {`{"W2": 7}`, `{"W2": -7}`, "W2"},
		"tool without a width":       {`"width": 1000, `, ``, "tool P1 has no width"},
		"tool mobile in words":       {`"width": 1000, `, `"width": 1000, "mobile": "yes", `, "tool P1: mobile"},
		"stock below nothing":        {`"on_hand": 1`, `"on_hand": -1`, "stock M1"},
		"job on no conveyor":         {`"J1", "kind": "re-splice", "conveyor": "CA"`, `"J1", "kind": "re-splice", "conveyor": "CX"`, "conveyor CX"},
		"job of no time":             {`"duration": 100`, `"duration": 0`, "job J1: duration"},
		"crew of nobody":             {`[["splice", 1]]`, `[["splice", 0]]`, "job J1: crew"},
		"crew of millions":           {`[["splice", 1]]`, `[["splice", 100000]]`, "job J1"},
		"stock of nothing":           {`[["M1", 1]]`, `[["M9", 1]]`, "stock M9"},
		"window unknown":             {`"costs": {"W1": 5}`, `"costs": {"W1": 5, "W9": 3}`, "job J1: window W9"},
		"no costs":                   {`"costs": {"W2": 0}, `, ``, "job J2 has no costs"},
		"cost negative":              {`"costs": {"W2": 0}`, `"costs": {"W2": -1}`, "W2"},
		"no cost of leaving out":     {`, "unplaced": 1`, ``, "job J2 has no unplaced"},
		"lock of an unlisted window": {`"locked": {"window": "W1"`, `"locked": {"window": "W2"`, "job J1"},
		"lock of nobody":             {`"techs": ["T1"], "tools"`, `"techs": ["T9"], "tools"`, "technician T9"},
		"lock without a window":      {`"locked": {"window": "W1", `, `"locked": {`, "job J1: locked has no window"},
		"exclusion of itself":        {`[["J1", "J2"]]`, `[["J1", "J1"]]`, "job J1"},
		"exclusion of three":         {`[["J1", "J2"]]`, `[["J1", "J2", "J1"]]`, "exclusions[0]"},
		"precedence of itself":       {`"after": "J2"`, `"after": "J1"`, "J1"},
		"precedence of nobody":       {`"after": "J2"`, `"after": "J9"`, "job J9"},
		"lags crossed":               {`"min_lag": 0, "max_lag": null`, `"min_lag": 9, "max_lag": 8`, "max_lag 8"},
		"a cycle":                    {`"max_lag": null}]`, `"max_lag": null}, {"before": "J2", "after": "J1"}]`, "J2"},
		"jobs gone":                  {`"jobs": [`, `"work": [`, "jobs"},
		"a list for an object":       {`{"id": "J2"`, `[], {"id": "J2"`, "jobs[1]"},
		"something behind":           {`"max_lag": null}]}`, `"max_lag": null}]} {}`, "JSON"},
		"a comma too many":           {`"format": 1,`, `"format": 1,,`, "JSON"},
	} {
		t.Run(name, func(t *testing.T) {
			spoilt := strings.Replace(good, tt.from, tt.to, 1)
			if spoilt == good {
				t.Fatal("nothing was spoilt")
			}
			_, err := Read([]byte(spoilt))
			if err == nil {
				t.Fatal("the case was read")
			}
			if !strings.Contains(err.Error(), tt.names) || strings.Contains(err.Error(), "\n") {
				t.Errorf("said %q, want one line naming %q", err, tt.names)
			}
		})
	}
}

func TestThePlanWritten(t *testing.T) {
	c, err := Read([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := Write(&out, c, p, 1, 20*time.Millisecond); err != nil {
		t.Fatal(err)
	}
	want := `{"case":"k","status":"optimal","cost":15,"bound":15,"gap":0,"seconds":0.02,"seed":1,"jobs":[` +
		`{"job":"J1","window":"W1","start":700,"crew":[{"tech":"T1","qual":"splice"}],"tools":["P1"]},` +
		`{"job":"J2","window":"W2","start":800,"crew":[],"tools":[]}],"unplaced":[]}` + "\n"
	if out.String() != want {
		t.Errorf("got  %swant %s", out.String(), want)
	}
}

// FuzzRead reads whatever it is given: a case or one sentence, never a panic, and a case read is one that can be planned.
func FuzzRead(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte(`{"format":1,"horizon":1,"sites":[],"travel":[],"groups":[],"conveyors":[],"windows":[],"technicians":[],"tools":[],"jobs":[]}`))
	f.Add([]byte(`[`))
	names, err := filepath.Glob("testdata/*/*.json")
	if err != nil || len(names) < 30 {
		f.Fatalf("%d cases to begin with: %v", len(names), err)
	}
	for _, n := range names {
		if text, err := os.ReadFile(n); err == nil && len(text) < 5_000 {
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := Read(text)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("refused without a word")
			}
			return
		}
		p, err := plan.Solve(t.Context(), c, plan.Settings{Seed: 1, Steps: 20, Plain: true})
		if err != nil || p.Status == plan.Infeasible {
			return
		}
		for _, broken := range plantest.Judge(c, p) {
			t.Error(broken)
		}
	})
}
