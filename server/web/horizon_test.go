package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/horizon"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
)

func TestTheHorizonsHeadlineNamesWhatHasNoStop(t *testing.T) {
	until := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	belts := func(tags ...string) []horizonBelt {
		out := []horizonBelt{{conveyor: assets.Conveyor{Tag: "Q1"}}}
		for _, tag := range tags {
			out = append(out, horizonBelt{conveyor: assets.Conveyor{Tag: tag}, alarm: true})
		}
		return out
	}
	for want, list := range map[string][]horizonBelt{
		"Everything that comes due by March has a stop in front of it":                          belts(),
		"T2 has no stop in front of it; everything else that comes due by March does":           belts("T2"),
		"T2 and G1 have no stop in front of them; everything else that comes due by March does": belts("T2", "G1"),
		"Four" + nb + "conveyors have no stop in front of them, T2 and G1 among them":           belts("T2", "G1", "G2", "G3"),
	} {
		if got := horizonSay(list, until, ""); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestTheHorizonNamesAcceptedOrdersWithoutAStop(t *testing.T) {
	f := withStops()
	f.orders[1].State, f.orders[1].Crew, f.orders[1].LatestDay = workorder.Accepted, 2, "2026-11-29" // before every stop
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/horizon")
	if say := strings.ReplaceAll(d.Find("h1").Text(), nb, " "); !strings.Contains(strings.ToLower(say), "one accepted order has no stop, due 29 nov 2026") {
		t.Errorf("headline %q", say)
	}
	row := d.Find("#wo").Closest("section").Find("li")
	if to := row.Find("a").AttrOr("href", ""); row.Length() != 1 || to != "/plants/3/horizon/move?order=415" || !strings.Contains(row.Text(), "Its latest date is 29 Nov") {
		t.Errorf("%d orders, the first leads to %q and says %q", row.Length(), to, row.Text())
	}
	d = v.get("/plants/3/horizon/move?order=415")
	if say := d.Find("h1").Text(); say != "Order 415 stands in no stop" || d.Find("button:contains('Set it down')").Length() != 0 {
		t.Errorf("an order in no stop: %q", say)
	}
	if text := factsOf(d); !strings.Contains(text, "Its latest date is 29 Nov") {
		t.Errorf("the move does not say why: %s", text)
	}
}

func TestAMoveOffersOnlyTheStopsTheOrderCanUseTheNearestFirst(t *testing.T) {
	f := withStops()
	other := f.stops[1]
	other.ID, other.LineID, other.Start, other.End = 10, 2, other.Start+1, other.End+1
	f.stops = append(f.stops, other)
	var offered []string
	as(t, f, assets.RolePlanner).get("/plants/3/horizon/move?order=412&stop=8").Find("#ms option").Each(func(_ int, o *goquery.Selection) { offered = append(offered, o.AttrOr("value", "")) })
	if got := strings.Join(offered, " "); got != "0 7 8 9" {
		t.Errorf("order 412 of line 1 is offered %s", got)
	}
}

func TestARowSaysWhyTheStopsDrawnInFrontOfItDoNotFit(t *testing.T) {
	for want, m := range map[string]missed{
		"": {},
		"longest stop in front is 4 h, this needs 8 h":                {longest: 4, with: []string{"T2"}},
		"isolated together with T2, which no stop in front stops too": {with: []string{"T2"}, asked: 1},
		"two stops in front are asked for and not agreed":             {asked: 2},
	} {
		if got := strings.ReplaceAll(m.words(8), nb, " "); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	sh := fittingSheet(t)
	b := horizonBelt{conveyor: sh.v.Register.Conveyors[0], due: &due.Forecast{}}
	b.due.Band.At50 = sh.until
	says, _ := sh.fitting(&b)
	other := sh.v.Register.Conveyors[1].Tag
	if says != "No stop fits" || !strings.Contains(b.why, "isolated together with "+other) {
		t.Errorf("a group over two lines: %q, %q", says, b.why)
	}
	if say := horizonSay([]horizonBelt{{conveyor: b.conveyor, alarm: true, why: b.why}}, sh.until, ""); !strings.Contains(say, " has no stop that fits in front of it") {
		t.Errorf("headline %q", say)
	}
}

// fittingSheet is a sheet of two conveyors that are isolated together and of a stop that stops only the first.
func fittingSheet(t *testing.T) *sheetOf {
	t.Helper()
	now := time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC)
	reg := &assets.Register{Conveyors: []assets.Conveyor{{Tag: "T1", LineID: 1}, {Tag: "T2", LineID: 2}}}
	reg.Conveyors[0].ID, reg.Conveyors[1].ID = 11, 12
	reg.Arrange()
	stop := assets.StopWindow{LineID: 1, Start: assets.InstantOf(now.AddDate(0, 0, 9)), End: assets.InstantOf(now.AddDate(0, 0, 10))}
	facts := &horizon.Facts{Plants: []horizon.PlantFacts{{Register: reg, Stops: []assets.StopWindow{stop}, Groups: []assets.IsolationGroup{{ConveyorIDs: []int64{11, 12}}}}}}
	return &sheetOf{r: &Request{Now: now}, v: fleetView{Fleet: &Fleet{Register: reg}}, h: &HorizonView{Facts: facts}, until: now.AddDate(0, 0, 90)}
}

func TestPressesOfOneWidthAreNamedTogether(t *testing.T) {
	sh := &sheetOf{r: &Request{}, h: &HorizonView{Facts: &horizon.Facts{Plants: make([]horizon.PlantFacts, 1)}, Kit: []horizon.Kit{
		{ID: 1, Name: "Press 1", Class: string(assets.KitPress), WidthMM: 1400}, {ID: 2, Name: "Press 2", Class: string(assets.KitPress), WidthMM: 1400},
		{ID: 3, Name: "Press 3", Class: string(assets.KitPress), WidthMM: 800}}}}
	if got := strings.ReplaceAll(sh.pressMarks().Says, nb, " "); got != "1 and 2 for belts to 1 400 mm; 3 for belts to 800 mm" {
		t.Errorf("%q", got)
	}
}

// withStops is the fake plant with a long stop in which order 412 fits too, and one that is too short.
func withStops() *fakePlant {
	f := skarrow()
	stop := func(id int64, day, hours int) {
		start := time.Date(2026, 12, day, 5, 0, 0, 0, time.UTC)
		w := assets.StopWindow{PlantID: 3, LineID: 1, Start: assets.InstantOf(start), End: assets.InstantOf(start.Add(time.Duration(hours) * time.Hour))}
		w.ID = id
		f.stops = append(f.stops, w)
	}
	stop(8, 25, 24)
	stop(9, 28, 4)
	f.orders[0].LatestDay, f.orders[0].PlacedPeople = "2027-01-31", []int64{1, 2, 3}
	return f
}

func TestTheHorizonShowsStopsWorkAndTheSameFactsAsATable(t *testing.T) {
	f := withStops()
	d := as(t, f, assets.RolePlanner).get("/plants/3/horizon")
	if d.Find("svg.hz.wide").Length() != 1 || d.Find("svg.hz.narrow").Length() != 1 {
		t.Fatal("the sheet is not there in both widths")
	}
	conveyors := len(f.fleet.Register.Conveyors)
	if n := d.Find(".facts-t table").First().Find("tbody tr").Length(); n != conveyors {
		t.Errorf("the table has %d rows, the plant %d conveyors", n, conveyors)
	}
	block := d.Find(`svg.wide a[data-order="412"]`)
	if block.Length() != 1 || !strings.Contains(block.AttrOr("data-stops", ""), "8,") {
		t.Errorf("order 412 cannot be taken up: %v", block.AttrOr("data-stops", "no stops"))
	}
	if text := d.Find(".facts-t table").Text(); !strings.Contains(text, "order 412, stop of") {
		t.Error("the table does not tell of the work placed")
	}
	stops := d.Find(".facts-t table").Last()
	if n := stops.Find("tbody tr").Length(); n != len(f.stops) {
		t.Errorf("the table of stops has %d rows, the plant %d stops", n, len(f.stops))
	}
	if row := strings.ReplaceAll(stops.Find("tbody tr").First().Text(), nb, " "); !strings.Contains(row, "11 of 14 h") || !strings.Contains(row, "412 Q3") || !strings.Contains(row, "I. Vanterel") {
		t.Errorf("what crew and presses draw is not told in numbers: %q", row)
	}
	if n := d.Find("svg.wide rect.win").Length(); n != 3 {
		t.Errorf("%d stops are drawn, want 3", n)
	}
	for weeks, want := range map[string]string{"12": "12", "104": "104", "7": "26"} {
		got := as(t, f, assets.RolePlanner).get("/plants/3/horizon?weeks="+weeks).Find("#weeks option[selected]").AttrOr("value", "")
		if got != want {
			t.Errorf("asked for %s weeks the sheet has %s, want %s", weeks, got, want)
		}
	}
}

func TestWhoMayNotPlanReadsTheHorizonAndMovesNothing(t *testing.T) {
	v := as(t, withStops(), assets.RoleAuditor)
	d := v.get("/plants/3/horizon")
	if d.Find("[data-order], [href$='/horizon/move'], form[action$='/horizon/move'], script[src*=horizon]").Length() != 0 {
		t.Error("an auditor is offered to move work")
	}
	v.page("/plants/3/horizon/plan", http.StatusForbidden)
	v.post("/plants/3/horizon/move", url.Values{"order": {"412"}, "stop": {"8"}}, http.StatusForbidden)
}

// facts reads a list of facts as words.
func factsOf(d *goquery.Document) string {
	return strings.ReplaceAll(d.Find("main").Text(), nb, " ")
}

func TestAMoveIsAnsweredSetDownAndPublished(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/horizon/move?order=412&stop=8")
	if say := strings.ReplaceAll(d.Find("h1").Text(), nb, " "); say != "Order 412 fits the stop of 25 Dec 2026" {
		t.Fatalf("%q", say)
	}
	if to := v.get("/plants/3/horizon").Find("[data-move]").AttrOr("data-move", ""); v.get(to+"&order=412&stop=8").Find("#answer").Text() != d.Find("#answer").Text() {
		t.Errorf("dragged on the sheet %s, the answer is another one", to)
	}
	if text := factsOf(d); !strings.Contains(text, "11 of 24 h booked with it") || !strings.Contains(text, "I. Vanterel") {
		t.Errorf("the answer does not say what it takes: %s", text)
	}
	if f.orders[0].WindowID != 7 || len(f.draft.Moves) != 0 {
		t.Fatal("asking moves something")
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"8"}}, http.StatusSeeOther)
	if len(f.draft.Moves) != 1 || f.orders[0].WindowID != 7 {
		t.Fatalf("setting down: draft %+v, order in stop %d", f.draft.Moves, f.orders[0].WindowID)
	}
	if d := v.get("/plants/3/horizon"); d.Find("rect.actf").Length() == 0 || d.Find("rect.dash").Length() == 0 {
		t.Error("the move is not drawn beside where the order stands")
	}
	d = v.get("/plants/3/horizon/plan")
	if n := d.Find("input[name=change][checked]").Length(); n != 1 {
		t.Fatalf("%d changes can be kept", n)
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1412"}}, http.StatusSeeOther)
	o := f.orders[0]
	if o.WindowID != 8 || o.State != workorder.Placed || o.PlacedStart == nil || len(o.PlacedCrew) != 3 || o.PlacedBy != 1 {
		t.Errorf("published to %+v", o)
	}
	if len(f.plans) != 1 || f.plans[0].Changes[0] != (assets.PlanChange{OrderID: 1412, FromStop: 7, ToStop: 8, Cost: f.plans[0].Changes[0].Cost}) || f.plans[0].Steps != 0 {
		t.Errorf("kept as plan %+v", f.plans)
	}
	if len(f.draft.Moves) != 0 {
		t.Error("the draft is still there")
	}
}

func TestAMoveThatDoesNotFitSaysWhyAndCannotBeKept(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/horizon/move?order=412&stop=9")
	if text := factsOf(d); !strings.Contains(text, "does not fit") || !strings.Contains(text, "7 h more in the stop of") {
		t.Errorf("11 h in a stop of 4 h: %s", text)
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"9"}}, http.StatusSeeOther)
	d = v.get("/plants/3/horizon/plan")
	if d.Find("input[name=change]").AttrOr("disabled", "no") == "no" || d.Find("rect.nofit").Length() == 0 {
		t.Error("what does not fit can be ticked, or is not crossed")
	}
	d = v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1412"}}, http.StatusUnprocessableEntity)
	if len(f.plans) != 0 || f.orders[0].WindowID != 7 || !strings.Contains(factsOf(d), "nothing was published") {
		t.Error("what does not fit was published")
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"leave"}}, http.StatusSeeOther)
	if len(f.draft.Moves) != 0 {
		t.Error("left as it was, the move is still there")
	}
}

