package due_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// What Today shows as a splice's date is what the rule raises its order for: the same instant, the same day.
func TestStandingAndOrderNameTheSameDate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reg, clocks := grainPlant()
		made := local("2023-09-15T00:00").Add(time.Duration(rapid.Int64Range(0, 1000*24*60).Draw(t, "made, minutes on")) * time.Minute)
		switch rapid.SampledFrom([]string{"timed", "day", "spring"}).Draw(t, "date is known to") {
		case "timed":
			reg.Splices[0].Made = assets.Exactly(made, berlin)
		case "day":
			reg.Splices[0].Made = onDay(string(assets.DayOf(made.In(berlin))))
		default:
			first := assets.DayOf(made.In(berlin))
			w, err := assets.Between(first, first.AddDays(60), "spring", berlin, local("2026-11-25T12:00"))
			if err != nil {
				t.Fatal(err)
			}
			reg.Splices[0].Made = w
		}
		reg.Arrange()
		trigger := rapid.SampledFrom([]rules.Trigger{
			{Kind: rules.TriggerPasses, Passes: 364000}, {Kind: rules.TriggerHours, Hours: 9000}, {Kind: rules.TriggerHours, Hours: 500},
			{Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: 31, Unit: "month"}, {Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: 100, Unit: "week"},
			{Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: 1, Unit: "year", TimeOfDay: "02:30"}, {Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: 400, Unit: "day"},
		}).Draw(t, "limit")
		rule := limit(1, assets.ClassP, trigger)
		rule.Template = rules.Template{Kind: workorder.KindResplice, Title: "remake {target}"}
		rule.StartsAt = assets.InstantOf(local("2020-01-01T00:00"))
		rule.Scope = drawScope(t)
		now := local("2026-11-25T12:00")
		st := due.Plant(now, reg, []rules.Rule{rule}, clocks)[0]
		look := rules.NewOutlook(rules.Inputs{Now: now, Plant: reg.Plant, Conveyors: reg.Conveyors, Belts: reg.Belts, Splices: reg.Splices, Families: map[int64]string{5: "RB-EP"}, Clocks: clocks.Rules(), Rules: []rules.Rule{rule}})
		raised := look.Propose(rule, rule.StartsAt.Time().Add(-time.Hour), now.AddDate(20, 0, 0))
		if len(raised) == 0 && st.Limit == nil {
			return // both say the splice is out of scope
		}
		if len(raised) != 1 || st.Limit == nil {
			t.Fatalf("%d occurrences of one limit, the standing has %+v", len(raised), st.Limit)
		}
		if off := raised[0].DueAt.Sub(st.DueAt); off.Abs() > time.Millisecond || raised[0].DueDay != st.DueDay {
			t.Fatalf("the order falls due %s (%s), the standing says %s (%s)", raised[0].DueAt, raised[0].DueDay, st.DueAt, st.DueDay)
		}
	})
}

// drawScope draws a scope that the splice of grainPlant is in more often than not.
func drawScope(t *rapid.T) rules.Scope {
	yes, no := true, false
	sc := rules.Scope{Target: rapid.SampledFrom([]rules.TargetKind{"", rules.TargetSplice}).Draw(t, "target")}
	switch rapid.IntRange(0, 12).Draw(t, "filter") {
	case 0:
		sc.Lines = []int64{3, 4}
	case 1:
		sc.Lines = []int64{4}
	case 2:
		sc.Conveyors = []int64{10}
	case 3:
		sc.Forms, sc.Bonds = []assets.Form{assets.FormStepped}, []assets.Bond{assets.BondHotVulcanised}
	case 4:
		sc.Bonds = []assets.Bond{assets.BondColdBonded}
	case 5:
		sc.Families = []string{"RB-EP"}
	case 6:
		sc.Families = []string{"LT-PU"}
	case 7:
		sc.WashDown, sc.Outdoor = &no, &no
	case 8:
		sc.WashDown = &yes
	case 9:
		sc.AgeUnknown = true
	}
	return sc
}
