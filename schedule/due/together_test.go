package due_test

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/life"
	"carryside/schedule/rules"
)

// together is the grain plant's splice as screens, reports and programs tell it.
func together(t *testing.T, rs []rules.Rule, m due.LifeModel) (due.Standing, due.Forecast) {
	t.Helper()
	reg, clocks := grainPlant()
	now := local("2026-11-25T12:00")
	f := due.Forecasts(now, reg, rs, clocks, m)
	got := due.Together(now, reg.Plant, due.Plant(now, reg, rs, clocks), f)
	if len(got) != 1 {
		t.Fatalf("%d standings", len(got))
	}
	return got[0], f[0]
}

// Whatever sets it, there is one date: that of the standing is the one recommended, its reason the binding one.
func TestOneDateWhateverSetsIt(t *testing.T) {
	now := local("2026-11-25T12:00")
	dear := func(*assets.Splice) (due.Cost, bool) {
		return due.Cost{Costs: life.Costs{Planned: 40_000, Unplanned: 400_000}}, true
	}
	trend := func(days int) map[int64][]due.Crossing {
		return map[int64][]due.Crossing{30: {{Words: "splice gap", Class: assets.ClassB, At: now.AddDate(0, 0, days), Spread: 24 * time.Hour}}}
	}
	finding := map[int64]due.Demand{30: {By: now.AddDate(0, 0, 7), Words: "finding, grade 3"}}
	for name, tt := range map[string]struct {
		rules   []rules.Rule
		m       due.LifeModel
		by      string
		reason  string
		limitID int64 // what life used is held against; -1: nothing
		overdue bool
	}{
		"a rule":                               {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{}, due.ByRule, "339\u00a0012 of 364\u00a0000 passes", 7, false},
		"a rule of thumb before it":            {[]rules.Rule{passesLimit(7, 364_000), thumb(monthsLimit(8, 36))}, due.LifeModel{}, due.ByRule, "339\u00a0012 of 364\u00a0000 passes", 7, false},
		"a rule of thumb alone":                {[]rules.Rule{thumb(monthsLimit(8, 36))}, due.LifeModel{}, "", "no rule that binds", -1, false},
		"a best age, past":                     {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{Laws: []cohort.Law{grainLaw(t)}, Cost: dear}, due.ByBestAge, "best age ", 0, true},
		"a trend before the rule":              {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{Trends: trend(30)}, due.ByTrend, "splice gap", 7, false},
		"a trend past its limit":               {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{Trends: trend(-3)}, due.ByTrend, "splice gap", 7, true},
		"a trend after the rule":               {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{Trends: trend(90)}, due.ByRule, "339\u00a0012 of", 7, false},
		"a trend where no rule is":             {nil, due.LifeModel{Trends: trend(90)}, due.ByTrend, "splice gap", -1, false},
		"a finding before all":                 {[]rules.Rule{passesLimit(7, 364_000)}, due.LifeModel{Trends: trend(30), Findings: finding}, due.ByFinding, "finding, grade 3", 7, false},
		"a rule long past, a best age as well": {[]rules.Rule{passesLimit(7, 300_000)}, due.LifeModel{Laws: []cohort.Law{grainLaw(t)}, Cost: dear}, due.ByRule, "339\u00a0012 of 300\u00a0000 passes", 0, true},
	} {
		t.Run(name, func(t *testing.T) {
			st, f := together(t, tt.rules, tt.m)
			if st.DueDay != f.Advice.Day || !st.DueAt.Equal(f.Advice.At) || !f.Advice.At.IsZero() && (st.Reason != f.Advice.Reason || st.By != f.Advice.By) {
				t.Errorf("the standing says %s by %q, %q; recommended is %s by %q, %q", st.DueDay, st.By, st.Reason, f.Advice.Day, f.Advice.By, f.Advice.Reason)
			}
			if st.By != tt.by || !strings.HasPrefix(st.Reason, tt.reason) || st.Overdue != tt.overdue {
				t.Errorf("by %q, %q, overdue %v", st.By, st.Reason, st.Overdue)
			}
			switch {
			case tt.limitID < 0 && (st.Limit != nil || st.Used.Known), tt.limitID >= 0 && (st.Limit == nil || st.Limit.RuleID != tt.limitID || !st.Used.Known):
				t.Errorf("life used %+v against %+v, want rule %d", st.Used, st.Limit, tt.limitID)
			}
		})
	}
}

// A best age that rests on a borrowed shape does not take the place of a rule that is passed: the rule asks for an order.
func TestABestAgeByRuleOfThumbDoesNotHideARulePassed(t *testing.T) {
	law := grainLaw(t)
	cost := func(*assets.Splice) (due.Cost, bool) {
		return due.Cost{Costs: life.Costs{Planned: 40_000, Unplanned: 4_000_000}}, true
	}
	rs := []rules.Rule{passesLimit(7, 330_000)}
	for class, want := range map[assets.Class]int64{assets.ClassC: 0, assets.ClassD: 7} {
		law.Class = class
		st, _ := together(t, rs, due.LifeModel{Laws: []cohort.Law{law}, Cost: cost})
		if st.Limit == nil || st.Limit.RuleID != want || st.Band != due.BandPastRule || !st.Overdue {
			t.Errorf("class %s: held against %+v, band %q", class, st.Limit, st.Band)
		}
	}
}
