package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/tokens"
)

func TestEveryRefusalIsAProblemDocument(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RolePlanner, "all", tokens.MayReadAndEnter)
	plant := fmt.Sprintf("/api/v1/plants/%d", m.home.plant)
	conveyor := fmt.Sprintf("%s/conveyors/%d/readings", plant, m.home.ids["conveyor"])
	reading := map[string]any{"at": plantDay, "shown_h": 9000}
	key := []string{"Idempotency-Key", "k1"}
	for name, tt := range map[string]struct {
		method, path string
		body         any
		headers      []string
		status       int
		at           string // where something is wrong
	}{
		"an address that is none":         {"GET", "/api/v1/belts", nil, nil, 404, ""},
		"a version that is none":          {"GET", "/api/v2/plants", nil, nil, 404, ""},
		"a method that is not taken":      {"DELETE", plant, nil, nil, 405, ""},
		"a number that is none":           {"GET", "/api/v1/plants/first", nil, nil, 422, "path.plant"},
		"a filter that is misspelt":       {"GET", plant + "/splices?conveyer=1", nil, nil, 422, "query.conveyer"},
		"a page of no rows":               {"GET", plant + "/splices?limit=0", nil, nil, 422, "query.limit"},
		"a page of too many":              {"GET", plant + "/splices?limit=5000", nil, nil, 422, "query.limit"},
		"a cursor of one's own":           {"GET", plant + "/splices?cursor=!!", nil, nil, 422, "query.cursor"},
		"a state that is none":            {"GET", plant + "/orders?state=late", nil, nil, 422, "query.state"},
		"a kind that is none":             {"GET", plant + "/orders?kind=welding", nil, nil, 422, "query.kind"},
		"a day that is none":              {"GET", plant + "/due?until=30.6.2026", nil, nil, 422, "query.until"},
		"an instant that is none":         {"GET", conveyor + "?from=yesterday", nil, nil, 422, "query.from"},
		"a report that is none":           {"GET", "/api/v1/reports/mood", nil, nil, 404, ""},
		"a day of a report that is none":  {"GET", "/api/v1/reports/splice-age?as_of=30.6.2026", nil, nil, 422, "query.as_of"},
		"a known-at that is none":         {"GET", "/api/v1/reports/splice-age?known_at=soon", nil, nil, 422, "query.known_at"},
		"a scope that is none":            {"GET", "/api/v1/reports/splice-age?scope=everything", nil, nil, 422, "query.scope"},
		"a form that is none":             {"GET", "/api/v1/reports/splice-age?format=pdf", nil, nil, 422, "query.format"},
		"a reading without a key":         {"POST", conveyor, reading, nil, 400, ""},
		"a key with a blank":              {"POST", conveyor, reading, []string{"Idempotency-Key", "my key"}, 422, "header.Idempotency-Key"},
		"no reading at all":               {"POST", conveyor, "", key, 400, ""},
		"no JSON":                         {"POST", conveyor, "{at: now", key, 400, ""},
		"a reading as a form":             {"POST", conveyor, "shown_h=1", append([]string{"Content-Type", "application/x-www-form-urlencoded"}, key...), 415, ""},
		"hours that are words":            {"POST", conveyor, map[string]any{"at": plantDay, "shown_h": "many"}, key, 422, "body.shown_h"},
		"hours below nought":              {"POST", conveyor, map[string]any{"at": plantDay, "shown_h": -1}, key, 422, "body.shown_h"},
		"a member that is none":           {"POST", conveyor, map[string]any{"at": plantDay, "shown_h": 1, "hours": 1}, key, 422, "body.hours"},
		"no time":                         {"POST", conveyor, map[string]any{"shown_h": 1}, key, 422, "body"},
		"a time to come":                  {"POST", conveyor, map[string]any{"at": plantDay.AddDate(0, 1, 0), "shown_h": 1}, key, 422, "body.at"},
		"a time of the railway's youth":   {"POST", conveyor, map[string]any{"at": "1851-05-01T00:00:00Z", "shown_h": 1}, key, 422, "body.at"},
		"a round of nothing":              {"POST", plant + "/readings", map[string]any{"readings": []any{}}, key, 422, "body.readings"},
		"a round of nobody's conveyor":    {"POST", plant + "/readings", map[string]any{"readings": []any{reading}}, key, 422, "body.readings[0].conveyor_id"},
		"a round that is far too long":    {"POST", plant + "/readings", `{"readings": [` + strings.Repeat(" ", 2<<20) + `]}`, key, 413, ""},
		"a round of more than a thousand": {"POST", plant + "/readings", map[string]any{"readings": slices.Repeat([]any{map[string]any{"conveyor": "Q1", "at": plantDay, "shown_h": 1}}, 1001)}, key, 422, "body.readings"},
	} {
		t.Run(name, func(t *testing.T) {
			a := m.call(tt.method, tt.path, token, tt.body, tt.headers...)
			a.problem(t, name, tt.status)
			errors, _ := a.body["errors"].(map[string]any)
			if tt.at != "" && errors[tt.at] == nil {
				t.Errorf("does not say what is wrong with %s: %s", tt.at, a.text)
			}
			if tt.status == http.StatusMethodNotAllowed && a.header.Get("Allow") == "" {
				t.Error("does not say which methods are taken")
			}
		})
	}
}

