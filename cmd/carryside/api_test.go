package main

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/tokens"
	"carryside/server"
)

// The description is held to the OpenAPI Specification 3.1 (its sections on the Operation, Responses and Reference
// Objects): the router and it name the same addresses, every reference leads somewhere, every operation says what it
// answers and that it needs a token.
func TestMachineInterfaceIsDescribed(t *testing.T) {
	m := openMachines(t)
	d := m.description()
	if !strings.HasPrefix(d.OpenAPI, "3.1.") || len(d.Servers) != 1 || d.Servers[0].URL != "/api/v1" {
		t.Errorf("version %s, servers %v", d.OpenAPI, d.Servers)
	}
	for _, ref := range refs(d.tree) {
		if d.find(ref) == nil {
			t.Errorf("%s leads nowhere", ref)
		}
	}
	var told []string
	ids := map[string]bool{}
	for _, op := range d.operations() {
		told = append(told, op.method+" /api/v1"+parameter.ReplaceAllString(op.path, ":$1"))
		if op.ID == "" || ids[op.ID] || op.Summary == "" {
			t.Errorf("%s %s: needs a name of its own and a summary: %q", op.method, op.path, op.ID)
		}
		ids[op.ID] = true
		good := op.Responses["200"].Content
		if op.method == "POST" {
			good = op.Responses["201"].Content
		}
		if good["application/json"].Schema == nil {
			t.Errorf("%s says nothing of its answer", op.ID)
		}
		for _, status := range []string{"401", "403", "404", "422", "429"} {
			if op.Responses[status].Content["application/problem+json"].Schema == nil {
				t.Errorf("%s does not say what a %s is", op.ID, status)
			}
		}
		if len(parameter.FindAllString(op.path, -1)) != len(slices.DeleteFunc(slices.Clone(op.Parameters), func(p struct{ Name, In string }) bool { return p.In != "path" })) {
			t.Errorf("%s: parameters of the path %s are not all described: %v", op.ID, op.path, op.Parameters)
		}
	}
	if sec, _ := d.tree["security"].([]any); len(sec) != 1 {
		t.Errorf("the description does not say that a token is needed: %v", d.tree["security"])
	}
	routes, err := server.Routes(m.config)
	must(t, err)
	var routed []string
	for _, r := range routes {
		if strings.HasPrefix(r.Path, "/api/") && !strings.HasSuffix(r.Path, "/openapi.json") && r.Method != http.MethodHead {
			routed = append(routed, r.Method+" "+r.Path)
		}
	}
	slices.Sort(told)
	slices.Sort(routed)
	if !slices.Equal(told, routed) || len(told) < 20 {
		t.Errorf("described\n%s\nrouted\n%s", strings.Join(told, "\n"), strings.Join(routed, "\n"))
	}
}

// Lengths, speeds, hours and angles say their unit in the name.
func TestNumbersSayTheirUnit(t *testing.T) {
	d := openMachines(t).description()
	without := []string{"id", "position", "conveyors", "splices", "open_orders", "overdue_orders", "held_readings", "order_number", "bends", "reverse_bends", "resplices_left", "steps", "value", "days",
		"at_least_days", "limit", "grade", "number", "crew", "order", "count", "rows", "status", "measurement",
		"count_so_far", "count_limit", // of what "counts" says
	}
	units := []string{"_m", "_mm", "_mps", "_h", "_deg", "_s", "_c", "_n_per_m", "_per_h", "_id"}
	seen := 0
	schemas, _ := d.find("#/components/schemas").(map[string]any)
	for name, schema := range schemas {
		properties, _ := schema.(map[string]any)["properties"].(map[string]any)
		for property, of := range properties {
			kind := fmt.Sprint(of.(map[string]any)["type"])
			if !strings.Contains(kind, "number") && !strings.Contains(kind, "integer") {
				continue
			}
			seen++
			if strings.HasPrefix(property, "quantity_") && properties["stock_unit"] != nil {
				continue // stock is told in its own unit, named beside it
			}
			if !slices.Contains(without, property) && !slices.ContainsFunc(units, func(u string) bool { return strings.HasSuffix(property, u) }) {
				t.Errorf("%s.%s says no unit", name, property)
			}
		}
	}
	if seen < 60 {
		t.Errorf("only %d numbers found: the walk is broken", seen)
	}
}

