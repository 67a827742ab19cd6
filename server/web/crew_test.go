package web

import (
	"context"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
	"carryside/schedule/crew"
	"carryside/schedule/stock"
	"carryside/schedule/workorder"
)

func (o *fakeOffice) CrewOf(context.Context, assets.Scope, int64, time.Time) (*CrewList, error) {
	if o.crew == nil {
		o.crew = &CrewList{}
	}
	return o.crew, nil
}

func (o *fakeOffice) SaveTicket(_ context.Context, _ assets.Scope, act Act, _ int64, t *assets.PersonQualification) error {
	return o.change(act, *t)
}

func (o *fakeOffice) EndTicket(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) SaveMember(_ context.Context, _ assets.Scope, act Act, _ int64, m *assets.CrewMember) error {
	return o.change(act, *m)
}

func (o *fakeOffice) EndMember(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) SaveAbsence(_ context.Context, _ assets.Scope, act Act, _ int64, a *assets.Absence) error {
	return o.change(act, *a)
}

func (o *fakeOffice) EndAbsence(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) SaveQualification(_ context.Context, act Act, q *assets.Qualification) error {
	return o.change(act, *q)
}

func (o *fakeOffice) SaveTravel(_ context.Context, act Act, t *assets.TravelTime) error {
	return o.change(act, *t)
}

func (o *fakeOffice) EndTravel(_ context.Context, act Act, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) SaveTemplate(_ context.Context, _ assets.Scope, act Act, _ int64, t *assets.WorkTemplate) error {
	return o.change(act, *t)
}

func (o *fakeOffice) EndTemplate(_ context.Context, _ assets.Scope, act Act, _, id, _ int64) error {
	return o.change(act, id)
}

func (o *fakeOffice) WeekOf(_ context.Context, _ assets.Scope, from, _ time.Time) (*WeekFacts, error) {
	if o.week == nil || o.weekOf != "" && o.weekOf != assets.DayOf(from) {
		return &WeekFacts{Zone: time.UTC}, nil
	}
	return o.week, nil
}

func (o *fakeOffice) VisitsAhead(context.Context, assets.Scope, time.Time, time.Time) ([]VisitNeed, error) {
	return o.visits, nil
}

func (o *fakeOffice) DepotEnds(context.Context, assets.Scope, time.Time, assets.Day) ([]DepotEnd, error) {
	return []DepotEnd{{PersonID: 5, Who: "S. Ilveth", What: "hot vulcanising", Day: "2027-01-10"}, {KitID: 9, Who: "Thermometer 2", What: "calibration", Day: "2026-11-20"},
		{KitID: 8, Who: "Press 4", What: "press cycles", Count: "400 of 400 cycles", Day: "2026-11-24"}, {KitID: 7, Who: "Press 5", What: "press cycles", Count: "801 of 800 cycles", Day: "2026-11-23", Ordered: true, PlantID: 3, Number: 412}}, nil
}

func TestTheListOfPlantsSaysWhichNeedAVisit(t *testing.T) {
	f := skarrow()
	other := f.list[0]
	other.Plant.ID, other.Plant.Name, other.ReadTo = 4, "Brask Point Wharf", 0
	f.list, f.grantAll = append(f.list, other), true
	stop := assets.InstantOf(time.Date(2026, 12, 12, 6, 0, 0, 0, time.UTC))
	f.office().visits = []VisitNeed{
		{PlantID: 3, Number: 412, SpliceID: 32, Title: "remake splice 2", Tag: "Q3", LatestDay: "2026-12-13", Start: stop, End: stop + assets.Instant(10*time.Hour/time.Microsecond), People: []int64{2, 4}, Tools: []int64{62}, ToolNames: []string{"Press 2"}},
		{PlantID: 4, Number: 7, Title: "remake splice 3", Tag: "W1", LatestDay: "2026-12-14"},
		{PlantID: 4, Number: 8, Title: "look", Tag: "W2", LatestDay: "2026-12-12", Start: stop + 1, End: stop + 2, Tools: []int64{62}, ToolNames: []string{"Press 2"}},
		{PlantID: 4, Number: 9, Title: "later", Tag: "W3", LatestDay: "2027-02-14"},
	}
	d := lead(t, f).get("/plants")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "Two of two plants need a visit before 20 December; one has work without a stop" {
		t.Errorf("headline %q", got)
	}
	rows := d.Find("#pv").Closest("section").Find("tbody tr")
	one := strings.ReplaceAll(strings.Join(strings.Fields(rows.Eq(1).Text()), " "), nb, " ")
	for _, want := range []string{"Q3 412: remake splice 2", "13 Dec 2026", "12 Dec", "2 people", "Press 2", "all placed"} {
		if !strings.Contains(one, want) {
			t.Errorf("the row %q does not say %q", one, want)
		}
	}
	if rows.Length() != 2 || rows.Eq(0).Find("b.fault").Length() != 1 {
		t.Errorf("%d rows; the first says %q", rows.Length(), rows.Eq(0).Text())
	}
	decide := strings.ReplaceAll(d.Find("#dc").Closest("section").Text(), nb, " ")
	for _, want := range []string{"Press 2 is named at Brask Point Wharf and at Skarrow Grain Terminal", "Brask Point Wharf: one accepted order has no stop", "Running hours are missing from 1 plant", "Renew S. Ilveth, hot vulcanising, by 10 Jan 2027", "Calibrate Thermometer 2, due since Fri 20 Nov 2026",
		"Press 4 is due for service, at the depot: press cycles, 400 of 400 cycles, since Tue 24 Nov 2026. No order for it is open", "Press 5 is due for service, at the depot: press cycles, 801 of 800 cycles, since Mon 23 Nov 2026. Its service is on order. Order 412"} {
		if !strings.Contains(decide, want) {
			t.Errorf("to decide: %q does not say %q", decide, want)
		}
	}
	if text := as(t, skarrow(), assets.RolePlanner).get("/plants").Find("#dc").Closest("section").Text(); strings.Contains(text, "S. Ilveth") {
		t.Error("who does not keep the crews reads whose ticket ends")
	}
	weeks := d.Find("#ld").Closest("section").Find("tbody tr")
	if weeks.Length() != 26 || !strings.Contains(strings.ReplaceAll(weeks.Eq(2).Text(), nb, " "), "7 Dec 20262") || !strings.HasSuffix(weeks.Eq(11).Text(), "1") {
		t.Errorf("weeks %s", weeks.Text())
	}
}