func TestTwoPlannersDoNotOverwriteEachOther(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"8"}}, http.StatusSeeOther)
	f.orders[0].EditVersion++ // somebody else placed it anew
	f.orders[0].PlacedPeople = []int64{2, 3}
	d := v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1412"}}, http.StatusUnprocessableEntity)
	text := factsOf(d)
	for _, want := range []string{"Yours, not published", "stop of 25 Dec", "stop of 12 Dec", "I. Vanterel"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not show %q", want)
		}
	}
	if len(f.plans) != 0 || f.orders[0].WindowID != 7 || len(f.draft.Moves) != 1 {
		t.Fatalf("something was written or lost: plans %d, stop %d, draft %d", len(f.plans), f.orders[0].WindowID, len(f.draft.Moves))
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"mine"}, "about": {"1412"}}, http.StatusSeeOther)
	v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1412"}}, http.StatusSeeOther)
	if f.orders[0].WindowID != 8 {
		t.Error("moved one's own way again, it does not go through")
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"7"}}, http.StatusSeeOther)
	f.orders[0].EditVersion++
	v.post("/plants/3/horizon/plan", url.Values{"do": {"theirs"}, "about": {"1412"}}, http.StatusSeeOther)
	if len(f.draft.Moves) != 0 || f.orders[0].WindowID != 8 {
		t.Error("taking theirs does not drop one's own")
	}
}