func TestEveryReadAnswersByItsSchema(t *testing.T) {
	m := openMachines(t)
	d := m.description()
	token := m.program(assets.RoleLead, "all", tokens.MayRead)
	reads := 0
	for _, op := range d.operations() {
		if op.method != "GET" {
			continue
		}
		reads++
		a := m.call("GET", op.at(m.home, "", ""), token, nil)
		if a.status != http.StatusOK {
			t.Errorf("%s: %d %s", op.ID, a.status, a.text)
			continue
		}
		for _, wrong := range d.misfits(op.Responses["200"].Content["application/json"].Schema, a.body, "answer") {
			t.Errorf("%s: %s", op.ID, wrong)
		}
		if items, isList := a.body["items"].([]any); isList && len(items) == 0 {
			t.Errorf("%s: nothing in the list, so nothing was checked", op.ID)
		}
		if head := m.call("HEAD", op.at(m.home, "", ""), token, nil); head.status != http.StatusOK || head.text != "" {
			t.Errorf("%s: HEAD answers %d %s", op.ID, head.status, head.text)
		}
		if a.header.Get("Cache-Control") != "private, no-store" {
			t.Errorf("%s may be kept on the way: %q", op.ID, a.header.Get("Cache-Control"))
		}
	}
	if reads < 18 {
		t.Errorf("only %d operations read", reads)
	}
}

// The checker of answers must see what is wrong: a misspelt member, a missing one, a wrong kind, a broken date.
func TestCheckerOfAnswersBites(t *testing.T) {
	d := openMachines(t).description()
	schema := map[string]any{"$ref": "#/components/schemas/Reading"}
	sound := func() map[string]any {
		return map[string]any{"at": "2026-11-25T05:40:00Z", "shown_h": 1.5, "running_h": 2.0, "approximate": false}
	}
	if wrong := d.misfits(schema, sound(), "reading"); len(wrong) != 0 {
		t.Errorf("a sound reading is refused: %v", wrong)
	}
	for name, spoil := range map[string]func(map[string]any){
		"a member too many": func(r map[string]any) { r["hours"] = 1.0 },
		"a member missing":  func(r map[string]any) { delete(r, "running_h") },
		"a text for hours":  func(r map[string]any) { r["shown_h"] = "1.5" },
		"a day for an instant": func(r map[string]any) {
			r["at"] = "2026-11-25"
		},
		"local time": func(r map[string]any) { r["at"] = "2026-11-25T06:40:00+01:00" },
	} {
		r := sound()
		spoil(r)
		if len(d.misfits(schema, r, "reading")) == 0 {
			t.Errorf("%s is not seen", name)
		}
	}
}

