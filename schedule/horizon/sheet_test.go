package horizon

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"carryside/assets"
	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func at(z *time.Location, text string) time.Time {
	v, err := time.ParseInLocation("2006-01-02 15:04", text, z)
	if err != nil {
		panic(err)
	}
	return v
}

// quay is a small plant: two conveyors of one isolation group and one by itself, two stops, two people, a press.
func quay(z *time.Location) *Inputs {
	from, until := at(z, "2026-11-25 06:40"), at(z, "2027-02-01 00:00")
	always := []Span{{from.Add(-time.Hour), until}}
	rule := Date{Due: at(z, "2026-12-20 00:00"), Planned: 1000, Unplanned: 3000, PerDay: 1}
	return &Inputs{Title: "quay", From: from, Until: until,
		Plants: []Plant{{ID: 3, Name: "Skarrow", Zone: z,
			Groups:    []Group{{ID: 5, Name: "Quay drives", IsolateMin: 30, RestartMin: 20, SetupCost: 100}},
			Conveyors: []Conveyor{{ID: 11, LineID: 1, GroupID: 5, Tag: "Q1"}, {ID: 12, LineID: 1, GroupID: 5, Tag: "Q2"}, {ID: 13, LineID: 2, Tag: "G1"}},
			Stops: []Stop{{ID: 101, LineID: 1, Start: at(z, "2026-12-12 06:00"), End: at(z, "2026-12-12 20:00"), Name: "12 Dec"},
				{ID: 102, Start: at(z, "2026-12-25 06:00"), End: at(z, "2026-12-26 06:00"), Name: "25 Dec"}},
			Orders: []Order{
				{ID: 1, Number: 412, ConveyorID: 11, DurationMin: 660, Crew: []CrewNeed{{7, 2}}, Kit: []KitNeed{{"press", 1200, 0}}, Isolation: true, Date: rule},
				{ID: 2, Number: 415, ConveyorID: 12, DurationMin: 720, Crew: []CrewNeed{{7, 2}}, Kit: []KitNeed{{"press", 1000, 0}}, Isolation: true, Date: rule},
				{ID: 3, Number: 416, ConveyorID: 13, DurationMin: 60, Crew: []CrewNeed{{0, 1}}, Date: rule},
			}}},
		People: []Person{
			{ID: 21, Name: "I. Vanterel", Home: 3, Tickets: []Ticket{{ID: 7, Name: "splice"}}, Available: always},
			{ID: 22, Name: "R. Asquenne", Home: 3, Tickets: []Ticket{{ID: 7, Name: "splice"}}, Available: always}},
		Kit: []Kit{{ID: 31, Name: "Press 1", Class: "press", WidthMM: 1400, Home: 3, Mobile: true, Available: always}},
	}
}

// solved plans a sheet and holds the plan against the independent judge.
func solved(t *testing.T, s *Sheet) *plan.Plan {
	t.Helper()
	p, err := plan.Solve(context.Background(), s.Case, plan.Settings{Seed: 1, Steps: 2000})
	if err != nil {
		t.Fatal(err)
	}
	for _, broken := range plantest.Judge(s.Case, p) {
		t.Error(broken)
	}
	return p
}

func TestAPlantBecomesACaseAndThePlanComesBack(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	s := Lay(quay(z))
	p := solved(t, s)
	got := s.Placements(p)
	if len(got) != 3 {
		t.Fatalf("placed %d of 3: %+v", len(got), p.LeftOut)
	}
	// 660 and 720 min with one crew do not go into 14 h: one is done on 12 December, 20 min after the beginning of work at 06:30 at the earliest.
	if got[1].StopID == got[2].StopID && got[1].StopID == 101 {
		t.Error("23 h of work in a stop of 14 h")
	}
	for id, v := range got {
		w, _ := s.Window(v.StopID)
		if v.Start.Before(s.At(w.Start)) {
			t.Errorf("order %d begins %s, before its stop", id, v.Start)
		}
	}
	if n := len(got[1].Crew); n != 2 || got[1].Crew[0].QualificationID != 7 || !slices.Equal(got[1].Kit, []int64{31}) {
		t.Errorf("crew %v kit %v", got[1].Crew, got[1].Kit)
	}
	if c := s.Cost(got).Total(); c != p.Cost {
		t.Errorf("reckoned %d, the planner %d", c, p.Cost)
	}
	if broken := s.Check(got, []int64{101, 102}); len(broken) != 0 {
		t.Errorf("a legal plan is called broken: %+v", broken)
	}
}