// What is left of a body that is too large is no request: whoever sends it must not slip one past a proxy.
func TestRestOfARefusedBodyIsNoRequest(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleTechnician, "plant", tokens.MayReadAndEnter)
	for name, head := range map[string]string{
		"a round that is far too long": fmt.Sprintf("Authorization: Bearer %s\r\nIdempotency-Key: k1\r\n", token),
		"without a token":              "",
	} {
		slipped := "\r\n\r\nGET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"
		body := strings.Repeat(" ", 2<<20) + slipped
		conn, err := net.Dial("tcp", strings.TrimPrefix(m.base, "http://"))
		must(t, err)
		defer conn.Close()
		must(t, conn.SetDeadline(time.Now().Add(20*time.Second)))
		go func() {
			// The server may hang up while this is written.
			_, _ = fmt.Fprintf(conn, "POST /api/v1/plants/%d/readings HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: %d\r\n%s\r\n%s", m.home.plant, len(body), head, body)
		}()
		all, _ := io.ReadAll(conn) // until the server hangs up, cleanly or not
		if n := strings.Count(string(all), "HTTP/1.1 "); n != 1 || strings.Contains(string(all), "alive") || strings.Contains(string(all), "400 Bad Request") {
			t.Errorf("%s: %d answers: %s", name, n, all)
		}
	}
}

// readingsOf are a plant's conveyor's readings as kept.
func (m *machines) readingsOf(e *estate) []assets.Reading {
	m.t.Helper()
	list, err := clocks.Readings(m.t.Context(), m.db, assets.PlantScope(e.plant), e.ids["conveyor"], clocks.Span{}, plantdb.AsOf{})
	must(m.t, err)
	return list
}

// next is a reading that fits behind the last one: an hour run in the hour since.
func (m *machines) next(e *estate, hours float64) map[string]any {
	list := m.readingsOf(e)
	last := list[len(list)-1]
	return map[string]any{"at": last.At.Time().Add(time.Duration(hours * float64(time.Hour))), "shown_h": last.ShownH + hours}
}

func TestReadingIsTakenOnceForEachKey(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleTechnician, "plant", tokens.MayReadAndEnter)
	path := fmt.Sprintf("/api/v1/plants/%d/conveyors/%d/readings", m.home.plant, m.home.ids["conveyor"])
	before, reading := len(m.readingsOf(m.home)), m.next(m.home, 0.5)
	first := m.call("POST", path, token, reading, "Idempotency-Key", "round-1")
	if first.status != http.StatusCreated || outcomeOf(first, 0)["outcome"] != "kept" || first.header.Get("Idempotency-Replayed") != "" {
		t.Fatalf("%d %s %v", first.status, first.text, first.header)
	}
	again := m.call("POST", path, token, reading, "Idempotency-Key", "round-1")
	if again.status != first.status || again.text != first.text || again.header.Get("Idempotency-Replayed") != "true" {
		t.Errorf("sent again: %d %s, first %s", again.status, again.text, first.text)
	}
	m.call("POST", path, token, map[string]any{"at": reading["at"], "shown_h": 1}, "Idempotency-Key", "round-1").problem(t, "another reading under the key", http.StatusUnprocessableEntity)
	if twice := m.call("POST", path, token, reading, "Idempotency-Key", "round-2"); outcomeOf(twice, 0)["outcome"] != "known" {
		t.Errorf("the same reading under another key: %s", twice.text)
	}
	if n := len(m.readingsOf(m.home)); n != before+1 {
		t.Errorf("%d readings, want %d", n, before+1)
	}
	var e plantdb.Entry
	must(t, m.db.SQL(t.Context()).Raw("SELECT * FROM journal_entries WHERE action = 'enter readings' ORDER BY at DESC LIMIT 1").Scan(&e).Error)
	if e.Origin != "api" || e.PersonID == 0 || !strings.Contains(e.Reason, "program of technician") || e.PlantID != m.home.plant {
		t.Errorf("the journal says %+v", e)
	}
}