func TestEveryOperationRefusesWhoMayNot(t *testing.T) {
	m := openMachines(t)
	ended := m.program(assets.RoleLead, "all", tokens.MayReadAndEnter)
	act := plantdb.Act{Origin: plantdb.Screen, Action: "end a token", Now: plantDay, Company: true}
	must(t, m.db.Change(t.Context(), act, func(c *plantdb.Change) error {
		k, err := tokens.Shown(t.Context(), m.db, ended)
		if err != nil {
			return err
		}
		return tokens.End(c, k.PersonID, k.ID)
	}))
	// Good until half an hour from now; an hour passes.
	expired := m.program(assets.RoleLead, "all", tokens.MayReadAndEnter, func(k *tokens.Token) { k.ExpiresAt = assets.InstantOf(plantDay.Add(90 * time.Minute)) })
	m.ticks.Add(3600)
	metrics := m.program(assets.RoleLead, "all", tokens.MayReadMetrics)
	reader := m.program(assets.RoleLead, "all", tokens.MayRead)
	viewer := m.program(assets.RoleCustomerViewer, "plant", tokens.MayReadAndEnter)
	administrator := m.program(assets.RoleAdministrator, "all", tokens.MayReadAndEnter)
	for _, op := range m.description().operations() {
		path, body := op.at(m.home, "", ""), op.body(m.home, 9000)
		ask := func(token string) answered {
			return m.call(op.method, path, token, body, "Idempotency-Key", "k-"+op.ID)
		}
		for what, token := range map[string]string{"no token": "", "a made-up token": "carryside_AAAAAAAAAAAAAAAAAAAAAAAAAA", "an ended token": ended, "an expired token": expired} {
			a := ask(token)
			a.problem(t, op.ID+" with "+what, http.StatusUnauthorized)
			if !strings.HasPrefix(a.header.Get("WWW-Authenticate"), "Bearer ") {
				t.Errorf("%s with %s does not ask for a token: %v", op.ID, what, a.header)
			}
		}
		if op.method == "GET" {
			if a := m.call("HEAD", path, ended, nil); a.status != http.StatusUnauthorized {
				t.Errorf("%s: HEAD with an ended token answers %d", op.ID, a.status)
			}
		}
		ask(metrics).problem(t, op.ID+" with a token for metrics", http.StatusForbidden)
		if op.method == "POST" {
			ask(reader).problem(t, op.ID+" with a token that reads", http.StatusForbidden)
			ask(viewer).problem(t, op.ID+" by a customer viewer", http.StatusForbidden)
		}
		if a := ask(administrator); strings.Contains(op.path, "{plant}") {
			a.problem(t, op.ID+" by an administrator, who sees no plant", http.StatusNotFound)
		} else if strings.Contains(a.text, m.home.mark) {
			t.Errorf("%s tells an administrator of a plant: %s", op.ID, a.text)
		}
	}
}

// What a token does not reach answers as what is not there: the same status, the same words.
func TestNothingOfAnotherPlantIsTold(t *testing.T) {
	m := openMachines(t)
	for grant, token := range map[string]string{
		"a grant for the plant":    m.program(assets.RoleLead, "plant", tokens.MayReadAndEnter),
		"a grant for the customer": m.program(assets.RoleLead, "customer", tokens.MayReadAndEnter),
		"a grant for all, a token for the plant": m.program(assets.RoleLead, "all", tokens.MayReadAndEnter, func(k *tokens.Token) {
			k.PlantID = m.home.plant
		}),
		"a grant for all, a token for the customer": m.program(assets.RoleLead, "all", tokens.MayReadAndEnter, func(k *tokens.Token) {
			k.CustomerID = m.home.customer
		}),
	} {
		t.Run(grant, func(t *testing.T) {
			for _, op := range m.description().operations() {
				m.tryForeign(t, op, token)
				m.trySister(t, op, token)
			}
			m.foreignReport(t, token)
		})
	}
}

func (m *machines) tryForeign(t *testing.T, op *operation, token string) {
	t.Helper()
	ask := func(path string, body any) answered {
		a := m.call(op.method, path, token, body, "Idempotency-Key", fmt.Sprint("k", m.ticks.Load()))
		if strings.Contains(a.text, m.foreign.mark) {
			t.Errorf("%s %s tells of another customer's plant: %s", op.method, path, a.text)
		}
		return a
	}
	if op.method == "GET" {
		if a := ask(op.at(m.home, "", ""), nil); a.status != http.StatusOK {
			t.Errorf("%s at home: %d %s", op.ID, a.status, a.text)
		}
	}
	for _, p := range parameter.FindAllStringSubmatch(op.path, -1) {
		if p[1] == "report" {
			continue
		}
		foreign, nowhere := op.at(m.home, p[1], fmt.Sprint(m.foreign.ids[p[1]])), op.at(m.home, p[1], absent)
		if p[1] == "order" {
			continue // numbered in its plant
		}
		there, not := ask(foreign, op.body(m.home, 9100)), ask(nowhere, op.body(m.home, 9100))
		there.problem(t, op.ID+" with another's "+p[1], http.StatusNotFound)
		if strings.ReplaceAll(there.text, foreign, "PATH") != strings.ReplaceAll(not.text, nowhere, "PATH") {
			t.Errorf("%s: another's %s answers %s, none at all %s", op.ID, p[1], there.text, not.text)
		}
	}
	if op.method == "POST" && op.ID == "enter-readings" {
		there, not := ask(op.at(m.home, "", ""), op.body(m.foreign, 9100)), ask(op.at(m.home, "", ""), op.body(&estate{ids: map[string]int64{"conveyor": 990001}}, 9100))
		there.problem(t, "a round with another's conveyor", http.StatusUnprocessableEntity)
		if there.text != not.text {
			t.Errorf("another's conveyor in a round: %s, none at all: %s", there.text, not.text)
		}
	}
	m.foreignFilters(t, op, ask)
}

