package web

import (
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
)

// correction is what the fake journal holds: the date and the maker of a splice of Q3, corrected.
func (o *fakeOffice) correction() JournalLine {
	first := o.plant.fleet.Register.Splices[0]
	c, _ := o.plant.fleet.Register.Conveyor(first.ConveyorID)
	return JournalLine{Chain: 2, Position: 18201, At: assets.InstantOf(morning.AddDate(0, 0, -3)), Who: "I. Vanterel", Origin: "screen", Action: "correct a splice", Reason: "from the press record",
		Rows: []JournalRow{{Table: "splices", ID: first.ID, Tag: c.Tag, Splice: first.Number, Fields: []JournalField{{Column: "made_by", Before: "nobody known yet", After: first.MadeBy},
			{Column: "made_at", Before: "2023-11-14T22:13:20Z", After: "2024-03-09T16:00:00Z"}, {Column: "speed_mps", After: json.Number("2.5")}}}}}
}

func (o *fakeOffice) Journal(_ context.Context, _ assets.Scope, _ int64, asked JournalAsked) ([]JournalLine, error) {
	o.asked = asked
	var lines []JournalLine
	for position := int64(18204); position > 18000 && len(lines) < asked.Limit; position-- {
		if asked.Before == 0 || position < asked.Before {
			l := o.correction()
			l.Position = position
			lines = append(lines, l)
		}
	}
	return lines, nil
}

func (o *fakeOffice) Journalists(context.Context, assets.Scope, int64) (map[int64]string, error) {
	return map[int64]string{1: "I. Vanterel", 2: "R. Asquenne"}, nil
}

func (o *fakeOffice) Corrections(context.Context, assets.Scope, int64, time.Time) ([]JournalLine, error) {
	return []JournalLine{o.correction()}, nil
}

func (o *fakeOffice) ProveChain(context.Context, assets.Scope, int64) error {
	o.proof.Running, o.proof.Done, o.proof.Total = true, 4000, 18204
	return nil
}

func (o *fakeOffice) ChainProved(context.Context, assets.Scope, int64) (ChainProof, error) {
	p := o.proof
	p.Head = ChainHead{Chain: 2, Position: 18204, Hash: strings.Repeat("5e", 32)}
	return p, nil
}

func TestJournalIsPagedAndNarrowed(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	d := v.get("/plants/3/journal")
	if n := d.Find("table.stackt tbody tr").Length(); n != perJournalPage {
		t.Errorf("%d entries on a page", n)
	}
	row := text(d, "table.stackt tbody tr")
	for _, want := range []string{"18 204", "I. Vanterel", "at a screen", "Correct a splice", "from the press record", "made by: nobody known yet", "speed, m/s: 2.5", "9 Mar 2024"} {
		if !strings.Contains(row, want) {
			t.Errorf("%q does not say %q", row, want)
		}
	}
	older := d.Find(`.pager a[rel="next"]`).AttrOr("href", "")
	if d = v.get(older); text(d, "table.stackt tbody tr td") != "18 154" {
		t.Errorf("the next page, %s, begins with %s", older, text(d, "table.stackt tbody tr td"))
	}
	v.get("/plants/3/journal?" + url.Values{"conveyor": {"Q3"}, "person": {"2"}, "from": {"2026-11-01"}, "to": {"2026-11-02"}}.Encode())
	asked := f.books.asked
	if asked.Person != 2 || asked.ConveyorID == 0 || asked.To.Time().Sub(asked.From.Time()) != 48*time.Hour || asked.From.Time().Format(time.RFC3339) != "2026-10-31T23:00:00Z" {
		t.Errorf("asked for %+v", asked)
	}
	if d := v.page("/plants/3/journal?from=2026-11-05&to=2026-11-01", http.StatusUnprocessableEntity); d.Find(`.note.bad a[href="#f-to"]`).Length() != 1 {
		t.Errorf("days the wrong way round: %s", text(d, ".note.bad"))
	}
	v.page("/plants/3/journal?conveyor=Z9", http.StatusUnprocessableEntity)
}