// TestTheListOfPlantsDrawsTheNextWeekOfTheCrews: somebody is sent somewhere on Saturday 12 December; of eight crews of that week six are drawn.
func TestTheListOfPlantsDrawsTheNextWeekOfTheCrews(t *testing.T) {
	f := skarrow()
	f.grantAll = true
	start := assets.InstantOf(time.Date(2026, 12, 12, 6, 0, 0, 0, time.UTC))
	end := start + assets.Instant(10*time.Hour/time.Microsecond)
	o := f.office()
	o.visits = []VisitNeed{{PlantID: 3, Number: 412, SpliceID: 32, Title: "remake splice 2", Tag: "Q3", LatestDay: "2026-12-13", Start: start, End: end, People: []int64{2}}}
	o.weekOf, o.week = "2026-12-07", &WeekFacts{Zone: time.UTC, Names: map[int64]string{2: "R. Asquenne"}, Plants: map[int64]assets.Plant{3: f.frames[0].Plant}}
	section := func() *goquery.Selection { return lead(t, f).get("/plants").Find("#wk").Closest("section") }
	if n := section().Length(); n != 0 {
		t.Errorf("%d weeks are drawn in which nobody is sent anywhere", n)
	}
	for i := range int64(8) {
		w := assets.StopWindow{Version: assets.Version{ID: 20 + i}, PlantID: 3, Start: start, End: end}
		o.week.Members = append(o.week.Members, assets.CrewMember{PersonID: 2 + i, HomePlantID: 100 + i})
		o.week.Work = append(o.week.Work, WeekWork{Order: workorder.Order{Version: assets.Version{ID: 412 + i}, PlantID: 3, Number: 412 + i, PlacedPeople: []int64{2 + i}}, Window: w, Tag: "Q3"})
	}
	drawn := section()
	if head := strings.ReplaceAll(drawn.Find("h2").Text(), nb, " "); head != "Week of 7 December, crew by crew" {
		t.Errorf("the section is headed %q", head)
	}
	if svg := drawn.Find("svg"); svg.Find("rect.inkf").Length() != 6 || !strings.Contains(strings.ReplaceAll(svg.AttrOr("aria-label", ""), nb, " "), "Eight crews make eight visits to one plant") {
		t.Errorf("%d visits are drawn, told as %q", svg.Find("rect.inkf").Length(), svg.AttrOr("aria-label", ""))
	}
	if says := strings.ReplaceAll(drawn.Text(), nb, " "); !strings.Contains(says, "Two crews more are on the page of that week") || drawn.Find(`a[href="/plants/week?week=2026-12-07#vans"]`).Length() != 1 {
		t.Errorf("beside it stands %q", says)
	}
	p := visitsPart{Rows: []visitNeed{{without: 6, with: 3}, {WorkOut: "not yet"}, {without: 2, with: 2}}}
	p.drawBars()
	if !strings.Contains(string(p.Rows[0].Bar), `width="111"`) || p.Rows[1].Bar != "" || !strings.Contains(string(p.Rows[2].Bar), `width="37"`) {
		t.Errorf("bars %q: the first whole, the last a third of it, none where nothing is worked out", []string{string(p.Rows[0].Bar), string(p.Rows[1].Bar), string(p.Rows[2].Bar)})
	}
}

