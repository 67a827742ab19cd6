package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/workorder"
)

func TestListOfOrders(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	d := v.get("/plants/3/orders")
	if got := plainly(text(d, "h1")); got != "Two orders open: one waits to be accepted, none is past its latest date" {
		t.Errorf("headline %q", got)
	}
	row := plainly(strings.Join(strings.Fields(d.Find(`tr:contains("412")`).First().Text()), " "))
	for _, want := range []string{"Q3 remake splice 2", "386 000 of 364 000 passes", "Sun 13 Dec 2026", "Sat 12 Dec 2026, 11 h", "placed"} {
		if !strings.Contains(row, want) {
			t.Errorf("row lacks %q: %s", want, row)
		}
	}
	if got := d.Find(`tr:contains("412") .life i.d`).Length(); got != 3 {
		t.Errorf("%d boxes filled for a placed order, want 3", got)
	}
	if got := d.Find(`tr:contains("Closed since Monday") + tr`).Text(); !strings.Contains(got, "409") {
		t.Errorf("closed since Monday: %q", got)
	}
}

func TestOrdersAreFilteredByTheAddress(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	for query, want := range map[string]string{"?q=412": "412", "?q=q2": "415", "?line=1": "412 415", "?kind=inspection": "", "?show=closed": "409", "?q=tower": "412", "?show=missing": "412 415"} {
		var numbers []string
		for _, n := range v.get("/plants/3/orders" + query).Find("tbody tr").EachIter() {
			if n.HasClass("line") {
				break
			}
			if a := n.Find("a.tag").Text(); a != "" {
				numbers = append(numbers, a)
			}
		}
		if got := strings.Join(numbers, " "); got != want {
			t.Errorf("%s: %q, want %q", query, got, want)
		}
	}
}

