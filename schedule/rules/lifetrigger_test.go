package rules

import (
	"math"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// wearing is a life of a thousand days' scale and shape 3 counted in days: S(t) = exp(-(t/1000)^3).
func wearing(made time.Time, class assets.Class) SpliceLife {
	alive := func(t time.Time) float64 { return math.Exp(-math.Pow(max(0, t.Sub(made).Hours()/24)/1000, 3)) }
	return SpliceLife{Class: class, Rests: "23 failures among 412 lives of its cohort", Best: "640 days", BestAt: made.AddDate(0, 0, 640),
		Within: func(from, to time.Time) float64 { return 1 - alive(to)/alive(from) }}
}

// worn is the terminal with lives for the three dated splices and a stop of 14 hours every four weeks.
func worn(t *testing.T, now string) Inputs {
	in := terminal(t, now)
	in.Lives = map[int64]SpliceLife{}
	for _, s := range in.Splices {
		in.Lives[s.ID] = wearing(s.Made.At.Time(), assets.ClassC)
	}
	for at := utc(t, "2025-11-01T06:00"); at.Before(utc(t, "2028-11-01")); at = at.AddDate(0, 0, 28) {
		in.Windows = append(in.Windows, assets.StopWindow{Start: assets.InstantOf(at), End: assets.InstantOf(at.Add(14 * time.Hour))})
	}
	return in
}

func lifeRule(chance float64) Rule {
	r := rule(7, time.Time{}, Scope{}, Trigger{Kind: TriggerLife, Chance: chance}, workorder.KindResplice)
	r.StartsAt = 1
	return r
}

// Q3 splice 1 is 1 660 days old. The stops are on 28 November and 26 December 2026. By hand: S(age) = exp(-(1660.1/1000)^3) =
// 0.01032, 31 days on exp(-(1691.2/1000)^3) = 0.00793: a chance of 23 % of failing before the stop after next. Splice 2 (268
// days, then 299: 1 - exp(0.01927 - 0.02677)) has 0.7 %, L1 splice 1 (55 days) less.
func TestWhatIsLikelyToFailBeforeTheStopAfterNext(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	ps := NewOutlook(in).Propose(lifeRule(0.1), time.Time{}, in.Now)
	if len(ps) != 1 || ps[0].Target.SpliceID != 31 || ps[0].Cycle != "splice 31" {
		t.Fatalf("%v", lines(ps))
	}
	p := ps[0]
	if !p.DueAt.Equal(utc(t, "2026-11-28T06:00")) || p.Reminder() || !p.RaiseAt.Equal(in.Now) {
		t.Errorf("due %v, raised %v, a reminder: %v; want the next stop, now, an order", p.DueAt, p.RaiseAt, p.Reminder())
	}
	want := "rule under test: chance of 23\u00a0% of failing before the stop after next, "
	if !strings.HasPrefix(p.Why, want) || !strings.Contains(p.Why, "limit 10\u00a0%; by 23 failures among 412 lives of its cohort, class C") {
		t.Errorf("says %q, want %q", p.Why, want)
	}
}

func TestAThinCohortOnlyReminds(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	in.Lives[31] = wearing(in.Splices[0].Made.At.Time(), assets.ClassD)
	for _, r := range []Rule{lifeRule(0.1), {Version: assets.Version{ID: 8}, Class: assets.ClassP, StartsAt: 1, Trigger: Trigger{Kind: TriggerLife, BestAge: true}, Template: Template{Kind: workorder.KindResplice}}} {
		ps := NewOutlook(in).Propose(r, time.Time{}, in.Now)
		if len(ps) != 1 || !ps[0].Reminder() || !strings.Contains(ps[0].Why, "too few for more than a reminder (class D)") {
			t.Errorf("%s: %v", r.Trigger.Words(), lines(ps))
		}
	}
}

func TestTheBestAgeRaisesItsLeadBefore(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	r := lifeRule(0)
	r.Trigger.BestAge, r.Template.LeadDays = true, 28
	o := NewOutlook(in)
	now := o.Propose(r, time.Time{}, in.Now)
	if len(now) != 1 || now[0].Target.SpliceID != 31 {
		t.Fatalf("now: %v", lines(now))
	}
	later := o.Propose(r, in.Now, in.Now.AddDate(2, 0, 0))
	if len(later) != 2 || later[0].Target.SpliceID != 32 || later[0].DueAt.Sub(later[0].RaiseAt).Round(24*time.Hour) != 28*24*time.Hour {
		t.Errorf("later: %v", lines(later))
	}
}

func TestOneSpliceIsRaisedOnceUntilItIsReplaced(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	r := lifeRule(0.1)
	raised(&in, NewOutlook(in).Propose(r, time.Time{}, in.Now)[0], 501)
	for _, days := range []int{0, 1, 40, 400} {
		in.Now = utc(t, "2026-11-25T12:00:00Z").AddDate(0, 0, days)
		for _, p := range NewOutlook(in).Propose(r, time.Time{}, in.Now) {
			if p.Target.SpliceID == 31 {
				t.Errorf("%d days on it is raised again: %s", days, p.Why)
			}
		}
	}
	next := in.Splices[0]
	next.ID, next.Made = 41, on(t, oslo, "2024-01-02")
	in.Splices, in.Now = append(in.Splices, next), utc(t, "2026-11-25T12:00:00Z")
	in.Lives[41] = wearing(next.Made.At.Time(), assets.ClassC)
	if ps := NewOutlook(in).Propose(lifeRule(0.05), time.Time{}, in.Now); len(ps) != 1 || ps[0].Target.SpliceID != 41 {
		t.Errorf("after its replacement: %v", lines(ps))
	}
}

// With no stop planned ninety days are looked ahead: 1 - S(1750.1)/S(1660.1) = 54 %.
func TestWithoutStopsNinetyDaysCount(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	in.Windows = nil
	ps := NewOutlook(in).Propose(lifeRule(0.5), time.Time{}, in.Now)
	if len(ps) != 1 || !strings.Contains(ps[0].Why, "90 days on: fewer than two stops are planned") || !strings.Contains(ps[0].Why, "chance of 54\u00a0%") {
		t.Errorf("%v", ps)
	}
}

// The hazard of S is 3 t^2 / 1000^3 a day; over two stops (up to 56 days) it reaches 10 % only after age 750 days.
func TestThePreviewOfALifeRuleLooksBothWays(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	o := NewOutlook(in)
	pre := o.Preview(nil, lifeRule(0.1))
	strokes := map[int64][]Stroke{}
	for _, row := range pre.Rows {
		strokes[row.Target.SpliceID] = row.Edited
	}
	if len(strokes[31]) != 1 || !strokes[31][0].Past {
		t.Errorf("splice 1, past it for a year: %+v", strokes[31])
	}
	if len(strokes[32]) != 0 || len(strokes[33]) != 0 {
		t.Errorf("young ones within a year: %+v, %+v", strokes[32], strokes[33])
	}
	if pre.AtOnce != 1 {
		t.Errorf("saving raises %d at once", pre.AtOnce)
	}
	// the first instant found is where the next evaluation is due: splice 2 in its third year, when no other is as old
	delete(in.Lives, 31)
	first, found := NewOutlook(in).First(lifeRule(0.1), in.Now, in.Now.AddDate(3, 0, 0))
	if age := first.Sub(in.Splices[1].Made.At.Time()).Hours() / 24; !found || age < 650 || age > 850 {
		t.Errorf("found: %v, at an age of %.0f days", found, age)
	}
}

func TestALifeRuleIsChecked(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(*Rule)
		field  string
	}{
		"no chance":           {func(r *Rule) { r.Trigger.Chance = 0 }, "chance"},
		"more than sure":      {func(r *Rule) { r.Trigger.Chance = 1.2 }, "chance"},
		"of a belt":           {func(r *Rule) { r.Scope.Target = TargetBelt }, "target"},
		"age not known":       {func(r *Rule) { r.Scope.AgeUnknown = true }, "target"},
		"the best age":        {func(r *Rule) { r.Trigger.Chance, r.Trigger.BestAge = 0, true }, ""},
		"ten per cent":        {func(*Rule) {}, ""},
		"not a number at all": {func(r *Rule) { r.Trigger.Chance = math.NaN() }, "chance"},
	} {
		r := lifeRule(0.1)
		tt.change(&r)
		err := Check(r)
		wrong, _ := err.(assets.Invalid)
		if (err != nil) != (tt.field != "") || tt.field != "" && wrong[tt.field] == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Stops that lie behind were not all written down: a preview of the past does not take the next one known now, a year and
// more on, for the next one of then. A splice of 300 days has 1 - exp(0.027 - 0.0593) = 3 % to fail in ninety days, but 60 %
// to fail in the 600 days to a stop of today's plan.
func TestAPreviewOfThePastDoesNotLookToStopsOfToday(t *testing.T) {
	in := worn(t, "2026-11-25T12:00:00Z")
	in.Windows = []assets.StopWindow{{Start: assets.InstantOf(utc(t, "2026-12-12T06:00")), End: assets.InstantOf(utc(t, "2026-12-12T20:00"))},
		{Start: assets.InstantOf(utc(t, "2027-03-12T06:00")), End: assets.InstantOf(utc(t, "2027-03-12T20:00"))}}
	made := utc(t, "2025-01-29T12:00")
	in.Splices[1].Made, in.Lives[32] = assets.Exactly(made, time.UTC), wearing(made, assets.ClassC)
	for _, row := range NewOutlook(in).Preview(nil, lifeRule(0.25)).Rows {
		if row.Target.SpliceID == 32 && len(row.Edited) > 0 && row.Edited[0].At.Before(utc(t, "2026-08-01")) {
			t.Errorf("raised %v", row.Edited[0].At)
		}
	}
}