// A control room tells that the conveyor stands as it stops, sends it again since the answer was lost, and tells later that it can run.
func TestAControlRoomRecordsAStandstillOnceAndEndsIt(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleTechnician, "plant", tokens.MayReadAndEnter)
	path := fmt.Sprintf("/api/v1/plants/%d/standstills", m.home.plant)
	before := len(m.told(path, token))
	m.call("POST", path, token, map[string]any{"conveyor_id": m.home.ids["conveyor"], "from_at": plantDay.Add(-time.Hour), "cause": "splice"}, "Idempotency-Key", "overlaps").problem(t, "a conveyor that stands already", http.StatusUnprocessableEntity)
	standing := m.call("POST", fmt.Sprintf("%s/%d/end", path, m.home.ids["standstill"]), token, map[string]any{"until_at": plantDay.Add(-75 * time.Minute)}, "Idempotency-Key", "runs")
	if standing.status != http.StatusCreated || standing.body["until_at"] == nil || standing.body["cause"] != "other" {
		t.Fatalf("it can run again: %d %s", standing.status, standing.text)
	}
	m.call("POST", fmt.Sprintf("%s/%d/end", path, m.home.ids["standstill"]), token, map[string]any{"until_at": plantDay.Add(-70 * time.Minute)}, "Idempotency-Key", "runs twice").problem(t, "one that has ended", http.StatusUnprocessableEntity)
	stops := map[string]any{"conveyor_id": m.home.ids["conveyor"], "from_at": plantDay.Add(-time.Hour), "cause": "power or control"}
	first := m.call("POST", path, token, stops, "Idempotency-Key", "stops")
	again := m.call("POST", path, token, stops, "Idempotency-Key", "stops")
	if first.status != http.StatusCreated || first.body["cause"] != "power or control" || first.body["until_at"] != nil {
		t.Fatalf("it stands: %d %s", first.status, first.text)
	}
	if again.status != first.status || again.text != first.text || again.header.Get("Idempotency-Replayed") != "true" {
		t.Errorf("sent again: %d %s", again.status, again.text)
	}
	if n := len(m.told(path, token)); n != before+1 {
		t.Errorf("%d standstills, want %d", n, before+1)
	}
	m.call("POST", path, token, map[string]any{"conveyor": "nowhere", "from_at": plantDay}, "Idempotency-Key", "x").problem(t, "a conveyor that is none", http.StatusUnprocessableEntity)
	var e plantdb.Entry
	must(t, m.db.SQL(t.Context()).Raw("SELECT * FROM journal_entries WHERE action = 'record a standstill' ORDER BY at DESC LIMIT 1").Scan(&e).Error)
	if e.Origin != "api" || e.PlantID != m.home.plant || !strings.Contains(e.Reason, "program of technician") {
		t.Errorf("the journal says %+v", e)
	}
}

func outcomeOf(a answered, i int) map[string]any {
	list, _ := a.body["outcomes"].([]any)
	if i >= len(list) {
		return nil
	}
	of, _ := list[i].(map[string]any)
	return of
}