func TestJournalIsForLeadAndAuditor(t *testing.T) {
	for _, role := range []assets.Role{assets.RolePlanner, assets.RoleTechnician} {
		v := as(t, skarrow(), role)
		v.page("/plants/3/journal", http.StatusForbidden)
		d := v.get("/plants/3/reports/splice-age?known-at=2026-11-01")
		if got := d.Find("#si").Length(); got != 1 {
			t.Errorf("%s does not see what was learned since", role)
		}
		if strings.Contains(d.Text(), "from the press record") || d.Find(`a[href$="/journal"]`).Length() > 0 {
			t.Errorf("%s reads the journal beside a report", role)
		}
	}
}

func TestProofFromTheScreen(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	d := v.get("/plants/3/journal")
	if got := text(d, "h1"); got != "The journal holds 18 204 records of this customer" {
		t.Errorf("before: %q", got)
	}
	if !strings.Contains(d.Text(), "chain 2 entry 18204 5e5e") {
		t.Error("no checkpoint to keep")
	}
	v.send("/plants/3/journal/proof", url.Values{}, http.StatusSeeOther)
	rec := v.do(httptest.NewRequest("GET", "/plants/3/journal", nil), http.StatusOK)
	if rec.Header().Get("Refresh") == "" || !strings.Contains(rec.Body.String(), "<progress") {
		t.Error("no progress is shown")
	}
	f.books.proof = ChainProof{Began: morning.Add(-time.Second), Ended: morning, Entries: 18204, Rows: 40000}
	if got := text(v.get("/plants/3/journal"), "h1"); got != "The chain is whole: 18 204 of 18 204 records checked, none altered" {
		t.Errorf("whole: %q", got)
	}
	f.books.proof.Breaks, f.books.proof.First = 2, "Row 7 of belts was changed after entry 12 of chain 2 wrote it."
	if d := v.get("/plants/3/journal"); text(d, ".note.bad") != f.books.proof.First {
		t.Errorf("broken: %q", text(d, ".note.bad"))
	}
}

func TestCorrectionsStandBesideAReportAsKnownThen(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	d := v.get("/plants/3/reports/splice-age?as-of=2026-11-20&known-at=2026-11-01")
	if got := text(d, "#si"); !strings.HasPrefix(got, "Learned since 1 Nov 2026: 1 row says something else today") {
		t.Errorf("headline %q", got)
	}
	row := d.Find(`section[aria-labelledby="si"] tbody tr`).Text()
	for _, want := range []string{"Made by: nobody known yet", "I. Vanterel: correct a splice", "from the press record"} {
		if !strings.Contains(row, want) {
			t.Errorf("%q does not say %q", row, want)
		}
	}
	if d := v.get("/plants/3/reports/splice-age?as-of=2026-11-20"); d.Find("#si").Length() != 0 {
		t.Error("corrections stand beside a report as known now")
	}
	d = v.page("/plants/3/reports/splice-age?known-at=2040-01-01", http.StatusUnprocessableEntity)
	if d.Find(`.note.bad a[href="#f-known-at"]`).Length() != 1 {
		t.Errorf("a day to come: %s", text(d, ".note.bad"))
	}
}

func TestReportGivenOutIsKeptWithItsProof(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	sent := v.send("/plants/3/reports/splice-age", url.Values{"as-of": {"2026-11-20"}, "format": {"xlsx"}}, http.StatusOK).Body.Bytes()
	d := v.get("/plants/3/reports")
	if n := d.Find(`section[aria-labelledby="la"] tbody tr`).Length(); n != 1 {
		t.Fatalf("%d reports are listed as given out", n)
	}
	again := v.do(httptest.NewRequest("GET", "/plants/3/reports/issued/1", nil), http.StatusOK).Body.Bytes()
	if string(again) != string(sent) {
		t.Error("the file again is another")
	}
	proof, err := reports.ReadProof(v.do(httptest.NewRequest("GET", "/plants/3/reports/issued/1/proof", nil), http.StatusOK).Body)
	if err != nil || proof.File.SizeBytes != int64(len(sent)) || proof.Report.PlantID != 3 || proof.Report.AsOf != "2026-11-20" {
		t.Errorf("proof %+v, %v", proof, err)
	}
	if act := f.books.issued[0].act; act.PersonID != 3 || act.Action != "issue a report" {
		t.Errorf("issued by %+v", act)
	}
	v.page("/plants/3/reports/issued/9", http.StatusNotFound)
}
