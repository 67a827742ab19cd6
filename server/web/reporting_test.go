package web

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/due"

	"github.com/PuerkitoBio/goquery"
)

// fakeSource is the fake plant as reports ask for it.
type fakeSource struct {
	plant *fakePlant
	scope assets.Scope
	known time.Time
}

func (s fakeSource) Plants(context.Context) ([]reports.PlantName, error) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	return []reports.PlantName{{ID: 3, Name: "Skarrow Grain Terminal", Customer: "Skarrow Harbour", Zone: oslo}}, err
}

func (s fakeSource) PlantAt(_ context.Context, _ int64, at time.Time) (reports.Plant, error) {
	reg := *s.plant.fleet.Register
	reg.At = assets.InstantOf(at)
	reg.Splices = nil
	var standings []due.Standing
	for i, sp := range s.plant.fleet.Register.Splices {
		if i == 0 && !s.known.IsZero() {
			sp.MadeBy = "nobody known yet"
		}
		if sp.Live(reg.At) {
			reg.Splices = append(reg.Splices, sp)
		}
	}
	reg.Arrange()
	for _, st := range s.plant.fleet.Standings {
		if _, live := reg.Splice(st.SpliceID); live {
			standings = append(standings, st)
		}
	}
	return reports.Plant{Register: &reg, Standings: standings, Chains: []reports.ChainRead{{Name: "Journal of Skarrow Harbour", Chain: 2, Entry: 18204, Hash: "5e"}}}, nil
}

func (s fakeSource) Since() reports.Source { return fakeSource{plant: s.plant, scope: s.scope} }

func (s fakeSource) EntriesSince(context.Context, int64) ([]reports.EntrySince, error) {
	reg := s.plant.fleet.Register
	conveyor, _ := reg.Conveyor(reg.Splices[0].ConveyorID)
	return []reports.EntrySince{{At: morning, Who: "R. Asquenne", Deed: "correct a splice", Reason: "from the press record",
		Things: []reports.Touched{{Conveyor: conveyor.Tag, Splice: reg.Splices[0].Number}}}}, nil
}

func (o *fakeOffice) ReadReport(_ context.Context, scope assets.Scope, knownAt time.Time, fn func(reports.Source) error) error {
	return fn(fakeSource{o.plant, scope, knownAt})
}

func (o *fakeOffice) IssueReport(_ context.Context, act Act, r *reports.Report, proof reports.Proof, form string, file reports.FileProved, content []byte) error {
	p := r.Prove(proof, file, form)
	p.Issued = &reports.IssuedAt{Number: int64(len(o.issued) + 1), Chain: 2, Entry: 18205, Hash: "5e"}
	o.issued = append(o.issued, issuedFake{p, content, act})
	return nil
}

// issuedFake is a report given out.
type issuedFake struct {
	proof   reports.ProofFile
	content []byte
	act     Act
}

func (o *fakeOffice) IssuedReports(context.Context, assets.Scope, int64, int) ([]IssuedReport, error) {
	var out []IssuedReport
	for _, k := range o.issued {
		p := k.proof
		out = append(out, IssuedReport{ID: p.Issued.Number, Slug: p.Report.Slug, Title: p.Report.Title, Form: p.Report.Form, File: p.File.Name, AsOf: p.Report.AsOf, KnownAt: p.Report.KnownAt, Scope: p.Report.Scope,
			At: assets.InstantOf(p.Report.Built), By: p.Report.By, Rows: int64(p.Report.Rows), Digest: p.File.SHA256})
	}
	return out, nil
}

func (o *fakeOffice) IssuedFile(_ context.Context, _ assets.Scope, _, id int64) (reports.ProofFile, []byte, error) {
	if id > int64(len(o.issued)) {
		return reports.ProofFile{}, nil, assets.ErrNotFound
	}
	return o.issued[id-1].proof, o.issued[id-1].content, nil
}

func (o *fakeOffice) ReportZone(context.Context) (*time.Location, error) { return time.UTC, nil }

