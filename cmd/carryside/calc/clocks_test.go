package calc

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// timeKinds are the kinds of clocks.go and calendar.go with their case files; where the figures come from is said in
// the packages that compute.
var timeKinds = map[string]string{
	"hours": "clock/testdata/meters.json", "projection": "clock/testdata/projection.json", "passes": "clock/testdata/passes.json",
	"occurrences": "calendar/testdata/cron.json", "intervals": "calendar/testdata/intervals.json",
	"recurrence": "calendar/testdata/rfc5545.json", "windows": "calendar/testdata/windows.json",
}

// scheduleCases reads a case file of a package below schedule.
func scheduleCases(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "..", "schedule", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// lacks says what of the expected value an answer does not have, "" for nothing. An answer may hold more fields, and a
// remark is not compared.
func lacks(path string, want, got any) string {
	switch w := want.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		for k, v := range w {
			if k != "note" {
				if d := lacks(path+"."+k, v, g[k]); d != "" {
					return d
				}
			}
		}
	case []any:
		g, _ := got.([]any)
		if len(g) != len(w) {
			return fmt.Sprintf("%s: %d entries, want %d", path, len(g), len(w))
		}
		for i, v := range w {
			if d := lacks(fmt.Sprintf("%s[%d]", path, i), v, g[i]); d != "" {
				return d
			}
		}
	case float64:
		if g, ok := got.(float64); !ok || math.Abs(g-w) > 1e-6*max(1, math.Abs(w)) {
			return fmt.Sprintf("%s: got %v, want %v", path, got, want)
		}
	default:
		if got != want {
			return fmt.Sprintf("%s: got %v, want %v", path, got, want)
		}
	}
	return ""
}

func TestTimeTables(t *testing.T) {
	for kind, file := range timeKinds {
		document := scheduleCases(t, file)
		var cases []map[string]any
		if err := json.Unmarshal(document, &cases); err != nil || len(cases) == 0 {
			t.Fatal(file, err)
		}
		answers, err := Answer(kind, document, Beside{})
		if err != nil || len(answers) != len(cases) {
			t.Fatalf("%s: %d answers to %d cases, %v", kind, len(answers), len(cases), err)
		}
		for i, c := range cases {
			want := c["expected"]
			if want == nil {
				want = map[string]any{"local": c["expected_local"], "utc": c["expected_utc"]}
			}
			if d := lacks("result", want, plainJSON(t, answers[i])["result"]); d != "" {
				t.Errorf("%s %v: %s", kind, c["id"], d)
			}
		}
	}
}

// Of what a case expects only the question is read, which stands nowhere else: its instants and how many are asked for.
func TestExpectedAnswersAreNotLookedAt(t *testing.T) {
	for _, tt := range []struct{ kind, document, other string }{
		{"hours", `[{"zone": "UTC", "meter": {}, "readings": [{"n": 1, "at": "2025-01-01T00:00", "value_h": 1}, {"n": 2, "at": "2025-01-02T00:00", "value_h": 5}],
			"expected": {"held": [], "H": [{"at": "2025-01-01T12:00", "hours": 3}]}}]`, `"hours": 99`},
		{"intervals", `[{"zone": "UTC", "counted_from": "plan", "anchor_local": "2025-01-31T06:00", "every": 1, "unit": "months",
			"expected": [{"planned_local": "2025-02-28T06:00", "hours": 3}]}]`, `"planned_local": "1999-01-01T00:00", "hours": 99`},
	} {
		spoilt := strings.Replace(tt.document, `"hours": 3`, tt.other, 1)
		if a, b := answered(t, tt.kind, tt.document), answered(t, tt.kind, spoilt); strings.Join(a, "") != strings.Join(b, "") {
			t.Errorf("%s: other expected answers change the result\n%v\n%v", tt.kind, a, b)
		}
	}
}