// replanned starts a re-plan and waits for it.
func replanned(t *testing.T, v *visit) *goquery.Document {
	t.Helper()
	v.post("/plants/3/horizon/plan", url.Values{"do": {"start"}, "weeks": {"26"}}, http.StatusSeeOther)
	for range 1000 {
		d := v.get("/plants/3/horizon/plan")
		if d.Find("progress").Length() == 0 {
			return d
		}
		if d.Find("button[value=stop]").Length() != 1 {
			t.Fatal("a running re-plan cannot be stopped")
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatal("the re-plan does not end")
	return nil
}

func TestAReplanIsShownAsChangesAndLeavesLockedWorkAlone(t *testing.T) {
	f := withStops()
	f.orders[1].State, f.orders[1].Crew = workorder.Accepted, 2 // 415: accepted, without a stop
	v := as(t, f, assets.RolePlanner)
	d := replanned(t, v)
	if text := factsOf(d); !strings.Contains(text, "order 415: gets the stop of") || !strings.Contains(text, "seed 7") {
		t.Fatalf("the re-plan finds no stop for order 415: %s", text)
	}
	if f.orders[1].WindowID != 0 {
		t.Fatal("a re-plan publishes by itself")
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1415"}}, http.StatusSeeOther)
	if f.orders[1].WindowID == 0 || len(f.plans) != 1 || f.plans[0].Seed != 7 || len(f.plans[0].CaseDigest) != 64 || f.plans[0].Cost < f.plans[0].Bound {
		t.Errorf("published %+v", f.plans)
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"lock"}, "order": {"412"}, "stop": {"7"}}, http.StatusSeeOther)
	if !f.orders[0].Held() {
		t.Fatal("order 412 is not locked")
	}
	if d := v.get("/plants/3/horizon/move?order=412&stop=8"); !strings.Contains(factsOf(d), "locked") {
		t.Error("a locked order can be moved")
	}
	if d := v.get("/plants/3/horizon"); d.Find(`[data-order="412"]`).Length() != 0 {
		t.Error("a locked order can be taken up")
	} else if spoken := d.Find(`[data-locked="412"]`).AttrOr("aria-label", ""); !strings.Contains(spoken, "locked") {
		t.Errorf("a locked order is not told to be, or cannot be unlocked by the keys: %q", spoken)
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"unlock"}, "order": {"412"}, "stop": {"7"}}, http.StatusSeeOther)
	if f.orders[0].Held() {
		t.Error("order 412 stays locked")
	}
}

