package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

func TestAStandstillIsRecordedWithItsTwoTimes(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	page := v.get("/plants/3/standstills")
	if say := text(page, "h1"); !strings.Contains(say, "One conveyor stands by a failure now") {
		t.Errorf("the page says %q", say)
	}
	if row := text(page, "tbody tr"); !strings.Contains(row, "still stands") || !strings.Contains(row, "drive or gearbox") || !strings.Contains(strings.ReplaceAll(row, nb, " "), "1.5") && !strings.Contains(row, "30") {
		t.Errorf("its row says %q", row)
	}
	v.post("/plants/3/standstills/new", url.Values{"conveyor": {"Q3"}, "cause": {"drive or gearbox"}}, http.StatusUnprocessableEntity) // no time
	v.post("/plants/3/standstills/new", url.Values{"conveyor": {"Q3"}, "cause": {"bad luck"}, "from_at": {"2026-11-25T06:00"}}, http.StatusUnprocessableEntity)
	v.post("/plants/3/standstills/new", url.Values{"conveyor": {"Z99"}, "cause": {"belt"}, "from_at": {"2026-11-25T06:00"}}, http.StatusUnprocessableEntity)
	if kept := f.office().kept; len(kept) != 0 {
		t.Fatalf("kept %+v", kept)
	}
	v.send("/plants/3/standstills/8", url.Values{"conveyor": {"Q3"}, "cause": {"pulley or bearing"}, "from_at": {"2026-11-25T06:00"}, "until_at": {"2026-11-25T07:15"}, "worked_h": {"2.5"}, "version": {markOf(assets.Version{ID: 8, RowID: 108})}}, http.StatusSeeOther)
	st := f.office().kept[0].(assets.Standstill)
	if st.ID != 8 || st.RowID != 108 || st.Cause != assets.CausePulley || st.UntilAt == nil || st.UntilAt.Time().Sub(st.FromAt.Time()) != 75*time.Minute || *st.WorkedH != 2.5 {
		t.Errorf("kept %+v", st)
	}
	as(t, f, assets.RoleAuditor).send("/plants/3/standstills/new", url.Values{}, http.StatusForbidden)
}
