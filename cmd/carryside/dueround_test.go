package main

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/jobs"
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
}