func TestMovesOfOrdersAndStopsThatAreNotTheresAreNotFound(t *testing.T) {
	v := as(t, withStops(), assets.RolePlanner)
	for _, q := range []string{"order=999&stop=8", "order=412&stop=999", "order=409&stop=8", "order=x&stop=8"} {
		v.page("/plants/3/horizon/move?"+q, http.StatusNotFound)
	}
	if d := v.get("/plants/3/horizon/move"); d.Find("#answer").Length() != 0 || d.Find("#mo option").Length() == 0 {
		t.Error("without an order nothing can be chosen")
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"burn"}}, http.StatusUnprocessableEntity)
}

// lead lets the fake plant's planner be lead of all plants.
func lead(t *testing.T, f *fakePlant) *visit {
	t.Helper()
	f.staff[0].Role = assets.RoleLead
	f.grantAll = true
	return as(t, f, assets.RoleLead)
}

func TestALeadPlansOverPlantsAndSeesWhoGoesWhere(t *testing.T) {
	f := withStops()
	f.orders[1].State, f.orders[1].Crew = workorder.Accepted, 2
	v := lead(t, f)
	v.post("/plants/plan", url.Values{"do": {"start"}, "plants": {"3"}}, http.StatusSeeOther)
	var d *goquery.Document
	for range 1000 {
		if d = v.get("/plants/plan?plants=3"); d.Find("progress").Length() == 0 {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if d.Find("input[name=change][checked]").Length() == 0 {
		t.Fatalf("nothing changes: %s", factsOf(d))
	}
	if body := d.Find("#ch").Closest("section"); !strings.Contains(body.Text(), "The plan costs ") || body.Find(`h3 a[href="/plants/3/orders/415"]`).Length() != 1 {
		t.Errorf("a change says what it costs and leads to its order: %s", body.Text())
	}
	v.post("/plants/plan", url.Values{"do": {"keep"}, "plants": {"3"}, "change": {"1415"}}, http.StatusSeeOther)
	if f.orders[1].WindowID == 0 || len(f.plans) != 1 || f.plans[0].PlantID != 3 {
		t.Fatalf("published %+v", f.plans)
	}
	start := f.orders[1].PlacedStart.Time().Format(time.DateOnly)
	d = v.get("/plants/plan?plants=3&week=" + start)
	if text := factsOf(d); !strings.Contains(text, "415: remake splice 1 on Q2") || d.Find("#vans section").Length() == 0 {
		t.Errorf("the week of %s does not show the visit: %s", start, text)
	}
	d = v.get("/plants/plan?plants=3")
	if d.Find("#vans section").Length() == 0 {
		t.Errorf("without a week the page opens on one in which nobody is sent anywhere: %s", factsOf(d))
	}
	v.page("/plants/plan?plants=77", http.StatusNotFound)
	as(t, withStops(), assets.RoleTechnician).page("/plants/plan", http.StatusForbidden)
}

// The 3,000 orders are what the planner is held to: a first legal plan within a second, the search in under 500 MB.
func TestAPlanTakesTheWholeContractListAsFarAsItsOrdersGo(t *testing.T) {
	c := &planChoice{}
	for i := range 400 {
		c.all = append(c.all, PlantSummary{Plant: assets.Plant{Version: assets.Version{ID: int64(i + 1)}, Name: fmt.Sprintf("Plant %d", i+1)}, Open: 7})
	}
	if c.take(nil); len(c.plants) != 400 || c.tooMuch() != "" || c.to() != "/plants/plan" {
		t.Errorf("of 400 plants with 2 800 orders %d are taken; %s", len(c.plants), c.tooMuch())
	}
	full := &planChoice{all: []PlantSummary{{Open: 2_000}, {Open: 1_500}, {Open: 1_000}}}
	full.all[1].Plant.Name = "Brask Point Wharf"
	if full.take(nil); len(full.plants) != 2 || !strings.Contains(full.tooMuch(), "Brask Point Wharf") {
		t.Errorf("2 000, 1 500 and 1 000 orders: %d plants taken; %s", len(full.plants), full.tooMuch())
	}
	if alone := (&planChoice{all: []PlantSummary{{Open: 5_000}}}); true {
		if alone.take(nil); len(alone.plants) != 1 {
			t.Error("a plant with more orders than that cannot be planned at all")
		}
	}
}

func TestManyPlantsAreReadForAPlanOnlyWhenItIsAskedFor(t *testing.T) {
	f := withStops()
	f.orders[1].State, f.orders[1].Crew = workorder.Accepted, 2
	for i := range mostPlantsLive {
		other := f.list[0]
		other.Plant.ID, other.Plant.Name = int64(500+i), fmt.Sprintf("Other %d", i)
		f.list = append(f.list, other)
		f.frames = append(f.frames, PlantFrame{Plant: other.Plant})
	}
	v := lead(t, f)
	d := v.get("/plants/plan")
	if d.Find("#wk").Length() != 0 || !strings.Contains(d.Find("h1").Text(), "can be planned together") {
		t.Fatalf("the page of many plants before a search: %s", factsOf(d))
	}
	v.post("/plants/plan", url.Values{"do": {"start"}, "plants": {""}}, http.StatusSeeOther)
	for range 1000 {
		if d = v.get("/plants/plan"); d.Find("progress").Length() == 0 {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if d.Find("#wk").Length() != 1 || d.Find("input[name=change][checked]").Length() == 0 || !strings.Contains(factsOf(d), "The plants were read") {
		t.Fatalf("the page after the search: %s", factsOf(d))
	}
	v.post("/plants/plan", url.Values{"do": {"keep"}, "plants": {""}, "change": {"1415"}}, http.StatusSeeOther)
	if f.orders[1].WindowID == 0 || len(f.plans) != 1 {
		t.Fatalf("published %+v", f.plans)
	}
}

// Left in one window while it searches in another, a re-plan writes nothing over the draft when it ends.
func TestAReplanThatWasLeftKeepsNothingOfWhatItFinds(t *testing.T) {
	f := withStops()
	h, err := f.Horizon(t.Context(), assets.PlantScope(3), 3, time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC), 26)
	if err != nil {
		t.Fatal(err)
	}
	s := &Site{Sources: Sources{Horizons: f}, now: time.Now}
	key := replanKey{plant: 3, person: 1}
	for _, left := range []bool{false, true} {
		f.draft = assets.PlanDraft{}
		p := &replan{view: h, stop: func() {}}
		if err := s.replans.add(key, p); err != nil {
			t.Fatal(err)
		}
		if left {
			s.replans.forget(key.plant, key.person)
		}
		if err := s.keepFound(key, assets.Scope{}, p, &plan.Plan{}); err != nil {
			t.Fatal(err)
		}
		if kept := len(f.draft.Moves) > 0; kept == left {
			t.Errorf("left %v, and the draft holds %d moves", left, len(f.draft.Moves))
		}
	}
}

// Stopped before it found anything, or with locks that cannot hold together, a re-plan does not claim that nothing better was found.
func TestAReplanWithoutAPlanSaysSo(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	h, err := f.Horizon(t.Context(), assets.PlantScope(3), 3, time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC), 26)
	if err != nil {
		t.Fatal(err)
	}
	for want, run := range map[string]*replan{
		"The re-plan was stopped before it found a plan: the plan stands as it was published":  {err: context.Canceled},
		"The re-plan found no plan that keeps every lock: the plan stands as it was published": {found: &plan.Plan{Status: plan.Infeasible, Conflict: []string{"job 412 and job 415 are locked at the same time"}}},
		"The re-plan broke off: the plan stands as it was published":                           {err: errors.New("out of memory")},
		"Re-plan: nothing better was found than what is published":                             {found: &plan.Plan{Status: plan.Optimal}},
	} {
		run.view, run.stop = h, func() {}
		if err := v.site.replans.add(replanKey{plant: 3, person: 1}, run); err != nil {
			t.Fatal(err)
		}
		d := v.get("/plants/3/horizon/plan")
		if say := strings.ReplaceAll(d.Find("h1").Text(), nb, " "); say != want {
			t.Errorf("the page says %q, want %q", say, want)
		}
		if text := factsOf(d); strings.Contains(want, "lock") && !strings.Contains(text, "Order 412 and order 415 are locked at the same time.") {
			t.Errorf("it does not name the locks: %s", text)
		}
	}
}

// A move by hand set down while one's own re-plan searches would be lost when that ends: it is refused and the page says why.
func TestAMoveIsNotSetDownUnderARunningReplan(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	if err := v.site.replans.add(replanKey{plant: 3, person: 1}, &replan{running: true, stop: func() {}}); err != nil {
		t.Fatal(err)
	}
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"8"}}, http.StatusSeeOther)
	if len(f.draft.Moves) != 0 {
		t.Error("the move is in the draft that the re-plan will write over")
	}
}