func TestSameRequestAtOnceWritesOnce(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleTechnician, "plant", tokens.MayReadAndEnter)
	before, reading := len(m.readingsOf(m.home)), m.next(m.home, 0.5)
	reading["conveyor_id"] = m.home.ids["conveyor"]
	text, err := json.Marshal(map[string]any{"readings": []any{reading}})
	must(t, err)
	answers := make([]string, 8)
	var all sync.WaitGroup
	for i := range answers {
		all.Go(func() {
			req, err := http.NewRequestWithContext(t.Context(), "POST", fmt.Sprintf("%s/api/v1/plants/%d/readings", m.base, m.home.plant), strings.NewReader(string(text)))
			if err != nil {
				t.Error(err)
				return
			}
			req.Header = http.Header{"Authorization": {"Bearer " + token}, "Content-Type": {"application/json"}, "Idempotency-Key": {"one"}}
			res, err := http.DefaultClient.Do(req)
			if err != nil {
				t.Error(err)
				return
			}
			defer res.Body.Close()
			body, err := io.ReadAll(res.Body)
			if err != nil {
				t.Error(err)
			}
			answers[i] = fmt.Sprint(res.StatusCode, " ", string(body))
		})
	}
	all.Wait()
	if slices.Sort(answers); answers[0] != answers[7] || !strings.HasPrefix(answers[0], "201 ") {
		t.Errorf("answers differ: %v", answers)
	}
	if n := len(m.readingsOf(m.home)); n != before+1 {
		t.Errorf("%d readings, want %d", n, before+1)
	}
}

func TestRoundIsTakenWholeOrNotAtAll(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleTechnician, "plant", tokens.MayReadAndEnter)
	path := fmt.Sprintf("/api/v1/plants/%d/readings", m.home.plant)
	before := len(m.readingsOf(m.home))
	good := m.next(m.home, 0.25)
	var tag string
	must(t, m.db.SQL(t.Context()).Raw("SELECT tag FROM conveyors WHERE id = ? AND known_to IS NULL AND valid_to IS NULL", m.home.ids["conveyor"]).Scan(&tag).Error)
	good["conveyor"] = tag
	falling := map[string]any{"conveyor_id": m.home.ids["conveyor"], "at": m.next(m.home, 0.5)["at"], "shown_h": 0.1}
	late := map[string]any{"conveyor_id": m.home.ids["conveyor"], "at": plantDay.AddDate(0, 0, 5), "shown_h": 5}
	m.call("POST", path, token, map[string]any{"readings": []any{good, late}}, "Idempotency-Key", "a").problem(t, "a round with a reading to come", http.StatusUnprocessableEntity)
	if n := len(m.readingsOf(m.home)); n != before {
		t.Errorf("%d readings, want %d: half a round was kept", n, before)
	}
	a := m.call("POST", path, token, map[string]any{"readings": []any{good, falling}}, "Idempotency-Key", "a")
	kept, held := outcomeOf(a, 0), outcomeOf(a, 1)
	if kept["outcome"] != "kept" || held["outcome"] != "held" || held["class"] != "backwards" || held["held_id"] == nil {
		t.Errorf("%d %s", a.status, a.text)
	}
	waiting := m.call("GET", fmt.Sprintf("/api/v1/plants/%d/held-readings", m.home.plant), token, nil)
	if !strings.Contains(waiting.text, fmt.Sprint(held["held_id"].(float64))) && !strings.Contains(waiting.text, "token program of technician") {
		t.Errorf("the held reading does not wait: %s", waiting.text)
	}
	page := m.call("GET", "/metrics", "", nil)
	for _, line := range []string{`carryside_readings_total{origin="api",outcome="held"} 1`, `carryside_readings_total{origin="api",outcome="kept"} 1`} {
		if !strings.Contains(page.text, line) {
			t.Errorf("metrics do not say %s", line)
		}
	}
}

// Walking a list by its cursors gives everything once and in order, however small the pages.
func TestPagesJoin(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleLead, "all", tokens.MayRead)
	for _, op := range m.description().operations() {
		if op.method != "GET" || !slices.ContainsFunc(op.Parameters, func(p struct{ Name, In string }) bool { return p.Name == "cursor" }) {
			continue
		}
		whole := m.call("GET", op.at(m.home, "", "")+"?limit=1000", token, nil)
		all, _ := whole.body["items"].([]any)
		if whole.body["next"] != nil {
			t.Errorf("%s: more than a thousand?", op.ID)
		}
		var walked []any
		cursor := ""
		for range len(all) + 2 {
			a := m.call("GET", op.at(m.home, "", "")+"?limit=1&cursor="+url.QueryEscape(cursor), token, nil)
			items, _ := a.body["items"].([]any)
			walked = append(walked, items...)
			if cursor, _ = a.body["next"].(string); cursor == "" {
				break
			}
		}
		if fmt.Sprint(walked) != fmt.Sprint(all) || len(all) == 0 {
			t.Errorf("%s: walked %d, the whole list has %d", op.ID, len(walked), len(all))
		}
	}
}

