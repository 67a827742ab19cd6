package web

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

// sentAs sends an entry of a phone.
func (v *visit) sentAs(entry map[string]any, status int) entryAnswer {
	v.t.Helper()
	body, err := json.Marshal(entry)
	if err != nil {
		v.t.Fatal(err)
	}
	req := httptest.NewRequest("POST", "/plants/3/rounds/4/entries", strings.NewReader(string(body)))
	var a entryAnswer
	if err := json.Unmarshal(v.do(req, status).Body.Bytes(), &a); err != nil {
		v.t.Fatal(err)
	}
	return a
}

func entryOf(clock time.Time) map[string]any {
	return map[string]any{"client_id": "abc", "revision": 1, "device": "phone", "device_now": clock.UnixMilli(), "device_at": clock.Add(-time.Hour).UnixMilli(), "offset": clock.Sub(morning).Milliseconds(),
		"person": 2, "key": "s32", "category": "edge damage", "grade": 2, "quantity": "splice gap", "value": "1.6"}
}

func TestRoundEntryComesInWithItsClocks(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	for _, tt := range []struct {
		name   string
		off    time.Duration
		result string
	}{{"right clock", 0, "kept"}, {"two days fast", 48 * time.Hour, "ask"}, {"two days slow", -48 * time.Hour, "ask"}} {
		if a := v.sentAs(entryOf(morning.Add(tt.off)), http.StatusOK); a.Result != tt.result {
			t.Errorf("%s: %+v", tt.name, a)
		}
		sent := f.office().kept[0].(RoundSent)
		if got := sent.Finding.FoundAt; got != assets.InstantOf(morning.Add(-time.Hour)) {
			t.Errorf("%s: found at %v, want an hour ago", tt.name, got.Time())
		}
		if sent.Entry.DeviceAt != assets.InstantOf(morning.Add(tt.off-time.Hour)) || *sent.Entry.OffsetUS != tt.off.Microseconds() || sent.Entry.ArrivedAt != assets.InstantOf(morning) {
			t.Errorf("%s: times kept %+v", tt.name, sent.Entry)
		}
		if m := sent.Finding.Measurement; m == nil || *m != 0.0016 || sent.Finding.SpliceID != 32 {
			t.Errorf("%s: found %+v", tt.name, sent.Finding)
		}
	}
}

func TestRoundEntryThatIsNotTakenSaysWhyAndStaysOnThePhone(t *testing.T) {
	for name, change := range map[string]map[string]any{
		"somebody else": {"person": 1}, "gone": {"key": "s999"}, "nonsense": {"key": "boiler3"}, "no value": {"value": "much"},
		"negative": {"value": "-2"}, "no such measure": {"quantity": "temper"},
		"endless text": {"text": strings.Repeat("y", 5000)}, "a control character": {"text": "cut\x00here"}, "an endless kind": {"category": strings.Repeat("y", 300)},
		"an endless name": {"called_who": strings.Repeat("y", 300)}, "before there was a program": {"device_at": 0}, "year 4000000": {"device_at": int64(1) << 57}, "called in no year": {"called_at": int64(-1) << 60},
	} {
		f := skarrow()
		v := as(t, f, assets.RoleTechnician)
		e := entryOf(morning)
		for k, x := range change {
			e[k] = x
		}
		if a := v.sentAs(e, http.StatusUnprocessableEntity); a.Result != "refused" || a.Words == "" || len(f.office().acts) != 0 {
			t.Errorf("%s: %+v, %d changes", name, a, len(f.office().acts))
		}
	}
	f := skarrow()
	f.office().fail = ErrDeviceEnded
	if a := as(t, f, assets.RoleTechnician).sentAs(entryOf(morning), http.StatusGone); a.Result != "ended" {
		t.Errorf("an ended phone: %+v", a)
	}
}

func TestRoundTravelsWithItsPointsNumbersAndRules(t *testing.T) {
	v := as(t, skarrow(), assets.RoleTechnician)
	for device, ended := range map[string]bool{"mine": false, "lost": true} {
		rec := v.do(httptest.NewRequest("GET", "/plants/3/rounds/4/points?device="+device, nil), http.StatusOK)
		var w walked
		if err := json.Unmarshal(rec.Body.Bytes(), &w); err != nil {
			t.Fatal(err)
		}
		if w.Ended != ended || !w.May || w.Now != morning.UnixMilli() || len(w.Points) < 4 || len(w.Kinds) == 0 || len(w.Grades) != 5 {
			t.Errorf("%s: travels %+v", device, w)
		}
	}
	if d := v.get("/plants/3/rounds/4"); d.Find("[data-plain] a").Length() < 4 {
		t.Error("without script there is no form for each point")
	}
}

func TestRoundIsReadByAllAndSentByWhoMayRecordFindings(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	if to := v.get("/plants/3/rounds/4").Find("[data-walk]").AttrOr("data-send", "?"); to != "" {
		t.Errorf("an auditor is offered to send to %q", to)
	}
	v.send("/plants/3/rounds/4/entries", url.Values{}, http.StatusForbidden)
}