// The plant moves a stop by a day; the work in it keeps its hours of before. Horizon, list of stops and order say so, one click sets it for hours
// inside the stop, and nothing of that holds before it is published.
func TestWorkOfAMovedStopIsSetForHoursInsideItByOneClick(t *testing.T) {
	f := withStops()
	i := slices.IndexFunc(f.stops, func(w assets.StopWindow) bool { return w.ID == f.orders[0].WindowID })
	day := assets.Instant(24 * time.Hour / time.Microsecond)
	before := f.stops[i].Start + assets.Instant(time.Hour/time.Microsecond)
	f.orders[0].PlacedStart, f.orders[0].PlacedCrew = &before, []assets.CrewPlace{{PersonID: 1}}
	v := as(t, f, assets.RolePlanner)
	if d := v.get("/plants/3/horizon"); d.Find("button[value=hours]").Length() != 0 || strings.Contains(factsOf(d), "outside the stop") {
		t.Fatalf("before the stop was moved: %s", factsOf(d))
	}
	f.stops[i].Start, f.stops[i].End = f.stops[i].Start+day, f.stops[i].End+day
	d := v.get("/plants/3/horizon")
	if text := factsOf(d); !strings.Contains(text, "Order 412 is set for 12 Dec 06:00, outside the stop as it is now.") || d.Find("#br").Length() != 1 || d.Find("button[value=hours]").Length() != 1 {
		t.Fatalf("the horizon says %s", text)
	}
	if say := strings.ReplaceAll(d.Find("h1").Text(), nb, " "); say != "The work in the stop of 13 Dec does not go into it as it stands; every belt that comes due by May has a stop in front of it" {
		t.Errorf("the headline is %q", say)
	}
	if text := factsOf(v.get("/plants/3/orders/412")); !strings.Contains(text, "12 Dec 2026, 06:00: outside the stop as it is now") {
		t.Errorf("the order says %s", text)
	}
	h, err := f.Horizon(t.Context(), assets.PlantScope(3), 3, time.Date(2026, 11, 25, 6, 0, 0, 0, time.UTC), 26)
	if err != nil {
		t.Fatal(err)
	}
	if found, err := plan.Solve(t.Context(), h.Sheet.Case, plan.Settings{Seed: 1, Steps: 40, Workers: 1}); err != nil || !slices.ContainsFunc(foundMoves(h, found), func(m assets.DraftMove) bool { return m.Hours && m.Start > before }) {
		t.Errorf("a re-plan does not set it for other hours: %v", err)
	}
	if d := as(t, f, assets.RoleAuditor).get("/plants/3/horizon"); d.Find("button[value=hours]").Length() != 0 {
		t.Error("whoever may not plan is offered to set hours")
	}
	v = as(t, f, assets.RolePlanner)
	v.post("/plants/3/horizon/move", url.Values{"do": {"hours"}, "stop": {plainInt(f.stops[i].ID)}}, http.StatusSeeOther)
	if *f.orders[0].PlacedStart != before || len(f.draft.Moves) != 1 || !f.draft.Moves[0].Hours {
		t.Fatalf("the click wrote %v, draft %+v", *f.orders[0].PlacedStart, f.draft.Moves)
	}
	d = v.get("/plants/3/horizon/plan")
	if text := factsOf(d); !strings.Contains(text, "new hours in the stop of 13 Dec") || !strings.Contains(text, "Work beginsbefore: 12 Dec 2026, 06:00 with it: 13 Dec 2026, 05:00") || d.Find("input[name=change][checked]").Length() != 1 {
		t.Errorf("the plan says %s", text)
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {plainInt(f.orders[0].ID)}}, http.StatusSeeOther)
	if got := *f.orders[0].PlacedStart; got != f.stops[i].Start || len(f.draft.Moves) != 0 || len(f.plans) != 1 {
		t.Errorf("work begins %v, draft %+v, plans %+v", got.Time(), f.draft.Moves, f.plans)
	}
	if d := v.get("/plants/3/horizon"); d.Find("#br").Length() != 0 {
		t.Errorf("after it: %s", factsOf(d))
	}
}

