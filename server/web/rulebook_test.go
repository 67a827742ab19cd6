package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// fourWeekly is a rule of the plant: a look at every conveyor's belt each four weeks from a Tuesday on.
func fourWeekly() rules.Rule {
	r := rules.Rule{PlantID: 3, CustomerID: 1, Name: "Walk the belts", Class: assets.ClassP, EditVersion: 2,
		Scope:    rules.Scope{Target: rules.TargetConveyor, Lines: []int64{1}},
		Trigger:  rules.Trigger{Kind: rules.TriggerInterval, Every: 8, Unit: "week", CountedFrom: rules.FromPlan, AnchorDay: "2020-01-07", TimeOfDay: "06:00"},
		Template: rules.Template{Kind: workorder.KindInspection, Title: "walk {conveyor}", LatestDays: 7, WorkHours: 0.5, Crew: 1}}
	r.ID = 6
	return r
}

func companyRule() rules.Rule {
	r := fourWeekly()
	r.ID, r.PlantID, r.CustomerID, r.Name, r.Class, r.Source = 7, 0, 0, "Close look", assets.ClassD, "common practice"
	return r
}

func (o *fakeOffice) RulesOf(context.Context, assets.Scope, int64) ([]rules.Rule, error) {
	return []rules.Rule{fourWeekly(), companyRule()}, nil
}

func (o *fakeOffice) RuleOf(ctx context.Context, scope assets.Scope, plantID, id int64) (rules.Rule, error) {
	all, _ := o.RulesOf(ctx, scope, plantID)
	for _, r := range all {
		if r.ID == id {
			return r, nil
		}
	}
	return rules.Rule{}, assets.ErrNotFound
}

func (o *fakeOffice) RaisedSince(context.Context, assets.Scope, int64, time.Time) (map[int64]int, error) {
	return map[int64]int{6: 4}, nil
}

func (o *fakeOffice) Outlook(_ context.Context, _ assets.Scope, _ int64, now time.Time) (*rules.Outlook, error) {
	reg := o.plant.fleet.Register
	return rules.NewOutlook(rules.Inputs{Now: now, Plant: reg.Plant, Lines: reg.Lines, Conveyors: reg.Conveyors, Belts: reg.Belts, Splices: reg.Splices,
		Families: map[int64]string{1: "RB-EP"}}), nil
}

func (o *fakeOffice) SaveRule(_ context.Context, _ assets.Scope, act Act, _ int64, r *rules.Rule) error {
	return o.change(act, *r)
}

// filledForm is what a browser would send of a page's form when nothing is touched.
func filledForm(d *goquery.Document) url.Values {
	form := url.Values{}
	d.Find("main form [name]").Each(func(_ int, s *goquery.Selection) {
		name := s.AttrOr("name", "")
		switch {
		case s.Is("button"):
		case s.Is("select"):
			chosen := s.Find("option[selected]")
			if chosen.Length() == 0 {
				chosen = s.Find("option").First()
			}
			form.Set(name, chosen.AttrOr("value", ""))
		case s.Is("textarea"):
			form.Set(name, s.Text())
		case s.Is("[type=checkbox], [type=radio]"):
			if _, checked := s.Attr("checked"); checked {
				form.Set(name, s.AttrOr("value", ""))
			}
		default:
			form.Set(name, s.AttrOr("value", ""))
		}
	})
	return form
}

// TestListOfRules: every 8 weeks (56 days) from Tuesday 7 January 2020 plans 3 to 15 Dec 2026, 9 Feb, 6 Apr,
// 1 Jun, 27 Jul, 21 Sep, 16 Nov 2027: seven in the year after 25 Nov 2026, for each of three conveyors
// (counted by hand from the calendar).
func TestListOfRules(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/rules")
	if got := text(d, "tbody tr td:nth-child(6)"); got != "21" {
		t.Errorf("next year %q", got)
	}
	if got := text(d, "tbody tr td:nth-child(5)"); got != "4" {
		t.Errorf("last year %q", got)
	}
	if got := text(d, "h1"); got != "2 rules raise up to 21 orders and 21 reminders in the next year" {
		t.Errorf("headline %q", got)
	}
	if got := text(d, "tbody tr:nth-child(2) td:nth-child(4)"); !strings.HasPrefix(got, "reminder only") {
		t.Errorf("a rule of thumb raises %q", got)
	}
}

