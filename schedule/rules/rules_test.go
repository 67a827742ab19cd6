package rules

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"carryside/assets"
	"carryside/schedule/workorder"
)

func TestARuleOfThumbRemindsAndRaisesNoOrder(t *testing.T) {
	in := terminal(t, "2026-11-25")
	r := rule(1, utc(t, "2026-01-01"), Scope{Conveyors: []int64{10}}, Trigger{Kind: TriggerInterval, Every: 48, Unit: "month", CountedFrom: FromMade}, workorder.KindResplice)
	r.Class, r.Source, r.Template.LatestDays = assets.ClassD, "common practice", 10
	got := NewOutlook(in).Propose(r, utc(t, "2025-12-31"), in.Now)
	if len(got) != 1 || !got[0].Reminder() {
		t.Fatalf("%v, want one reminder", got)
	}
	for _, c := range []assets.Class{assets.ClassA, assets.ClassB, assets.ClassC, assets.ClassP} {
		got[0].Rule.Class = c
		if got[0].Reminder() {
			t.Errorf("class %s reminds instead of raising an order", c)
		}
	}
	order, err := NewOutlook(in).MakeOrder(r, got[0].Occurrence(in.Now), 4, in.Now)
	if err != nil || order.RaisedBy != 4 || order.SpliceID != 31 || order.Title != "look at splice 1" || order.LatestDay != "2026-11-25" {
		t.Errorf("made an order: %+v %v, want it of splice 1, by that person, latest today", order, err)
	}
}

func TestAWithdrawnOrderFreesItsCycle(t *testing.T) {
	start := utc(t, "2026-01-01")
	r := rule(1, start, Scope{Conveyors: []int64{10}}, Trigger{Kind: TriggerHours, Hours: 2500}, workorder.KindResplice)
	withdrawn := assets.InstantOf(utc(t, "2026-11-20T09:00:00Z"))
	tests := []struct {
		name    string
		inError bool
		holds   assets.Day
		now     string
		wantNo  int
		want    bool
	}{
		{"raised in error: at once, under the next number", true, "", "2026-11-25", 1, true},
		{"withdrawn until December, asked in November", false, "2026-12-10", "2026-11-25", 0, false},
		{"withdrawn until 10 December, asked on that day", false, "2026-12-10", "2026-12-10T22:59:00Z", 0, false},
		{"withdrawn until 10 December, asked the day after", false, "2026-12-10", "2026-12-10T23:00:00Z", 1, true},
	}
	for _, tt := range tests {
		in := terminal(t, tt.now)
		first := NewOutlook(in).Propose(r, start, in.Now)
		o := raised(&in, first[0], 412)
		o.State, o.WithdrawnAt, o.InError, o.HoldsUntil = workorder.Withdrawn, withdrawn, tt.inError, tt.holds
		again := NewOutlook(in).Propose(r, start, in.Now)
		if (len(again) == 1) != tt.want || tt.want && again[0].WithdrawalNo != tt.wantNo {
			t.Errorf("%s: %v, want raised again %v under number %d", tt.name, again, tt.want, tt.wantNo)
		}
	}
}

func TestALaterCorrectionProposesAWithdrawal(t *testing.T) {
	in := terminal(t, "2026-11-25")
	start := utc(t, "2026-01-01")
	r := rule(1, start, Scope{Conveyors: []int64{10}}, Trigger{Kind: TriggerHours, Hours: 2500}, workorder.KindResplice)
	first := NewOutlook(in).Propose(r, start, in.Now)
	raised(&in, first[0], 412)
	if got := NewOutlook(in).Doubts([]Rule{r}); len(got) != 0 {
		t.Fatalf("nothing changed: %v, want no doubt", got)
	}
	in.Clocks.Lines[10] = steady{utc(t, "2022-01-01"), 6} // the readings were of another conveyor
	got := NewOutlook(in).Doubts([]Rule{r})
	if len(got) != 1 || got[0].OrderID != 412 || !strings.Contains(got[0].Why, "23 Apr 2027") {
		t.Errorf("hours corrected: %v, want order 412 doubted, due 23 Apr 2027", got)
	}
	in.Orders[0].State = workorder.Started
	if got := NewOutlook(in).Doubts([]Rule{r}); len(got) != 0 {
		t.Errorf("work has begun: %v, want no doubt", got)
	}
	in.Orders[0].State = workorder.Accepted
	in.Splices = in.Splices[:1]
	if got := NewOutlook(in).Doubts([]Rule{r}); len(got) != 1 || got[0].Why != "the splice is no longer in use" {
		t.Errorf("its splice is gone: %v", got)
	}
}

