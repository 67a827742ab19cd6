package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

func TestSplicePage(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/splices/32")
	if got := plainly(text(d, "h1")); got != "Q3 splice 2 is past its rule, at 106 %" {
		t.Errorf("headline %q", got)
	}
	main := plainly(d.Find("main").Text())
	for _, want := range []string{"385 840 of 364 000 passes since 14 Sep 2023 (class C).", "364 000, class C", "this plant's own history", "3 steps of 250 mm", "roll 23-1102", "412: remake splice 2, placed", "seam open at the trailing step", "S2, 115 m", "115 m from the zero mark"} {
		if !strings.Contains(main, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if got := plainly(text(d, "footer.tbf")); !strings.Contains(got, "SheetQ3 splice 2") || !strings.HasSuffix(got, "Drawn forI. Vanterel") {
		t.Errorf("the title block says %q", got)
	}
	if got := plainly(text(d, "tr.now")); !strings.HasPrefix(got, "Passes385 840") {
		t.Errorf("the clock that binds is %q", got)
	}
}

func TestHeadlineOfASplice(t *testing.T) {
	v := fleetView{f: Format{Now: morning}}
	known := due.Age{Known: true}
	ended := on(2021, 3, 20).At
	tests := []struct {
		name string
		sp   assets.Splice
		st   due.Standing
		live bool
		want string
	}{
		{"ended by failure", assets.Splice{Ended: &ended, Retired: on(2021, 3, 20), RetiredWhy: assets.RetiredFailed, FailureMode: "edge torn"}, due.Standing{}, false, "X ended 20 Mar 2021: failed, edge torn"},
		{"not on a running belt", assets.Splice{}, due.Standing{}, false, "X is not on a belt that runs"},
		{"no date", assets.Splice{}, due.Standing{}, true, "X has no date, so nothing can be said of when it comes due"},
		{"coming", assets.Splice{}, due.Standing{Age: known, Used: due.Figure{Value: 0.93, Known: true}, DueDay: "2027-01-07"}, true, "X comes due on 7 Jan 2027, at 93 % of its rule now"},
		{"used, no date", assets.Splice{}, due.Standing{Age: known, Used: due.Figure{Value: 0.3, Known: true}}, true, "X is at 30 % of its rule; no date can be reckoned"},
		{"no rule", assets.Splice{}, due.Standing{Age: known, Band: due.BandNoLimit}, true, "Nothing that binds sets a date for X"},
		{"by a trend alone", assets.Splice{}, due.Standing{Age: known, Band: due.BandNoLimit, DueDay: "2027-01-07", By: due.ByTrend}, true, "X comes due on 7 Jan 2027, by a trend"},
		{"by a trend before its rule", assets.Splice{}, due.Standing{Age: known, Used: due.Figure{Value: 0.4, Known: true}, DueDay: "2027-01-07", By: due.ByTrend}, true, "X comes due on 7 Jan 2027, by a trend, at 40 % of its rule now"},
		{"by a finding, past", assets.Splice{}, due.Standing{Age: known, Used: due.Figure{Value: 0.4, Known: true}, DueDay: "2026-11-07", Overdue: true, By: due.ByFinding}, true, "X was due on 7 Nov 2026, by a finding, at 40 % of its rule now"},
		{"no date made, a finding", assets.Splice{}, due.Standing{DueDay: "2027-01-07", By: due.ByFinding}, true, "X comes due on 7 Jan 2027, by a finding"},
	}
	for _, tt := range tests {
		if got := plainly(v.spliceSay("X", tt.sp, tt.st, tt.live)); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestFindLeadsToTheOnlyHit(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	rec := v.do(httptest.NewRequest("GET", "/plants/3/find?q=tower", nil), http.StatusSeeOther)
	if to := rec.Header().Get("Location"); to != "/plants/3/conveyors/3" {
		t.Errorf("leads to %s", to)
	}
	d := v.get("/plants/3/find?q=q")
	if got := d.Find("main li a").Length(); got != 3 || plainly(text(d, "h1")) != "Three things match “q”" {
		t.Errorf("%d hits, %q", got, text(d, "h1"))
	}
	if got := text(v.get("/plants/3/find?q=%3Cscript%3E"), ".empty h2"); got != "Nothing here is called “<script>”" {
		t.Errorf("nothing found says %q", got)
	}
	if got := v.get("/plants/3/find").Find(".empty").Length(); got != 1 {
		t.Error("an empty search says nothing")
	}
}

func TestRaiseAnOrderByHand(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	if got := v.get("/plants/3/orders/new?splice=32").Find("#f-target option[selected]").AttrOr("value", ""); got != "s32" {
		t.Errorf("the splice asked for is not chosen: %q", got)
	}
	d := v.post("/plants/3/orders/new", url.Values{"kind": {"re-splice"}, "title": {"remake splice 3"}, "work_hours": {"long"}}, http.StatusUnprocessableEntity)
	for _, id := range []string{"#f-target", "#f-why", "#f-work_hours"} {
		if d.Find(`.note.bad a[href="`+id+`"]`).Length() != 1 {
			t.Errorf("%s is not named as wrong", id)
		}
	}
	if got := d.Find("#f-title").AttrOr("value", ""); got != "remake splice 3" {
		t.Errorf("what was typed is lost: %q", got)
	}
	v.send("/plants/3/orders/new", url.Values{"target": {"s33"}, "kind": {"re-splice"}, "title": {"remake splice 3"}, "why": {"seam lifts"}, "latest_day": {"2026-12-20"}, "work_hours": {"9"}, "crew": {"2"}}, http.StatusSeeOther)
	o := f.orders[len(f.orders)-1]
	if o.SpliceID != 33 || o.ConveyorID != 3 || o.State != workorder.Raised || o.RaisedBy != 1 || o.WorkHours != 9 {
		t.Errorf("raised %+v", o)
	}
	as(t, f, assets.RoleAuditor).page("/plants/3/orders/new", http.StatusForbidden)
}

// The age on its axis stands against what life used is held against, where that counts on the clock of the cohort.
func TestAgeOnTheAxisStandsAgainstWhatSetsTheDate(t *testing.T) {
	best := due.Forecast{Clock: cohort.Passes, Age: 293_839, Class: assets.ClassC, Best: due.BestAge{Known: true, Age: 546_123}}
	rule := &due.Limit{RuleID: 1, Class: assets.ClassP, Clock: due.Passes, Limit: 364_000}
	for _, c := range []struct {
		name  string
		limit *due.Limit
		f     due.Forecast
		says  string
		at    float64
	}{
		{"by a rule in passes", rule, best, "rule 364 000 (class P)", 364},
		{"by a rule in days", &due.Limit{RuleID: 1, Class: assets.ClassP, Clock: due.Days, Limit: 1826}, best, "best age 546 000 (class C)", 546.123},
		{"by the best age", nil, best, "best age 546 000 (class C)", 546.123},
		{"run and inspect", nil, due.Forecast{Clock: cohort.Passes, Age: 293_839}, "", 0},
	} {
		got := ageSeries(drawing.Life{}, assets.Splice{Made: on(2023, 5, 6)}, due.Standing{Limit: c.limit}, &c.f)
		if c.says == "" {
			if got != nil {
				t.Errorf("%s: %+v", c.name, got)
			}
			continue
		}
		if len(got) != 1 || plainly(got[0].LimitSays) != c.says || *got[0].Limit != c.at {
			t.Errorf("%s: %+v, want %q", c.name, got, c.says)
		}
	}
}