func TestHeadlineOfOrders(t *testing.T) {
	o := func(s workorder.State, latest assets.Day) workorder.Order {
		return workorder.Order{State: s, LatestDay: latest}
	}
	tests := []struct {
		name string
		open []workorder.Order
		want string
	}{
		{"none", nil, "No order is open"},
		{"one, well placed", []workorder.Order{o(workorder.Placed, "2026-12-12")}, "One order open: none is past its latest date"},
		{"one late", []workorder.Order{o(workorder.Placed, "2026-11-12")}, "One order open: one is past its latest date"},
		{"late, bare and raised", []workorder.Order{o(workorder.Placed, "2026-11-12"), o(workorder.Accepted, "2026-12-12"), o(workorder.Accepted, ""), o(workorder.Raised, "")},
			"Four orders open: one is past its latest date, two have no stop"},
		{"today is not past", []workorder.Order{o(workorder.Raised, "2026-11-25")}, "One order open: one waits to be accepted, none is past its latest date"},
	}
	for _, tt := range tests {
		if got := plainly(ordersSay(tt.open, "2026-11-25")); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestBoxesOfAnOrdersLife(t *testing.T) {
	for state, want := range map[workorder.State]string{
		workorder.Raised: "d.....", workorder.Placed: "ddd...", workorder.Signed: "dddddd", workorder.Withdrawn: "dxxxxx",
	} {
		got := ""
		for _, b := range lifeOf(state).Boxes {
			got += pick(b == "", ".", b)
		}
		if got != want {
			t.Errorf("%s: %s, want %s", state, got, want)
		}
	}
}

func TestOrderPageIsAJobSheetWithCautionsFirst(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/orders/412")
	if got := plainly(text(d, "h1")); got != "Order 412, remake splice 2 of Q3, is placed on Sat 12 Dec 2026; its latest date is Sun 13 Dec 2026" {
		t.Errorf("headline %q", got)
	}
	first := d.Find("article > *").Eq(1)
	if !first.HasClass("caution") {
		t.Error("the sheet does not begin with the cautions")
	}
	cautions := plainly(first.Text())
	for _, want := range []string{"Isolate at E-14", "take-up weight", "Incline 13.4°", "Knives", "Hot platens", "release it before loosening anything", "never says that a conveyor is safe to run", "local codes"} {
		if !strings.Contains(cautions, want) {
			t.Errorf("caution %q is missing", want)
		}
	}
	for _, want := range []string{"M. Okkerdal", "press 2", "12 Dec 2026, 05:00", "3 steps of 250 mm", "115 m from the zero mark"} {
		if !strings.Contains(plainly(d.Find("article").Text()), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if got := plainly(d.Find(`article tr:contains("accepted") .why`).First().Text()); !strings.HasPrefix(got, "entered 31 Oct 2026") {
		t.Errorf("two times of a step: %q", got)
	}
}

func step(action string, more ...string) url.Values {
	form := url.Values{"action": {action}, "edit": {"2"}}
	for i := 0; i+1 < len(more); i += 2 {
		form.Add(more[i], more[i+1])
	}
	return form
}

func TestLifeOfAnOrderFromItsPage(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	next := func(form url.Values) url.Values {
		form.Set("edit", Int(f.orders[1].EditVersion))
		return form
	}
	v.send("/plants/3/orders/415", next(step("accept")), http.StatusSeeOther)
	v.send("/plants/3/orders/415", next(step("place", "window", "7", "people", "4", "people", "2", "kit", "press 2")), http.StatusSeeOther)
	if o := f.orders[1]; o.WindowID != 7 || len(o.PlacedPeople) != 2 || o.State != workorder.Placed {
		t.Fatalf("placed: %+v", o)
	}
	v.send("/plants/3/orders/415", next(step("start", "at", "2026-11-25T01:00")), http.StatusSeeOther)
	d := v.post("/plants/3/orders/415", next(step("done", "at", "2026-11-25T05:00", "hours", "many", "retired_why", "failed", "form", "stepped", "bond", "hot-vulcanised")), http.StatusUnprocessableEntity)
	for _, id := range []string{"#f-done-hours", "#f-done-shortening_m", "#f-done-failure_mode"} {
		if d.Find(`.note.bad a[href="`+id+`"]`).Length() != 1 || d.Find(id).AttrOr("aria-invalid", "") != "true" {
			t.Errorf("%s is not named as wrong", id)
		}
	}
	if got := d.Find("#f-done-hours").AttrOr("value", ""); got != "many" {
		t.Errorf("what was typed is lost: %q", got)
	}
	v.send("/plants/3/orders/415", next(step("done", "at", "2026-11-25T05:00", "hours", "3.5", "note", "all well", "retired_why", "planned", "form", "stepped", "bond", "hot-vulcanised",
		"position_m", "30", "step_length_m", "250", "steps", "3", "shortening_m", "1360", "take_up_m", "680", "made_by", "4")), http.StatusSeeOther)
	made := f.made[0]
	if made.OldSpliceID != 21 || made.LoopShorterM != 1.36 || made.TakeUpNowM == nil || *made.TakeUpNowM != 0.68 || made.New.Steps != 3 || made.New.StepLengthM != 0.25 || made.MadeByID != 4 || *made.New.PositionM != 30 || made.New.Made.At != f.orders[1].DoneAt || made.New.ConveyorID != 2 {
		t.Errorf("booked %+v", made)
	}
	v.send("/plants/3/orders/415", next(step("sign", "at", "2026-11-25T06:00")), http.StatusSeeOther)
	if o := f.orders[1]; o.State != workorder.Signed || o.SignedBy != 1 {
		t.Errorf("signed: %+v", o)
	}
	if got := text(v.get("/plants/3/orders/415"), "article .signed"); got != "signed" {
		t.Errorf("sheet says %q", got)
	}
	if act := f.steps[len(f.steps)-1]; act.PersonID != 1 || act.Action != "sign order 415" || !act.Now.Equal(morning) {
		t.Errorf("journalled as %+v", act)
	}
}

func TestStepsThatAreRefused(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	d := v.post("/plants/3/orders/412", step("put off", "latest_day", "2027-01-31"), http.StatusUnprocessableEntity)
	if d.Find(`details[open] #f-put\ off-why`).Length() == 0 && d.Find(`details[open] [name=why]`).Length() == 0 {
		t.Error("the form that was wrong is folded away")
	}
	v.post("/plants/3/orders/412", step("withdraw", "why", "not needed"), http.StatusUnprocessableEntity)
	v.post("/plants/3/orders/412", step("place", "window", "99", "people", "4"), http.StatusUnprocessableEntity)
	v.post("/plants/3/orders/412", step("place", "window", "7"), http.StatusUnprocessableEntity)
	v.post("/plants/3/orders/412", step("fly"), http.StatusUnprocessableEntity)
	v.post("/plants/3/orders/999", step("accept"), http.StatusNotFound)
}

func TestStepOnAnOrderThatChangedMeanwhileShowsBothSides(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := step("withdraw", "why", "no longer needed", "in_error", "yes")
	form.Set("edit", "1")
	d := v.post("/plants/3/orders/412", form, http.StatusConflict)
	if got := plainly(text(d, "table")); !strings.Contains(got, "no longer needed") || !strings.Contains(got, "stands as placed") {
		t.Errorf("both sides: %q", got)
	}
}

// Nobody else was there: order 412 is placed already, and a placed order is not accepted again.
func TestAStepOutOfTurnSaysWhichStatesItBelongsTo(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	d := v.post("/plants/3/orders/412", step("accept"), http.StatusConflict)
	if got := text(d, "body"); strings.Contains(got, "someone else") || !strings.Contains(got, "Order 412 stands as placed") || !strings.Contains(got, "It can be accepted only while it is raised.") {
		t.Errorf("the page says %q", got)
	}
	if len(f.steps) != 0 {
		t.Errorf("taken: %+v", f.steps)
	}
}

// The planner's hand is quick, or the plant's line is slow: the same button is pressed twice.
func TestAcceptPressedTwiceLandsOnTheOrderAsItStands(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	for range 2 {
		if rec := v.send("/plants/3/orders/415", step("accept"), http.StatusSeeOther); rec.Header().Get("Location") != "/plants/3/orders/415" {
			t.Fatalf("led to %q", rec.Header().Get("Location"))
		}
	}
	if got := text(v.get("/plants/3/orders/415"), "body"); !strings.Contains(got, "Order 415 is accepted already.") {
		t.Errorf("the page says %q", got)
	}
	if len(f.steps) != 1 || f.orders[1].State != workorder.Accepted {
		t.Errorf("taken %d times, stands as %s", len(f.steps), f.orders[1].State)
	}
}

// Somebody else withdraws between the two: that is no double click, and both sides are shown.
func TestAcceptOfAnOrderWithdrawnMeanwhileIsAConflict(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.send("/plants/3/orders/415", step("accept"), http.StatusSeeOther)
	withdraw := step("withdraw", "why", "no longer needed", "in_error", "yes")
	withdraw.Set("edit", "3")
	v.send("/plants/3/orders/415", withdraw, http.StatusSeeOther)
	v.post("/plants/3/orders/415", step("accept"), http.StatusConflict)
}

// The crew writes down a re-splice with a time of tomorrow, no hours, no length and no way in which it failed.
func TestEverythingWrongWithADoneReSpliceIsSaidAtOnce(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	next := func(form url.Values) url.Values {
		form.Set("edit", Int(f.orders[1].EditVersion))
		return form
	}
	v.send("/plants/3/orders/415", next(step("accept")), http.StatusSeeOther)
	v.send("/plants/3/orders/415", next(step("place", "window", "7", "people", "4")), http.StatusSeeOther)
	v.send("/plants/3/orders/415", next(step("start", "at", "2026-11-25T01:00")), http.StatusSeeOther)
	d := v.post("/plants/3/orders/415", next(step("done", "at", "2027-11-25T05:00", "hours", "", "retired_why", "failed", "form", "stepped", "bond", "hot-vulcanised", "shortening_m", "900000")), http.StatusUnprocessableEntity)
	for _, id := range []string{"#f-done-at", "#f-done-hours", "#f-done-shortening_m", "#f-done-failure_mode"} {
		if d.Find(`.note.bad a[href="`+id+`"]`).Length() != 1 {
			t.Errorf("%s is not named as wrong in %q", id, text(d, ".note.bad"))
		}
	}
	d = v.post("/plants/3/orders/415", next(step("done", "at", "2026-11-25T00:30", "hours", "5000", "retired_why", "failed", "form", "stepped", "bond", "hot-vulcanised", "shortening_m", "many")), http.StatusUnprocessableEntity)
	for _, id := range []string{"#f-done-at", "#f-done-hours", "#f-done-shortening_m"} {
		if d.Find(`.note.bad a[href="`+id+`"]`).Length() != 1 {
			t.Errorf("%s is not named as wrong in %q", id, text(d, ".note.bad"))
		}
	}
}

func TestRolesMayTakeTheirStepsOnly(t *testing.T) {
	f := skarrow()
	tech := as(t, f, assets.RoleTechnician)
	if got := tech.get("/plants/3/orders/412").Find(`input[name=action]`).Length(); got != 1 {
		t.Errorf("a technician is offered %d steps on a placed order, want only that work has started", got)
	}
	tech.post("/plants/3/orders/412", step("withdraw", "why", "x", "in_error", "yes"), http.StatusForbidden)
	auditor := as(t, f, assets.RoleAuditor)
	if got := auditor.get("/plants/3/orders/412").Find("main form").Length(); got != 0 {
		t.Errorf("an auditor is offered %d forms", got)
	}
	auditor.post("/plants/3/orders/415", step("accept"), http.StatusForbidden)
	if len(f.steps) != 0 {
		t.Errorf("taken: %+v", f.steps)
	}
}

func TestCautionsFitTheWork(t *testing.T) {
	f := skarrow()
	v := viewOf(f.fleet, Format{})
	c, _ := v.Register.Conveyor(1)
	c.TakeUpKind, c.WashDown, c.InclineDeg = "screw", true, 0
	all := strings.Join(cautions(c, v, workorder.Order{Kind: workorder.KindInspection}), " ")
	if !strings.Contains(all, "slacken the take-up screws") || !strings.Contains(all, "hygiene") || strings.Contains(all, "Knives") || strings.Contains(all, "run back") {
		t.Errorf("inspection on a flat wash-down belt: %s", all)
	}
}

func TestAnOrderForWhatIsNotThereIsNotFound(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	for _, query := range []string{"finding=99", "finding=abc", "splice=999", "splice=abc", "conveyor=999"} {
		v.page("/plants/3/orders/new?"+query, http.StatusNotFound)
	}
	d := v.get("/plants/3/orders/new?finding=1&conveyor=3")
	if n := d.Find(`[name="finding"]`).Length(); n != 1 || d.Find(`[name="target"] option[selected]`).AttrOr("value", "") != "c3" {
		t.Errorf("the finding stands %d times, the choice is %q", n, d.Find(`[name="target"] option[selected]`).AttrOr("value", ""))
	}
}