// Clock changes: Oslo's clocks go back on 25 October 2026 and forward on 28 March 2027 (the European rule: the last Sundays of
// October and March at 01:00 UTC).
func TestStopsOverAClockChangeHaveTheirTrueLength(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	for name, tt := range map[string]struct {
		from, start, end string
		minutes          int
	}{
		"an ordinary night":      {"2026-11-25 06:40", "2026-12-12 22:00", "2026-12-13 06:00", 480},
		"the clocks go back":     {"2026-10-20 06:40", "2026-10-24 22:00", "2026-10-25 06:00", 540},
		"the clocks go ahead":    {"2027-03-01 06:40", "2027-03-27 22:00", "2027-03-28 06:00", 420},
		"begun before the sheet": {"2026-11-25 06:40", "2026-11-25 00:00", "2026-11-25 08:00", 80},
	} {
		t.Run(name, func(t *testing.T) {
			in := quay(z)
			in.From, in.Until = at(z, tt.from), at(z, tt.from).AddDate(0, 3, 0)
			in.Plants[0].Stops = []Stop{{ID: 9, Start: at(z, tt.start), End: at(z, tt.end), Name: "night"}}
			s := Lay(in)
			w, ok := s.Window(9)
			if !ok || w.Minutes() != tt.minutes {
				t.Fatalf("%d min, want %d", w.Minutes(), tt.minutes)
			}
			if want := at(z, tt.end); !s.At(w.End).Equal(want) {
				t.Errorf("ends %s, want %s", s.At(w.End), want)
			}
		})
	}
}

func TestStopsThatOverlapAreSharedByGroup(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Stops = append(in.Plants[0].Stops, Stop{ID: 103, LineID: 1, Start: at(z, "2026-12-25 08:00"), End: at(z, "2026-12-25 16:00"), Name: "of the line"})
	s := Lay(in)
	if _, ok := s.Window(103); ok {
		t.Error("a line's stop inside the plant's stop keeps conveyors that the longer one has")
	}
	in.Plants[0].Orders[0].At = &Placement{StopID: 103}
	s = Lay(in)
	w, ok := s.Window(103)
	if !ok || len(w.Scope) != 2 {
		t.Fatalf("the stop in which an order stands has %d conveyors, want its group of 2", len(w.Scope))
	}
	if w, _ := s.Window(102); len(w.Scope) != 1 {
		t.Errorf("the plant's stop keeps %d conveyors, want the one outside the group", len(w.Scope))
	}
}

func TestWhatCannotBePlannedSaysWhy(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].DurationMin = 0
	in.Plants[0].Orders[1].Lacks = "it is not accepted yet"
	in.Plants[0].Orders[2].Begun = true
	in.Plants[0].Orders[2].At = &Placement{StopID: 101, Crew: []assets.CrewPlace{{PersonID: 21}}}
	s := Lay(in)
	if len(s.Case.Jobs) != 0 || len(s.Unplanned) != 3 || s.Unplanned[0].Why != "its hours of work are not given" {
		t.Fatalf("%d jobs, %+v", len(s.Case.Jobs), s.Unplanned)
	}
	end := s.above(at(z, "2026-12-12 20:00"))
	if a := s.Case.Technicians[0].Available; len(a) != 1 || a[0].From != end {
		t.Errorf("whoever has begun is free from %v, want %d", a, end)
	}
}

func TestTheLatestDateIsADeadlineOfThePlantsDay(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[2].LatestDay = "2026-12-25" // the stop ends on the 26th; work of an hour is done on the 25th
	s := Lay(in)
	job := s.Case.Jobs[2]
	if want := at(z, "2026-12-26 00:00"); !s.At(job.Deadline).Equal(want) {
		t.Errorf("deadline %s, want %s", s.At(job.Deadline), want)
	}
	if p := s.Placements(solved(t, s)); p[3].StopID != 102 || !p[3].Start.Before(at(z, "2026-12-25 23:01")) {
		t.Errorf("order 416 at %+v", p[3])
	}
}

func TestALatestDateBeforeEveryStopIsOneReason(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].LatestDay = "2026-12-10"
	s := Lay(in)
	left := s.LeftOut(solved(t, s))[1]
	if len(left.Why) != 1 || !strings.Contains(left.Why[0], "its latest date is 10 Dec and work in its first stop on this sheet, 12 Dec, would end later") {
		t.Errorf("%q", left.Why)
	}
	in.Plants[0].Orders[0].LatestDay = ""
	in.Plants[0].Orders[0].DurationMin = 60 * 60
	if left := Lay(in).LeftOut(solved(t, Lay(in)))[1]; len(left.Why) == 0 || strings.Contains(left.Why[0], "latest date") {
		t.Errorf("60 h of work: %q", left.Why)
	}
}

