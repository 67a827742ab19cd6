package samplefleet

import (
	"time"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// rules adds what the demo's plants decided for themselves, beside the rules of thumb every company starts with.
func (b *builder) rules() {
	hot, cold := []assets.Bond{assets.BondHotVulcanised}, []assets.Bond{assets.BondColdBonded}
	clips := []assets.Form{assets.FormBoltedPlate, assets.FormHinged, assets.FormHook, assets.FormMechanical}
	finger := []assets.Form{assets.FormFinger, assets.FormFingerOverFinger}
	splices := func(bonds []assets.Bond, forms []assets.Form) rules.Scope {
		return rules.Scope{Target: rules.TargetSplice, Bonds: bonds, Forms: forms}
	}
	remake := func(hours float64) rules.Template {
		return rules.Template{Kind: workorder.KindResplice, Title: "remake {target}", LeadDays: 45, LatestDays: 14, WorkHours: hours, Crew: 2, BeltStands: true}
	}
	passes := func(n float64) rules.Trigger { return rules.Trigger{Kind: rules.TriggerPasses, Passes: n} }
	look := rules.Template{Kind: workorder.KindInspection, Title: "look closely at {target}", LatestDays: 14, WorkHours: 0.2, Crew: 1, BeltStands: true}
	const skarrowPlant, ferrantPlant, dunmarrowPlant = 1, 2, 3

	b.rule(skarrowPlant, "Remake hot splices at 364 000 passes", splices(hot, nil), passes(364_000), remake(9), assets.ClassP, "planner's decision after the failures of 2021 and 2023", true)
	b.rule(skarrowPlant, "Remake cold splices at 215 000 passes", splices(cold, nil), passes(215_000), remake(7), assets.ClassP, "planner's decision", true)
	b.rule(skarrowPlant, "Re-clip at 180 000 passes", splices(nil, clips), passes(180_000), remake(3), assets.ClassP, "planner's decision", true)
	b.rule(skarrowPlant, "Remake every splice after 60 months", splices(nil, nil), rules.Trigger{Kind: rules.TriggerInterval, Every: 60, Unit: "month", CountedFrom: "made"},
		remake(8), assets.ClassD, commonPractice, true)
	b.rule(skarrowPlant, "Look at clips every second Tuesday", splices(nil, clips), rules.Trigger{Kind: rules.TriggerInterval, Every: 2, Unit: "week", CountedFrom: "plan",
		AnchorDay: "2024-01-02", TimeOfDay: "06:00"}, look, assets.ClassP, "shift lead's wish", false)
	b.rule(ferrantPlant, "Remake guided feeds at 1.2 million passes", rules.Scope{Target: rules.TargetSplice, Forms: finger, Lines: []int64{b.line(ferrantPlant, "Dock feeds")}},
		passes(1_200_000), remake(1.5), assets.ClassP, "planner's decision", true)
	b.rule(ferrantPlant, "Remake sorter splices at 2 million passes", splices(nil, finger), passes(2_000_000), remake(1.5), assets.ClassP, "planner's decision", true)
	b.rule(dunmarrowPlant, "Remake food splices at 3 million passes", splices(nil, finger), passes(3_000_000), remake(1.5), assets.ClassP, "hygiene audit", true)
	b.rule(dunmarrowPlant, "Close look in the Sunday stop", splices(nil, finger), rules.Trigger{Kind: rules.TriggerCron, Cron: "0 6 * * 0"}, look, assets.ClassP, "hygiene audit", false)
	defer b.lifeRule(ferrantPlant, splices(nil, finger), remake(1.5)) // last, so that it takes no other rule's number
	for plant := int64(1); plant <= 3; plant++ {
		b.rule(plant, "Run-in check 24 h after a splice", splices(nil, nil), rules.Trigger{Kind: rules.TriggerEvent, Event: "splice made", AfterHours: 24},
			rules.Template{Kind: workorder.KindRunIn, Title: "run-in check of {target}", LatestDays: 2, WorkHours: 0.3, Crew: 1}, assets.ClassB, "makers' splicing instructions, usual figure; common practice", false)
		b.rule(plant, "Finding of grade 3 or more", rules.Scope{Target: rules.TargetFinding}, rules.Trigger{Kind: rules.TriggerGrade, Grade: 3},
			rules.Template{Kind: workorder.KindInspection, Title: "measure {target} again", LatestDays: 14, WorkHours: 0.2, Crew: 1}, assets.ClassP, "this plant's grade words", false)
		b.rule(plant, "Take-up nearly at its end", rules.Scope{Target: rules.TargetBelt}, rules.Trigger{Kind: rules.TriggerTakeUp, ResplicesLeft: 1},
			rules.Template{Kind: workorder.KindInsertPiece, Title: "plan an insert piece or a new belt", LatestDays: 60, WorkHours: 6, Crew: 2, BeltStands: true}, assets.ClassP, "planner's decision", true)
	}
}

// lifeRule lets the plant's own history raise: its finger splices have failed often enough to tell.
func (b *builder) lifeRule(plant int64, scope rules.Scope, template rules.Template) {
	template.LeadDays = 0
	b.rule(plant, "Remake at a chance of 8 % of failing before the stop after next", scope, rules.Trigger{Kind: rules.TriggerLife, Chance: 0.08}, template, assets.ClassP,
		"planner's decision: a failure at night stops the sort", false)
}

// rule adds one rule. Rules on a clock look at everything that lives; rules of the calendar, of events and findings
// began a fortnight ago, so that the demo does not open with ten years of them.
func (b *builder) rule(plant int64, name string, scope rules.Scope, trigger rules.Trigger, template rules.Template, class assets.Class, source string, wholeHistory bool) {
	from := b.today.AddDate(0, 0, -14)
	if trigger.Kind == rules.TriggerEvent {
		from = b.today.AddDate(0, 0, -4)
	}
	if wholeHistory {
		from = b.today.AddDate(-10, 0, -7)
	}
	var customer int64
	for _, p := range b.fleet.Plants {
		if p.ID == plant {
			customer = p.CustomerID
		}
	}
	b.fleet.Rules = append(b.fleet.Rules, rules.Rule{Version: b.version("rules", from), CustomerID: customer, PlantID: plant, Name: name, Scope: scope, Trigger: trigger,
		Template: template, Class: class, Source: source, SavedBy: b.people[assets.NameKey(planner)], StartsAt: assets.InstantOf(from.Truncate(time.Minute)), EditVersion: 1})
}

func (b *builder) line(plant int64, name string) int64 {
	for _, l := range b.fleet.Lines {
		if l.PlantID == plant && l.Name == name {
			return l.ID
		}
	}
	panic("samplefleet: no line " + name)
}
