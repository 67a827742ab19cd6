package drawing

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestTicketsOfAYear(t *testing.T) {
	from := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)
	got := string(OfTickets(Tickets{Sentence: "tickets", From: from, To: from.AddDate(1, 0, 0), Zone: time.UTC, LeftOf: "Splicers who may work",
		People: []TicketPerson{{Name: "S. Ilveth", Note: "from a plant with a very long name indeed", Tickets: []TicketBar{
			{Name: "hot vulcanising", Start: from.AddDate(-5, 0, 0), End: from.AddDate(0, 0, 80), Words: "ends 12 Feb", Fault: true}, {Name: "lock-out", Start: from, Words: "until further notice"}},
			Away: []Stretch{{From: from.AddDate(0, 0, 12), To: from.AddDate(0, 0, 24), Words: "away 7 to 18 Dec"}}}},
		Stops: []TicketStop{{At: from.AddDate(0, 0, 17), Needed: 3, Words: "12 Dec"}}, Left: []LeftFrom{{From: from, N: 4}, {From: from.AddDate(0, 0, 80), N: 3}}}))
	for want, n := range map[string]int{"st-fault": 1, "chalkw": 1, "inkf": 1, "away 7 to 18 Dec": 1, "very long name": 0, ">4</text>": 1, ">3</text>": 1} {
		if strings.Count(got, want) != n {
			t.Errorf("%q stands %d times, want %d", want, strings.Count(got, want), n)
		}
	}
}

// Four stops in ten days: no day is written over another one, and a dip of one day in who may work has no number over its own line.
func TestDaysOfStopsCloseTogetherStandClearOfEachOther(t *testing.T) {
	from := time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC)
	year := Tickets{Sentence: "tickets", From: from, To: from.AddDate(1, 0, 0), Zone: time.UTC, LeftOf: "Splicers who may work",
		Left: []LeftFrom{{From: from, N: 4}, {From: from.AddDate(0, 0, 49), N: 3}, {From: from.AddDate(0, 0, 50), N: 4}}}
	for _, day := range []int{5, 11, 14, 15} {
		at := from.AddDate(0, 0, day)
		year.Stops = append(year.Stops, TicketStop{At: at, Needed: 2, Words: at.Format("2 Jan")})
	}
	got := string(OfTickets(year))
	ends := map[string]float64{}
	labels := regexp.MustCompile(`x="([0-9.]+)" y="([0-9.]+)" text-anchor="middle">([0-9]+ Dec)<`).FindAllStringSubmatch(got, -1)
	for _, l := range labels {
		x, err := strconv.ParseFloat(l[1], 64)
		half := wide(l[3], 13) / 2
		if err != nil || x-half < ends[l[2]] {
			t.Errorf("%s at %s is written over the day before it, %v", l[3], l[1], err)
		}
		ends[l[2]] = x + half
	}
	if len(labels) < 3 || strings.Contains(got, ">3</text>") {
		t.Errorf("%d days are written; %s", len(labels), got)
	}
}

func TestRoutesOfAWeek(t *testing.T) {
	from := time.Date(2026, 11, 23, 0, 0, 0, 0, time.UTC)
	got := string(OfRoutes(RouteWeek{Sentence: "week", From: from, To: from.AddDate(0, 0, 7), Zone: time.UTC, Rows: []RouteRow{{Name: "R. Asquenne",
		Visits: []RouteVisit{{From: from.Add(30 * time.Hour), To: from.Add(40 * time.Hour), Head: "Skarrow", Sub: "1 order"}, {From: from.Add(60 * time.Hour), To: from.Add(70 * time.Hour), Head: "Brask", Proposed: true}},
		Drives: []RouteDrive{{From: from.Add(29 * time.Hour), To: from.Add(30 * time.Hour), Words: "1 h", HomeFirst: true}}}}}))
	if strings.Count(got, "inkf") != 1 || strings.Count(got, "actd") != 1 || strings.Count(got, "<circle") != 1 || !strings.Contains(got, "Tue 24 Nov") {
		t.Errorf("drawn %s", got)
	}
}