func TestWhoAsksTooFastIsToldToWait(t *testing.T) {
	m := openMachines(t)
	hasty, calm := m.program(assets.RoleAuditor, "all", tokens.MayRead), m.program(assets.RoleAuditor, "all", tokens.MayRead)
	var refused answered
	for range 400 {
		m.ticks.Add(-1) // the clock stands still
		if refused = m.call("GET", "/api/v1/reports", hasty, nil); refused.status != http.StatusOK {
			break
		}
	}
	refused.problem(t, "asking without end", http.StatusTooManyRequests)
	if refused.header.Get("Retry-After") == "" {
		t.Error("does not say when to ask again")
	}
	if a := m.call("GET", "/api/v1/reports", calm, nil); a.status != http.StatusOK {
		t.Errorf("another token must wait too: %d", a.status)
	}
	m.ticks.Add(1)
	if a := m.call("GET", "/api/v1/reports", hasty, nil); a.status != http.StatusOK {
		t.Errorf("a second later: %d", a.status)
	}
}

func TestReportIsTheFileOfTheCommandLine(t *testing.T) {
	m := openMachines(t)
	token := m.program(assets.RoleAuditor, "plant", tokens.MayRead)
	a := m.call("GET", "/api/v1/reports/splice-age?as_of=2026-11-20&known_at=2026-11-24", token, nil)
	rows, _ := a.body["rows"].([]any)
	if a.status != http.StatusOK || a.body["as_of"] != "2026-11-20" || int(a.body["count"].(float64)) != len(rows) {
		t.Errorf("%d %s", a.status, a.text)
	}
	if !strings.Contains(fmt.Sprint(a.body["generated_by"]), "by the token program of auditor") {
		t.Errorf("made by %v", a.body["generated_by"])
	}
	early := m.call("GET", "/api/v1/reports/splice-age?known_at=2024-01-01", token, nil)
	if early.status != http.StatusOK || early.body["count"] != 0.0 {
		t.Errorf("as known before anything was entered: %d %s", early.status, early.text)
	}
	book := m.call("GET", "/api/v1/reports/splice-age?format=xlsx", token, nil)
	if !strings.HasPrefix(book.text, "PK") || !strings.Contains(book.header.Get("Content-Disposition"), "splice-age.xlsx") {
		t.Errorf("workbook: %d %v", book.status, book.header)
	}
}

func TestTokenIsShownOnceAndEnded(t *testing.T) {
	m := openMachines(t)
	v := m.asker(assets.RolePlanner, "plant")
	sent := url.Values{"name": {"Control room"}, "may": {"read and readings"}, "reach": {fmt.Sprint("plant ", m.home.plant)}, "expires": {"2027-01-31"}}
	page := v.ask("POST", "/tokens", sent)
	_, rest, _ := strings.Cut(page.body, "data-token>")
	secret, _, _ := strings.Cut(rest, "<")
	if page.status != http.StatusOK || len(secret) < 30 || page.header.Get("Cache-Control") != "no-store" {
		t.Fatalf("status %d, token %q, %v", page.status, secret, page.header)
	}
	path := fmt.Sprintf("/api/v1/plants/%d", m.home.plant)
	if a := m.call("GET", path, secret, nil); a.status != http.StatusOK {
		t.Errorf("the new token: %d %s", a.status, a.text)
	}
	list := v.ask("GET", "/tokens", nil)
	if strings.Contains(list.body, secret) || !strings.Contains(list.body, secret[len(secret)-4:]) || !strings.Contains(list.body, "Control room") || !strings.Contains(strings.ReplaceAll(list.body, "\u00a0", " "), "31 Jan 2027") {
		t.Errorf("the list shows the token, or does not know it: %s", list.body)
	}
	for name, wrong := range map[string]url.Values{
		"somebody else's plant": {"name": {"x"}, "may": {"read"}, "reach": {fmt.Sprint("plant ", m.foreign.plant)}, "expires": {"2027-01-31"}},
		"somebody else":         {"name": {"x"}, "may": {"read"}, "reach": {fmt.Sprint("customer ", m.foreign.customer)}, "expires": {"2027-01-31"}},
		"without an end":        {"name": {"x"}, "may": {"read"}, "reach": {""}, "expires": {""}},
		"for three years":       {"name": {"x"}, "may": {"read"}, "reach": {""}, "expires": {"2029-11-25"}},
		"for the metrics":       {"name": {"x"}, "may": {"metrics"}, "reach": {""}, "expires": {"2027-01-31"}},
	} {
		if r := v.ask("POST", "/tokens", wrong); r.status != http.StatusUnprocessableEntity || strings.Contains(r.body, "data-token") {
			t.Errorf("a token %s: %d", name, r.status)
		}
	}
	viewer := m.asker(assets.RoleCustomerViewer, "plant")
	if r := viewer.ask("POST", "/tokens", sent); r.status != http.StatusUnprocessableEntity {
		t.Errorf("a viewer's token that enters readings: %d", r.status)
	}
	found, err := tokens.Shown(t.Context(), m.db, secret)
	must(t, err)
	end := url.Values{"end": {fmt.Sprint(found.ID)}}
	if r := viewer.ask("POST", "/tokens", end); r.status != http.StatusNotFound {
		t.Errorf("somebody else ended it: %d", r.status)
	}
	if r := v.ask("POST", "/tokens", end); r.status != http.StatusSeeOther {
		t.Errorf("ended: %d %s", r.status, r.body)
	}
	m.call("GET", path, secret, nil).problem(t, "an ended token", http.StatusUnauthorized)
	if text := m.log.String(); strings.Contains(text, secret) || strings.Contains(text, secret[12:]) || !strings.Contains(text, "route=/api/v1/plants/:plant") {
		t.Errorf("the log tells the token, or nothing: %s", text)
	}
}