// TestEveryPlantsChancesAreWorkedOutWhenAskedFor: six plants at a time; each of the others leads to its own six.
func TestEveryPlantsChancesAreWorkedOutWhenAskedFor(t *testing.T) {
	f := skarrow()
	f.grantAll = true
	stop := assets.InstantOf(time.Date(2026, 12, 12, 6, 0, 0, 0, time.UTC))
	for i := range int64(7) {
		other := f.list[0]
		other.Plant.ID, other.Plant.Name = 10+i, "Wharf "+plainInt(i)
		f.list = append(f.list, other)
		f.office().visits = append(f.office().visits, VisitNeed{PlantID: 10 + i, Number: 412, SpliceID: 32, Title: "remake splice 2", Tag: "Q3", LatestDay: "2026-12-13", Start: stop, End: stop + 1})
	}
	v := lead(t, f)
	last := func(d *goquery.Document) *goquery.Selection {
		return d.Find("#pv").Closest("section").Find("tbody tr").Eq(6).Find("td[data-l='Due before it']")
	}
	cell := last(v.get("/plants"))
	to := cell.Find("a").AttrOr("href", "none")
	if to != "/plants?due=6#pv" {
		t.Fatalf("the seventh plant leads to %q: %q", to, cell.Text())
	}
	d := v.get("/plants?due=6")
	if got := strings.TrimSpace(last(d).Text()); last(d).Find("a").Length() != 0 || got == "" {
		t.Errorf("asked for, the seventh plant says %q", got)
	}
	if first := d.Find("#pv").Closest("section").Find("tbody tr").Eq(0).Find("td[data-l='Due before it'] a").AttrOr("href", "none"); first != "/plants?due=0#pv" {
		t.Errorf("the first plant then leads to %q", first)
	}
	for _, bad := range []string{"-6", "x", "700"} {
		if v.get("/plants?due="+bad).Find("#pv").Closest("section").Find("tbody tr").Length() != 7 {
			t.Errorf("due=%s loses plants", bad)
		}
	}
	if d.Find("#pv").Closest("section").Find("td[data-l='Cost of them']").Length() != 7 {
		t.Error("who may read costs sees none")
	}
	if as(t, skarrow(), assets.RoleTechnician).get("/plants").Find("td[data-l='Cost of them']").Length() != 0 {
		t.Error("who may not read costs sees them")
	}
}