func TestACorrectedFindingDoubtsItsOrder(t *testing.T) {
	in := terminal(t, "2026-11-25")
	in.Findings = []assets.Finding{finding(1, 32, 3, utc(t, "2026-11-24T09:00:00Z"))}
	r := rule(1, utc(t, "2026-11-01"), Scope{}, Trigger{Kind: TriggerGrade, Grade: 3}, workorder.KindInspection)
	raised(&in, NewOutlook(in).Propose(r, utc(t, "2026-11-01"), in.Now)[0], 412)
	in.Findings[0].FollowUpOrderID = 412
	if got := NewOutlook(in).Doubts([]Rule{r}); len(got) != 0 {
		t.Errorf("as found: %v, want no doubt", got)
	}
	lower := 1
	in.Findings[0].Grade = &lower
	if got := NewOutlook(in).Doubts([]Rule{r}); len(got) != 1 || !strings.Contains(got[0].Why, "grade 1, splice opening") {
		t.Errorf("corrected to grade 1: %v, want order 412 doubted", got)
	}
}

func TestAnOpenOrderOfTheSameTargetAndKindIsJoined(t *testing.T) {
	in := terminal(t, "2026-11-25")
	r := rule(1, utc(t, "2026-11-01"), Scope{Conveyors: []int64{10}}, Trigger{Kind: TriggerCron, Cron: "0 6 * * *"}, workorder.KindInspection)
	p := NewOutlook(in).Propose(r, utc(t, "2026-11-24"), in.Now)[0]
	open := workorder.Order{PlantID: 1, Kind: workorder.KindInspection, State: workorder.Accepted, SpliceID: p.Target.SpliceID, ConveyorID: 10, BeltID: 20}
	other, signed, kind := open, open, open
	other.SpliceID, signed.State, kind.Kind = 77, workorder.Signed, workorder.KindResplice
	for _, tt := range []struct {
		name string
		o    workorder.Order
		want bool
	}{{"open, same splice and kind", open, true}, {"another splice", other, false}, {"signed already", signed, false}, {"another kind", kind, false}} {
		if got := p.Joins(tt.o); got != tt.want {
			t.Errorf("%s: joined %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestScopes(t *testing.T) {
	in := terminal(t, "2026-11-25")
	remake := rule(9, utc(t, "2020-01-01"), Scope{}, Trigger{Kind: TriggerInterval, Every: 60, Unit: "month", CountedFrom: FromMade}, workorder.KindResplice)
	in.Rules = []Rule{remake}
	wash := true
	tests := []struct {
		name  string
		scope Scope
		want  []string
	}{
		{"every splice", Scope{}, []string{"Q3 splice 1", "Q3 splice 2", "L1 splice 1", "L1 splice 2"}},
		{"a line", Scope{Lines: []int64{4}}, []string{"L1 splice 1", "L1 splice 2"}},
		{"a form", Scope{Forms: []assets.Form{assets.FormStepped}}, []string{"Q3 splice 1", "Q3 splice 2"}},
		{"a belt family", Scope{Families: []string{"LT-PVC"}}, []string{"L1 splice 1", "L1 splice 2"}},
		{"wash-down", Scope{WashDown: &wash}, []string{"L1 splice 1", "L1 splice 2"}},
		{"age not known", Scope{AgeUnknown: true}, []string{"L1 splice 2"}},
		{"life used 80 % or more: four and a half of five years", Scope{UsedFrom: 0.8}, []string{"Q3 splice 1"}},
		{"life used 95 % or more", Scope{UsedFrom: 0.95}, nil},
		{"belts of rubber", Scope{Target: TargetBelt, Families: []string{"RB-EP"}}, []string{"Q3 belt"}},
		{"conveyors with finger splices", Scope{Target: TargetConveyor, Forms: []assets.Form{assets.FormFinger}}, []string{"L1 conveyor"}},
		{"lines", Scope{Target: TargetLine}, []string{"Quay", "Loading"}},
		{"the plant", Scope{Target: TargetPlant}, []string{"Skarrow Grain Terminal"}},
	}
	for _, tt := range tests {
		var got []string
		for _, target := range NewOutlook(in).Targets(rule(1, in.Now, tt.scope, Trigger{}, "")) {
			got = append(got, target.Name())
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
	// By passes: 0.5 m/s on 20.63 m are 87.26 passes an hour, 16 h a day for 54.58 days are 76 206 of 90 000.
	in.Rules = append(in.Rules, rule(8, utc(t, "2020-01-01"), Scope{}, Trigger{Kind: TriggerPasses, Passes: 90_000}, workorder.KindResplice))
	for share, want := range map[float64]int{0.846: 1, 0.848: 0} {
		sc := Scope{UsedFrom: share, Conveyors: []int64{11}}
		if got := NewOutlook(in).Targets(rule(1, in.Now, sc, Trigger{}, "")); len(got) != want {
			t.Errorf("life used %v of 90 000 passes: %v, want %d splices", share, got, want)
		}
	}
	in.Conveyors[1].Status, in.Conveyors[1].Retired = assets.ConveyorRetired, exactly(t, "2026-11-01T00:00:00Z")
	if got := NewOutlook(in).Targets(rule(1, in.Now, Scope{}, Trigger{}, "")); len(got) != 2 {
		t.Errorf("with L1 retired: %v, want the splices of Q3 only", got)
	}
}

// Four weeks instead of eight: the strip of the rule editor. Life of 5 years, so 80 % of splice 1 falls on
// 10 May 2026 and its scope ends with the year shown.
func TestPreviewOfAnEditedRule(t *testing.T) {
	in := terminal(t, "2026-11-25T06:40")
	in.Rules = []Rule{rule(9, utc(t, "2020-01-01"), Scope{}, Trigger{Kind: TriggerInterval, Every: 60, Unit: "month", CountedFrom: FromMade}, workorder.KindResplice)}
	stands := rule(1, utc(t, "2026-06-01"), Scope{UsedFrom: 0.8, Bonds: []assets.Bond{assets.BondHotVulcanised}},
		Trigger{Kind: TriggerInterval, Every: 8, Unit: "week", CountedFrom: FromPlan, AnchorDay: "2026-01-06", TimeOfDay: "06:00"}, workorder.KindInspection)
	edited := stands
	edited.Trigger.Every = 4
	p := NewOutlook(in).Preview(&stands, edited)
	if len(p.Rows) != 1 || p.Rows[0].Target.ID != 31 || p.Rows[0].ScopeFrom.Format(time.DateOnly) != "2026-05-10" || !p.Rows[0].ScopeUntil.IsZero() {
		t.Fatalf("rows %+v, want splice 1 in scope from 10 May 2026 (1460.8 of 1826 days)", p.Rows)
	}
	// Tuesdays from 6 January every 56 days: 23 Jun, 18 Aug, 13 Oct past 10 May; then seven in the year ahead
	// (8 Dec to 9 Nov). Every 28 days from 26 May: seven past (the last on 10 Nov), thirteen ahead.
	if p.Stands != (Counts{3, 7}) || p.Edited != (Counts{7, 13}) {
		t.Errorf("as it stands %+v, edited %+v; want {3 7} and {7 13}", p.Stands, p.Edited)
	}
	for i, s := range p.Rows[0].Edited {
		if s.Past != (i < 7) || s.DueAt.In(in.Plant.Location()).Format("Mon 15:04") != "Tue 06:00" {
			t.Errorf("stroke %d: %+v, want Tuesdays at 06:00, the first seven past", i, s)
		}
	}
	raised(&in, NewOutlook(in).Propose(stands, utc(t, "2026-06-01"), in.Now)[0], 5)
	if again := NewOutlook(in).Preview(&stands, edited); again.Stands != p.Stands {
		t.Errorf("what was raised before hides strokes: %+v", again.Stands)
	}
	// Splice 1, made on 10 May 2022, passed two years long ago and four years in May: the first shows no stroke, and both
	// are raised as soon as the rule is saved.
	for every, want := range map[int]Counts{24: {0, 0}, 48: {1, 0}, 60: {0, 1}} {
		limit := rule(4, in.Now, Scope{Conveyors: []int64{10}, Bonds: []assets.Bond{assets.BondHotVulcanised}}, Trigger{Kind: TriggerInterval, Every: every, Unit: "month", CountedFrom: FromMade}, workorder.KindResplice)
		one := in
		one.Splices = in.Splices[:1]
		atOnce := 1
		if every == 60 {
			atOnce = 0
		}
		if got := NewOutlook(one).Preview(nil, limit); got.Edited != want || got.AtOnce != atOnce {
			t.Errorf("limit of %d months: %+v and %d at once, want %+v and %d", every, got.Edited, got.AtOnce, want, atOnce)
		}
	}
	answered := finding(1, 99, 3, utc(t, "2026-03-05T08:00:00Z")) // of a splice remade since
	answered.FollowUpOrderID = 77
	in.Findings = []assets.Finding{answered, finding(2, 31, 3, utc(t, "2025-03-05T08:00:00Z")), finding(3, 31, 2, utc(t, "2026-08-05T08:00:00Z"))}
	grades := rule(3, in.Now, Scope{}, Trigger{Kind: TriggerGrade, Grade: 3}, workorder.KindInspection)
	if got := NewOutlook(in).Preview(nil, grades); got.Edited != (Counts{1, 0}) {
		t.Errorf("findings of grade 3 in the last year: %+v, want the answered one counted, the older one and the lower one not", got.Edited)
	}
	once := rule(2, in.Now, Scope{Target: TargetConveyor, Conveyors: []int64{10}}, Trigger{Kind: TriggerInterval, Every: 30, Unit: "day", CountedFrom: FromCompletion}, workorder.KindInspection)
	if got := NewOutlook(in).Preview(nil, once); got.Edited != (Counts{12, 12}) || got.Stands != (Counts{}) {
		t.Errorf("every 30 days, each done when due: %+v, want 12 in a year either way", got.Edited)
	}
}

// Check values of refused expressions (calendar/testdata/cron-refused.json): what the cron library refuses,
// accepts or panics on, and what must be refused when a rule is saved.
func TestSavingRefusesWhatCannotBePlanned(t *testing.T) {
	var cases []struct{ Cron, Product string }
	readJSON(t, "../calendar/testdata/cron-refused.json", &cases)
	n := 0
	for _, c := range cases {
		if !strings.HasPrefix(c.Product, "refuse") {
			continue
		}
		n++
		r := rule(0, time.Time{}, Scope{}, Trigger{Kind: TriggerCron, Cron: c.Cron}, workorder.KindInspection)
		var wrong assets.Invalid
		if _, err := Save(r, nil, 1, utc(t, "2026-11-25")); !errors.As(err, &wrong) || wrong["cron"] == "" {
			t.Errorf("cron %q: %v, want a sentence at cron", c.Cron, err)
		}
	}
	if n < 20 {
		t.Errorf("only %d refused expressions checked", n)
	}
}

func TestSavingARule(t *testing.T) {
	now := utc(t, "2026-11-25T06:40")
	good := func(change func(*Rule)) Rule {
		r := Rule{Name: " measure the gap ", Trigger: Trigger{Kind: TriggerCron, Cron: "0 6 * * 2"}, Template: Template{Kind: workorder.KindInspection}}
		change(&r)
		return r
	}
	saved, err := Save(good(func(*Rule) {}), nil, 4, now)
	if err != nil || saved.Class != assets.ClassP || saved.Name != "measure the gap" || saved.StartsAt != assets.InstantOf(now) || saved.SavedBy != 4 {
		t.Fatalf("%+v %v; want class P, in force from now", saved, err)
	}
	if weeks, err := Save(good(func(r *Rule) {
		r.Trigger = Trigger{Kind: TriggerInterval, Every: 8, Unit: "Weeks", CountedFrom: FromCompletion}
	}), nil, 4, now); err != nil || weeks.Trigger.Words() != "every 8 weeks" {
		t.Errorf("units as typed: %q %v", weeks.Trigger.Words(), err)
	}
	before := saved
	before.ID, before.EditVersion = 7, 3
	if edited, err := Save(good(func(r *Rule) { r.Source, r.Class = "maker's sheet 12", assets.ClassA }), &before, 5, now.Add(time.Hour)); err != nil ||
		edited.ID != 7 || edited.EditVersion != 3 || edited.Class != assets.ClassA || edited.StartsAt != assets.InstantOf(now.Add(time.Hour)) {
		t.Errorf("%+v %v; want the same rule, its start moved, its class kept with its source", edited, err)
	}
	tests := []struct {
		name, field string
		r           Rule
	}{
		{"no name", "name", good(func(r *Rule) { r.Name = " " })},
		{"class C by hand", "class", good(func(r *Rule) { r.Class, r.Source = assets.ClassC, "our experience" })},
		{"no trigger", "kind", good(func(r *Rule) { r.Trigger = Trigger{} })},
		{"every minute", "cron", good(func(r *Rule) { r.Trigger.Cron = "* * * * *" })},
		{"every 0 weeks", "every", good(func(r *Rule) {
			r.Trigger = Trigger{Kind: TriggerInterval, Unit: "week", CountedFrom: FromPlan, AnchorDay: "2026-01-06"}
		})},
		{"from a plan without a date", "anchor_day", good(func(r *Rule) {
			r.Trigger = Trigger{Kind: TriggerInterval, Every: 8, Unit: "week", CountedFrom: FromPlan}
		})},
		{"counted from nothing", "counted_from", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerInterval, Every: 8, Unit: "week"} })},
		{"at 25:00", "time_of_day", good(func(r *Rule) {
			r.Trigger = Trigger{Kind: TriggerInterval, Every: 8, Unit: "week", CountedFrom: FromCompletion, TimeOfDay: "25:00"}
		})},
		{"no hours", "hours", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerHours} })},
		{"every minute of running", "hours", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerHours, Hours: 0.01, Repeats: true} })},
		{"passes of a line", "target", good(func(r *Rule) { r.Trigger, r.Scope = Trigger{Kind: TriggerPasses, Passes: 5}, Scope{Target: TargetLine} })},
		{"grade 5", "grade", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerGrade, Grade: 5} })},
		{"take-up of splices", "target", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerTakeUp, ResplicesLeft: 1} })},
		{"after no event", "event", good(func(r *Rule) { r.Trigger = Trigger{Kind: TriggerEvent, AfterHours: 5} })},
		{"life used of belts", "used_from", good(func(r *Rule) { r.Scope = Scope{Target: TargetBelt, UsedFrom: 0.8} })},
		{"an order nobody knows", "order_kind", good(func(r *Rule) { r.Template.Kind = "mend" })},
		{"raised before the last was", "lead_days", good(func(r *Rule) { r.Template.LeadDays = -1 })},
	}
	for _, tt := range tests {
		var wrong assets.Invalid
		if _, err := Save(tt.r, nil, 4, now); !errors.As(err, &wrong) || wrong[tt.field] == "" {
			t.Errorf("%s: %v, want a sentence at %q", tt.name, err, tt.field)
		}
	}
}