func TestBrowserOfSomebodySignedInReadsAndWritesNothing(t *testing.T) {
	m := openMachines(t)
	v := m.asker(assets.RolePlanner, "plant")
	get := func(method, path string, headers ...string) int {
		req, err := http.NewRequestWithContext(t.Context(), method, m.base+path, strings.NewReader(`{"at":"2026-11-25T05:00:00Z","shown_h":1}`))
		must(t, err)
		for i := 0; i < len(headers); i += 2 {
			req.Header.Set(headers[i], headers[i+1])
		}
		res, err := v.client.Do(req)
		must(t, err)
		defer res.Body.Close()
		if res.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("another site may read %s", path)
		}
		return res.StatusCode
	}
	plant := fmt.Sprintf("/api/v1/plants/%d", m.home.plant)
	for want, headers := range map[int][][]string{
		http.StatusOK:           {nil, {"Sec-Fetch-Site", "same-origin"}, {"Sec-Fetch-Site", "none"}},
		http.StatusUnauthorized: {{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://elsewhere.example"}},
	} {
		for _, h := range headers {
			if got := get("GET", plant, h...); got != want {
				t.Errorf("%v: %d, want %d", h, got, want)
			}
		}
	}
	if got := get("POST", fmt.Sprintf("%s/conveyors/%d/readings", plant, m.home.ids["conveyor"]), "Sec-Fetch-Site", "same-origin", "Content-Type", "application/json", "Idempotency-Key", "k"); got != http.StatusUnauthorized {
		t.Errorf("a browser wrote: %d", got)
	}
}

func TestServerTellsHowItStands(t *testing.T) {
	m := openMachines(t)
	if a := m.call("GET", "/healthz", "", nil); a.status != http.StatusOK {
		t.Errorf("healthz: %d", a.status)
	}
	ready := func(want int, word string) {
		t.Helper()
		if a := m.call("GET", "/readyz", "", nil); a.status != want || !strings.Contains(a.text, word) {
			t.Errorf("readyz: %d %q, want %d and %q", a.status, a.text, want, word)
		}
	}
	ready(http.StatusServiceUnavailable, "starting")
	m.evaluated(plantDay.Add(time.Hour))
	ready(http.StatusOK, "ready")
	m.ticks.Add(600)
	ready(http.StatusServiceUnavailable, "not evaluated for more than five minutes")
	m.evaluated(plantDay.Add(70 * time.Minute))
	ready(http.StatusOK, "ready")
	must(t, m.db.InTx(t.Context(), func(tx *plantdb.DB) error {
		return tx.SQL(t.Context()).Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, ?)", true).Error
	}))
	ready(http.StatusServiceUnavailable, "9999")
	must(t, m.db.InTx(t.Context(), func(tx *plantdb.DB) error {
		return tx.SQL(t.Context()).Exec("DELETE FROM goose_db_version WHERE version_id = 9999").Error
	}))
	ready(http.StatusOK, "ready")
	m.config.Health.Stopping("it was told to stop")
	ready(http.StatusServiceUnavailable, "stopping")
	if a := m.call("GET", "/healthz", "", nil); a.status != http.StatusOK {
		t.Errorf("a server that stops still lives: %d", a.status)
	}
}

