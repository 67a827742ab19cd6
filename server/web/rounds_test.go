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
	v := as(t, f, assets.RoleTechnician)
	if got := text(v.get("/plants/3"), "h1"); !strings.Contains(got, "grade 4") {
		t.Errorf("Today says %q", got)
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