func TestDefaultRules(t *testing.T) {
	start := utc(t, "2026-11-25")
	names := map[string]bool{}
	classes := map[assets.Class]int{}
	for _, r := range Defaults(start) {
		if err := Check(r); err != nil {
			t.Errorf("%s: %v", r.Name, err)
		}
		if r.Source == "" || r.Class == "" || names[r.Name] || r.StartsAt != assets.InstantOf(start) || r.Trigger.Words() == "no trigger" {
			t.Errorf("%s: class %q, source %q, start %v", r.Name, r.Class, r.Source, r.StartsAt)
		}
		names[r.Name] = true
		classes[r.Class]++
		if strings.Contains(r.Source, "common practice") != (r.Class == assets.ClassD) {
			t.Errorf("%s: common practice is a rule of thumb and nothing else is; class %s, source %q", r.Name, r.Class, r.Source)
		}
	}
	if classes[assets.ClassD] == 0 || classes[assets.ClassB] == 0 {
		t.Errorf("classes %v, want rules of thumb and handbook ones", classes)
	}
}

func TestWhereAskingBegins(t *testing.T) {
	start, mark, now := utc(t, "2026-01-01"), utc(t, "2026-11-20"), utc(t, "2026-11-25")
	first := start.Add(-time.Microsecond)
	tests := []struct {
		name    string
		trigger Trigger
		mark    time.Time
		want    time.Time
	}{
		{"calendar: from the mark", Trigger{Kind: TriggerCron}, mark, mark.Add(-time.Microsecond)},
		{"calendar, never evaluated: from its start", Trigger{Kind: TriggerCron}, time.Time{}, first},
		{"planned interval with three days' lead: what is due after the mark", Trigger{Kind: TriggerInterval, CountedFrom: FromPlan}, mark, mark.AddDate(0, 0, -4)},
		{"hours: readings come late, from its start", Trigger{Kind: TriggerHours}, mark, first},
		{"event: entered up to thirty days late", Trigger{Kind: TriggerEvent}, mark, mark.AddDate(0, 0, -30)},
		{"event at a plant just brought in", Trigger{Kind: TriggerEvent}, time.Time{}, now.AddDate(0, 0, -30)},
		{"marked before its start", Trigger{Kind: TriggerCron}, utc(t, "2025-01-01"), first},
	}
	for _, tt := range tests {
		r := Rule{Trigger: tt.trigger, StartsAt: assets.InstantOf(start), Template: Template{LeadDays: 3}}
		if got := r.Since(tt.mark, now); !got.Equal(tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// anyRule draws a rule of any trigger.
func anyRule(rt *rapid.T, starts time.Time) Rule {
	trg := Trigger{Kind: rapid.SampledFrom([]TriggerKind{TriggerCron, TriggerInterval, TriggerHours, TriggerPasses, TriggerEvent, TriggerGrade, TriggerTakeUp}).Draw(rt, "kind")}
	sc := Scope{Target: rapid.SampledFrom([]TargetKind{TargetSplice, TargetBelt}).Draw(rt, "target")}
	if sc.Target == TargetSplice {
		sc.UsedFrom = rapid.SampledFrom([]float64{0, 0, 0.02, 0.5, 0.9}).Draw(rt, "used")
		sc.AgeUnknown = sc.UsedFrom == 0 && rapid.Bool().Draw(rt, "unknown")
	}
	switch trg.Kind {
	case TriggerCron:
		trg.Cron = fmt.Sprintf("%d %d * * %s", rapid.IntRange(0, 59).Draw(rt, "minute"), rapid.IntRange(0, 3).Draw(rt, "hour"), rapid.SampledFrom([]string{"*", "0", "1-5"}).Draw(rt, "weekday"))
	case TriggerInterval:
		trg.Every, trg.Unit = rapid.IntRange(1, 40).Draw(rt, "every"), rapid.SampledFrom([]string{"day", "week", "month"}).Draw(rt, "unit")
		trg.CountedFrom = rapid.SampledFrom([]string{FromPlan, FromMade, FromCompletion}).Draw(rt, "from")
		trg.AnchorDay, trg.TimeOfDay, trg.Repeats = "2024-01-31", rapid.SampledFrom([]string{"", "02:30", "06:00"}).Draw(rt, "time"), rapid.Bool().Draw(rt, "repeats")
	case TriggerHours, TriggerPasses:
		trg.Hours, trg.Passes = rapid.Float64Range(50, 9000).Draw(rt, "hours"), rapid.Float64Range(5e3, 1e6).Draw(rt, "passes")
		trg.Repeats, trg.CountedFrom = rapid.Bool().Draw(rt, "repeats"), rapid.SampledFrom([]string{FromMade, FromCompletion}).Draw(rt, "from")
	case TriggerEvent:
		trg.Event, trg.AfterHours, trg.RunningHours = rapid.SampledFrom([]string{EventBeltFitted, EventSpliceMade}).Draw(rt, "event"), rapid.Float64Range(1, 5000).Draw(rt, "after"), rapid.Bool().Draw(rt, "running")
	case TriggerGrade:
		trg.Grade = rapid.IntRange(1, 4).Draw(rt, "grade")
	case TriggerTakeUp:
		sc.Target, trg.ResplicesLeft = TargetBelt, 2
	}
	r := rule(1, starts, sc, trg, workorder.KindInspection)
	r.Template.LeadDays = rapid.SampledFrom([]int{0, 3, 28}).Draw(rt, "lead")
	return r
}

// eventful is the terminal with findings and a take-up near its end.
func eventful(t testing.TB) Inputs {
	in := terminal(t, "2026-11-25")
	in.Resplices = map[int64]int{20: 1}
	in.Rules = []Rule{
		rule(8, utc(t, "2020-01-01"), Scope{}, Trigger{Kind: TriggerInterval, Every: 60, Unit: "month", CountedFrom: FromMade}, workorder.KindResplice),
		rule(9, utc(t, "2020-01-01"), Scope{}, Trigger{Kind: TriggerPasses, Passes: 400_000}, workorder.KindResplice),
	}
	for i := range 8 {
		in.Findings = append(in.Findings, finding(int64(i+1), 31+int64(i%2), i%5, utc(t, "2026-01-10").AddDate(0, i, 3*i)))
	}
	return in
}

func keysOf(ps []Proposal) []string {
	var out []string
	for _, p := range ps {
		out = append(out, fmt.Sprintf("%s %d %s %s", p.Target.Kind, p.Target.ID, p.Cycle, p.RaiseAt.Format(time.RFC3339Nano)))
	}
	slices.Sort(out)
	return out
}

func TestProposingInPiecesEqualsProposingWhole(t *testing.T) {
	in := eventful(t)
	rapid.Check(t, func(rt *rapid.T) {
		start := utc(t, "2025-06-01").Add(time.Duration(rapid.IntRange(0, 500*24).Draw(rt, "start")) * time.Hour)
		r := anyRule(rt, start)
		look := NewOutlook(in)
		after := start.Add(-time.Microsecond)
		until := after.Add(time.Duration(rapid.IntRange(1, 600*24).Draw(rt, "span")) * time.Hour)
		proposed := look.Propose(r, after, until)
		first, any := look.First(r, after, until)
		if n := look.Count(r, after, until); n != len(proposed) || any != (n > 0) || any && !first.Equal(proposed[0].RaiseAt) {
			rt.Fatalf("counted %d, first at %v; proposed %d: %v", n, first, len(proposed), lines(proposed))
		}
		whole := keysOf(proposed)
		var pieces []string
		for at := after; at.Before(until); {
			next := at.Add(time.Duration(rapid.Int64Range(1, int64(90*24*time.Hour)).Draw(rt, "piece")))
			if next.After(until) {
				next = until
			}
			pieces = append(pieces, keysOf(look.Propose(r, at, next))...)
			at = next
		}
		slices.Sort(pieces)
		if !slices.Equal(whole, pieces) {
			rt.Fatalf("whole %v\npieces %v", whole, pieces)
		}
	})
}

func TestNoRuleProposesAKeyTwice(t *testing.T) {
	in := eventful(t)
	rapid.Check(t, func(rt *rapid.T) {
		start := utc(t, "2025-06-01").Add(time.Duration(rapid.IntRange(0, 500*24).Draw(rt, "start")) * time.Hour)
		r := anyRule(rt, start)
		in := in
		in.Occurrences, in.Orders = nil, nil
		seen := map[Key]bool{}
		for i, p := range NewOutlook(in).Propose(r, start.Add(-time.Microsecond), utc(t, "2027-06-01")) {
			if seen[p.Key()] {
				rt.Fatalf("%v proposed twice", p.Key())
			}
			seen[p.Key()] = true
			if p.Why == "" || p.DueDay == "" || p.RaiseAt.Before(start) {
				rt.Fatalf("%+v lacks its reason or day, or is raised before its rule began", p)
			}
			raised(&in, p, int64(i+1))
		}
		if again := NewOutlook(in).Propose(r, start.Add(-time.Microsecond), utc(t, "2027-06-01")); len(again) != 0 {
			rt.Fatalf("evaluated twice: %v raised again", lines(again))
		}
	})
}

func TestTriggersInWords(t *testing.T) {
	for _, tt := range []struct {
		want    string
		trigger Trigger
	}{
		{"every Tuesday at 06:00", Trigger{Kind: TriggerCron, Cron: "0 6 * * 2"}},
		{"every day at 22:30", Trigger{Kind: TriggerCron, Cron: "30 22 * * *"}},
		{"Monday to Friday at 06:00", Trigger{Kind: TriggerCron, Cron: "0 6 * * 1-5"}},
		{"on day 31 of every month at 06:00", Trigger{Kind: TriggerCron, Cron: "0 6 31 * *"}},
		{"cron 0 6,14,22 * * *", Trigger{Kind: TriggerCron, Cron: "0 6,14,22 * * *"}},
		{"every 8 weeks", Trigger{Kind: TriggerInterval, Every: 8, Unit: "week", CountedFrom: FromPlan}},
		{"48 months after it was made", Trigger{Kind: TriggerInterval, Every: 48, Unit: "month", CountedFrom: FromMade}},
		{"3\u00a0000 running hours since last done", Trigger{Kind: TriggerHours, Hours: 3000, CountedFrom: FromCompletion}},
		{"every 1\u00a0000 passes since made", Trigger{Kind: TriggerPasses, Passes: 1000, Repeats: true}},
		{"24 h after splice made", Trigger{Kind: TriggerEvent, Event: EventSpliceMade, AfterHours: 24}},
		{"finding of grade 3 or more", Trigger{Kind: TriggerGrade, Grade: 3}},
		{"take-up leaves fewer than 2 re-splices", Trigger{Kind: TriggerTakeUp, ResplicesLeft: 2}},
	} {
		if got := tt.trigger.Words(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// What an editor holds half typed is previewed too; it may raise nothing, but it must not break.
func TestAHalfTypedRuleBreaksNothing(t *testing.T) {
	in := eventful(t)
	numbers := []float64{0, -1, 1e-300, 1e300, math.NaN(), math.Inf(1), 400}
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.SampledFrom([]string{"", "day", "months", "0 6 * * 1", "0 0 30 2 *", "CRON_TZ=UTC", "@every 1s", "25:61", "plan", "made", "completion", "2026-02-30", "9999-12-31", "\x00"})
		number := func(name string) float64 { return rapid.SampledFrom(numbers).Draw(rt, name) }
		whole := func(name string) int {
			return rapid.SampledFrom([]int{0, -1, 1, 40, 400, 1 << 40}).Draw(rt, name)
		}
		r := rule(1, in.Now, Scope{Target: TargetKind(rapid.SampledFrom([]string{"", "splice", "belt", "conveyor", "line", "plant", "finding", "roof"}).Draw(rt, "target")), UsedFrom: number("used")},
			Trigger{Kind: rapid.SampledFrom([]TriggerKind{"", TriggerCron, TriggerInterval, TriggerHours, TriggerPasses, TriggerEvent, TriggerGrade, TriggerTakeUp}).Draw(rt, "kind"),
				Cron: text.Draw(rt, "cron"), Every: whole("every"), Unit: text.Draw(rt, "unit"), CountedFrom: text.Draw(rt, "from"), AnchorDay: assets.Day(text.Draw(rt, "anchor")),
				TimeOfDay: text.Draw(rt, "time"), Hours: number("hours"), Passes: number("passes"), Repeats: rapid.Bool().Draw(rt, "repeats"), Event: text.Draw(rt, "event"),
				AfterHours: number("after"), RunningHours: rapid.Bool().Draw(rt, "running"), Grade: whole("grade"), ResplicesLeft: whole("left")}, "")
		r.Template.LeadDays, r.Template.LatestDays = whole("lead"), whole("latest")
		look := NewOutlook(in)
		p := look.Preview(&r, r)
		if p.Stands != p.Edited {
			rt.Fatalf("the same rule counts %+v and %+v", p.Stands, p.Edited)
		}
		if r.Trigger.Words() == "" || r.Scope.Words() == "" {
			rt.Fatalf("no words for %+v", r)
		}
		look.Doubts([]Rule{r})
	})
}

func TestScopesInWords(t *testing.T) {
	outdoor := false
	for _, tt := range []struct {
		want  string
		scope Scope
	}{
		{"every splice", Scope{}},
		{"every belt, indoor", Scope{Target: TargetBelt, Outdoor: &outdoor}},
		{"hot vulcanised splices, life used 80 % or more", Scope{Bonds: []assets.Bond{assets.BondHotVulcanised}, UsedFrom: 0.8}},
		{"mechanical splices", Scope{Forms: []assets.Form{assets.FormBoltedPlate, assets.FormHinged, assets.FormHook, assets.FormMechanical}}},
		{"splices with hinged or hook fasteners, on 2 lines", Scope{Forms: []assets.Form{assets.FormHinged, assets.FormHook}, Lines: []int64{1, 2}}},
		{"hot vulcanised, stepped or butt splices", Scope{Forms: []assets.Form{assets.FormStepped, assets.FormButt}, Bonds: []assets.Bond{assets.BondHotVulcanised}}},
		{"RB-EP or RB-NN belts", Scope{Target: TargetBelt, Families: []string{"RB-EP", "RB-NN"}}},
		{"finger splices in LT-PVC belts", Scope{Forms: []assets.Form{assets.FormFinger}, Families: []string{"LT-PVC"}}},
		{"every splice, age not known", Scope{AgeUnknown: true}},
	} {
		if got := tt.scope.Words(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// A rule that begins today is shown as if it had been in force for the last year too: its planned dates go on backwards.
func TestPreviewOfARuleThatBeginsToday(t *testing.T) {
	in := terminal(t, "2026-11-25T06:40")
	for name, tt := range map[string]struct {
		trigger    Trigger
		last, next int // of one conveyor
	}{
		"every 4 weeks":          {Trigger{Kind: TriggerInterval, Every: 4, Unit: "week", CountedFrom: FromPlan, AnchorDay: "2026-11-25", TimeOfDay: "06:00"}, 14, 13},
		"monthly from the 30th":  {Trigger{Kind: TriggerInterval, Every: 1, Unit: "month", CountedFrom: FromPlan, AnchorDay: "2026-11-30", TimeOfDay: "06:00"}, 12, 12},
		"every 5 months":         {Trigger{Kind: TriggerInterval, Every: 5, Unit: "month", CountedFrom: FromPlan, AnchorDay: "2026-12-01", TimeOfDay: "06:00"}, 2, 3},
		"begun years ago, as is": {Trigger{Kind: TriggerInterval, Every: 1, Unit: "year", CountedFrom: FromPlan, AnchorDay: "2019-03-01", TimeOfDay: "06:00"}, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := rule(1, in.Now, Scope{Conveyors: []int64{in.Conveyors[0].ID}, Target: TargetConveyor}, tt.trigger, workorder.KindInspection)
			if p := NewOutlook(in).Preview(nil, r); p.Edited != (Counts{tt.last, tt.next}) {
				t.Errorf("%+v, want %d and %d", p.Edited, tt.last, tt.next)
			}
		})
	}
}