func TestRoundGradeFourLeadsTodayUntilSomebodyTakesItOn(t *testing.T) {
	f := skarrow()
	f.office().grave = true
	f.grades = []assets.Finding{f.past[3].Findings[0]} // the same, without order or refusal
	v := as(t, f, assets.RoleTechnician)
	today := v.get("/plants/3")
	if got := text(today, "h1"); !strings.Contains(got, "grade 4") {
		t.Errorf("Today says %q", got)
	}
	if n := today.Find(".dec:contains('Grade')").Length(); n != 1 {
		t.Errorf("the finding stands %d times on Today, want once", n)
	}
	f.office().grave = false
	if got := text(v.get("/plants/3"), "h1"); !strings.Contains(got, "an order or a refusal") {
		t.Errorf("answered, but without order and refusal, Today says %q", got)
	}
	v.send("/plants/3/rounds/answer/6", url.Values{}, http.StatusSeeOther)
	if got := f.office().acts[0].PersonID; got != 2 {
		t.Errorf("answered by person %d", got)
	}
}

func TestRoundClockIsSaidByAPerson(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	v.post("/plants/3/rounds/clock/6", url.Values{}, http.StatusUnprocessableEntity)
	v.send("/plants/3/rounds/clock/6", url.Values{"clock": {assets.ClockProgram}}, http.StatusSeeOther)
	if at := f.office().kept[1]; at != assets.InstantOf(morning.Add(-time.Hour)) {
		t.Errorf("kept %v", at)
	}
}

func TestRoundPhoneOfSomebodyElseIsEndedByALeadOnly(t *testing.T) {
	f := skarrow()
	withLead(f)
	v := as(t, f, assets.RoleTechnician)
	if others := v.get("/plants/3/rounds").Find("form[action$='/phones/others']").Length(); others != 0 {
		t.Error("a technician is offered to end the phones of others")
	}
	v.send("/plants/3/rounds/phones/others", url.Values{"phone": {"10"}}, http.StatusForbidden)
	v = as(t, f, assets.RoleLead)
	page := v.get("/plants/3/rounds")
	if got := text(page, "form[action$='/phones/others']"); !strings.Contains(got, "S. Ilveth") {
		t.Errorf("a lead is offered %q", got)
	}
	v.send("/plants/3/rounds/phones/others", url.Values{"phone": {"10"}}, http.StatusSeeOther)
	if kept := f.office().kept; len(kept) != 1 || kept[0] != int64(10) {
		t.Errorf("ended %v", kept)
	}
}

func TestRoundKindsOfFindingAreEditedByALead(t *testing.T) {
	f := skarrow()
	withLead(f)
	tech := as(t, f, assets.RoleTechnician)
	if rows := tech.get("/plants/3/rounds/kinds").Find("tbody tr"); rows.Length() != len(assets.TradeKinds()) || rows.Find("a").Length() != 0 {
		t.Errorf("a technician sees %d kinds, %d to edit", rows.Length(), rows.Find("a").Length())
	}
	tech.send("/plants/3/rounds/kinds/edge-damage", url.Values{}, http.StatusForbidden)
	v := as(t, f, assets.RoleLead)
	v.post("/plants/3/rounds/kinds/edge-damage", url.Values{"grade_0": {"whole"}}, http.StatusUnprocessableEntity)
	v.send("/plants/3/rounds/kinds/edge-damage", url.Values{"grade_0": {"whole"}, "grade_1": {"frayed"}, "grade_2": {"notched"}, "grade_3": {"torn a hand deep"}, "grade_4": {"torn to the carcass: stop"}, "measured": {"splice gap"}}, http.StatusSeeOther)
	k := f.office().kept[0].(assets.FindingKind)
	if k.Name != "edge damage" || k.Words(3) != "torn a hand deep" || k.Quantity != "splice gap" || k.LeftOut {
		t.Errorf("kept %+v", k)
	}
	v.post("/plants/3/rounds/kinds/nowhere", url.Values{}, http.StatusNotFound)
}

func TestRoundCarriesLimitsAndLastMeasurements(t *testing.T) {
	v := as(t, skarrow(), assets.RoleTechnician)
	var w walked
	if err := json.Unmarshal(v.do(httptest.NewRequest("GET", "/plants/3/rounds/4/points", nil), http.StatusOK).Body.Bytes(), &w); err != nil {
		t.Fatal(err)
	}
	lasts, limits := 0, 0
	for _, p := range w.Points {
		for _, m := range p.Measured {
			if m.Last != nil && m.On != "" {
				lasts++
			}
			if m.Limit != "" {
				limits++
			}
		}
	}
	if lasts == 0 || limits == 0 {
		t.Errorf("%d last values and %d limits travel with the points %+v", lasts, limits, w.Points)
	}
	for _, p := range w.Points { // each with its belt drawn, the splice that is looked at on it and no other
		marks := strings.Count(p.Belt, `class="seam`)
		if strings.Contains(p.Key, "s") && p.Key[0] == 's' && marks != 1 || p.Key[0] != 's' && marks != 0 || !strings.HasPrefix(p.Belt, "<svg") {
			t.Errorf("point %s is drawn with %d splices: %.60s", p.Key, marks, p.Belt)
		}
	}
	if strings.Join(w.Short, " ") != "none note watch plan stop" {
		t.Errorf("the grades in a word each: %v", w.Short)
	}
	for _, k := range w.Kinds {
		if len(k.Grades) != 5 || k.Name == "" {
			t.Errorf("travels %+v", k)
		}
	}
}