// Whoever only chooses an order sees where it stands and its stops; no button takes it out of its stop unasked.
func TestChoosingAnOrderDoesNotAskToTakeItOutOfItsStop(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/horizon/move?order=412")
	if say := strings.ReplaceAll(d.Find("h1").Text(), nb, " "); say != "Order 412 stands in the stop of Sat 12 Dec 2026" || d.Find("button[value=set]").Length()+d.Find("input[value=set]").Length() != 0 {
		t.Errorf("the page says %q: %s", say, factsOf(d))
	}
	if d.Find("#ms option").Length() != 4 || d.Find("#ms option[selected]").AttrOr("value", "") != plainInt(f.orders[0].WindowID) || d.Find("button[value=lock]").Length() != 1 {
		t.Errorf("its stops: %s", d.Find("#ms").Text())
	}
	if say := v.get("/plants/3/horizon/move?order=412&stop=0").Find("h1").Text(); !strings.Contains(say, "comes out of its stop") {
		t.Errorf("asked to take it out: %q", say)
	}
}

// Dragged to another stop and back, an order stands as published: nothing waits, and the answer does not speak of a move.
func TestAnOrderSetBackInItsOwnStopIsNoMove(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	own := plainInt(f.orders[0].WindowID)
	for _, stop := range []string{"8", own} {
		v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {stop}}, http.StatusSeeOther)
	}
	if len(f.draft.Moves) != 0 {
		t.Errorf("waiting: %+v", f.draft.Moves)
	}
	if say := v.get("/plants/3/horizon/move?order=412&stop=" + own).Find("h1").Text(); !strings.Contains(strings.ReplaceAll(say, nb, " "), "stands in the stop of") {
		t.Errorf("the answer is %q", say)
	}
}