func TestWhatRulesSay(t *testing.T) {
	for _, tt := range []struct {
		n, orders, reminders int
		want                 string
	}{
		{0, 0, 0, "No rule looks at this plant, so nothing is raised by itself"},
		{1, 1, 0, "1 rule raises up to 1 order in the next year"},
		{3, 0, 2, "3 rules raise up to 0 orders and 2 reminders in the next year"},
	} {
		if got := strings.ReplaceAll(rulesSay(tt.n, tt.orders, tt.reminders), nb, " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// TestRuleIsShownBeforeItIsSaved edits 8 weeks to 4: twice as often, 7 more planned dates ahead for each of
// three conveyors less the one that falls outside; the strip has a blue stroke for each and the table agrees.
func TestRuleIsShownBeforeItIsSaved(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/rules/6"
	d := v.get(path)
	if d.Find("button[name=save]").Length() != 0 {
		t.Error("saving is offered before anything was edited")
	}
	form := filledForm(d)
	form.Set("every", "4")
	form.Set("save", "yes")
	d = v.post(path, form, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); !strings.HasPrefix(got, "The figures were of an earlier state") || len(f.office().acts) != 0 {
		t.Errorf("saved unseen: %q", got)
	}
	form.Del("save")
	form.Set("show", "yes")
	d = v.post(path, form, http.StatusOK)
	next := text(d, "table:not(.stackt) tbody tr:nth-child(2)")
	if next != "Next year21 orders39 orders18 more, at the running hours as they go today" {
		t.Errorf("sums say %q", next)
	}
	if got := text(d, "h1"); got != "As edited it raises 18 more in the next year: 39 orders instead of 21" {
		t.Errorf("headline %q", got)
	}
	total := 0
	d.Find("details table tbody tr td:last-child").Each(func(_ int, s *goquery.Selection) { total += int(numberOf(s.Text())) })
	if total != 39 {
		t.Errorf("the table adds up to %d", total)
	}
	if d.Find("section svg .actl").Length() < 3 || d.Find("section svg .st-ink").Length() < 3 {
		t.Error("the strip lacks its strokes")
	}
	form = filledForm(d)
	form.Set("save", "yes")
	v.taken(path, form)
	got := one[rules.Rule](t, f.office())
	if got.ID != 6 || got.Trigger.Every != 4 || got.EditVersion != 2 || got.StartsAt != assets.InstantOf(morning) || len(got.Scope.Lines) != 1 || got.Scope.Target != rules.TargetConveyor {
		t.Errorf("kept %+v", got)
	}
}

func TestARuleThatCannotBeComesBack(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	base := url.Values{"name": {""}, "target": {"conveyor"}, "conveyors": {"Q1, Z9"}, "kind": {"cron"}, "cron": {"every day"}, "order_kind": {"inspection"}, "show": {"yes"}}
	v.refused("/plants/3/rules/new", base, "conveyors")
	base.Set("conveyors", "Q1")
	v.refused("/plants/3/rules/new", base, "name", "cron")
	v.refused("/plants/3/rules/new", url.Values{"name": {"x"}, "target": {"splice"}, "kind": {"hours"}, "hours": {"0"}, "hours_from": {"plan"}, "order_kind": {"inspection"}}, "hours", "hours_from")
	v.refused("/plants/3/rules/new", url.Values{"name": {"x"}, "target": {"splice"}, "kind": {"take-up"}, "resplices_left": {"99"}, "order_kind": {"inspection"}}, "resplices_left")
}

// TestARefusedRuleIsNotWorkedOut posts a cron expression of every minute, which would plan a million dates for each
// target: the page shows the rule as it stands, of a new one nothing.
func TestARefusedRuleIsNotWorkedOut(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	form := filledForm(v.get("/plants/3/rules/6"))
	form.Set("kind", "cron")
	form.Set("cron", "* * * * *")
	form.Set("show", "yes")
	d := v.post("/plants/3/rules/6", form, http.StatusUnprocessableEntity)
	if got := text(d, "table:not(.stackt) tbody tr:nth-child(2)"); !strings.HasPrefix(got, "Next year21 orders21 orders") {
		t.Errorf("of a rule that stands: %q", got)
	}
	form.Set("name", "each minute")
	d = v.post("/plants/3/rules/new", form, http.StatusUnprocessableEntity)
	if n := d.Find("table").Length(); n != 0 || !strings.Contains(text(d, "p.note"), "once the rule can be worked out") {
		t.Errorf("of a new rule: %d tables, note %q", n, text(d, "p.note"))
	}
}

func TestANewCronRule(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"name": {"Tuesday round"}, "target": {"plant"}, "kind": {"cron"}, "cron": {"0 6 * * 2"}, "order_kind": {"inspection"}, "show": {"yes"}, "class": {"P"}}
	d := v.post("/plants/3/rules/new", form, http.StatusOK)
	// 1 Dec 2026 to 23 Nov 2027 are 52 Tuesdays; 26 Nov 2025 to 24 Nov 2026 another 52.
	if got := text(d, "h1"); got != "This rule will raise 52 orders in the next year; in the last it would have raised 52" {
		t.Errorf("headline %q", got)
	}
	form = filledForm(d)
	form.Set("save", "yes")
	v.taken("/plants/3/rules/new", form)
	if got := one[rules.Rule](t, f.office()); got.ID != 0 || got.PlantID != 3 || got.Trigger.Cron != "0 6 * * 2" || got.SavedBy != 1 {
		t.Errorf("kept %+v", got)
	}
}

func TestARuleOfEveryPlantTakesAGrantForAll(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/rules/7")
	form := filledForm(d)
	form.Set("every", "1")
	form.Set("show", "yes")
	d = v.post("/plants/3/rules/7", form, http.StatusOK)
	if d.Find("button[name=save]").Length() != 0 || !strings.Contains(text(d, ".note.chalk"), "every plant") {
		t.Error("a planner of one plant is offered to change a rule of all")
	}
	form = filledForm(d)
	form.Set("save", "yes")
	v.post("/plants/3/rules/7", form, http.StatusUnprocessableEntity)
	if len(f.office().acts) != 0 {
		t.Error("it was kept")
	}
}

// TestAnUntouchedRuleStaysTheSame shows every rule that a company begins with in the editor and reads it back.
func TestAnUntouchedRuleStaysTheSame(t *testing.T) {
	f := skarrow()
	reg := f.fleet.Register
	r := &Request{F: Format{Zone: time.UTC, Now: morning}, Now: morning}
	all := append(rules.Defaults(morning), fourWeekly(), companyRule())
	for _, rule := range all {
		posted := url.Values{}
		for _, fd := range newRuleForm(NewForm(nil), rule, reg).Fields {
			posted.Set(fd.Name, fd.Value)
		}
		form := newRuleForm(NewForm(posted), rule, reg)
		for _, fd := range form.Fields {
			if fd.Kind == "select" && fd.Value != "" && !slices.ContainsFunc(fd.Options, func(o Option) bool { return o.Chosen }) {
				t.Errorf("%s: %s shows no choice for %q", rule.Name, fd.Name, fd.Value)
			}
		}
		e := r.entry(form.Form)
		got := e.rule(rule, reg)
		if err := e.Err(); err != nil {
			t.Errorf("%s: %v", rule.Name, err)
		}
		if rule.Scope.Target == "" {
			rule.Scope.Target = rules.TargetSplice
		}
		slices.Sort(rule.Scope.Families)
		slices.Sort(got.Scope.Families)
		if diff := cmp.Diff(rule.Scope, got.Scope, cmpopts.EquateEmpty(), cmpopts.EquateApprox(0, 1e-12)); diff != "" {
			t.Errorf("%s: scope %s", rule.Name, diff)
		}
		if diff := cmp.Diff(rule.Trigger, got.Trigger, cmpopts.EquateEmpty()); diff != "" && !(rule.Trigger.CountedFrom == "" && got.Trigger.CountedFrom == rules.FromMade) {
			t.Errorf("%s: trigger %s", rule.Name, diff)
		}
		if diff := cmp.Diff(rule.Template, got.Template); diff != "" {
			t.Errorf("%s: order %s", rule.Name, diff)
		}
	}
}
