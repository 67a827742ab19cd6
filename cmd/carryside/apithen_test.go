package main

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/tokens"
)

// lookedBack is the home plant after some things were entered late: a reading was corrected, the conveyor runs at 3 m/s since
// 20 November, and its splice failed on the 24th. All of it was entered at 06:30 on the 25th.
func lookedBack(t *testing.T) (m *machines, token, plant string) {
	t.Helper()
	m = openMachines(t)
	home := m.home
	home.write(t, m.db, plantDay.Add(50*time.Minute), func(c *plantdb.Change) error {
		shown := 908.0
		at := assets.InstantOf(plantDay.AddDate(0, 0, -8).Add(-time.Duration(home.plant%100) * time.Minute))
		if err := clocks.CorrectReading(c, home.ids["conveyor"], at, &shown); err != nil {
			return err
		}
		v, err := plantdb.ReadRow[assets.Conveyor](c, home.ids["conveyor"])
		if err != nil {
			return err
		}
		v.SpeedMPS = 3
		if err := registry.AlterConveyor(c, &v, assets.InstantOf(time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC))); err != nil {
			return err
		}
		return registry.RetireSplice(c, home.ids["splice"], 0, registry.Retirement{When: assets.Exactly(plantDay.AddDate(0, 0, -1), time.UTC), Why: assets.RetiredFailed, FailureMode: "torn"})
	})
	return m, m.program(assets.RoleAuditor, "plant", tokens.MayRead), fmt.Sprintf("/api/v1/plants/%d", home.plant)
}

// told are the items of a list, or the thing itself.
func (m *machines) told(path, token string) []map[string]any {
	m.t.Helper()
	a := m.call(http.MethodGet, path, token, nil)
	if a.status == http.StatusNotFound {
		return nil
	}
	if a.status != http.StatusOK {
		m.t.Fatalf("%s: %d %s", path, a.status, a.text)
	}
	list, is := a.body["items"].([]any)
	if !is {
		return []map[string]any{a.body}
	}
	var out []map[string]any
	for _, item := range list {
		out = append(out, item.(map[string]any))
	}
	return out
}

