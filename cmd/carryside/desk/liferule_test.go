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
