package rules

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

func trendRule(sc Scope, quantity string) Rule {
	r := rule(9, time.Time{}, sc, Trigger{Kind: TriggerTrend, Quantity: quantity}, workorder.KindResplice)
	r.StartsAt, r.Template.LeadDays = 1, 28
	return r
}

// A seam that opens is raised its lead before the crossing less its margin, under a key that no later measurement changes: when
// the date moves, the order stands.
func TestAnOpeningSeamIsRaisedBeforeItsLimit(t *testing.T) {
	in := terminal(t, "2026-11-25T12:00:00Z")
	end := TrendEnd{SpliceID: 32, BeltID: in.Splices[1].BeltID, Quantity: "splice gap", Limit: "4 mm", At: utc(t, "2027-01-10T08:00"), Class: assets.ClassB,
		Words: "splice gap 3.1 mm on 20 Nov 2026, growing 0.5 mm a month over 5 measurements, limit 4 mm"}
	in.Trends = []TrendEnd{end}
	if ps := NewOutlook(in).Propose(trendRule(Scope{}, ""), time.Time{}, in.Now); len(ps) != 0 {
		t.Errorf("raised 46 days ahead with a lead of 28: %v", lines(ps))
	}
	due := utc(t, "2026-12-20T08:00")
	for _, moved := range []time.Duration{0, -72 * time.Hour} {
		in.Trends[0].At = due.Add(moved)
		ps := NewOutlook(in).Propose(trendRule(Scope{}, "splice gap"), time.Time{}, in.Now)
		if len(ps) != 1 || ps[0].Reminder() || ps[0].Target.SpliceID != 32 || ps[0].Cycle != "splice gap limit 4 mm" || !ps[0].DueAt.Equal(in.Trends[0].At) {
			t.Fatalf("%v", lines(ps))
		}
		if !strings.Contains(ps[0].Why, "growing 0.5 mm a month over 5 measurements") {
			t.Errorf("says %q without its numbers", ps[0].Why)
		}
	}
	if ps := NewOutlook(in).Propose(trendRule(Scope{}, "hardness"), time.Time{}, in.Now); len(ps) != 0 {
		t.Errorf("a rule about hardness raises on a gap: %v", lines(ps))
	}
	in.Trends[0].Class = assets.ClassD
	if ps := NewOutlook(in).Propose(trendRule(Scope{}, ""), time.Time{}, in.Now); len(ps) != 1 || !ps[0].Reminder() {
		t.Errorf("a limit by rule of thumb orders: %v", lines(ps))
	}
}

// What is measured on a belt is no matter of its splices; a take-up starts again with the re-splice.
func TestACoverThatWearsAndATakeUpThatFills(t *testing.T) {
	in := terminal(t, "2026-11-25T12:00:00Z")
	belt := in.Splices[0].BeltID
	for _, q := range []string{"cover thickness", TakeUpTravel} {
		in.Trends = append(in.Trends, TrendEnd{BeltID: belt, Quantity: q, Limit: "2 mm", At: in.Now.AddDate(0, 0, 7), Class: assets.ClassA, Words: q})
	}
	if ps := NewOutlook(in).Propose(trendRule(Scope{}, ""), time.Time{}, in.Now); len(ps) != 0 {
		t.Errorf("splices: %v", lines(ps))
	}
	ps := NewOutlook(in).Propose(trendRule(Scope{Target: TargetBelt}, ""), time.Time{}, in.Now)
	if len(ps) != 2 || ps[0].Target.ID != belt || ps[0].Cycle == ps[1].Cycle || !strings.Contains(ps[0].Cycle+ps[1].Cycle, "after splice ") {
		t.Errorf("belts: %v", lines(ps))
	}
}

func TestATrendRuleOnWhatIsNotMeasuredThereIsRefused(t *testing.T) {
	for field, r := range map[string]Rule{
		"target":   trendRule(Scope{Target: TargetConveyor}, ""),
		"quantity": trendRule(Scope{}, "weight"),
	} {
		wrong := assets.Invalid{}
		checkTrend(r.Trigger, r.Scope, wrong)
		if wrong[field] == "" {
			t.Errorf("%s: %v", field, wrong)
		}
	}
	for _, r := range []Rule{trendRule(Scope{Target: TargetBelt}, "splice gap"), trendRule(Scope{}, TakeUpTravel)} {
		wrong := assets.Invalid{}
		if checkTrend(r.Trigger, r.Scope, wrong); wrong["target"] == "" {
			t.Errorf("%s of %s is taken", r.Trigger.Quantity, r.Scope.Target)
		}
	}
}

// By hand: a best age of 1 000 days has 80 % used at 800, a rule of 1 460 days (four years) at 1 168; whichever is reached first
// decides. A thin cohort's best age does not stand in the place of a rule that is passed.
func TestLifeUsedIsOfTheBestAgeWhereItComesFirst(t *testing.T) {
	in := terminal(t, "2026-11-25T12:00:00Z")
	s := in.Splices[1]
	made := s.Made.At.Time()
	best := func(days float64, class assets.Class) SpliceLife {
		at := func(share float64) time.Time { return made.Add(time.Duration(days * share * 24 * float64(time.Hour))) }
		return SpliceLife{BestAt: at(1), Share: at, Class: class}
	}
	years := rule(1, time.Time{}, Scope{}, Trigger{Kind: TriggerInterval, Every: 4, Unit: "year", CountedFrom: FromMade}, workorder.KindResplice)
	for _, c := range []struct {
		name string
		life SpliceLife
		rs   []Rule
		days float64
	}{
		{"the best age alone", best(1000, assets.ClassC), nil, 800},
		{"the best age first", best(1000, assets.ClassC), []Rule{years}, 800},
		{"the rule first", best(4000, assets.ClassC), []Rule{years}, 0.8 * 1461},
		{"a thin cohort's long passed, the rule not", best(100, assets.ClassD), []Rule{years}, 80},
	} {
		in.Rules, in.Lives = c.rs, map[int64]SpliceLife{s.ID: c.life}
		at, ok := NewOutlook(in).lifeUsedReaches(&s, 0.8, in.Now.AddDate(20, 0, 0))
		if got := at.Sub(made).Hours() / 24; !ok || got < c.days-1 || got > c.days+1 {
			t.Errorf("%s: 80 %% used after %.1f days (%v), want %.1f", c.name, got, ok, c.days)
		}
	}
	in.Lives = map[int64]SpliceLife{}
	in.Rules = nil
	if _, ok := NewOutlook(in).lifeUsedReaches(&s, 0.8, in.Now); ok {
		t.Error("without a rule and a best age a share is known")
	}
}