func TestTheCostOfUnplannedStopsIsMoneyOrSaysHowManyHaveNone(t *testing.T) {
	for want, c := range map[string]stopCosts{
		"12 400 NOK, with it 3 100 NOK":                         {without: 12_400, with: 3_100, priced: 2},
		"12 400 NOK, with it 3 100 NOK; one splice has no cost": {without: 12_400, with: 3_100, priced: 2, bare: 1},
		"no cost per hour given":                                {bare: 3},
	} {
		if got := strings.ReplaceAll(c.words("NOK"), nb, " "); strings.ReplaceAll(got, "\u2009", " ") != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// crewed gives the plant three splicers with tickets; the third one's ends on 12 February.
func crewed(f *fakePlant) *CrewList {
	v := func(id int64) assets.Version { return assets.Version{ID: id, RowID: 10 * id} }
	hot := assets.Qualification{Version: v(1), Name: "hot vulcanising", OrderKinds: []string{"re-splice"}, ValidMonths: 60}
	l := &CrewList{Roster: crew.Roster{Qualifications: []assets.Qualification{hot}}, Names: map[int64]string{2: "R. Asquenne", 4: "M. Okkerdal", 5: "S. Ilveth"},
		Plants: map[int64]string{3: "Skarrow Grain Terminal"}, Customer: 1}
	for i, id := range []int64{2, 4, 5} {
		l.Members = append(l.Members, assets.CrewMember{Version: v(20 + id), PersonID: id, HomePlantID: 3, WorkingWeek: []assets.Shift{{Weekday: 1, Start: "06:00", End: "14:00"}, {Weekday: 2, Start: "06:00", End: "14:00"}, {Weekday: 3, Start: "06:00", End: "14:00"}}, CalloutCost: 900})
		l.Tickets = append(l.Tickets, assets.PersonQualification{Version: v(30 + int64(i)), PersonID: id, QualificationID: 1, FromDay: "2022-02-13", UntilDay: "2029-03-31"})
	}
	l.Tickets[2].UntilDay = "2027-02-12"
	l.Absences = []assets.Absence{{Version: v(41), PersonID: 4, FromDay: "2026-12-07", UntilDay: "2026-12-18", Why: "hospital"}}
	f.office().crew = l
	return l
}

// placedOn puts a re-splice with people into a stop of a day.
func placedOn(f *fakePlant, number int64, day time.Time, needed int, people ...int64) {
	w := assets.StopWindow{PlantID: 3, LineID: 1, Start: assets.InstantOf(day), End: assets.InstantOf(day.Add(10 * time.Hour))}
	w.ID = 900 + number
	f.stops = append(f.stops, w)
	f.orders = append(f.orders, workorder.Order{PlantID: 3, Number: number, Kind: workorder.KindResplice, State: workorder.Placed, WindowID: w.ID, Crew: needed, PlacedPeople: people, Title: "remake splice 2"})
}

func TestPeopleAreCountedWithTheTicketOfTheDay(t *testing.T) {
	f := skarrow()
	f.orders, f.stops = nil, nil
	l := crewed(f)
	placedOn(f, 412, time.Date(2026, 12, 12, 6, 0, 0, 0, time.UTC), 2, 2, 5)
	placedOn(f, 422, time.Date(2027, 2, 20, 6, 0, 0, 0, time.UTC), 2, 2, 4)
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/crew")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "Every stop with work in it has its crew; S. Ilveth's ticket for hot vulcanising ends 12 Feb 2027" {
		t.Errorf("headline %q", got)
	}
	table := d.Find("#wh").Closest("section").Find("tbody tr")
	var rows []string
	for i := range table.Length() {
		rows = append(rows, strings.Join(strings.Fields(table.Eq(i).Text()), " "))
	}
	got := strings.Join(rows, "|")
	for _, want := range []string{"R. Asquenneleadsleads", "M. Okkerdalawaysent", "S. Ilvethsentticket ended", "May work / needed2 / 22 / 2"} {
		if !strings.Contains(strings.ReplaceAll(got, nb, " "), want) {
			t.Errorf("the table %q has no row %q", got, want)
		}
	}
	f.orders[1].PlacedPeople = []int64{5}
	if got := strings.ReplaceAll(text(v.get("/plants/3/crew"), "h1"), nb, " "); got != "S. Ilveth is sent to the stop of 20 Feb 2027 and has no ticket any more that day" {
		t.Errorf("headline %q", got)
	}
	f.orders[1].PlacedPeople = []int64{2}
	l.Elsewhere = []BusyElsewhere{{PersonID: 4, Start: f.stops[1].Start, End: f.stops[1].End}}
	d = v.get("/plants/3/crew")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "The stop of 20 Feb 2027 needs two people; one person may work at order 422" {
		t.Errorf("headline %q", got)
	}
	if got := d.Find("main").Text(); !strings.Contains(got, "not free then") {
		t.Error("somebody placed elsewhere is not said to be not free then")
	}
	if strings.Contains(d.Find("main").Text(), "hospital") {
		t.Error("a planner reads why somebody is away")
	}
}

func TestTicketsAbsencesAndPeopleAreEntered(t *testing.T) {
	f := skarrow()
	crewed(f)
	f.staff = append(f.staff, assets.Person{ID: 9, Name: "A. Kesterlane", Role: assets.RoleLead})
	v := as(t, f, assets.RoleLead)
	v.refused("/plants/3/crew/tickets/new", url.Values{"person": {"77"}, "qualification": {"1"}, "from_day": {""}}, "person", "from_day")
	v.taken("/plants/3/crew/tickets/new", url.Values{"person": {"5"}, "qualification": {"1"}, "from_day": {"2027-01-14"}, "until_day": {""}})
	if k := one[assets.PersonQualification](t, f.office()); k.PersonID != 5 || k.UntilDay != "2032-01-13" {
		t.Errorf("kept %+v: sixty months from 14 January 2027 end on 13 January 2032", k)
	}
	v.refused("/plants/3/crew/absences/new", url.Values{"person": {""}, "from_day": {"2026-12-07"}, "until_day": {""}}, "person", "until_day")
	v.taken("/plants/3/crew/absences/new", url.Values{"person": {"4"}, "from_day": {"2026-12-21"}, "until_day": {"2026-12-23"}})
	if a := one[assets.Absence](t, f.office()); a.PersonID != 4 || a.UntilDay != "2026-12-23" {
		t.Errorf("kept %+v", a)
	}
	form := filledForm(v.get("/plants/3/crew/members/22"))
	v.refused("/plants/3/crew/members/22", url.Values{"person": {"2"}, "home": {"3"}, "week": {"Mon-Fri early"}, "callout": {"-1"}}, "week", "callout")
	form.Set("week", "Mon-Thu 06:00-14:00; Sat,Sun 22:00-06:00")
	v.taken("/plants/3/crew/members/22", form)
	m := one[assets.CrewMember](t, f.office())
	if got := weekWords(m.WorkingWeek); got != "Mon to Thu 06:00 to 14:00; Sat, Sun 22:00 to 06:00" || m.WorkingWeek[5].Weekday != 0 {
		t.Errorf("kept the week %q: %+v", got, m.WorkingWeek)
	}
	as(t, f, assets.RolePlanner).page("/plants/3/crew/tickets/new", http.StatusForbidden)
}

func TestTheCatalogueOfWorkIsEntered(t *testing.T) {
	f := skarrow()
	crewed(f)
	f.staff = append(f.staff, assets.Person{ID: 9, Name: "A. Kesterlane", Role: assets.RoleLead})
	v := as(t, f, assets.RoleLead)
	if got := v.get("/plants/3/crew/catalogue").Find("main").Text(); !strings.Contains(got, "a plan sends nobody there from elsewhere") {
		t.Errorf("the page says %q", got)
	}
	v.refused("/plants/3/crew/catalogue/work/new", url.Values{"kind": {"re-splice"}, "whose": {"0"}, "hours": {""}, "ticket_1": {"1"}, "people_1": {""}, "class": {"P"}}, "hours", "people_1")
	f.office().crew.Items = []assets.StockItem{{Version: assets.Version{ID: 61}, Name: "rubber", Unit: assets.UnitKilogram}, {Version: assets.Version{ID: 62}, CustomerID: 1, Name: "own film", Unit: assets.UnitMetre}}
	v.refused("/plants/3/crew/catalogue/work/new", url.Values{"kind": {"re-splice"}, "whose": {"0"}, "hours": {"6"}, "kit_heat_c": {"900"}, "item_1": {"61"}, "per_splice_2": {"1"}, "item_3": {"62"}, "per_m_3": {"1"}, "class": {"P"}},
		"kit_heat_c", "per_splice_1", "item_2", "item_3")
	v.taken("/plants/3/crew/catalogue/work/new", url.Values{"kind": {"re-splice"}, "whose": {"1"}, "hours": {"6.5"}, "ticket_1": {"1"}, "people_1": {"2"}, "kit": {"press", "cutter"}, "as_belt": {"yes"}, "kit_heat_c": {"165"}, "item_1": {"61"}, "per_splice_1": {"0.5"}, "per_m_1": {"2"}, "isolation": {"yes"}, "class": {"P"}, "bond": {string(assets.BondHotVulcanised)}})
	w := one[assets.WorkTemplate](t, f.office())
	if w.DurationMin != 390 || w.CustomerID != 1 || len(w.Crew) != 1 || w.Crew[0].Number != 2 || len(w.Kit) != 2 || !w.Kit[0].AsBelt || w.Kit[1].AsBelt || w.Kit[0].MinTemperatureC != 165 || w.Kit[1].MinTemperatureC != 0 || !w.Isolation || len(w.Stock) != 1 || w.Stock[0] != (assets.StockNeed{ItemID: 61, PerSplice: 0.5, PerMWidth: 2}) {
		t.Errorf("kept %+v", w)
	}
	v.refused("/plants/3/crew/catalogue/ways/new", url.Values{"from": {"0"}, "to": {"44"}, "minutes": {"0"}}, "to", "minutes")
	v.taken("/plants/3/crew/catalogue/ways/new", url.Values{"from": {"0"}, "to": {"3"}, "minutes": {"45"}})
	v.refused("/plants/3/crew/catalogue/tickets/new", url.Values{"name": {""}, "kinds": {"dancing"}}, "name", "kinds")
	v.taken("/plants/3/crew/catalogue/tickets/new", url.Values{"name": {"cold bonding"}, "months": {"60"}, "kinds": {"re-splice", "insert piece"}})
	if q := one[assets.Qualification](t, f.office()); len(q.OrderKinds) != 2 || q.ValidMonths != 60 {
		t.Errorf("kept %+v", q)
	}
}

func TestAWeekIsReadAsItIsWritten(t *testing.T) {
	for text, want := range map[string]string{"": "any time", "Mon-Fri 06:00-14:00": "Mon to Fri 06:00 to 14:00", "monday,wed 07:00-15:30": "Mon, Wed 07:00 to 15:30", "Sat-Sun 00:00-24:00": "Sat, Sun 00:00 to 24:00",
		"Fri-Mon 06:00-14:00": "Mon, Fri, Sat, Sun 06:00 to 14:00"} {
		week, wrong := readWeek(text)
		if wrong != "" || weekWords(week) != want {
			t.Errorf("%q is read as %q, wrong %q", text, weekWords(week), wrong)
		}
		if again, _ := readWeek(weekTyped(week)); weekWords(again) != want {
			t.Errorf("%q written again is %q", text, weekWords(again))
		}
	}
	for _, text := range []string{"Mon-Fri", "06:00-14:00", "Mon-Fri 6-14", "Noday 06:00-14:00", "Mon 06:00-25:00"} {
		if _, wrong := readWeek(text); wrong == "" {
			t.Errorf("%q is read", text)
		}
	}
}

func TestTheWeekIsToldVanByVan(t *testing.T) {
	f := skarrow()
	oslo, _ := time.LoadLocation("Europe/Oslo")
	plant := f.frames[0].Plant
	w := assets.StopWindow{PlantID: 3, Start: assets.InstantOf(time.Date(2026, 11, 27, 5, 0, 0, 0, time.UTC)), End: assets.InstantOf(time.Date(2026, 11, 27, 15, 0, 0, 0, time.UTC))}
	w.ID = 91
	o := workorder.Order{PlantID: 3, Number: 412, Kind: workorder.KindResplice, Title: "remake splice 2", PlacedPeople: []int64{2, 4}}
	o.ID = 5
	f.office().week = &WeekFacts{Zone: oslo, Work: []WeekWork{{Order: o, Window: w, Tag: "Q1", WidthM: 1.4}}, Names: map[int64]string{2: "R. Asquenne", 4: "M. Okkerdal"}, Plants: map[int64]assets.Plant{3: plant},
		Ways:      []assets.TravelTime{{ToPlantID: 3, Minutes: 45}},
		Templates: []assets.WorkTemplate{{OrderKind: "re-splice", Kit: []assets.KitNeed{{Class: "press"}}, Stock: []assets.StockNeed{{ItemID: 81, PerSplice: 1, PerMWidth: 2.5}}}},
		Items:     []assets.StockItem{{Version: assets.Version{ID: 81}, Name: "release cloth", Unit: assets.UnitMetre}}}
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/week")
	if got := strings.ReplaceAll(text(d, "h1"), nb, " "); got != "One crew makes one visit to one plant in the week of 23 November" {
		t.Errorf("headline %q", got)
	}
	body := strings.ReplaceAll(d.Find("main").Text(), nb, " ")
	for _, want := range []string{"R. Asquenne, M. Okkerdal, from the depot", "27 Nov 2026", "06:00 to 16:00", "from the depot 45 min", "release cloth4.5 m412 Q1", "Press, no piece named"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q: %s", want, body)
		}
	}
	f.office().week.Ways = nil
	if got := strings.ReplaceAll(text(v.get("/plants/week?week=2026-11-29"), "h1"), nb, " "); !strings.Contains(got, "two ways are not known") {
		t.Errorf("headline %q", got)
	}
	v.page("/plants/week?week=soon", http.StatusNotFound)
	f.office().week = &WeekFacts{Zone: oslo}
	if got := v.get("/plants/week").Find("main").Text(); !strings.Contains(got, "No work is placed in a stop of this week") {
		t.Errorf("an empty week says %q", got)
	}
	f.office().visits = []VisitNeed{{PlantID: 3, Start: w.Start + assets.Instant(28*24*time.Hour/time.Microsecond), People: []int64{2}}, {PlantID: 3, Start: w.Start + assets.Instant(14*24*time.Hour/time.Microsecond), People: []int64{2}},
		{PlantID: 3, Start: w.Start + assets.Instant(7*24*time.Hour/time.Microsecond)}, {PlantID: 3, LatestDay: "2026-12-01"}}
	if to := v.get("/plants/week").Find("main a:contains('The next week with visits')").AttrOr("href", "none"); to != "/plants/week?week=2026-12-11" {
		t.Errorf("an empty week leads on to %s", to)
	}
}

