package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/tokens"
	"carryside/cmd/carryside/desk"
	"carryside/server"
)

// machines is the whole program with its machine interface, on the plants of the walls' tests. Each request comes a
// second after the one before, so that nobody asks too fast.
type machines struct {
	*walled
	config server.Config
	log    *lines
	ticks  atomic.Int64
}

// lines is a log that tests read.
type lines struct {
	mu   sync.Mutex // guards text
	text bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func openMachines(t *testing.T) *machines {
	t.Helper()
	m := &machines{walled: openWalls(t), log: &lines{}}
	log := slog.New(slog.NewTextHandler(m.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	m.config = houseConfig(m.db, log)
	front, ok := m.config.Sources.Plants.(*desk.Desk)
	if !ok {
		t.Fatalf("the screens ask a %T", m.config.Sources.Plants)
	}
	m.config.Now = func() time.Time { return plantDay.Add(time.Hour + time.Duration(m.ticks.Load())*time.Second) }
	m.config = withMachines(m.config, m.db, front)
	h, err := server.Handler(m.config)
	must(t, err)
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		m.ticks.Add(1)
		h.ServeHTTP(w, r)
	}))
	t.Cleanup(s.Close)
	m.house = &house{t: t, db: m.db, base: s.URL}
	m.walled.house = m.house
	return m
}

// token makes a token of a person by name.
func (m *machines) token(name, may string, change ...func(*tokens.Token)) string {
	m.t.Helper()
	var id int64
	must(m.t, m.db.SQL(m.t.Context()).Raw("SELECT id FROM people WHERE name = ?", name).Scan(&id).Error)
	if id == 0 {
		m.t.Fatalf("nobody is called %s", name)
	}
	t := tokens.Token{PersonID: id, Name: "program of " + name, May: may, ExpiresAt: assets.InstantOf(plantDay.AddDate(0, 2, 0))}
	for _, c := range change {
		c(&t)
	}
	act := plantdb.Act{PersonID: id, Origin: plantdb.Screen, Action: "make a token", Now: plantDay, Company: true}
	var secret string
	must(m.t, m.db.Change(m.t.Context(), act, func(c *plantdb.Change) (err error) {
		secret, err = tokens.Make(c, &t)
		return err
	}))
	return secret
}

// program adds a person of the home side and makes a token of theirs.
func (m *machines) program(role assets.Role, grant, may string, change ...func(*tokens.Token)) string {
	m.t.Helper()
	g := assets.Grant{Role: role}
	switch grant {
	case "customer":
		g.CustomerID = m.home.customer
	case "plant":
		g.PlantID = m.home.plant
	}
	name := fmt.Sprintf("%s of %s at desk %d", role, grant, m.ticks.Add(1))
	m.employ(name, g)
	return m.token(name, may, change...)
}

// answered is a machine's answer.
type answered struct {
	status int
	header http.Header
	text   string
	body   map[string]any // of JSON
}

// call sends one request with a token; body nil sends none.
func (m *machines) call(method, path, token string, body any, headers ...string) answered {
	m.t.Helper()
	var send io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		send = strings.NewReader(b)
	default:
		text, err := json.Marshal(b)
		must(m.t, err)
		send = bytes.NewReader(text)
	}
	req, err := http.NewRequestWithContext(m.t.Context(), method, m.base+path, send)
	must(m.t, err)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	must(m.t, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	must(m.t, err)
	out := answered{status: res.StatusCode, header: res.Header, text: string(text)}
	if strings.Contains(res.Header.Get("Content-Type"), "json") && method != http.MethodHead {
		if err := json.Unmarshal(text, &out.body); err != nil {
			m.t.Errorf("%s %s: no JSON: %v: %s", method, path, err, text)
		}
	}
	return out
}

// problem fails unless the answer is a problem document of a status (RFC 9457).
func (a answered) problem(t *testing.T, what string, status int) {
	t.Helper()
	if a.status != status || a.header.Get("Content-Type") != "application/problem+json" {
		t.Errorf("%s: status %d %s, want a problem of %d: %s", what, a.status, a.header.Get("Content-Type"), status, a.text)
		return
	}
	title, _ := a.body["title"].(string)
	if a.body["type"] != "about:blank" || a.body["status"] != float64(status) || title == "" {
		t.Errorf("%s: no whole problem document: %s", what, a.text)
	}
}

// description is what the program says of its machine interface.
type description struct {
	OpenAPI string `json:"openapi"`
	Servers []struct{ URL string }
	Paths   map[string]map[string]*operation
	tree    map[string]any
}

// operation is one operation of the description.
type operation struct {
	ID          string `json:"operationId"`
	Summary     string
	Security    []map[string][]string
	Parameters  []struct{ Name, In string }
	RequestBody map[string]any `json:"requestBody"`
	Responses   map[string]struct {
		Content map[string]struct{ Schema map[string]any }
	}

	method, path string
}

func (m *machines) description() *description {
	m.t.Helper()
	a := m.call("GET", "/api/v1/openapi.json", "", nil)
	if a.status != http.StatusOK {
		m.t.Fatalf("no description: %d %s", a.status, a.text)
	}
	d := &description{tree: a.body}
	must(m.t, json.Unmarshal([]byte(a.text), d))
	return d
}

// operations are the operations in order.
func (d *description) operations() []*operation {
	var out []*operation
	for path, of := range d.Paths {
		for method, op := range of {
			op.method, op.path = strings.ToUpper(method), path
			out = append(out, op)
		}
	}
	slices.SortFunc(out, func(a, b *operation) int { return strings.Compare(a.path+a.method, b.path+b.method) })
	return out
}

var parameter = regexp.MustCompile(`\{([a-z]+)\}`)

// at fills an operation's address in with an estate's numbers; other gives one parameter another value.
func (o *operation) at(e *estate, other, value string) string {
	return "/api/v1" + parameter.ReplaceAllStringFunc(o.path, func(p string) string {
		name := p[1 : len(p)-1]
		if name == other {
			return value
		}
		if name == "report" {
			return "splice-age"
		}
		return fmt.Sprint(e.ids[name])
	})
}

// body is what the operation takes, for an estate's own conveyor; nil for those that read.
func (o *operation) body(e *estate, shownH float64) any {
	reading := map[string]any{"at": plantDay.Add(-10 * time.Minute), "shown_h": shownH}
	switch o.ID {
	case "enter-reading":
		return reading
	case "enter-readings":
		reading["conveyor_id"] = e.ids["conveyor"]
		return map[string]any{"readings": []any{reading}}
	case "record-standstill":
		return map[string]any{"conveyor_id": e.ids["conveyor"], "from_at": plantDay.Add(-20 * time.Hour), "until_at": plantDay.Add(-19 * time.Hour), "cause": "splice"}
	case "end-standstill":
		return map[string]any{"until_at": plantDay.Add(-time.Minute)}
	}
	return nil
}

// evaluated says that the rules were evaluated now.
func (m *machines) evaluated(at time.Time) {
	m.t.Helper()
	r := orders.Run{Job: "raise", DueAt: assets.InstantOf(at.Truncate(time.Minute)), StartedAt: assets.InstantOf(at)}
	_, err := orders.BeginRun(m.t.Context(), m.db, &r)
	must(m.t, err)
	r.EndedAt, r.Plants, r.Raised = assets.InstantOf(at), 3, 2
	must(m.t, orders.EndRun(m.t.Context(), m.db, r))
}
