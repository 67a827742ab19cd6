package rules

import (
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// The sources of the default rules.
const (
	practice       = "common practice"
	coverArticles  = "trade articles on cover wear: full belt quarterly"
	fastenerManual = "TM 5-3820-233-12-1, belt fastener steps: re-tighten after a few hours; four is our reading of a few"
	spliceLives    = "common practice, typical lives; replace by this plant's own"
	houseRule      = "set with the company's first start: grade 3 and 4 end in an order or a signed refusal"
)

// rubber are the belt families with a vulcanised rubber cover.
var rubber = []string{"RB-EP", "RB-NN", "RB-EP/NN", "RB-ST"}

// Defaults returns the rules a new company begins with, in force for all its plants from an instant on. Each
// names its class and source; a rule of thumb (class D) gives reminders, which the plant may make orders,
// edit or switch off. Figures: days, hours, passes as named.
func Defaults(from time.Time) []Rule {
	var out []Rule
	for _, d := range defaults {
		r := d
		r.StartsAt = assets.InstantOf(from)
		out = append(out, r)
	}
	return out
}

var defaults = []Rule{
	{Name: "Finding of grade 3 or 4", Class: assets.ClassP, Source: houseRule,
		Trigger:  Trigger{Kind: TriggerGrade, Grade: 3},
		Template: Template{Kind: workorder.KindInspection, Title: "decide on the finding at {target}", LatestDays: 3, WorkHours: 0.5, Crew: 1, BeltStands: true}},

	runIn("Run-in check, one day after a splice", 24, 1),
	runIn("Run-in check, seven days after a splice", 7*24, 2),
	runIn("Run-in check, thirty days after a splice", 30*24, 7),

	{Name: "Re-tighten bolted plate fasteners", Class: assets.ClassB, Source: fastenerManual,
		Scope:    Scope{Target: TargetSplice, Forms: []assets.Form{assets.FormBoltedPlate}},
		Trigger:  Trigger{Kind: TriggerEvent, Event: EventSpliceMade, AfterHours: 4, RunningHours: true},
		Template: Template{Kind: workorder.KindRetension, Title: "re-tighten the plates of {target}", LatestDays: 1, WorkHours: 0.5, Crew: 1, BeltStands: true}},

	{Name: "Cover thickness and hardness", Class: assets.ClassB, Source: coverArticles,
		Scope:    Scope{Target: TargetBelt, Families: rubber},
		Trigger:  Trigger{Kind: TriggerInterval, Every: 3, Unit: "month", CountedFrom: FromCompletion, TimeOfDay: "06:00"},
		Template: Template{Kind: workorder.KindInspection, Title: "measure cover thickness and hardness of the {target}", LeadDays: 14, LatestDays: 14, WorkHours: 1, Crew: 1, BeltStands: true}},

	closeLook("Close look at splices, wash-down", Scope{Target: TargetConveyor, WashDown: yes()}, 7),
	closeLook("Close look at splices, dry light belts", Scope{Target: TargetConveyor, Families: []string{"LT-PVC", "LT-PU", "LT-TPE"}, WashDown: no()}, 28),
	closeLook("Close look at splices, rubber belts", Scope{Target: TargetConveyor, Families: rubber}, 30),

	remakeAfter("Remake finger splices after 1 000 000 passes",
		Scope{Forms: []assets.Form{assets.FormFinger, assets.FormFingerOverFinger}, WashDown: no()},
		Trigger{Kind: TriggerPasses, Passes: 1e6, CountedFrom: FromMade}),
	remakeAfter("Remake finger splices after 500 000 passes, wash-down",
		Scope{Forms: []assets.Form{assets.FormFinger, assets.FormFingerOverFinger}, WashDown: yes()},
		Trigger{Kind: TriggerPasses, Passes: 5e5, CountedFrom: FromMade}),
	remakeAfter("Remake cold bonded splices after 24 months",
		Scope{Bonds: []assets.Bond{assets.BondColdBonded}},
		Trigger{Kind: TriggerInterval, Every: 24, Unit: "month", CountedFrom: FromMade}),
	remakeAfter("Remake mechanical splices after 12 months",
		Scope{Forms: []assets.Form{assets.FormMechanical, assets.FormHinged, assets.FormHook, assets.FormBoltedPlate}},
		Trigger{Kind: TriggerInterval, Every: 12, Unit: "month", CountedFrom: FromMade}),

	{Name: "Age not known", Class: assets.ClassD, Source: practice + ": a dated measurement gives a splice its clock",
		Scope:    Scope{AgeUnknown: true},
		Trigger:  Trigger{Kind: TriggerInterval, Every: 24, Unit: "day", CountedFrom: FromMade},
		Template: Template{Kind: workorder.KindInspection, Title: "first inspection of {target}", LatestDays: 14, WorkHours: 0.5, Crew: 1, BeltStands: true}},
}

// runIn follows a new splice so many hours after it was made.
func runIn(name string, hours float64, latestDays int) Rule {
	return Rule{Name: name, Class: assets.ClassD, Source: practice + ", after a new splice",
		Scope:    Scope{Target: TargetSplice},
		Trigger:  Trigger{Kind: TriggerEvent, Event: EventSpliceMade, AfterHours: hours},
		Template: Template{Kind: workorder.KindRunIn, Title: "run-in check of {target}", LatestDays: latestDays, WorkHours: 0.5, Crew: 1, BeltStands: true}}
}

// closeLook is an inspection of the splices of a conveyor, so many days after the last one was done. The belt
// stands and is isolated by the site's own rules.
func closeLook(name string, sc Scope, days int) Rule {
	return Rule{Name: name, Class: assets.ClassD, Source: practice + ", inspection intervals", Scope: sc,
		Trigger:  Trigger{Kind: TriggerInterval, Every: days, Unit: "day", CountedFrom: FromCompletion, TimeOfDay: "06:00"},
		Template: Template{Kind: workorder.KindInspection, Title: "close look at the splices of {conveyor}, belt stopped and isolated", LatestDays: max(1, days/10), WorkHours: 0.5, Crew: 1, BeltStands: true}}
}

// remakeAfter limits the age of splices by a rule of thumb.
func remakeAfter(name string, sc Scope, t Trigger) Rule {
	return Rule{Name: name, Class: assets.ClassD, Source: spliceLives, Scope: sc, Trigger: t,
		Template: Template{Kind: workorder.KindResplice, Title: "remake {target}", LeadDays: 28, WorkHours: 4, Crew: 2, BeltStands: true}}
}

func yes() *bool { v := true; return &v }
func no() *bool  { v := false; return &v }
