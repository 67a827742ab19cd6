package web

import (
	"context"
	"encoding/base64"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/window"
	"carryside/schedule/workorder"
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

func (o *fakeOffice) Stops(context.Context, assets.Scope, int64, time.Time) (*StopList, error) {
	return &StopList{Windows: o.plant.stops, Series: o.series, People: map[int64]string{1: "I. Vanterel"}, Contacts: map[int64]string{5: "J. Tarvane, shift lead"}}, nil
}

func (o *fakeOffice) StopPast(_ context.Context, _ assets.Scope, _, id int64, _ time.Time) ([]StopPast, error) {
	return o.stopPast, nil
}

func (o *fakeOffice) SaveSeries(_ context.Context, _ assets.Scope, act Act, q *assets.StopRecurrence) error {
	return o.change(act, *q)
}

func (o *fakeOffice) WithdrawSeries(_ context.Context, _ assets.Scope, act Act, _, id, _ int64, why string) error {
	return o.change(act, id, why)
}

func (o *fakeOffice) StopsHeld(context.Context, assets.Scope, int64) (window.Held, error) {
	return window.Held{Windows: o.plant.stops, Series: o.series}, nil
}

func (o *fakeOffice) TakeStopsIn(_ context.Context, _ assets.Scope, act Act, _ int64, changes []window.Change) error {
	return o.change(act, changes)
}

func (o *fakeOffice) WindowFacts(_ context.Context, _ assets.Scope, _, id int64, withStores bool, now time.Time) (reports.WindowFacts, error) {
	f := reports.WindowFacts{Register: o.plant.fleet.Register, Groups: o.groups, Names: map[int64]string{2: "R. Asquenne"}, WithStores: withStores, Built: now}
	for _, w := range o.plant.stops {
		if w.ID == id {
			f.Window = w
		}
	}
	for _, p := range o.plant.orders {
		if p.WindowID == id {
			f.Orders = append(f.Orders, p)
		}
	}
	return f, nil
}

func (o *fakeOffice) IsolationGroups(context.Context, assets.Scope, int64) ([]assets.IsolationGroup, error) {
	return o.groups, nil
}

func (o *fakeOffice) SaveIsolationGroup(_ context.Context, _ assets.Scope, act Act, g *assets.IsolationGroup) error {
	return o.change(act, *g)
}

func (o *fakeOffice) EndIsolationGroup(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
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

func TestAStopThatMovedAwayFromItsWorkSaysSo(t *testing.T) {
	f := skarrow()
	w := springNight()
	f.stops = append(f.stops, w)
	early := w.Start - assets.Instant(time.Hour/time.Microsecond)
	f.orders = append(f.orders, workorder.Order{Version: assets.Version{ID: 777, RowID: 777}, PlantID: 3, Number: 777, ConveyorID: 11, State: workorder.Placed, Title: "remake splice 1", WindowID: w.ID, WorkHours: 3, PlacedStart: &early})
	body := func() string {
		return strings.ReplaceAll(as(t, f, assets.RolePlanner).get("/plants/3/stops?all=yes").Find("main").Text(), nb, " ")
	}
	if got := body(); !strings.Contains(got, "one order is set for hours outside the stopSet them inside it") {
		t.Errorf("the page says %q", got)
	}
	early = w.Start
	if got := body(); strings.Contains(got, "outside the stop") {
		t.Errorf("it says so of work inside its stop: %q", got)
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
	v.refused(path, url.Values{"answer": {"agreed"}, "line_id": {"99"}, "start": {"2026-12-05T20:00"}, "end": {"2026-12-05T06:00"}}, "line_id", "end")
	v.refused(path, url.Values{"answer": {"agreed"}, "line_id": {"2"}, "start": {"2027-03-28T02:30"}, "end": {""}}, "start", "end")
	form := url.Values{"answer": {"agreed"}, "line_id": {"2"}, "start": {"2027-03-27T20:00"}, "end": {"2027-03-28T06:00"}}
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
	form.Set("reason", "operations needs the line that day")
	v.taken("/plants/3/stops/91", form)
	if acts := f.office().acts; len(acts) == 0 || acts[len(acts)-1].Reason != "operations needs the line that day" {
		t.Errorf("the change is kept as %+v", acts)
	}
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
	v.refused("/plants/3/stops/new", url.Values{"answer": {"agreed"}, "line_id": {"1"}, "start": {"2026-12-12T05:00"}, "end": {"2026-12-12T19:00"}}, "start")
	v.taken("/plants/3/stops/new", url.Values{"answer": {"agreed"}, "line_id": {"2"}, "start": {"2026-12-12T05:00"}, "end": {"2026-12-12T19:00"}})
}

func TestAnAskedStopWaitsAndIsAnswered(t *testing.T) {
	f := skarrow()
	w := springNight()
	w.Answer = assets.StopAnswer{Word: assets.AnswerAsked}
	f.stops = []assets.StopWindow{w}
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/stops")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "No line has a stop ahead of it" {
		t.Errorf("an asked stop counts as one: %q", got)
	}
	if to := d.Find("#wt").Closest("section").Find("a").AttrOr("href", ""); to != "/plants/3/stops/91/answer" {
		t.Errorf("the answer is given at %q", to)
	}
	v.refused("/plants/3/stops/91/answer", url.Values{"answer": {"refused"}, "answered_by": {""}}, "answer_why")
	v.refused("/plants/3/stops/91/answer", url.Values{"answer": {"agreed"}, "answered_by": {"77"}}, "answered_by")
	v.taken("/plants/3/stops/91/answer", url.Values{"answer": {"agreed"}, "answered_by": {""}, "answer_why": {"mill is down anyway"}, "version": {markOf(assets.Version{ID: 91, RowID: 910})}})
	got := one[assets.StopWindow](t, f.office())
	if !got.Agreed() || got.Answer.ByID != 1 || got.Answer.At == 0 || got.Answer.Why != "mill is down anyway" || got.Start != w.Start {
		t.Errorf("kept %+v", got.Answer)
	}
}

func TestAStopOfSingleConveyorsNamesThem(t *testing.T) {
	f := skarrow()
	reg := f.fleet.Register
	c := reg.Conveyors[0]
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"answer": {"agreed"}, "line_id": {plainInt(c.LineID)}, "conveyors": {"no such"}, "start": {"2026-12-05T06:00"}, "end": {"2026-12-05T14:00"}}
	v.refused("/plants/3/stops/new", form, "conveyors")
	form.Set("conveyors", strings.ToLower(c.Tag)+", ")
	v.taken("/plants/3/stops/new", form)
	w := one[assets.StopWindow](t, f.office())
	if len(w.ConveyorIDs) != 1 || w.ConveyorIDs[0] != c.ID {
		t.Errorf("stands still: %v", w.ConveyorIDs)
	}
	for _, o := range reg.Conveyors {
		if w.Stops(o) != (o.ID == c.ID) {
			t.Errorf("%s stands still: %v", o.Tag, w.Stops(o))
		}
	}
}

// TestARuleIsToldInWords: 7 March 2027 is a Sunday.
func TestARuleIsToldInWords(t *testing.T) {
	for rule, want := range map[string]string{
		"FREQ=WEEKLY":                             "every week, Sunday",
		"FREQ=WEEKLY;COUNT=4":                     "every week, Sunday, four times",
		"FREQ=WEEKLY;INTERVAL=2;BYDAY=SU;WKST=MO": "every 2 weeks, Sunday",
		"FREQ=WEEKLY;BYDAY=SU,WE;UNTIL=20271231":  "every week, Sunday and Wednesday, until 31 Dec 2027",
		"FREQ=MONTHLY;BYMONTHDAY=7;INTERVAL=1":    "every month on that day",
		"FREQ=MONTHLY;BYDAY=1SU":                  "first Sunday of each month",
		"FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=7":      "every year",
		"FREQ=MONTHLY;BYMONTHDAY=8":               "by the rule FREQ=MONTHLY;BYMONTHDAY=8",
		"FREQ=DAILY;INTERVAL=10;UNTIL=20271231":   "by the rule FREQ=DAILY;INTERVAL=10;UNTIL=20271231",
	} {
		if got := strings.ReplaceAll(repeatsWords(rule, "2027-03-07T06:00"), nb, " "); got != want {
			t.Errorf("%s is %q, want %q", rule, got, want)
		}
	}
}

func TestARecurringStopNamesThoseThatDoNotFollowIt(t *testing.T) {
	f := skarrow()
	f.office().series = []assets.StopRecurrence{{Version: assets.Version{ID: 9, RowID: 90}, PlantID: 3, LineID: 2, Rule: "FREQ=WEEKLY", StartLocal: "2026-12-05T20:00", EndLocal: "2026-12-06T06:00", Keeps: assets.KeepsClock, Note: "Night"}}
	w := springNight()
	w.Source = assets.StopSource{RecurrenceID: 9, PlannedLocal: "2027-03-20T20:00"}
	f.stops = append(f.stops, w)
	body := strings.ReplaceAll(as(t, f, assets.RolePlanner).get("/plants/3/stops/recurring/9").Find("main").Text(), nb, " ")
	if !strings.Contains(body, "One was moved, answered or has work in it and stays as it is: 27 Mar 2027, 20:00, 9 h.") {
		t.Errorf("the page says %q", body)
	}
}

func TestARecurringStopIsLookedAtBeforeItIsKept(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	const path = "/plants/3/stops/recurring/new"
	form := url.Values{"note": {"Dryer night"}, "line_id": {"2"}, "start": {"2026-12-26T20:00"}, "end": {"2026-12-27T06:00"}, "repeats": {"last"}, "keeps": {"clock"}, "answer": {"asked"}, "until": {""}}
	v.refused(path, url.Values{"line_id": {"2"}, "start": {""}, "end": {"2026-12-27T06:00"}, "repeats": {"own"}, "keeps": {"clock"}, "answer": {"asked"}}, "start", "rule")
	form.Set(look, "yes")
	d := v.post(path, form, http.StatusOK)
	body := strings.ReplaceAll(d.Find("main").Text(), nb, " ")
	for _, want := range []string{"last Saturday of each month", "27 Mar 2027", "9 h", "Keeping the length would end it at 07:00"} {
		if !strings.Contains(body+text(d, "h1"), want) {
			t.Errorf("the page does not say %q: %s", want, body)
		}
	}
	night := url.Values{"line_id": {"2"}, "start": {"2026-12-27T02:30"}, "end": {"2026-12-27T08:00"}, "repeats": {"weekly 1"}, "keeps": {"clock"}, "answer": {"asked"}, look: {"yes"}}
	if got := strings.ReplaceAll(v.post(path, night, http.StatusOK).Find("main").Text(), nb, " "); !strings.Contains(got, "None on 28 Mar 2027: the clock skips 02:30 then") {
		t.Errorf("of the night without its hour it says %q", got)
	}
	if n := len(f.office().kept); n != 0 {
		t.Errorf("looking kept %d things", n)
	}
	form.Del(look)
	v.taken(path, form)
	q := one[assets.StopRecurrence](t, f.office())
	if q.Rule != "FREQ=MONTHLY;BYDAY=-1SA" || q.StartLocal != "2026-12-26T20:00" || q.EndLocal != "2026-12-27T06:00" || q.Keeps != assets.KeepsClock || q.Answer.Given() != assets.AnswerAsked {
		t.Errorf("kept %+v", q)
	}
}

func TestACalendarFileIsShownBeforeItIsTakenIn(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	const path = "/plants/3/stops/calendar"
	file := "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1@plant\r\nSUMMARY:Winter stop\r\nDTSTART:20261212T060000\r\nDTEND:20261212T200000\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
	form := url.Values{"line_id": {"2"}, "answer": {"agreed"}, "ics": {base64.StdEncoding.EncodeToString([]byte(file))}, "seen": {""}}
	d := v.post(path, form, http.StatusOK)
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "The file would do this: 1 added" {
		t.Errorf("the page says %q", got)
	}
	form.Set("seen", "something else")
	v.post(path, form, http.StatusOK)
	if n := len(f.office().kept); n != 0 {
		t.Fatalf("%d things are kept that nobody has seen", n)
	}
	form.Set("seen", d.Find("input[name=seen]").AttrOr("value", ""))
	v.taken(path, form)
	changes := one[[]window.Change](t, f.office())
	if len(changes) != 1 || changes[0].Do != window.Add || changes[0].Window.StartLocal != "2026-12-12T06:00" || !changes[0].Window.Agreed() {
		t.Errorf("taken in: %+v", changes)
	}
	v.refused(path, url.Values{"line_id": {"2"}, "answer": {"agreed"}, "ics": {""}}, "file")
	v.refused(path, url.Values{"line_id": {"2"}, "answer": {"agreed"}, "ics": {base64.StdEncoding.EncodeToString([]byte("Dear planner"))}}, "file")
}

func TestIsolationGroupsSayWhoIsInNone(t *testing.T) {
	f := skarrow()
	c := f.fleet.Register.Conveyors[0]
	g := assets.IsolationGroup{PlantID: 3, Name: "Intake pit", Point: "E-14", IsolateMin: 20, RestartMin: 15, SetupCost: 1800, ConveyorIDs: []int64{c.ID}}
	g.ID, g.RowID = 61, 610
	f.office().groups = []assets.IsolationGroup{g}
	d := as(t, f, assets.RolePlanner).get("/plants/3/stops/isolation")
	if got := d.Find("main").Text(); !strings.Contains(got, "E-14") || !strings.Contains(strings.ReplaceAll(got, nb, " "), "1 800 NOK") {
		t.Errorf("the page says %q", got)
	}
	if got := as(t, f, assets.RoleTechnician).get("/plants/3/stops/isolation").Find("main").Text(); strings.Contains(strings.ReplaceAll(got, nb, " "), "1 800") {
		t.Error("a technician sees the cost of an isolation")
	}
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/stops/isolation/new", url.Values{"name": {""}, "isolate_min": {"-5"}, "conveyors": {""}}, "name", "point", "isolate_min", "conveyors")
	form := filledForm(v.get("/plants/3/stops/isolation/61"))
	form.Set("restart_min", "25")
	v.taken("/plants/3/stops/isolation/61", form)
	if got := one[assets.IsolationGroup](t, f.office()); got.RestartMin != 25 || got.ID != 61 || len(got.ConveyorIDs) != 1 {
		t.Errorf("kept %+v", got)
	}
}

func TestTheWindowPackageIsShownAndGivenOut(t *testing.T) {
	f := skarrow()
	f.orders, f.stops = nil, nil
	placedOn(f, 412, time.Date(2026, 12, 12, 6, 0, 0, 0, time.UTC), 2, 2)
	f.orders[0].ConveyorID = f.fleet.Register.Conveyors[0].ID
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/stops/1312/package")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "One order is worked at in this stop; two points need a look before anybody leaves" {
		t.Errorf("headline %q", got)
	}
	body := d.Find("main").Text()
	for _, want := range []string{"Isolate, lock out and try out", "R. Asquenne", "needs 2 people and has 1", "Order of jobs", "Isolation points", "Stock to pick"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(body, "safe to run") {
		t.Error("the page calls a conveyor safe")
	}
	take := d.Find("form#take")
	if to := take.AttrOr("action", ""); to != "/plants/3/reports/window-package" || take.Find("input[name=stop]").AttrOr("value", "") != "2026-12-12T07:00" || take.Find("button").Length() != 4 {
		t.Errorf("it is taken along at %q: %s", to, take.Text())
	}
}

func TestAnOccurrenceOfARecurringStopHasAnAddressOfItsOwn(t *testing.T) {
	f := skarrow()
	w := springNight()
	w.ID, w.RowID, w.Source = -469762049, 0, assets.StopSource{RecurrenceID: 7, PlannedLocal: "2027-03-27T20:00"}
	f.stops = []assets.StopWindow{w}
	v := as(t, f, assets.RolePlanner)
	if to := v.get("/plants/3/stops?all=yes").Find("#list").Closest("section").Find("td a").Last().AttrOr("href", ""); to != "/plants/3/stops/0-469762049" {
		t.Fatalf("it is changed at %q", to)
	}
	form := filledForm(v.get("/plants/3/stops/0-469762049"))
	form.Set("note", "the drive is looked at too")
	v.taken("/plants/3/stops/0-469762049", form)
	if got := one[assets.StopWindow](t, f.office()); got.ID != w.ID || got.Note != "the drive is looked at too" {
		t.Errorf("kept %+v", got)
	}
	v.page("/plants/3/stops/0", http.StatusNotFound)
	v.page("/plants/3/stops/0-5", http.StatusNotFound)
}