// What somebody else changed since cannot be ticked before one has said whose version holds.
func TestAChangeInConflictIsNotOfferedToBeKept(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"8"}}, http.StatusSeeOther)
	if d := v.get("/plants/3/horizon/plan"); d.Find("button[value=keep]").Length() != 1 || !strings.Contains(factsOf(d), "takes the place of one move by hand") {
		t.Fatalf("the move waits to be kept, and to be planned over: %s", factsOf(d))
	}
	f.orders[0].EditVersion++
	d := v.get("/plants/3/horizon/plan")
	if d.Find("button[value=keep], input[name=change][checked]").Length() != 0 || !strings.Contains(factsOf(d), "Somebody changed this order since") {
		t.Errorf("a change in conflict can be kept: %s", factsOf(d))
	}
	if text := factsOf(d); !strings.Contains(text, "placed, S. Ilveth, 25 Nov 2026, 06:00") || d.Find("button[value=mine]").Length() != 1 {
		t.Errorf("it does not say who changed it: %s", text)
	}
	// Done in the meantime there is nothing to move: the order is told by its number and can only be taken out.
	f.orders[0].State = workorder.Done
	d = v.get("/plants/3/horizon/plan")
	if text := factsOf(d); !strings.Contains(text, "412 Q3: remake splice 2") || !strings.Contains(text, "Take it out of my moves") || strings.Contains(text, "1412") || d.Find("button[value=mine], button[value=keep]").Length() != 0 {
		t.Errorf("of an order that is done: %s", text)
	}
	if say := d.Find("h1").Text(); !strings.Contains(say, "412 Q3: remake splice 2: it is not open any more") {
		t.Errorf("the headline is %q", say)
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"theirs"}, "about": {"1412"}}, http.StatusSeeOther)
	if len(f.draft.Moves) != 0 {
		t.Errorf("still waiting: %+v", f.draft.Moves)
	}
}

