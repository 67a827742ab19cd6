package desk_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/samplefleet"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// The demo's hub lets its own history raise: the rule proposes real orders, not reminders, and says why in words with its figures.
func TestTheDemosLifeRuleRaisesWithItsReason(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.Address(t))
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	now := fleetdb.Day.Add(time.Hour)
	hub, err := outlook.Load(ctx, db, assets.JobScope(), 2, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := hub.Foresee(ctx, db, new(outlook.LawBook), now); err != nil {
		t.Fatal(err)
	}
	var proposals []rules.Proposal
	look := rules.NewOutlook(hub.Inputs)
	for _, r := range hub.Inputs.Rules {
		if r.Trigger.Kind == rules.TriggerLife {
			proposals = append(proposals, look.Propose(r, r.StartsAt.Time(), now)...)
		}
	}
	if len(proposals) == 0 {
		t.Fatal("the life rule of the demo proposes nothing")
	}
	for _, p := range proposals {
		if p.Reminder() || p.Target.Kind != rules.TargetSplice {
			t.Errorf("%+v is no order for a splice", p)
		}
		for _, want := range []string{"chance of ", "of failing before the stop after next, ", "limit 8", "failures among ", "class C"} {
			if !strings.Contains(p.Why, want) {
				t.Errorf("%q lacks %q", p.Why, want)
			}
		}
	}
}

// A rule about trends proposes an order for each splice of the demo's terminal on which the forecast sees a limit met, on the
// forecast's own date.
func TestATrendRuleFallsDueWhenTheForecastMeetsTheLimit(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.Address(t))
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	now := fleetdb.Day.Add(time.Hour)
	terminal, err := outlook.Load(ctx, db, assets.JobScope(), 1, now)
	if err != nil {
		t.Fatal(err)
	}
	rule := rules.Rule{Name: "Gap about to pass its limit", Class: assets.ClassP, StartsAt: 1, Trigger: rules.Trigger{Kind: rules.TriggerTrend, Quantity: "splice gap"},
		Template: rules.Template{Kind: workorder.KindResplice, Title: "remake {target}", LeadDays: 365}}
	rule.ID = 99
	terminal.Inputs.Rules = append(terminal.Inputs.Rules, rule)
	if err := terminal.ForeseeAsked(ctx, db, new(outlook.LawBook), now); err != nil {
		t.Fatal(err)
	}
	want := map[int64]time.Time{}
	for _, end := range terminal.Inputs.Trends {
		if end.SpliceID != 0 && end.Quantity == "splice gap" {
			want[end.SpliceID] = end.At
		}
	}
	proposals := rules.NewOutlook(terminal.Inputs).Propose(rule, time.Time{}, now.AddDate(10, 0, 0))
	if len(proposals) == 0 || len(proposals) != len(want) {
		t.Fatalf("%d orders proposed for %d trends", len(proposals), len(want))
	}
	for _, p := range proposals {
		if at := want[p.Target.SpliceID]; p.DueAt.Sub(at).Abs() > time.Second || !strings.Contains(p.Why, "splice gap ") || !strings.Contains(p.Why, "limit ") {
			t.Errorf("due %v, the trend meets its limit on %v: %s", p.DueAt, at, p.Why)
		}
	}
}