// TestWordsAreInTheTimeOfThePlantWithUnits: zones from the time zone database; Oslo is an hour ahead of UTC in winter, Lisbon level with it.
func TestWordsAreInTheTimeOfThePlantWithUnits(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants = append(in.Plants, Plant{ID: 4, Name: "Dunmarrow", Zone: zone(t, "Europe/Lisbon")})
	in.Money, in.Currency = true, "NOK"
	s := Lay(in)
	minute := s.floor(at(z, "2026-12-12 06:30"))
	for site, want := range []string{"12 Dec 06:30 CET", "12 Dec 05:30 WET"} {
		if got := s.moment(site, minute); got != want {
			t.Errorf("site %d: %q, want %q", site, got, want)
		}
	}
	got := s.Words([]string{"in window 12 Dec, leaving job 412 out costs " + s.price(153) + " and the whole plan " + s.price(19090) + "; 2 kg of stock rubber by " + s.moment(0, minute)})
	if want := "in the stop of 12 Dec, leaving order 412 out costs 153\u00a0NOK and the whole plan 19\u00a0090\u00a0NOK; 2 kg of rubber by 12 Dec 06:30 CET"; got[0] != want {
		t.Errorf("%q", got)
	}
	for said, want := range map[string]string{
		"409 min more in window 12 Dec":                                             "6 h 49 min more in the stop of 12 Dec",
		"longest stop on Q3 is 120 min (12 Dec); this needs 220 min with isolation": "longest stop on Q3 is 2 h (12 Dec); this needs 3 h 40 min with isolation",
		"it must start at least 40 min after job 411":                               "it must start at least 40 min after order 411",
		"a press of 1400 mm or more is needed in window 12 Dec":                     "a press of 1400 mm or more is needed in the stop of 12 Dec",
		"99999999999999999999 min of work":                                          "99999999999999999999 min of work",
	} {
		if got := strings.ReplaceAll(s.Words([]string{said})[0], "\u00a0", " "); got != want {
			t.Errorf("%q is said as %q, want %q", said, got, want)
		}
	}
	in.Plants = in.Plants[:1]
	if got := Lay(in).moment(0, minute); got != "12 Dec 06:30" {
		t.Errorf("on a sheet of one zone: %q", got)
	}
	in.People[0].Home = 0
	if depot := Lay(in); depot.moment(depot.sites[0], minute) != "12 Dec 05:30 UTC" {
		t.Errorf("at no plant: %q", depot.moment(depot.sites[0], minute))
	}
	in.Money = false
	if got := Lay(in).price(153); got != "1.53\u00a0h of stop" {
		t.Errorf("without money: %q", got)
	}
}

func TestWaysAreShortestAndUnknownOnesAreNotGone(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants = append(in.Plants, Plant{ID: 4, Name: "Hollin", Zone: z})
	in.People[0].Home = 0
	in.Ways = []Way{{0, 4, 30}, {4, 3, 40}, {0, 3, 200}}
	s := Lay(in)
	depot, skarrow := s.sites[0], s.sites[3]
	if d := s.Case.Travel[depot][skarrow]; d != 70 {
		t.Errorf("depot to plant %d min, want 70 by way of the other plant", d)
	}
	in.Ways = nil
	s = Lay(in)
	for _, p := range s.Placements(solved(t, s)) {
		for _, m := range p.Crew {
			if m.PersonID == 21 {
				t.Error("somebody is sent on a way that nobody knows")
			}
		}
	}
}

func TestDateCosts(t *testing.T) {
	now := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	until := now.AddDate(0, 0, 100)
	day := func(n int) time.Time { return now.AddDate(0, 0, n) }
	chance := Date{Chance: func(by time.Time) float64 { return math.Min(1, by.Sub(now).Hours()/24/200) }, Planned: 1000, Unplanned: 5000, PerDay: 4}
	rule := Date{Due: day(50), Planned: 1000, Unplanned: 5500, PerDay: 4}
	for name, tt := range map[string]struct {
		d    Date
		at   time.Time
		want float64
	}{
		"today: all the life to the end is given up": {chance, now, 400},
		"halfway: a quarter of the risk":             {chance, day(50), 4000*0.25 + 200},
		"at the end: half the risk":                  {chance, until, 2000},
		"ten days before a rule's date":              {rule, day(40), 40},
		"on the rule's date":                         {rule, day(50), 0},
		"thirty days late: a third of a failure":     {rule, day(80), 1500},
		"without any date: sooner gives up more":     {Date{PerDay: 2}, day(90), 20},
	} {
		if got := tt.d.Cost(tt.at, until); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
	if got := chance.LeftOut(until); got != 3000 {
		t.Errorf("left out %v, want the risk of 2000 and a planned replacement", got)
	}
}
