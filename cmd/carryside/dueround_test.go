package main

import (
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule/round"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// A rule of a line asks for a walk every week: its round is due by the date the rule sets, first of all rounds, with every point of the line.
func TestARuleOfALineMakesItsRoundDue(t *testing.T) {
	h := openHouse(t)
	now := plantDay.Add(time.Hour)
	lines, err := registry.Lines(t.Context(), h.db, assets.PlantScope(1), 1, plantdb.AsOf{})
	must(t, err)
	line := lines[len(lines)-1]
	rule := rules.Rule{PlantID: 1, Name: "weekly walk", Class: assets.ClassP, Source: "planner", StartsAt: assets.InstantOf(plantDay),
		Scope:    rules.Scope{Target: rules.TargetLine, Lines: []int64{line.ID}},
		Trigger:  rules.Trigger{Kind: rules.TriggerInterval, Every: 7, Unit: "day", CountedFrom: rules.FromPlan, AnchorDay: assets.DayOf(plantDay), TimeOfDay: "07:20"},
		Template: rules.Template{Kind: workorder.KindInspection, Title: "walk {target}", LatestDays: 1, WorkHours: 1, Crew: 1}}
	must(t, h.db.Change(t.Context(), plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "add a rule", Now: plantDay, Plants: []int64{1}}, func(c *plantdb.Change) error {
		return orders.SaveRule(c, &rule)
	}))
	_, err = jobs.Evaluator(h.db, slog.New(slog.DiscardHandler)).EvaluatePlant(t.Context(), 1, now)
	must(t, err)
	wide, err := orders.WideInspections(t.Context(), h.db, assets.PlantScope(1), 1)
	must(t, err)
	if len(wide) != 1 {
		t.Fatalf("inspections of whole lines are %v, want one", wide)
	}
	page := h.as("M. Okkerdal").get("/plants/1/rounds")
	if say := page.Find("h1").Text(); !strings.Contains(say, line.Name) || !strings.Contains(say, "is due by") {
		t.Errorf("the page of rounds says %q", say)
	}
	points := page.Find("tbody tr").First().Find("td.num").Text()
	if due := page.Find("tbody tr").First().Text(); !strings.Contains(due, "0 of "+points+"\u00a0points seen since") {
		t.Errorf("the round of %s points says %q", points, due)
	}
	serveHouseAt(t, h.db, now.Add(3*time.Hour)).walksTheLine(t, line, wide, points)
}

// The round is walked, nothing is found at its points but one worn scraper, and a planner reports the inspection done by it: with the
// times of the walk and who walked. A technician sees that all was seen and is sent to the order, since nobody has placed it yet.
func (h *house) walksTheLine(t *testing.T, line assets.Line, wide round.Wide, points string) {
	reg, err := registry.PlantAsOf(t.Context(), h.db, assets.PlantScope(1), 1, plantdb.AsOf{})
	must(t, err)
	open, _, err := orders.List(t.Context(), h.db, assets.PlantScope(1), orders.Filter{PlantID: 1, Open: true, Kind: workorder.KindInspection})
	must(t, err)
	i := slices.IndexFunc(open, func(o workorder.Order) bool { return wide[o.ID] != nil })
	okkerdal := h.numberOf(t, "M. Okkerdal")
	o, began := open[i], plantDay.Add(90*time.Minute)
	all := round.Points(reg, []int64{line.ID}, open, wide)
	see := func(from, to int) {
		must(t, h.db.Change(t.Context(), plantdb.Act{PersonID: okkerdal, Origin: plantdb.Screen, Action: "walk the line", Now: plantDay.Add(4 * time.Hour), Plants: []int64{1}}, func(c *plantdb.Change) error {
			for n := from; n < to; n++ {
				at := began.Add(time.Duration(n) * time.Minute)
				f := assets.Finding{PlantID: 1, ConveyorID: all[n].ConveyorID, BeltID: all[n].BeltID, SpliceID: all[n].SpliceID, Target: all[n].Target, FoundAt: assets.InstantOf(at), FoundDay: assets.DayOf(at), Category: "nothing found",
					Text: "looked at on a round, nothing found", FoundByID: okkerdal}
				if _, err := registry.AddFinding(c, &f); err != nil {
					return err
				}
			}
			return nil
		}))
	}
	see(0, len(all)-1)
	planner := h.as("I. Vanterel")
	rounds := planner.get("/plants/1/rounds")
	due := rounds.Find("tbody tr").First()
	var of int64
	if _, err := fmt.Sscanf(due.Find("td.tag a").AttrOr("href", ""), "/plants/1/rounds/%d", &of); err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/plants/1/rounds/%d/done/%d", of, o.Number)
	if due.Find(`a[href="`+path+`"]`).Length() > 0 {
		t.Error("one point short, the round offers to report the inspection done")
	}
	see(len(all)-1, len(all))
	if due := planner.get("/plants/1/rounds").Find("tbody tr").First(); due.Find(`a[href="`+path+`"]`).Length() != 1 || !strings.Contains(due.Text(), "all its "+points+" points have been seen since") {
		t.Fatalf("every point seen, the round says %q", due.Text())
	}
	if tech := h.as("M. Okkerdal").get("/plants/1/rounds").Find(`a[href="` + path + `"]`); tech.Length() > 0 {
		t.Error("a technician is offered to accept and place an order")
	}
	planner.submit(path, fmt.Sprintf("Report order %d done", o.Number), map[string]string{"hours": "-1"}, http.StatusUnprocessableEntity)
	if held, err := orders.Order(t.Context(), h.db, assets.PlantScope(1), o.ID); err != nil || held.State != workorder.Raised {
		t.Fatalf("refused, the order stands as %s, %v; want all of its steps or none", held.State, err)
	}
	planner.submit(path, fmt.Sprintf("Report order %d done", o.Number), map[string]string{"hours": "1.5"}, http.StatusOK)
	done, err := orders.Order(t.Context(), h.db, assets.PlantScope(1), o.ID)
	must(t, err)
	last := began.Add(time.Duration(len(all)-1) * time.Minute)
	if done.State != workorder.Done || done.StartedAt.Time() != began.Truncate(time.Minute) || done.DoneAt.Time() != last.Truncate(time.Minute) || len(done.PlacedPeople) != 1 || done.PlacedPeople[0] != okkerdal || done.DoneHours != 1.5 {
		t.Errorf("the inspection is %+v, want it done from %v to %v by who walked", done, began, last)
	}
}

// numberOf is the number of one of the demonstration's people.
func (h *house) numberOf(t *testing.T, name string) int64 {
	t.Helper()
	people, err := registry.People(t.Context(), h.db, assets.JobScope(), true)
	must(t, err)
	i := slices.IndexFunc(people, func(p assets.Person) bool { return p.Name == name })
	if i < 0 {
		t.Fatalf("nobody is called %s", name)
	}
	return people[i].ID
}
