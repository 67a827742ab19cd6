package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

func (o *fakeOffice) StopOf(_ context.Context, _ assets.Scope, id int64) (assets.StopWindow, error) {
	for _, w := range o.plant.stops {
		if w.ID == id {
			return w, nil
		}
	}
	return assets.StopWindow{}, assets.ErrNotFound
}

func (o *fakeOffice) SaveStop(_ context.Context, _ assets.Scope, act Act, w *assets.StopWindow) error {
	return o.change(act, *w)
}

func (o *fakeOffice) WithdrawStop(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, why string) error {
	return o.change(act, id, why)
}

// springNight is a stop of 20:00 to 06:00 over the night in which the clocks of Oslo go forward (27 to 28
// March 2027 by the European rule): nine hours in truth.
func springNight() assets.StopWindow {
	oslo, _ := time.LoadLocation("Europe/Oslo")
	w := assets.StopWindow{PlantID: 3, LineID: 2, Start: assets.InstantOf(time.Date(2027, 3, 27, 20, 0, 0, 0, oslo)), End: assets.InstantOf(time.Date(2027, 3, 28, 6, 0, 0, 0, oslo))}
	w.ID, w.RowID = 91, 910
	return w
}

func TestStopsSayTheirTrueLength(t *testing.T) {
	f := skarrow()
	f.stops = append(f.stops, springNight())
	d := as(t, f, assets.RolePlanner).get("/plants/3/stops")
	got := text(d, "#list")
	body := strings.ReplaceAll(d.Find("main").Text(), nb, " ")
	if got == "" || !strings.Contains(body, "The clocks go forward inside it: 9 h in truth, 10 h by the clock") || !strings.Contains(body, "02 skipped") {
		t.Errorf("the page says %q", body)
	}
}

func TestStopsHeadline(t *testing.T) {
	reg := skarrow().fleet.Register
	stop := func(line int64) assets.StopWindow { return assets.StopWindow{LineID: line} }
	for _, tt := range []struct {
		stops []assets.StopWindow
		want  string
	}{
		{nil, "No line has a stop ahead of it"},
		{[]assets.StopWindow{stop(1)}, "One stop is ahead; 2 lines have none"},
		{[]assets.StopWindow{stop(1), stop(2)}, "Two stops are ahead; Dryer has none"},
		{[]assets.StopWindow{stop(0)}, "One stop is ahead; every line has one"},
	} {
		if got := strings.ReplaceAll(stopsSay(reg, tt.stops, morning), nb, " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

func TestAStopOverAClockChangeAsksWhatCounts(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/stops/new"
	v.refused(path, url.Values{"line_id": {"99"}, "start": {"2026-12-05T20:00"}, "end": {"2026-12-05T06:00"}}, "line_id", "end")
	v.refused(path, url.Values{"line_id": {"2"}, "start": {"2027-03-28T02:30"}, "end": {""}}, "start", "end")
	form := url.Values{"line_id": {"2"}, "start": {"2027-03-27T20:00"}, "end": {"2027-03-28T06:00"}}
	v.refused(path, form, "keep")
	form.Set("keep", "clock")
	v.taken(path, form)
	w := one[assets.StopWindow](t, f.office())
	if stopHours(w) != 9 || w.StartLocal != "2027-03-27T20:00" || w.EndLocal != "2027-03-28T06:00" || w.LineID != 2 {
		t.Errorf("by the clock: %v h, %+v", stopHours(w), w)
	}
	form.Set("keep", "length")
	v.taken(path, form)
	if w = one[assets.StopWindow](t, f.office()); stopHours(w) != 10 || w.EndLocal != "2027-03-28T07:00" {
		t.Errorf("by its length: %v h, %+v", stopHours(w), w)
	}
}

func TestAStopIsMovedAndWithdrawn(t *testing.T) {
	f := skarrow()
	f.stops = append(f.stops, springNight())
	v := as(t, f, assets.RolePlanner)
	form := filledForm(v.get("/plants/3/stops/91"))
	form.Set("start", "2027-03-26T20:00")
	form.Set("end", "2027-03-27T06:00")
	v.taken("/plants/3/stops/91", form)
	if w := one[assets.StopWindow](t, f.office()); w.ID != 91 || w.RowID != 910 || stopHours(w) != 10 {
		t.Errorf("kept %+v", w)
	}
	v.refused("/plants/3/stops/91/withdraw", url.Values{"reason": {""}}, "reason")
	f.office().fail = assets.Invalid{"": "work is placed in this stop; take it out of the stop first"}
	d := v.post("/plants/3/stops/91/withdraw", url.Values{"reason": {"ship comes early"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); !strings.HasPrefix(got, "Work is placed in this stop") {
		t.Errorf("told %q", got)
	}
	v.taken("/plants/3/stops/91/withdraw", url.Values{"reason": {"ship comes early"}})
	as(t, f, assets.RoleTechnician).page("/plants/3/stops/91", http.StatusForbidden)
}

func TestTheSameStopIsNotKeptTwice(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/stops/new", url.Values{"line_id": {"1"}, "start": {"2026-12-12T05:00"}, "end": {"2026-12-12T19:00"}}, "start")
	v.taken("/plants/3/stops/new", url.Values{"line_id": {"2"}, "start": {"2026-12-12T05:00"}, "end": {"2026-12-12T19:00"}})
}