// TestAProgramLooksBackAtAPlant asks for each kind of thing as it was and as it was known, beside as it is.
func TestAProgramLooksBackAtAPlant(t *testing.T) {
	t.Parallel() // plants of its own
	m, token, plant := lookedBack(t)
	conveyor, splice := fmt.Sprintf("/conveyors/%d", m.home.ids["conveyor"]), fmt.Sprintf("/splices/%d", m.home.ids["splice"])
	const before = "known_at=2026-11-25T06:29:00Z" // the corrections
	for name, tt := range map[string]struct {
		path string
		n    int
		says map[string]any // of the first
	}{
		"conveyor now":                                   {conveyor, 1, map[string]any{"speed_mps": 3.0}},
		"conveyor the day before it was sped up":         {conveyor + "?as_of=2026-11-19", 1, map[string]any{"speed_mps": 2.0}},
		"conveyor as known before that was entered":      {conveyor + "?" + before, 1, map[string]any{"speed_mps": 2.0}},
		"conveyors the day before":                       {"/conveyors?as_of=2026-11-19", 1, map[string]any{"speed_mps": 2.0}},
		"conveyors before the plant was known":           {"/conveyors?known_at=2025-01-01", 0, nil},
		"splice that failed":                             {splice, 1, map[string]any{"ended_why": "failed", "failure_mode": "torn"}},
		"splice while it ran":                            {splice + "?as_of=2026-11-20", 1, map[string]any{"ended_why": nil, "ended": nil, "failure_mode": nil}},
		"splice as known before its failure was":         {splice + "?" + before, 1, map[string]any{"ended_why": nil}},
		"splice before it was made":                      {splice + "?as_of=2024-02-01", 0, nil},
		"splices now":                                    {"/splices", 0, nil},
		"splices while it ran":                           {"/splices?as_of=2026-11-20", 1, map[string]any{"ended_why": nil}},
		"splices of its conveyor while it ran":           {fmt.Sprintf("/splices?conveyor=%d&as_of=2026-11-20", m.home.ids["conveyor"]), 1, map[string]any{"ended_why": nil}},
		"belts before one was fitted":                    {"/belts?as_of=2024-02-01", 0, nil},
		"belts since":                                    {"/belts?as_of=2024-03-02", 1, nil},
		"belt before it was fitted":                      {fmt.Sprintf("/belts/%d?as_of=2024-02-01", m.home.ids["belt"]), 0, nil},
		"lines before the plant was known":               {"/lines?known_at=2025-01-01", 0, nil},
		"lines":                                          {"/lines?as_of=2026-11-20", 1, nil},
		"readings now":                                   {conveyor + "/readings?from=2026-11-17T00:00:00Z&to=2026-11-18T00:00:00Z", 1, map[string]any{"shown_h": 908.0}},
		"readings as known before one was corrected":     {conveyor + "/readings?from=2026-11-17T00:00:00Z&to=2026-11-18T00:00:00Z&" + before, 1, map[string]any{"shown_h": 910.0}},
		"readings up to a day":                           {conveyor + "/readings?as_of=2026-11-16", 1, map[string]any{"shown_h": 900.0}},
		"meters before one was replaced":                 {"/meters?as_of=2026-11-18&" + before, 1, nil},
		"held readings now":                              {"/held-readings", 1, nil},
		"held readings before they were entered":         {"/held-readings?known_at=2026-11-23", 0, nil},
		"held readings on the day before":                {"/held-readings?as_of=2026-11-23", 0, nil},
		"findings now":                                   {"/findings", 2, nil},
		"findings on the day before":                     {"/findings?as_of=2026-11-22", 0, nil},
		"findings before it was entered":                 {"/findings?known_at=2026-11-23", 0, nil},
		"finding on the day before":                      {fmt.Sprintf("/findings/%d?as_of=2026-11-22", m.home.ids["finding"]), 0, nil},
		"order that was started":                         {"/orders/1", 1, map[string]any{"state": "started"}},
		"order as it had been raised":                    {"/orders/1?as_of=2026-11-25T05:50:00Z", 1, map[string]any{"state": "raised"}},
		"order as known then":                            {"/orders/1?known_at=2026-11-25T05:50:00Z", 1, map[string]any{"state": "raised"}},
		"order before it was raised":                     {"/orders/1?as_of=2026-11-24", 0, nil},
		"orders before any was raised":                   {"/orders?as_of=2026-11-24&state=all", 0, nil},
		"what was due before anything was entered of it": {"/due?known_at=2026-11-23&as_of=2026-11-23", 0, nil},
		"stock, of which one unit was scrapped":          {"/stock", 1, map[string]any{"quantity_on_hand": 19.0, "good_until_day": "2027-06-01"}},
		"stock before it was booked":                     {"/stock?as_of=2026-11-20", 0, nil},
		"the ledger, newest first":                       {"/stock/movements", 2, map[string]any{"quantity_gained": -1.0, "why": "scrapped"}},
		"the ledger before":                              {"/stock/movements?as_of=2026-11-20", 0, nil},
		"kit of the plant":                               {"/kit", 1, nil},
		"kit before it was known":                        {"/kit?known_at=2026-11-20", 0, nil},
		"standstills":                                    {"/standstills", 1, map[string]any{"cause": "other", "until_at": nil}},
		"standstills of before it stopped":               {"/standstills?as_of=2026-11-20", 0, nil},
		"the plant before orders were raised":            {"?as_of=2026-11-24", 1, map[string]any{"open_orders": 0.0, "splices": 0.0, "conveyors": 1.0}},
		"the plant while its splice ran":                 {"?as_of=2026-11-20", 1, map[string]any{"splices": 1.0}},
		"the plant before it was known":                  {"?known_at=2024-01-01", 0, nil},
	} {
		got := m.told(plant+tt.path, token)
		if len(got) != tt.n {
			t.Errorf("%s: %d, want %d: %v", name, len(got), tt.n, got)
			continue
		}
		for member, want := range tt.says {
			if got[0][member] != want {
				t.Errorf("%s: %s is %v, want %v", name, member, got[0][member], want)
			}
		}
	}
	if got := m.told("/api/v1/plants?known_at=2024-01-01", token); len(got) != 0 {
		t.Errorf("plants before any was known: %v", got)
	}
	if events, _ := m.told(plant+"/orders/1?as_of=2026-11-25T05:50:00Z", token)[0]["events"].([]any); len(events) != 1 {
		t.Errorf("an order that had just been raised has the events %v", events)
	}
	last, _ := m.told(plant+"/meters?as_of=2026-11-18&"+before, token)[0]["last_reading"].(map[string]any)
	if last["shown_h"] != 910.0 {
		t.Errorf("the last reading up to 18 November as known before its correction is %v", last)
	}
}

// TestRemindersAreToldFromWhenTheyWereRaised asks for what was due before and after a reminder was raised at 06:10.
func TestRemindersAreToldFromWhenTheyWereRaised(t *testing.T) {
	t.Parallel() // plants of its own
	m, token, plant := lookedBack(t)
	for query, want := range map[string]int{"": 1, "?as_of=2026-11-25T06:09:00Z": 0, "?known_at=2026-11-25T06:09:00Z": 0, "?as_of=2026-11-25T06:20:00Z": 1, "?known_at=2026-11-25T06:20:00Z": 1} {
		n := 0
		for _, d := range m.told(plant+"/due"+query, token) {
			if d["kind"] == "reminder" {
				n++
			}
		}
		if n != want {
			t.Errorf("due%s tells %d reminders, want %d", query, n, want)
		}
	}
}

