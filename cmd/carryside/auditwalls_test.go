package main

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// TestTheAuditExtractIsForLeadsAndAuditorsOnly asks for it at a screen and by a program as every role: its page, its files, its line in the
// catalogues, and one that an auditor took along before.
func TestTheAuditExtractIsForLeadsAndAuditorsOnly(t *testing.T) {
	t.Parallel() // plants of its own
	m := openMachines(t)
	auditor := m.asker(assets.RoleAuditor, "customer")
	below := at(m.home, "/reports")
	if got := auditor.ask(http.MethodPost, below+"/audit", url.Values{"format": {"csv"}}); got.status != http.StatusOK || !strings.Contains(got.body, "checkpoint") {
		t.Fatalf("an auditor takes along: %d %.300s", got.status, got.body)
	}
	var issued []int64
	must(t, m.db.SQL(t.Context()).Raw("SELECT id FROM issued_reports WHERE slug = 'audit'").Scan(&issued).Error)
	if len(issued) != 1 {
		t.Fatalf("%d extracts were kept", len(issued))
	}
	kept := at(m.home, "/reports/issued/") + fmt.Sprint(issued[0])
	for role := range roleTable {
		if !may(role, "reads") {
			continue
		}
		a, journal := m.asker(role, "plant"), may(role, "journal")
		opens := map[bool]int{true: http.StatusOK, false: http.StatusForbidden}[journal]
		again := map[bool]int{true: http.StatusOK, false: http.StatusNotFound}[journal]
		for _, ask := range []struct {
			method, path string
			want         int
		}{
			{http.MethodGet, below + "/audit", opens}, {http.MethodPost, below + "/audit", opens}, {http.MethodGet, below + "/make?report=audit", map[bool]int{true: http.StatusSeeOther, false: http.StatusForbidden}[journal]},
			{http.MethodGet, kept, again}, {http.MethodGet, kept + "/proof", again},
		} {
			var form url.Values
			if ask.method == http.MethodPost {
				form = url.Values{"format": {"json"}}
			}
			if got := a.ask(ask.method, ask.path, form); got.status != ask.want {
				t.Errorf("%s: %s %s is %d, want %d", role, ask.method, ask.path, got.status, ask.want)
			}
		}
		if page := a.ask(http.MethodGet, below, nil); strings.Contains(strings.ToLower(page.body), "audit extract") != journal || strings.Contains(page.body, kept) != journal {
			t.Errorf("%s: the catalogue and what was given out speak of the extract: %v", role, !journal)
		}
		token := m.program(role, "plant", "read")
		if got := m.call(http.MethodGet, "/api/v1/reports/audit", token, nil); got.status != opens {
			t.Errorf("%s: a program gets %d, want %d", role, got.status, opens)
		}
		if got := m.call(http.MethodGet, "/api/v1/reports", token, nil); strings.Contains(got.text, `"audit"`) != journal {
			t.Errorf("%s: a program's list of reports: %.300s", role, got.text)
		}
	}
}

// TestAProgramOfTwoRolesGetsTheExtractOfThePlantItAudits: an auditor of one plant who only reads the sister plant gets nothing of it in the extract.
func TestAProgramOfTwoRolesGetsTheExtractOfThePlantItAudits(t *testing.T) {
	t.Parallel() // plants of its own
	m := openMachines(t)
	m.employ("P. Okkerdal", assets.Grant{Role: assets.RoleAuditor, PlantID: m.home.plant})
	act := plantdb.Act{Origin: plantdb.Command, Action: "grant", Now: plantDay.Add(41 * 60e9), Company: true, Plants: []int64{m.sister.plant}}
	must(t, m.db.Change(t.Context(), act, func(c *plantdb.Change) error {
		called, err := registry.PeopleCalled(t.Context(), m.db, "P. Okkerdal")
		if err != nil {
			return err
		}
		return registry.GiveGrant(c, &assets.Grant{PersonID: called[0].ID, Role: assets.RoleCustomerViewer, PlantID: m.sister.plant})
	}))
	token := m.token("P. Okkerdal", "read")
	ages := m.call(http.MethodGet, "/api/v1/reports/splice-age", token, nil)
	if !strings.Contains(ages.text, m.sister.mark) || !strings.Contains(ages.text, m.home.mark) {
		t.Fatalf("the splice ages are not those of both plants: %.300s", ages.text)
	}
	extract := m.call(http.MethodGet, "/api/v1/reports/audit", token, nil)
	if extract.status != http.StatusOK || !strings.Contains(extract.text, m.home.mark) || strings.Contains(extract.text, m.sister.mark) {
		t.Errorf("%d: the extract tells of the sister plant: %v", extract.status, strings.Contains(extract.text, m.sister.mark))
	}
}