// TestAVanLoadsWhatIsNotAtThePlant: two re-splices of a belt of 1.4 m take 4.5 kg of rubber each (1 + 2.5 kg/m). Five kilograms lie at the plant, of
// which two are out of date by the second stop, and four at the depot.
func TestAVanLoadsWhatIsNotAtThePlant(t *testing.T) {
	lot := func(id, plant int64, good assets.Day, q assets.Quantity) stock.Lot {
		return stock.Lot{StockLot: assets.StockLot{Version: assets.Version{ID: id}, PlantID: plant, ItemID: 81, GoodUntil: good}, OnHand: q}
	}
	all := []stock.Lot{lot(1, 3, "2026-11-25", 2000), lot(2, 3, "", 3000), lot(3, 0, "", 4000), lot(4, 44, "", 9000)}
	for name, tt := range map[string]struct {
		lots []stock.Lot
		role assets.Role
		want string
	}{
		"what lies there goes first":         {all, assets.RoleLead, "rubber9 kg412 Q1, 415 Q1load 4 kg at the depot; 5 kg at Skarrow Grain Terminal already"},
		"too little on any shelf":            {all[:3][1:2], assets.RoleLead, "rubber9 kg412 Q1, 415 Q13 kg at Skarrow Grain Terminal already; 6 kg missing: on no shelf there or at the depot"},
		"the depot is not told to a plant's": {all, assets.RolePlanner, "rubber9 kg412 Q1, 415 Q15 kg at Skarrow Grain Terminal already; 4 kg to bring along: not on a shelf there"},
	} {
		t.Run(name, func(t *testing.T) {
			f := withLead(skarrow())
			f.grantAll = tt.role == assets.RoleLead
			order := func(number int64, day int) WeekWork {
				w := assets.StopWindow{PlantID: 3, Start: assets.InstantOf(time.Date(2026, 11, day, 5, 0, 0, 0, time.UTC)), End: assets.InstantOf(time.Date(2026, 11, day, 15, 0, 0, 0, time.UTC))}
				w.ID = int64(day)
				o := workorder.Order{PlantID: 3, Number: number, Kind: workorder.KindResplice, Title: "remake splice", PlacedPeople: []int64{2}}
				o.ID = number
				return WeekWork{Order: o, Window: w, Tag: "Q1", WidthM: 1.4}
			}
			f.office().week = &WeekFacts{Zone: time.UTC, Work: []WeekWork{order(412, 24), order(415, 26)}, Names: map[int64]string{2: "R. Asquenne"}, Plants: map[int64]assets.Plant{3: f.frames[0].Plant},
				Templates: []assets.WorkTemplate{{OrderKind: "re-splice", Stock: []assets.StockNeed{{ItemID: 81, PerSplice: 1, PerMWidth: 2.5}}}},
				Items:     []assets.StockItem{{Version: assets.Version{ID: 81}, Name: "rubber", Unit: assets.UnitKilogram}}, Lots: tt.lots}
			body := strings.ReplaceAll(as(t, f, tt.role).get("/plants/week?week=2026-11-23").Find("#vans").Text(), nb, " ")
			if !strings.Contains(body, tt.want) {
				t.Errorf("the van does not say %q: %s", tt.want, body)
			}
		})
	}
}

