package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

func TestAStandstillIsRecordedWithItsTwoTimes(t *testing.T) {
	f := skarrow()
	f.office().stands = true
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

func TestAConveyorThatStandsLeadsTodayUntilItCanRunAgain(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	if got := text(v.get("/plants/3"), "h1"); strings.Contains(got, "stands by a failure") {
		t.Fatalf("nothing stands, Today says %q", got)
	}
	f.office().stands = true
	today := v.get("/plants/3")
	if got := text(today, "h1"); !strings.Contains(got, "Q3 stands by a failure since") {
		t.Errorf("Today says %q", got)
	}
	first := today.Find(".dec").First()
	for _, want := range []string{"Stands since", "1 h 30 min now", "drive or gearbox", "No order that restores it is named"} {
		if got := strings.ReplaceAll(first.Text(), nb, " "); !strings.Contains(got, want) {
			t.Errorf("the first decision does not say %q: %q", want, got)
		}
	}
	if to := first.Find("a.act").AttrOr("href", ""); to != "/plants/3/standstills/8" {
		t.Errorf("it leads to %q", to)
	}
	i := slices.IndexFunc(f.orders, func(o workorder.Order) bool { return o.ConveyorID == 3 })
	f.office().restores = f.orders[i].ID
	if got := v.get("/plants/3").Find(".dec").First().Text(); !strings.Contains(got, "Order "+plainInt(f.orders[i].Number)+" restores it") {
		t.Errorf("with an order it says %q", got)
	}
	f.office().grave = true // somebody may be in danger: that leads
	if got := text(v.get("/plants/3"), "h1"); !strings.Contains(got, "grade 4") {
		t.Errorf("beside a grade 4 that nobody has answered, Today says %q", got)
	}
	if got := v.get("/plants/3").Find(".dec").Eq(1).Text(); !strings.Contains(got, "Stands since") {
		t.Errorf("right after it stands %q", got)
	}
}
