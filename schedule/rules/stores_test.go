package rules

import (
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

func storesRule(t Trigger) Rule {
	return Rule{Version: assets.Version{ID: 9}, Name: "kit", Class: assets.ClassP, Scope: Scope{Target: TargetPlant}, Trigger: t,
		StartsAt: assets.InstantOf(time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)), Template: Template{Kind: workorder.KindKitService, LatestDays: 14}}
}

func storesInputs() Inputs {
	fitted := assets.InstantOf(time.Date(2026, 2, 1, 8, 0, 0, 0, time.UTC))
	moved := assets.InstantOf(time.Date(2026, 11, 20, 15, 0, 0, 0, time.UTC))
	return Inputs{Now: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Plant: assets.Plant{Version: assets.Version{ID: 1}, Zone: "Europe/Oslo"},
		Wear: []KitWear{
			{CounterID: 1, Words: "Step cutter, blades 9: blade cuts", Unit: "cuts", Count: 2010, Limit: 2000, Class: assets.ClassP, FittedAt: fitted, MovedAt: moved},
			{CounterID: 2, Words: "Press 1: press cycles", Unit: "cycles", Count: 215, Limit: 400, Class: assets.ClassP, FittedAt: fitted, MovedAt: moved},
			{CounterID: 3, Words: "Step cutter, pad 6: cuts on pad side A", Unit: "cuts", Count: 300, Limit: 300, Class: assets.ClassD, FittedAt: fitted, MovedAt: moved},
			{CounterID: 4, Words: "Press 2: press cycles", Unit: "cycles", Count: 9000, FittedAt: fitted, MovedAt: moved},
		},
		Calibrated: []KitDue{{KitID: 7, Words: "TH-1", Due: "2026-12-15", Class: assets.ClassA}, {KitID: 8, Words: "PG-1", Due: "2027-04-30", Class: assets.ClassA}},
		Stock: []StockLevel{{ItemID: 5, Words: "Cover compound", Have: "3 kg", Point: "11 kg", Below: true, Receipt: 44, MovedAt: moved, Class: assets.ClassP},
			{ItemID: 6, Words: "Release cloth", Have: "50 m", Point: "5 m", Receipt: 45, MovedAt: moved, Class: assets.ClassP}}}
}

func proposed(t *testing.T, in Inputs, r Rule) []Proposal {
	t.Helper()
	return NewOutlook(in).Propose(r, r.Since(time.Time{}, in.Now), in.Now)
}

func TestACounterAtItsLimitAsksForService(t *testing.T) {
	r := storesRule(Trigger{Kind: TriggerKit, Watches: KitLimit})
	ps := proposed(t, storesInputs(), r)
	if len(ps) != 2 {
		t.Fatalf("%d proposals, want the blades and the pad", len(ps))
	}
	if p := ps[0]; p.Target.ID != 1 || p.Cycle != "fitted 2026-02-01T08:00:00Z, 1" || p.DueDay != "2026-11-20" || p.LatestDay != "2026-12-04" || p.Reminder() ||
		!strings.Contains(strings.ReplaceAll(p.Why, "\u00a0", " "), "2 010 of 2 000 cuts") || p.Title() != "kit service Step cutter, blades 9: blade cuts" {
		t.Errorf("%+v: %s", p, p.Why)
	}
	if !ps[1].Reminder() {
		t.Error("a limit of class D alone raises an order")
	}
	in := storesInputs()
	in.Occurrences = []Occurrence{ps[0].Occurrence(in.Now), ps[1].Occurrence(in.Now)}
	if again := proposed(t, in, r); len(again) != 0 {
		t.Errorf("evaluated twice it raises %d more", len(again))
	}
	in.Wear[0].Count = 4000
	if again := proposed(t, in, r); len(again) != 1 || again[0].Cycle != "fitted 2026-02-01T08:00:00Z, 2" {
		t.Errorf("at twice the limit: %+v", again)
	}
	in.Wear[0].Count, in.Wear[0].FittedAt = 2000, in.Wear[0].MovedAt
	if again := proposed(t, in, r); len(again) != 1 || again[0].Cycle != "fitted 2026-11-20T15:00:00Z, 1" {
		t.Errorf("new blades at their limit: %+v", again)
	}
}

func TestACalibrationIsRaisedItsLeadBefore(t *testing.T) {
	r := storesRule(Trigger{Kind: TriggerKit, Watches: KitCalibration})
	r.Template.LeadDays = 21
	ps := proposed(t, storesInputs(), r)
	if len(ps) != 1 || ps[0].Target.ID != 7 || ps[0].Cycle != "due 2026-12-15" || ps[0].DueDay != "2026-12-15" {
		t.Fatalf("%+v; want TH-1, three weeks before 15 December", ps)
	}
	r.Template.LeadDays = 7
	if ps := proposed(t, storesInputs(), r); len(ps) != 0 {
		t.Errorf("a week before is not yet: %+v", ps)
	}
}

func TestAFallBelowThePointIsOneUntilTheNextReceipt(t *testing.T) {
	r := storesRule(Trigger{Kind: TriggerStock})
	in := storesInputs()
	ps := proposed(t, in, r)
	if len(ps) != 1 || ps[0].Target.ID != 5 || ps[0].Cycle != "below since receipt 44" || !strings.Contains(ps[0].Why, "3 kg here or coming, below the reorder point of 11 kg") {
		t.Fatalf("%+v", ps)
	}
	in.Occurrences = []Occurrence{ps[0].Occurrence(in.Now)}
	in.Stock[0].Have = "1 kg"
	if again := proposed(t, in, r); len(again) != 0 {
		t.Errorf("the same fall again: %+v", again)
	}
	in.Stock[0].Receipt = 60
	if again := proposed(t, in, r); len(again) != 1 {
		t.Errorf("a fall after a delivery: %+v", again)
	}
}

func TestAReminderOfKitBecomesAnOrder(t *testing.T) {
	in := storesInputs()
	r := storesRule(Trigger{Kind: TriggerKit, Watches: KitLimit})
	oc := proposed(t, in, r)[1].Occurrence(in.Now)
	o, err := NewOutlook(in).MakeOrder(r, oc, 3, in.Now)
	if err != nil || o.Kind != workorder.KindKitService || o.Title != "kit service Step cutter, pad 6: cuts on pad side A" {
		t.Errorf("%+v, %v", o, err)
	}
	oc.TargetID = 99
	if _, err := NewOutlook(in).MakeOrder(r, oc, 3, in.Now); err == nil {
		t.Error("a counter that is gone became an order")
	}
}

func TestRulesOfKitLookAtThePlant(t *testing.T) {
	for field, r := range map[string]Rule{"target": {Scope: Scope{Target: TargetBelt}, Trigger: Trigger{Kind: TriggerStock}}, "watches": {Scope: Scope{Target: TargetPlant}, Trigger: Trigger{Kind: TriggerKit}}} {
		var bad assets.Invalid
		if err := Check(r); !errors.As(err, &bad) || bad[field] == "" {
			t.Errorf("%s: %v", field, err)
		}
	}
	for _, tt := range []struct {
		t    Trigger
		want string
	}{{Trigger{Kind: TriggerStock}, "stock below its reorder point"}, {Trigger{Kind: TriggerKit, Watches: KitLimit}, "kit at its limit of cycles or cuts"}, {Trigger{Kind: TriggerKit, Watches: KitCalibration}, "calibration due"}} {
		if got := tt.t.Words(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}