// TestWhatIsToldOfThenIsWhatAReportTells compares the ages of a splice in the list with the register of the same moment.
func TestWhatIsToldOfThenIsWhatAReportTells(t *testing.T) {
	t.Parallel() // plants of its own
	m, token, plant := lookedBack(t)
	for _, moment := range []string{"as_of=2026-11-20", "as_of=2026-11-20&known_at=2026-11-25T06:29:00Z", "as_of=2026-11-18", "as_of=2026-11-20T12:00:00Z"} {
		told := m.told(plant+"/splices?"+moment, token)
		report := m.call(http.MethodGet, "/api/v1/reports/splice-age?"+moment, token, nil)
		rows, _ := report.body["rows"].([]any)
		if len(told) != 1 || len(rows) != 1 {
			t.Fatalf("%s: %d splices, %d rows", moment, len(told), len(rows))
		}
		standing, row := told[0]["standing"].(map[string]any), rows[0].(map[string]any)
		age, _ := standing["age"].(map[string]any)
		hours, _ := age["running_h"].(map[string]any)
		if age["days"] != row["age_days"] || fmt.Sprintf("%.1f", hours["value"]) != fmt.Sprintf("%.1f", row["age_hours"]) || standing["band"] != row["status"] {
			t.Errorf("%s: told %v, the report %v, %v, %v", moment, standing, row["age_days"], row["age_hours"], row["status"])
		}
	}
}

// TestEveryReadTakesAMomentAndRefusesOneToCome goes through the description: whatever is read of a plant takes as_of and known_at, refuses a day
// to come, a day that is none and the names spelt otherwise.
func TestEveryReadTakesAMomentAndRefusesOneToCome(t *testing.T) {
	t.Parallel() // plants of its own
	m, token, _ := lookedBack(t)
	asked := 0
	for _, rt := range m.routes() {
		if rt.Method != http.MethodGet || !strings.HasPrefix(rt.Path, "/api/v1/") || strings.HasSuffix(rt.Path, "/openapi.json") || rt.Path == "/api/v1/reports" {
			continue
		}
		asked++
		path := m.home.address(rt.Path, "", "")
		if asked%20 == 0 {
			token = m.program(assets.RoleAuditor, "plant", tokens.MayRead)
		}
		for query, at := range map[string]string{"as_of=2026-11-27": "query.as_of", "known_at=2026-11-27": "query.known_at", "as_of=2026-11-26T00:00:00Z": "query.as_of", "as_of=soon": "query.as_of", "known_at=30.6.2026": "query.known_at",
			"as-of=2026-11-20": "query.as-of", "known-at=2026-11-20": "query.known-at", "asof=2026-11-20": "query.asof"} {
			a := m.call(http.MethodGet, path+"?"+query, token, nil)
			errs, _ := a.body["errors"].(map[string]any)
			if a.status != http.StatusUnprocessableEntity || errs[at] == nil {
				t.Errorf("%s?%s: %d %s", rt.Path, query, a.status, a.text)
			}
		}
		if a := m.call(http.MethodGet, path+"?as_of=2026-11-25&known_at=2026-11-25", token, nil); a.status != http.StatusOK {
			t.Errorf("%s as of today: %d %s", rt.Path, a.status, a.text)
		}
	}
	if asked < 15 {
		t.Errorf("only %d addresses are read", asked)
	}
}

// TestAProgramsReportTellsTheCorrectionsSince asks as an auditor, who learns who, when and why, and as a customer viewer, who learns what.
func TestAProgramsReportTellsTheCorrectionsSince(t *testing.T) {
	t.Parallel() // plants of its own
	m, token, _ := lookedBack(t)
	ask := func(token, query string) (since map[string]any, rows []any) {
		a := m.call(http.MethodGet, "/api/v1/reports/splice-age?as_of=2026-11-20"+query, token, nil)
		if a.status != http.StatusOK {
			t.Fatalf("%d %s", a.status, a.text)
		}
		since, _ = a.body["corrections_since"].(map[string]any)
		rows, _ = since["rows"].([]any)
		return since, rows
	}
	_, rows := ask(token, "&known_at=2026-11-25T06:29:00Z")
	told := false
	for _, row := range rows {
		r := row.(map[string]any)
		if r["column"] == "Age, passes" {
			told = r["then"] != r["now"] && r["entered_at"] == "2026-11-25 06:30:00" && r["entered_by"] == "no person: command" && r["reason"] == m.home.says("reason")
		}
	}
	if !told {
		t.Errorf("the passes at another speed are not told with who, when and why: %v", rows)
	}
	if since, _ := ask(token, ""); since != nil {
		t.Errorf("as known now tells corrections: %v", since)
	}
	since, rows := ask(m.program(assets.RoleCustomerViewer, "plant", tokens.MayRead), "&known_at=2026-11-25T06:29:00Z")
	if len(rows) == 0 || strings.Contains(fmt.Sprint(since), "entered_by") || strings.Contains(fmt.Sprint(since), m.home.says("reason")) {
		t.Errorf("a customer viewer, who does not read the journal, gets %v", since)
	}
}