// TestAVanThatPacksNothingSaysWhoDoes: of two people from two homes, whoever is named first brings what the order takes.
func TestAVanThatPacksNothingSaysWhoDoes(t *testing.T) {
	f := skarrow()
	w := assets.StopWindow{Version: assets.Version{ID: 24}, PlantID: 3, Start: assets.InstantOf(time.Date(2026, 11, 24, 5, 0, 0, 0, time.UTC)), End: assets.InstantOf(time.Date(2026, 11, 24, 15, 0, 0, 0, time.UTC))}
	o := workorder.Order{Version: assets.Version{ID: 412}, PlantID: 3, Number: 412, Kind: workorder.KindResplice, Title: "remake splice", PlacedPeople: []int64{2, 4}, PlacedKit: "press"}
	f.office().week = &WeekFacts{Zone: time.UTC, Work: []WeekWork{{Order: o, Window: w, Tag: "Q1"}}, Names: map[int64]string{2: "R. Asquenne", 4: "M. Okkerdal"}, Plants: map[int64]assets.Plant{3: f.frames[0].Plant},
		Members: []assets.CrewMember{{PersonID: 2}, {PersonID: 4, HomePlantID: 3}}}
	v := as(t, f, assets.RolePlanner)
	if body := v.get("/plants/week?week=2026-11-23").Find("#vans").Text(); strings.Count(body, "What these orders take goes with the van of R. Asquenne.") != 1 {
		t.Errorf("the vans say %q", body)
	}
	f.office().week.Work[0].Order.PlacedKit = ""
	if body := v.get("/plants/week?week=2026-11-23").Find("#vans").Text(); strings.Count(body, "Nothing is named for these orders.") != 1 {
		t.Errorf("with nothing named the vans say %q", body)
	}
}

