package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

func TestTodayShowsThePlantAndWhatWaits(t *testing.T) {
	f := skarrow()
	f.held = 2
	grade := 3
	f.news.Findings = []assets.Finding{{ConveyorID: 3, Target: "S2", Category: "splice", Grade: &grade, Quantity: "splice gap", Measurement: metres(0.0034), MeasurementUnit: "m", FoundAt: on(2026, 11, 24).At, FoundByID: 2}}
	f.news.Steps = []OrderNews{{Number: 409, ConveyorID: 1, Title: "re-clip splice 1", Event: workorder.Event{What: "signed", PersonID: 2, At: on(2026, 11, 24).At}}}
	f.news.Steps = append(f.news.Steps, OrderNews{Number: 409, ConveyorID: 1, Event: workorder.Event{What: "placed", PersonID: 2, At: on(2026, 11, 24).At}})
	f.news.Read = 5
	d := as(t, f, assets.RolePlanner).get("/plants/3")
	if got := plainly(text(d, "h1")); got != "Order 415 on Q2 waits to be accepted" {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("svg.plant a").Length(); got != 6 {
		t.Errorf("%d conveyors drawn, want 6", got)
	}
	for _, want := range []string{"Two readings contradict", "R2 splice 2", "Sat 12 Dec", "11 of 14 h booked", "412 Q3", "splice gap 3.4 mm", "Order 409 signed.", "for 5 of 6 conveyors", "Q1 splice 2"} {
		if !strings.Contains(plainly(d.Find("main").Text()), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if got := d.Find(`li:contains("Order 409")`).Length(); got != 1 {
		t.Errorf("order 409 is told of %d times, want its newest step only", got)
	}
	if d.Find(`nav.ride a[aria-current=page]`).Text() != "Today" {
		t.Error("Today is not marked as the current screen")
	}
}

func TestInALargePlantDecisionsComeBeforeThePicture(t *testing.T) {
	f := skarrow()
	order := func() string {
		var names []string
		for _, h := range as(t, f, assets.RolePlanner).get("/plants/3").Find("main h2").EachIter() {
			names = append(names, strings.Fields(h.Text())[0])
		}
		return strings.Join(names, " ")
	}
	if got := order(); !strings.HasPrefix(got, "The To Next") {
		t.Errorf("small plant: %s", got)
	}
	for i := range tallFrom {
		f.conveyor(int64(100+i), 1, "K"+Int(int64(i)), "", 10, 0, 22)
	}
	f.fleet.Register.Arrange()
	if got := order(); !strings.HasSuffix(got, "Since The") {
		t.Errorf("large plant: %s", got)
	}
}

func TestTodayOfAPlantWithoutBeltsTellsTheNextStep(t *testing.T) {
	f := skarrow()
	f.fleet = &Fleet{Register: &assets.Register{Plant: f.frames[0].Plant}}
	f.fleet.Register.Arrange()
	d := as(t, f, assets.RolePlanner).get("/plants/3")
	if got := text(d, "h1"); !strings.HasPrefix(got, "No belts yet") {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("ol.seq li").Length(); got != 4 || d.Find("ol.seq li.now a.btn").Length() != 1 {
		t.Errorf("%d steps, the one to take now has no button", got)
	}
}

// decisionsOf reckons the decisions of a changed fake plant.
func decisionsOf(t *testing.T, change func(*fakePlant)) []decision {
	t.Helper()
	f := skarrow()
	change(f)
	f.fleet.Register.Arrange()
	fr := f.frames[0]
	r := &Request{Now: morning, Plant: &fr, F: Format{Zone: fr.Plant.Location(), Now: morning}, site: &Site{}, findingKinds: assets.TradeKinds()}
	open, _ := f.OpenOrders(t.Context(), assets.Scope{}, 3)
	doubts := map[int64]rules.Doubt{}
	for _, d := range f.doubts {
		doubts[d.OrderID] = d
	}
	return r.decisions(todayInputs{v: viewOf(f.fleet, r.F), open: open, doubts: doubts, windows: f.stops, held: f.held, grades: f.grades, news: &f.news})
}

func quiet(f *fakePlant) {
	f.orders = nil
	for i := range f.fleet.Standings {
		st := &f.fleet.Standings[i]
		st.Age.Known, st.Band, st.Overdue, st.DueDay = true, due.BandUnder50, false, "2028-01-01"
	}
}

func TestHeadlineOfToday(t *testing.T) {
	state := func(f *fakePlant, n int64, s workorder.State, latest assets.Day) {
		f.orders = append(f.orders, workorder.Order{Number: n, State: s, LatestDay: latest, WorkHours: 11, ConveyorID: 3, SpliceID: 30 + n, Kind: workorder.KindResplice})
	}
	tests := []struct {
		name   string
		change func(*fakePlant)
		want   string
	}{
		{"nothing waits", quiet, "Nothing waits for a decision, and no splice is past its best age or rule"},
		{"one order late", func(f *fakePlant) { quiet(f); state(f, 2, workorder.Placed, "2026-11-20") }, "Order 2 on Q3 is past its latest date"},
		{"two orders late", func(f *fakePlant) {
			quiet(f)
			state(f, 2, workorder.Placed, "2026-11-20")
			state(f, 3, workorder.Started, "2026-11-10")
		},
			"Two orders are past their latest date, order 3 on Q3 the longest"},
		{"a splice past its rule without an order", func(f *fakePlant) { quiet(f); f.fleet.Standings[4].Band = due.BandPastRule }, "Q3 splice 2 is past its rule and has no order"},
		{"an order that only looks at it hides nothing", func(f *fakePlant) {
			quiet(f)
			f.fleet.Standings[4].Band = due.BandPastRule
			state(f, 2, workorder.Placed, "2027-01-05")
			f.orders[len(f.orders)-1].Kind, f.orders[len(f.orders)-1].SpliceID = workorder.KindInspection, f.fleet.Standings[4].SpliceID
		}, "Q3 splice 2 is past its rule and has no order"},
		{"a new belt makes all its splices anew", func(f *fakePlant) {
			quiet(f)
			f.fleet.Standings[4].Band = due.BandPastRule
			state(f, 2, workorder.Placed, "2027-01-05")
			o := &f.orders[len(f.orders)-1]
			o.Kind, o.SpliceID, o.BeltID = workorder.KindBeltChange, 0, f.fleet.Standings[4].BeltID
		}, "Nothing waits for a decision, and no splice is past its best age or rule"},
		{"no stop long enough before the latest date", func(f *fakePlant) { quiet(f); state(f, 2, workorder.Accepted, "2026-12-05") }, "Order 2 on Q3 has no stop in front of it"},
		{"a stop fits", func(f *fakePlant) { quiet(f); state(f, 2, workorder.Accepted, "2026-12-20") }, "Order 2 on Q3 waits for its stop"},
		{"two to accept", func(f *fakePlant) {
			quiet(f)
			state(f, 2, workorder.Raised, "2027-01-05")
			state(f, 3, workorder.Raised, "2027-01-04")
		},
			"Two orders wait to be accepted, order 3 on Q3 the soonest"},
		{"one reading held", func(f *fakePlant) { quiet(f); f.held = 1 }, "A reading waits for somebody to decide"},
		{"many readings held", func(f *fakePlant) { quiet(f); f.held = 14 }, "14 readings wait for somebody to decide"},
		{"one splice without a date", func(f *fakePlant) { quiet(f); f.fleet.Standings[6].Age.Known = false }, "R2 splice 2 has no date, so nothing can be said of when it comes due"},
		{"many without a date", func(f *fakePlant) {
			quiet(f)
			for i := range f.fleet.Standings {
				f.fleet.Standings[i].Age.Known = false
			}
		}, "Seven splices have no date, so nothing can be said of when"},
		{"an order whose ground a correction took away", func(f *fakePlant) {
			quiet(f)
			state(f, 2, workorder.Raised, "2027-01-05")
			f.doubts = []rules.Doubt{{OrderID: f.orders[len(f.orders)-1].ID, Why: "the splice is no longer in use"}}
		}, "Order 2 on Q3 was raised on what the register no longer says"},
		{"settings taken from defaults", func(f *fakePlant) { quiet(f); f.fleet.Register.Plant.SettingsAsked = true }, "Zone, units and currency of this plant wait to be confirmed"},
		{"a grave finding nobody answered", func(f *fakePlant) {
			quiet(f)
			g := 4
			f.grades = []assets.Finding{{ConveyorID: 3, Target: "S2", Grade: &g, Text: "seam open"}}
		}, "Q3 Rise to weigh tower, S2 has a finding of grade 4 without an order or a signed refusal"},
		{"a grave finding beside an order past its date", func(f *fakePlant) {
			g := 4
			f.grades = []assets.Finding{{ConveyorID: 3, Target: "S2", Grade: &g, Category: "opening along the seam"}}
			state(f, 2, workorder.Accepted, "2026-11-01")
		}, "Q3 Rise to weigh tower, S2 has a finding of grade 4 without an order or a signed refusal"},
		{"a finding to act on by a date", func(f *fakePlant) {
			quiet(f)
			g := 3
			f.grades = []assets.Finding{{ConveyorID: 3, Target: "S2", Grade: &g, Text: "seam opens"}}
		}, "Q3 Rise to weigh tower, S2 has a finding that demands an order or a refusal"},
	}
	for _, tt := range tests {
		if got := plainly(todaySay(decisionsOf(t, tt.change))); got != tt.want {
			t.Errorf("%s:\n  %q, want\n  %q", tt.name, got, tt.want)
		}
	}
}

// A splice past what binds leads to the order it waits for.
func TestASplicePastItsRuleLeadsToItsOrder(t *testing.T) {
	f := skarrow()
	quiet(f)
	f.fleet.Standings[4].Band = due.BandPastRule
	to := "/plants/3/orders/new?splice=" + plainInt(f.fleet.Standings[4].SpliceID)
	if n := as(t, f, assets.RolePlanner).get("/plants/3").Find(`a[href="` + to + `"]`).Length(); n != 1 {
		t.Errorf("%d ways to %s", n, to)
	}
	if n := as(t, f, assets.RoleAuditor).get("/plants/3").Find(`a[href="` + to + `"]`).Length(); n != 0 {
		t.Errorf("an auditor is led to %s", to)
	}
}

func TestWhatDoesNotFitOnTodayIsCounted(t *testing.T) {
	all := make([]decision, 11)
	shown, more := firstOf(all)
	if len(shown) != decisionsShown || more != "and three more" {
		t.Errorf("%d shown, %q", len(shown), more)
	}
}

func TestStopIsFullWhenOtherOrdersFillIt(t *testing.T) {
	// The stop of 12 Dec has 14 h; order 412 takes 11 of them.
	d := decisionsOf(t, func(f *fakePlant) {
		f.orders[1].State, f.orders[1].LatestDay, f.orders[1].WorkHours = workorder.Accepted, "2027-01-07", 4
	})
	if d[0].kind != noStop {
		t.Errorf("4 h beside 11 of 14 h: %+v", d[0])
	}
	d = decisionsOf(t, func(f *fakePlant) {
		f.orders[1].State, f.orders[1].LatestDay, f.orders[1].WorkHours = workorder.Accepted, "2027-01-07", 3
	})
	if d[0].kind != toPlace {
		t.Errorf("3 h beside 11 of 14 h: %+v", d[0])
	}
}

func TestRemindersByRuleOfThumb(t *testing.T) {
	f := skarrow()
	f.remind = []rules.Occurrence{{ID: 77, Why: "inspect weekly (class D)", DueDay: "2026-11-27"}, {ID: 78, Why: "clean scraper (class D)", DueDay: "2026-11-30"}}
	v := as(t, f, assets.RolePlanner)
	if got := v.get("/plants/3").Find(`form[action="/plants/3/reminders/77/order"]`).Length(); got != 1 {
		t.Fatal("a reminder cannot be made an order")
	}
	v.post("/plants/3/reminders/77/later", url.Values{"day": {"2026-11-25"}}, http.StatusUnprocessableEntity)
	v.send("/plants/3/reminders/77/later", url.Values{"day": {"2026-12-25"}}, http.StatusSeeOther)
	if f.remind[0].NotBefore != "2026-12-25" || f.steps[0].PersonID != 1 {
		t.Errorf("kept %+v by %+v", f.remind[0], f.steps)
	}
	v.send("/plants/3/reminders/78/order", nil, http.StatusSeeOther)
	v.post("/plants/3/reminders/99/order", nil, http.StatusNotFound)

	auditor := as(t, f, assets.RoleAuditor)
	if got := auditor.get("/plants/3").Find("main form").Length(); got != 0 {
		t.Errorf("an auditor sees %d forms", got)
	}
	auditor.post("/plants/3/reminders/77/order", nil, http.StatusForbidden)
}