func (o *fakeOffice) ReportVersion() string { return "test" }

func TestCatalogueOfReports(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	d := v.get("/plants/3/reports")
	if got := d.Find("tbody tr").Length(); got != len(reports.Catalogue) {
		t.Errorf("%d reports listed", got)
	}
	rec := v.do(httptest.NewRequest("GET", "/plants/3/reports/make?report=splice-age&as-of=2026-06-30&conveyor=Q3", nil), http.StatusSeeOther)
	if to := rec.Header().Get("Location"); to != "/plants/3/reports/splice-age?as-of=2026-06-30&conveyor=Q3" {
		t.Errorf("leads to %s", to)
	}
	v.page("/plants/3/reports/make?report=horoscope", http.StatusNotFound)
	v.page("/plants/3/reports/horoscope", http.StatusNotFound)
}

func TestReportAsOfADay(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	d := v.get("/plants/3/reports/splice-age?conveyor=Q3")
	if got := d.Find("table.report tbody tr").Length(); got != 3 {
		t.Errorf("%d splices of Q3, want 3", got)
	}
	if got := text(d, "h1"); !strings.HasPrefix(got, "Splice age register: 3 rows, 1 past best age or rule") {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("table.report thead th").First().Text(); got != "Line" {
		t.Errorf("first column %q", got)
	}
	if d = v.get("/plants/3/reports/splice-age?as-of=2001-01-01"); text(d, "h1") != "Splice age register: nothing was there then" {
		t.Errorf("long ago it says %q", text(d, "h1"))
	}
}

func TestReportAsksForADayThatIs(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	for _, day := range []string{"2026-02-31", "yesterday", "2040-01-01"} {
		d := v.page("/plants/3/reports/splice-age?as-of="+day, http.StatusUnprocessableEntity)
		if d.Find(`.note.bad a[href="#f-as-of"]`).Length() != 1 || d.Find("#f-as-of").AttrOr("value", "") != day {
			t.Errorf("%s: %s", day, text(d, ".note.bad"))
		}
	}
	d := v.page("/plants/3/reports/splice-age?conveyor=Z9", http.StatusUnprocessableEntity)
	if d.Find(`.note.bad a[href="#f-conveyor"]`).Length() != 1 {
		t.Errorf("a conveyor that is not there: %s", text(d, ".note.bad"))
	}
}

func TestReportIsTakenAlong(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	file := func(format string) *httptest.ResponseRecorder {
		return v.send("/plants/3/reports/splice-age", url.Values{"as-of": {"2026-11-20"}, "format": {format}}, http.StatusOK)
	}
	rec := file("csv")
	if cd := rec.Header().Get("Content-Disposition"); !strings.Contains(cd, `"splice-age_skarrow-grain-terminal_2026-11-20.csv"`) {
		t.Errorf("named %s", cd)
	}
	rows, err := csv.NewReader(rec.Body).ReadAll()
	if err != nil || len(rows) < 5 || rows[0][3] != "Conveyor" {
		t.Errorf("%v: %v", err, rows)
	}
	var doc struct {
		Count  int
		Digest string
	}
	if err := json.Unmarshal(file("json").Body.Bytes(), &doc); err != nil || doc.Count != len(rows)-1 || len(doc.Digest) != 64 {
		t.Errorf("%v: %+v", err, doc)
	}
	b := file("xlsx").Body.Bytes()
	if _, err := zip.NewReader(bytes.NewReader(b), int64(len(b))); err != nil {
		t.Errorf("no workbook: %v", err)
	}
}

// TestReportIsTakenAlongByItsFormOnly presses each button of the page as a browser would, and follows a link with a form
// in it: the link shows the page and gives nothing out.
func TestReportIsTakenAlongByItsFormOnly(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	d := v.get("/plants/3/reports/splice-age?as-of=2026-11-20&known-at=2026-11-01&conveyor=Q3&format=csv")
	if len(f.books.issued) != 0 {
		t.Fatal("a link gave a report out")
	}
	form := d.Find(`form#take[method="post"]`)
	buttons := form.Find(`button[name="format"]`)
	if buttons.Length() != len(reportForms) {
		t.Fatalf("%d buttons", buttons.Length())
	}
	for i := range buttons.Length() {
		sent := url.Values{"format": {buttons.Eq(i).AttrOr("value", "")}}
		form.Find("input[type=hidden]").Each(func(_ int, in *goquery.Selection) { sent.Set(in.AttrOr("name", ""), in.AttrOr("value", "")) })
		v.send(form.AttrOr("action", ""), sent, http.StatusOK)
		if len(f.books.issued) != i+1 {
			t.Fatalf("%v gave %d out", sent, len(f.books.issued)-i)
		}
		if got := f.books.issued[i].proof.Report; got.AsOf != "2026-11-20" || got.KnownAt != "2026-11-01" || got.Asked.Conveyor != "Q3" || got.Form != sent.Get("format") {
			t.Errorf("%v gave out %+v", sent, got)
		}
	}
	v.post("/plants/3/reports/splice-age", url.Values{"format": {"pdf"}}, http.StatusNotFound)
	v.post("/plants/3/reports/splice-age", url.Values{"as-of": {"2040-01-01"}}, http.StatusUnprocessableEntity)
	if len(f.books.issued) != len(reportForms) {
		t.Error("a refused form gave a report out")
	}
}

// TestWhoCorrectedIsToldToThoseWhoReadTheJournal takes a report as known then along, as each role that reads reports:
// all are told what differs, and only an auditor who entered it, when and why.
func TestWhoCorrectedIsToldToThoseWhoReadTheJournal(t *testing.T) {
	for role, reads := range map[assets.Role]bool{assets.RoleAuditor: true, assets.RolePlanner: false, assets.RoleTechnician: false} {
		v := as(t, skarrow(), role)
		for _, form := range reportForms {
			sent := url.Values{"as-of": {"2026-11-20"}, "known-at": {"2026-11-01"}, "format": {form.format}}
			text := v.send("/plants/3/reports/splice-age", sent, http.StatusOK).Body.String()
			if form.format == "xlsx" {
				text = unzipped(t, text)
			}
			if !strings.Contains(text, "nobody known yet") || !strings.Contains(text, "another value") {
				t.Errorf("%s: %s tells no corrections", role, form.format)
			}
			if strings.Contains(text, "from the press record") != reads {
				t.Errorf("%s: %s tells who and why: %t, want %t", role, form.format, !reads, reads)
			}
		}
	}
}

// unzipped is the text of a workbook's parts.
func unzipped(t *testing.T, book string) string {
	t.Helper()
	z, err := zip.NewReader(strings.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, f := range z.File {
		part, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err = io.Copy(&b, part); err != nil {
			t.Fatal(err)
		}
	}
	return b.String()
}

// TestAReportUnderAMisspeltNameIsNotMade asks with the names other ways in have, with none of the page's, and with one twice.
func TestAReportUnderAMisspeltNameIsNotMade(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	for query, says := range map[string]string{"as_of=2026-06-30": "as_of", "known_at=2026-06-30": "known_at", "asof=2026-06-30": "asof", "as-of=2026-06-30&Line=1": "Line", "as-of=2026-06-30&as-of=2026-07-30": "2 times"} {
		d := v.page("/plants/3/reports/splice-age?"+query, http.StatusUnprocessableEntity)
		if text := d.Find("main").Text(); !strings.Contains(text, says) || d.Find("table.report").Length() > 0 {
			t.Errorf("%s: the page says %s", query, text)
		}
	}
	for _, day := range []string{"as-of", "known-at"} {
		if text := v.page("/plants/3/reports/splice-age?"+day+"=2030-01-01", http.StatusUnprocessableEntity).Find("main").Text(); !strings.Contains(text, "has not come yet") {
			t.Errorf("%s in the future: %s", day, text)
		}
	}
}