func TestFiguresNameNobody(t *testing.T) {
	m := openMachines(t)
	m.evaluated(plantDay.Add(time.Hour))
	reader := m.program(assets.RoleLead, "all", tokens.MayRead)
	m.call("GET", fmt.Sprintf("/api/v1/plants/%d", m.home.plant), reader, nil)
	m.call("GET", "/"+m.home.mark, "", nil)
	m.call(strings.ToUpper(m.home.mark), "/plants", "", nil)
	page := m.call("GET", "/metrics", "", nil)
	for _, want := range []string{"carryside_rule_evaluations_total 1", "carryside_orders_raised_total 2", "carryside_journal_entries_total ", "carryside_database_bytes ", "carryside_held_readings ",
		"carryside_sessions ", `carryside_pool_waits_total{pool="write"}`, `carryside_request_seconds_count{method="GET",route="/api/v1/plants/:plant",status="200"} 1`, "go_goroutines", "carryside_database_answers 1"} {
		if !strings.Contains(page.text, want) {
			t.Errorf("no figure %s", want)
		}
	}
	for _, name := range []string{m.home.mark, strings.ToUpper(m.home.mark), m.foreign.mark, fmt.Sprint(m.home.plant)} {
		if strings.Contains(page.text, name) {
			t.Errorf("the figures name %s", name)
		}
	}
	metrics := m.token("lead of all at desk 1", tokens.MayReadMetrics)
	for name, tt := range map[string]struct {
		token   string
		headers []string
		status  int
	}{
		"this machine":                           {"", nil, http.StatusOK},
		"somebody behind a proxy":                {"", []string{"X-Forwarded-For", "203.0.113.7"}, http.StatusUnauthorized},
		"a proxy with a token that reads plants": {reader, []string{"X-Forwarded-For", "203.0.113.7"}, http.StatusUnauthorized},
		"a proxy with a token for metrics":       {metrics, []string{"X-Forwarded-For", "203.0.113.7"}, http.StatusOK},
	} {
		if a := m.call("GET", "/metrics", tt.token, nil, tt.headers...); a.status != tt.status {
			t.Errorf("%s: %d, want %d", name, a.status, tt.status)
		}
	}
}

// The program says that it is not ready before it stops, answers what it was asked meanwhile, and leaves with 0.
func TestProgramStopsInOrder(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	out, errs := &lines{}, &lines{}
	left := make(chan int, 1)
	go func() {
		left <- run(ctx, []string{"serve", "--db", t.TempDir() + "/plant.db", "--listen", "127.0.0.1:0", "--drain", "600ms", "--log-format", "json"},
			&Program{Stdout: out, Stderr: errs, Now: time.Now})
	}()
	ask := func(path string) (int, string) {
		_, rest, _ := strings.Cut(out.String(), "Open ")
		base, _, _ := strings.Cut(rest, "\n")
		if base == "" {
			return 0, "not listening yet"
		}
		res, err := http.Get(base + path)
		if err != nil {
			return 0, err.Error()
		}
		defer res.Body.Close()
		text, err := io.ReadAll(res.Body)
		must(t, err)
		return res.StatusCode, string(text)
	}
	until := func(path string, want int) string {
		t.Helper()
		var status int
		var text string
		for range 200 {
			if status, text = ask(path); status == want {
				return text
			}
			time.Sleep(25 * time.Millisecond)
		}
		t.Fatalf("%s: %d %s, want %d", path, status, text, want)
		return ""
	}
	until("/readyz", http.StatusOK)
	stop()
	if text := until("/readyz", http.StatusServiceUnavailable); !strings.Contains(text, "stopping") {
		t.Errorf("readyz: %s", text)
	}
	until("/healthz", http.StatusOK)
	select {
	case code := <-left:
		if code != 0 {
			t.Errorf("left with %d: %s", code, errs)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the program does not stop")
	}
	if status, _ := ask("/healthz"); status != 0 {
		t.Errorf("still answers: %d", status)
	}
	for line := range strings.Lines(errs.String()) {
		if !json.Valid([]byte(line)) {
			t.Errorf("a line of the log is no JSON: %s", line)
		}
	}
}