// trySister asks for things of the sister plant at the home plant's address: also who reaches both finds them at their
// own plant only.
func (m *machines) trySister(t *testing.T, op *operation, token string) {
	t.Helper()
	for _, p := range parameter.FindAllStringSubmatch(op.path, -1) {
		if p[1] == "plant" || p[1] == "report" || p[1] == "order" {
			continue
		}
		astray := op.at(m.home, p[1], fmt.Sprint(m.sister.ids[p[1]]))
		a := m.call(op.method, astray, token, op.body(m.home, 9100), "Idempotency-Key", fmt.Sprint("k", m.ticks.Load()))
		a.problem(t, op.ID+" with the sister's "+p[1], http.StatusNotFound)
	}
	for _, p := range op.Parameters {
		if p.In != "query" || m.sister.ids[p.Name] == 0 || p.Name == "order" {
			continue
		}
		if a := m.call("GET", op.at(m.home, "", "")+"?"+p.Name+"="+fmt.Sprint(m.sister.ids[p.Name]), token, nil); strings.Contains(a.text, m.sister.mark) {
			t.Errorf("%s narrowed by the sister's %s tells of it: %s", op.ID, p.Name, a.text)
		}
	}
}

// foreignFilters narrows lists by things of another plant.
func (m *machines) foreignFilters(t *testing.T, op *operation, ask func(string, any) answered) {
	t.Helper()
	for _, p := range op.Parameters {
		if p.In != "query" || m.foreign.ids[p.Name] == 0 || p.Name == "order" || slices.Contains(company, p.Name) {
			continue
		}
		there, not := ask(op.at(m.home, "", "")+"?"+p.Name+"="+fmt.Sprint(m.foreign.ids[p.Name]), nil), ask(op.at(m.home, "", "")+"?"+p.Name+"="+absent, nil)
		if there.status != not.status || there.text != not.text {
			t.Errorf("%s narrowed by another's %s: %d %s; by none at all: %d %s", op.ID, p.Name, there.status, there.text, not.status, not.text)
		}
	}
}

func (m *machines) foreignReport(t *testing.T, token string) {
	t.Helper()
	for _, format := range []string{"json", "csv", "html"} {
		a := m.call("GET", "/api/v1/reports/splice-age?format="+format, token, nil)
		if a.status != http.StatusOK || !strings.Contains(a.text, m.home.mark) || strings.Contains(a.text, m.foreign.mark) {
			t.Errorf("report as %s: %d, tells of its own %t, of another's %t", format, a.status, strings.Contains(a.text, m.home.mark), strings.Contains(a.text, m.foreign.mark))
		}
	}
	var name string
	must(t, m.db.SQL(t.Context()).Raw("SELECT name FROM plants WHERE id = ?", m.foreign.plant).Scan(&name).Error)
	ask := func(plant string) string {
		a := m.call("GET", "/api/v1/reports/splice-age?scope="+urlText("plant="+plant), token, nil)
		a.problem(t, "a report of another's plant", http.StatusUnprocessableEntity)
		return strings.ReplaceAll(strings.TrimSpace(a.text), jsonText(plant), "PLANT")
	}
	if there, not := ask(name), ask("Nowhere"); there != not {
		t.Errorf("another's plant by name: %s, none at all: %s", there, not)
	}
}