// Somebody publishes work into an occurrence of a recurring stop, which gets its row by that: what another planner has waiting for the
// same occurrence is still shown with its day, and goes through.
func TestAMoveIntoAnOccurrenceHoldsWhenSomebodyElsePublishedIntoItFirst(t *testing.T) {
	f := withStops()
	v := as(t, f, assets.RolePlanner)
	v.post("/plants/3/horizon/move", url.Values{"do": {"set"}, "order": {"412"}, "stop": {"8"}}, http.StatusSeeOther)
	f.stops[1].Source = assets.StopSource{RecurrenceID: 4, PlannedLocal: "2026-12-25T06:00"}
	before := horizon.Alias(f.stops[1])
	if before >= 0 {
		t.Fatalf("the occurrence had the number %d before", before)
	}
	f.draft.Moves[0].ToStop = before
	if say := v.get("/plants/3/horizon/plan").Find("h1").Text(); !strings.Contains(strings.ReplaceAll(say, nb, " "), "to 25 Dec") {
		t.Errorf("the move waits as %q", say)
	}
	if d := v.get("/plants/3/horizon/move?order=412&stop=" + plainInt(before)); !strings.Contains(factsOf(d), "fits the stop of 25 Dec") {
		t.Errorf("asked by its number before: %s", factsOf(d))
	}
	v.post("/plants/3/horizon/plan", url.Values{"do": {"keep"}, "change": {"1412"}}, http.StatusSeeOther)
	if f.orders[0].WindowID != 8 {
		t.Errorf("published into stop %d", f.orders[0].WindowID)
	}
}

func TestACustomersOwnPeopleReadTheHorizonWithoutItsKit(t *testing.T) {
	f := withStops()
	for role, sees := range map[assets.Role]bool{assets.RoleCustomerViewer: false, assets.RoleAuditor: true} {
		f.staff[0].Role = role
		d := as(t, f, role).get("/plants/3/horizon")
		if got := strings.Contains(d.Find("svg.wide").Text(), "Presses"); got != sees || (d.Find(".facts-t th:contains('Kit')").Length() > 0) != sees {
			t.Errorf("%s sees the presses: %v, want %v", role, got, sees)
		}
	}
}