// TestAPieceOfKitIsPackedOnceAndNotWhereItStands: two vans work in the stops of two plants; the depot's press goes with the van that needs it
// first, and the plant's own press of the same name stays where it is.
func TestAPieceOfKitIsPackedOnceAndNotWhereItStands(t *testing.T) {
	f := skarrow()
	skarrow := f.frames[0].Plant
	depot := int64(81)
	order := func(number, person, kit int64, day int) WeekWork {
		w := assets.StopWindow{PlantID: 3, Start: assets.InstantOf(time.Date(2026, 11, day, 5, 0, 0, 0, time.UTC)), End: assets.InstantOf(time.Date(2026, 11, day, 15, 0, 0, 0, time.UTC))}
		w.ID = int64(day)
		o := workorder.Order{PlantID: 3, Number: number, Kind: workorder.KindResplice, Title: "remake splice", PlacedPeople: []int64{person}, PlacedTools: []int64{kit}}
		o.ID = number
		return WeekWork{Order: o, Window: w, Tag: "Q1", Proposed: number == 414}
	}
	f.office().week = &WeekFacts{Zone: time.UTC, Work: []WeekWork{order(412, 2, depot, 24), order(414, 4, depot, 24), order(415, 4, depot, 26), order(416, 4, 82, 26)}, Names: map[int64]string{2: "R. Asquenne", 4: "M. Okkerdal"},
		Plants: map[int64]assets.Plant{3: skarrow}, Kit: map[int64]WeekKit{depot: {Name: "Press 1"}, 82: {Name: "Press 1", Home: 3}}, Ways: []assets.TravelTime{{ToPlantID: 3, Minutes: 45}}}
	later := f.office().week.Work[1].Window.Start + assets.Instant(3*time.Hour/time.Microsecond)
	f.office().week.Work[1].Order.PlacedStart = &later
	d := as(t, f, assets.RolePlanner).get("/plants/week?week=2026-11-23")
	body := strings.ReplaceAll(d.Find("#vans").Text(), nb, " ")
	for _, want := range []string{"Press 11412 Q1the depot", "Press 11414 Q1, 415 Q1the van of R. Asquenne, after Tue 24 Nov 2026 at Skarrow Grain Terminal", "Press 11416 Q1there already",
		"412: remake splice on Q1414: remake splice on Q1, proposed, by M. Okkerdal"} {
		if !strings.Contains(body, want) {
			t.Errorf("the vans do not say %q: %s", want, body)
		}
	}
	routes := f.office().week.routes()
	if w := f.office().week; w.proposed(routes[0], routes[0].Visits[0]) || !w.proposed(routes[1], routes[1].Visits[0]) {
		t.Error("whoever goes for a proposed order alone is proposed, though another order of the stop is published")
	}
}