func TestQuestionsOfACase(t *testing.T) {
	const meter = `"zone": "Europe/Berlin", "meter": {"resolution_h": 0.1}, "readings": [{"n": 2, "at": "2025-01-13T06:00", "value_h": 1080}, {"n": 1, "at": "2025-01-06T05:00:00Z", "value_h": 1000}]`
	for _, tt := range []struct{ name, kind, document, want string }{
		{"instants of its own", "hours", `[{` + meter + `, "at": ["2025-01-09T18:00"]}]`, `{"id":1,"result":{"held":[],"duplicates":[],"H":[{"at":"2025-01-09T18:00","at_utc":"2025-01-09T17:00:00Z","hours":1040}]}}`},
		{"none: the points of the line", "hours", `[{` + meter + `}]`, `{"id":1,"result":{"held":[],"duplicates":[],"H":[{"at":"2025-01-06T06:00","at_utc":"2025-01-06T05:00:00Z","hours":1000},{"at":"2025-01-13T06:00","at_utc":"2025-01-13T05:00:00Z","hours":1080}]}}`},
		{"how many of an endless rule", "recurrence", `[{"zone": "UTC", "dtstart_local": "20250101T060000", "rrule": "FREQ=DAILY", "limit": 1}]`, `{"id":1,"result":{"local":["2025-01-01T06:00:00"],"utc":["2025-01-01T06:00:00Z"]}}`},
		{"one completion", "intervals", `[{"zone": "UTC", "counted_from": "last completion", "time_of_day": "06:00", "every": 2, "unit": "days", "done_utc": "2025-01-01T09:00:00Z"}]`,
			`{"id":1,"result":[{"done_utc":"2025-01-01T09:00:00Z","done_local_date":"2025-01-01","next_planned_local":"2025-01-03T06:00","next_at_utc":"2025-01-03T06:00:00Z"}]}`},
		{"unknown zone", "occurrences", `[{"zone": "Nowhere/Town", "cron": "0 6 * * *", "after_utc": "2025-01-01T00:00:00Z", "until_utc": "2025-01-02T00:00:00Z"}]`,
			`{"id":1,"error":"unknown_zone","text":"there is no time zone \"Nowhere/Town\"; write a name of the zone data base such as Europe/Berlin"}`},
		{"more than can be printed", "occurrences", `[{"zone": "UTC", "cron": "* * * * *", "after_utc": "0001-01-01T00:00:00Z", "until_utc": "9999-01-02T00:00:00Z"}]`,
			`{"id":1,"error":"too_many","text":"the expression occurs more than 100 000 times in that span; ask for a shorter one"}`},
		{"hours without plan or second reading", "projection", `[{"zone": "UTC", "trailing_days": 90, "meter": {}, "readings": [{"n": 1, "at": "2025-01-01T00:00", "value_h": 1}], "calendar": null, "at": "2025-02-01T00:00"}]`,
			`{"id":1,"result":{"projection":[{"at":"2025-02-01T00:00","at_utc":"2025-02-01T00:00:00Z","hours":null}],"basis":""}}`},
	} {
		if got := strings.Join(answered(t, tt.kind, tt.document), "\n"); got != tt.want {
			t.Errorf("%s: got\n%s\nwant\n%s", tt.name, got, tt.want)
		}
	}
}

func TestTimeCasesThatAreNotWhole(t *testing.T) {
	for _, tt := range []struct{ kind, document, want string }{
		{"hours", `[{"zone": "UTC", "meter": {}, "readings": [{"n": 1, "at": "2025-01-01T00:00"}]}]`, "case 1: the field readings[0].value_h is missing; add it"},
		{"hours", `[{"id": "H-9", "zone": "UTC", "meter": {}, "readings": [], "events": [{"kind": "replacement", "at": "2025-01-01T00:00", "new_start_h": 0}]}]`, "case H-9: the field events[0].old_final_h is missing; add it"},
		{"hours", `[{"zone": "UTC", "meter": {}, "readings": [{"n": 1, "at": "2025-01-01T00:00", "value_h": 1e999}]}]`, "case 1: the field readings[0].value_h is not a number below 1e12; correct it"},
		{"intervals", `[{"zone": "UTC", "counted_from": "last completion", "time_of_day": "06:00", "every": 2, "unit": "days"}]`, "case 1: the field done_utc is missing; add it"},
		{"windows", `[{"zone": "UTC", "dtstart_local": "20250101T060000", "rrule": "FREQ=DAILY"}]`, "case 1: the field wall_minutes is missing; add it"},
		{"cron-check", `[{}]`, "case 1: the field cron is missing; add it"},
	} {
		if _, err := Answer(tt.kind, []byte(tt.document), Beside{}); err == nil || err.Error() != tt.want {
			t.Errorf("%s: got %v, want %s", tt.kind, err, tt.want)
		}
	}
}

// FuzzTimeKinds holds of the kinds of time what FuzzAnswer holds of the others.
func FuzzTimeKinds(f *testing.F) {
	for _, file := range timeKinds {
		var cases []json.RawMessage
		if err := json.Unmarshal(scheduleCases(f, file), &cases); err != nil {
			f.Fatal(err)
		}
		for _, c := range cases {
			f.Add([]byte("[" + string(c) + "]"))
		}
	}
	f.Fuzz(func(t *testing.T, document []byte) {
		for kind := range timeKinds {
			answers, err := Answer(kind, document, Beside{})
			if err != nil {
				if strings.Contains(err.Error(), "\n") || answers != nil {
					t.Fatalf("%s: %q with %v", kind, err, answers)
				}
				continue
			}
			for _, a := range answers {
				if (a.Class == "") != (a.Text == "") || (a.Class == "") == (a.Result == nil) {
					t.Fatalf("%s: half an answer: %+v", kind, a)
				}
				if _, err := json.Marshal(a); err != nil {
					t.Fatalf("%s: an answer that cannot be written: %v", kind, err)
				}
			}
		}
	})
}