// A plan publishes two pieces of kit, whose names then stand on the order as words; one of them is renamed since. The van loads each piece once
// and is told that nobody named the third thing its work asks for. Words alone, as a hand placed them, are loaded as they stand.
func TestAVanLoadsThePiecesOfAnOrderAndNotItsWordsBeside(t *testing.T) {
	f := &WeekFacts{Plants: map[int64]assets.Plant{3: {}}, Kit: map[int64]WeekKit{81: {Name: "Press North", Class: "press"}, 82: {Name: "Step cutter 1", Class: "cutter"}},
		Templates: []assets.WorkTemplate{{OrderKind: string(workorder.KindResplice), Kit: []assets.KitNeed{{Class: "press"}, {Class: "cutter"}, {Class: "generator"}}}}}
	pack := func(words string, pieces ...int64) (kit []int64, named []string) {
		p := packed{kit: map[int64][]WeekWork{}, named: map[string][]string{}}
		p.add(f, WeekWork{Window: assets.StopWindow{PlantID: 3}, Order: workorder.Order{Kind: workorder.KindResplice, PlacedKit: words, PlacedTools: pieces}})
		return slices.Sorted(maps.Keys(p.kit)), slices.Sorted(maps.Keys(p.named))
	}
	if kit, named := pack("Press 1 and Step cutter 1", 81, 82); !slices.Equal(kit, []int64{81, 82}) || !slices.Equal(named, []string{"generator, no piece named"}) {
		t.Errorf("the van loads %v and %q", kit, named)
	}
	if kit, named := pack("press, blades"); len(kit) != 0 || !slices.Equal(named, []string{"press, blades"}) {
		t.Errorf("of words alone it loads %v and %q", kit, named)
	}
	if kit, named := pack(""); len(kit) != 0 || len(named) != 3 {
		t.Errorf("of nothing named it loads %v and %q", kit, named)
	}
}

// An order that a plan placed is placed again by hand, in the same stop, with one person more: its press stays booked and its start stands.
func TestAHandThatAddsAPersonLeavesPressAndStartOfThePlan(t *testing.T) {
	start, stop := assets.Instant(5), assets.StopWindow{Start: 4, End: 9}
	o := workorder.Order{State: workorder.Placed, WindowID: 7, PlacedPeople: []int64{4}, PlacedCrew: []assets.CrewPlace{{PersonID: 4}}, PlacedKit: "Press 1", PlacedTools: []int64{81}, PlacedStart: &start}
	more := keptPlacing(o, workorder.Placement{WindowID: 7, People: []int64{4, 5}, Kit: "Press 1"}, stop)
	if !slices.Equal(more.Tools, []int64{81}) || more.Start != start || more.Crew != nil {
		t.Errorf("placed again with %+v", more)
	}
	if same := keptPlacing(o, workorder.Placement{WindowID: 7, People: []int64{4}, Kit: "Press 2"}, stop); len(same.Tools) != 0 || len(same.Crew) != 1 {
		t.Errorf("with another press in words: %+v", same)
	}
	if other := keptPlacing(o, workorder.Placement{WindowID: 8, People: []int64{4}, Kit: "Press 1"}, stop); other.Tools != nil || other.Start != 0 || other.Crew != nil {
		t.Errorf("in another stop, where the press may be elsewhere: %+v", other)
	}
	stop.Start, stop.End = 10, 15
	if moved := keptPlacing(o, workorder.Placement{WindowID: 7, People: []int64{4}, Kit: "Press 1"}, stop); moved.Start != 0 || len(moved.Tools) != 1 {
		t.Errorf("in the stop moved away from its start: %+v", moved)
	}
}

// The list of plants counts what a plant's horizon counts, accepted orders at conveyors, and says apart what is not accepted yet.
func TestOrdersWithoutAStopAreCountedAsOnTheHorizon(t *testing.T) {
	bare := VisitNeed{Tag: "Q3"}
	raised, kit, placed := VisitNeed{Tag: "R1", Raised: true}, VisitNeed{}, VisitNeed{Tag: "Q3", Start: 1}
	for want, list := range map[string][]VisitNeed{
		"":                               {placed},
		"3 accepted orders have no stop": {bare, placed, bare, bare},
		"1 accepted order has no stop, 2 raised orders are not accepted, 1 order at no conveyor is not placed": {bare, raised, kit, raised, placed},
		"1 raised order is not accepted": {raised},
	} {
		if got := strings.ReplaceAll(openWords(list, Figure), nb, " "); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
