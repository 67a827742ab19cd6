package web

import (
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// ruleForm is the editor's form, in the groups in which the page shows it.
type ruleForm struct {
	*Form
	Head, Scope, Narrow, Kind, Raises, Rests []*Field
	Parts                                    []rulePart // the fields of each kind of trigger
}

// rulePart is the fields of one kind of trigger; the page shows those of the kind chosen.
type rulePart struct {
	Kind   rules.TriggerKind
	Fields []*Field
}

var targetKinds = []rules.TargetKind{rules.TargetSplice, rules.TargetBelt, rules.TargetConveyor, rules.TargetLine, rules.TargetPlant}

// triggerKinds are the triggers in the order the editor offers them, with what it calls them.
var triggerKinds = []struct {
	kind  rules.TriggerKind
	words string
}{
	{rules.TriggerInterval, "calendar, every n days, weeks or months"}, {rules.TriggerCron, "calendar, cron expression"},
	{rules.TriggerHours, "running hours"}, {rules.TriggerPasses, "splice passes"}, {rules.TriggerEvent, "after a splice or belt is new"},
	{rules.TriggerGrade, "finding of a grade"}, {rules.TriggerTakeUp, "take-up nearly used"},
	{rules.TriggerLife, "life: likely to fail, or best age"}, {rules.TriggerTrend, "trend about to pass its limit"},
	{rules.TriggerKit, "kit: limit of cycles or cuts, or calibration"}, {rules.TriggerStock, "stock below its reorder point"}, {rules.TriggerTicket, "ticket of somebody at home here ends"},
}

func newRuleForm(f *Form, rule rules.Rule, reg *assets.Register) *ruleForm {
	rf := &ruleForm{Form: f}
	t, sc := rule.Trigger, rule.Scope
	if sc.Target == "" {
		sc.Target = rules.TargetSplice
	}
	rf.Head = []*Field{f.Text("name", "Name", rule.Name).Must().OverBoth()}
	rf.Scope = []*Field{
		f.Select("target", "It looks at", string(sc.Target), choices("", targetKinds, func(k rules.TargetKind) string { return "each " + string(k) })),
		f.Number("used_from", "and life used from", plainNumber(sc.UsedFrom*100), "%").Hinted("Splices only; empty: whatever is used"),
	}
	rf.narrow(sc, reg)
	var kinds []Option
	for _, k := range triggerKinds {
		kinds = append(kinds, Option{Value: string(k.kind), Label: k.words})
	}
	rf.Kind = []*Field{f.Select("kind", "Trigger", string(t.Kind), kinds).OverBoth()}
	rf.triggers(t, reg.Plant.Zone)
	rf.template(rule)
	f.Hidden("version", plainInt(rule.EditVersion))
	return rf
}

// Narrowed tells whether the filter is used, or has something wrong in it: the page then shows it open.
func (rf *ruleForm) Narrowed() bool {
	return slices.ContainsFunc(rf.Form.Bad(), func(fd *Field) bool { return slices.Contains(rf.Narrow, fd) }) ||
		slices.ContainsFunc(rf.Narrow, func(fd *Field) bool { return fd.Value != "" })
}

// narrow is the filter over the register.
func (rf *ruleForm) narrow(sc rules.Scope, reg *assets.Register) {
	add := func(fields ...*Field) { rf.Narrow = append(rf.Narrow, fields...) }
	add(rf.Text("conveyors", "Conveyors", strings.Join(tagsOf(reg, sc.Conveyors), ", ")).Hinted("Tags, set apart by commas; empty: every one").OverBoth())
	for _, l := range reg.Lines {
		add(rf.Tick("line_"+plainInt(l.ID), "Line "+l.Name, slices.Contains(sc.Lines, l.ID)))
	}
	for _, form := range assets.Forms {
		add(rf.Tick("form_"+string(form), Capital(form.Words()), slices.Contains(sc.Forms, form)))
	}
	for _, b := range assets.Bonds {
		add(rf.Tick("bond_"+string(b), Capital(pick(b == assets.BondNone, "not bonded", b.Words())), slices.Contains(sc.Bonds, b)))
	}
	for _, name := range familiesOf(reg, sc.Families) {
		add(rf.Tick("family_"+name, "Belt family "+name, slices.Contains(sc.Families, name)))
	}
	yesNo := []Option{{Label: "does not matter"}, {Value: "yes", Label: "yes"}, {Value: "no", Label: "no"}}
	add(rf.Select("wash_down", "Washed down", yesNoValue(sc.WashDown), yesNo), rf.Select("outdoor", "Outdoors", yesNoValue(sc.Outdoor), yesNo),
		rf.Tick("age_unknown", "Only splices whose date is not known", sc.AgeUnknown))
}

func yesNoValue(b *bool) string {
	switch {
	case b == nil:
		return ""
	case *b:
		return "yes"
	}
	return "no"
}

func tagsOf(reg *assets.Register, ids []int64) []string {
	var tags []string
	for _, id := range ids {
		if c, ok := reg.Conveyor(id); ok {
			tags = append(tags, c.Tag)
		}
	}
	return tags
}

// familiesOf are the belt families of the catalogue and those a rule names already.
func familiesOf(reg *assets.Register, named []string) []string {
	out := slices.Clone(named)
	for _, s := range reg.Specifications {
		if s.Family != "" && !slices.Contains(out, s.Family) {
			out = append(out, s.Family)
		}
	}
	slices.Sort(out)
	return out
}

func (rf *ruleForm) triggers(t rules.Trigger, zone string) {
	part := func(kind rules.TriggerKind, fields ...*Field) { rf.Parts = append(rf.Parts, rulePart{kind, fields}) }
	units := []Option{{Value: "day", Label: "days"}, {Value: "week", Label: "weeks"}, {Value: "month", Label: "months"}, {Value: "year", Label: "years"}}
	counted := []Option{{Value: rules.FromPlan, Label: "the plan"}, {Value: rules.FromCompletion, Label: "when it was last done"}, {Value: rules.FromMade, Label: "when it was made or fitted"}}
	part(rules.TriggerInterval,
		rf.Number("every", "Every", plainWhole(t.Every), ""), rf.Select("unit", "Unit", t.Unit, units),
		rf.Select("counted_from", "Counted from", t.CountedFrom, counted), rf.Date("anchor_day", "First planned date", string(t.AnchorDay)).Hinted("When it counts from the plan"),
		rf.Text("time_of_day", "Raised at", t.TimeOfDay).Hinted("06:00; plant time, "+zone), rf.Tick("repeats", "Again and again", t.Repeats).Hinted("When it counts from the making: else once"))
	part(rules.TriggerCron, rf.Text("cron", "Cron expression", t.Cron).Hinted("Minute, hour, day, month, weekday: 0 6 * * 2 is Tuesdays at 06:00; plant time, "+zone).OverBoth())
	since, from := counted[1:], t.CountedFrom
	if from == "" || from == rules.FromPlan {
		from = rules.FromMade // what hours and passes count from where nothing is said
	}
	part(rules.TriggerHours, rf.Number("hours", "Running hours", plainNumber(t.Hours), "h"), rf.Select("hours_from", "Counted from", from, since),
		rf.Tick("hours_repeats", "Again after every further so many", t.Repeats))
	part(rules.TriggerPasses, rf.Number("passes", "Passes", plainNumber(t.Passes), "passes"), rf.Select("passes_from", "Counted from", from, since),
		rf.Tick("passes_repeats", "Again after every further so many", t.Repeats))
	part(rules.TriggerEvent, rf.Select("event", "After", t.Event, []Option{{Value: rules.EventSpliceMade, Label: rules.EventSpliceMade}, {Value: rules.EventBeltFitted, Label: rules.EventBeltFitted}}),
		rf.Number("after_hours", "Hours after it", plainNumber(t.AfterHours), "h"), rf.Tick("running_hours", "Running hours, not hours of the clock", t.RunningHours))
	part(rules.TriggerGrade, rf.Select("grade", "Grade, and worse", plainWhole(t.Grade), gradeOptions()), rf.Text("categories", "Kinds of finding", strings.Join(t.Categories, ", ")).Hinted("Set apart by commas; empty: every kind"))
	part(rules.TriggerLife, rf.Number("chance", "Chance of failing before the stop after next", lifeChance(t), "%").Hinted("Averaged over what the lives of its cohort leave open"),
		rf.Tick("best_age", "In its place: when the best age is reached", t.BestAge).Hinted("A cohort with fewer than five failures only reminds"))
	part(rules.TriggerTrend, rf.Select("quantity", "What is measured", t.Quantity, trendOptions()).Hinted("Three measurements make a trend; due its margin before the limit is met"))
	part(rules.TriggerKit, rf.Select("watches", "Watches", t.Watches, []Option{{Value: rules.KitLimit, Label: "counters at their limit"}, {Value: rules.KitCalibration, Label: "calibration dates"}}).Hinted("Let the rule look at the plant"))
	part(rules.TriggerTakeUp, rf.Number("resplices_left", "When fewer re-splices are left than", plainWhole(t.ResplicesLeft), "re-splices"))
}

// lifeChance is the chance of a life trigger as it is typed.
func lifeChance(t rules.Trigger) string {
	if t.Chance > 0 {
		return plainNumber(100 * t.Chance)
	}
	return plainNumber(100 * rules.DefaultChance)
}

func trendOptions() []Option {
	out := []Option{{Value: "", Label: "whatever is"}}
	for _, q := range rules.TrendQuantities {
		out = append(out, Option{Value: q, Label: q})
	}
	return out
}

func gradeOptions() []Option {
	var out []Option
	for g := 1; g <= 4; g++ {
		out = append(out, Option{Value: plainInt(int64(g)), Label: fmt.Sprintf("%d: %s", g, assets.GradeWords[g])})
	}
	return out
}

func (rf *ruleForm) template(rule rules.Rule) {
	t := rule.Template
	rf.Raises = []*Field{
		rf.Select("order_kind", "Raises", string(t.Kind), choices("", workorder.Kinds, func(k workorder.Kind) string { return string(k) })),
		rf.Text("title", "Title of the order", t.Title).Hinted("{target} and {conveyor} stand for what it is about"),
		rf.Number("lead_days", "Raised before it falls due", plainWhole(t.LeadDays), "days"), rf.Number("latest_days", "Latest date after it falls due", plainWhole(t.LatestDays), "days"),
		rf.Number("work_hours", "Work", plainNumber(t.WorkHours), "h"), rf.Number("crew", "People", plainWhole(t.Crew), ""),
		rf.Tick("belt_stands", "The belt has to stand still", t.BeltStands),
	}
	class := rule.Class
	if rule.Source == "" {
		class = assets.ClassP
	}
	rf.Rests = []*Field{
		rf.Select("class", "Class of what it rests on", string(class), choices("", assets.Classes, func(c assets.Class) string { return string(c) + ": " + c.Words() })),
		rf.Text("source", "Source", rule.Source).Hinted("Empty: your own decision, class P"),
		rf.Tick("off", "Switched off: raises nothing", rule.Off).OverBoth(),
	}
}

// rule reads the editor's form into a copy of the rule as it stood.
func (e *entry) rule(rule rules.Rule, reg *assets.Register) rules.Rule {
	rule.Name, rule.Off = e.text("name"), e.f.Ticked("off")
	rule.Scope = e.ruleScope(reg)
	rule.Trigger = e.ruleTrigger()
	rule.Template = rules.Template{Kind: workorder.Kind(e.text("order_kind")), Title: e.text("title"), LeadDays: e.whole("lead_days", 0, 366), LatestDays: e.whole("latest_days", 0, 3660),
		WorkHours: e.number("work_hours"), Crew: e.whole("crew", 0, 100), BeltStands: e.f.Ticked("belt_stands")}
	rule.Class, rule.Source = assets.Class(e.text("class")), e.text("source")
	rule.EditVersion = e.rowID()
	return rule
}

func (e *entry) ruleScope(reg *assets.Register) rules.Scope {
	sc := rules.Scope{Target: rules.TargetKind(e.text("target")), UsedFrom: e.number("used_from") / 100, AgeUnknown: e.f.Ticked("age_unknown")}
	for _, tag := range splitNames(e.text("conveyors")) {
		c, ok := reg.ConveyorByTag(tag)
		if !ok {
			e.bad.Add("conveyors", "there is no conveyor "+tag+" in this plant; give tags as they stand in the list of belts")
			continue
		}
		sc.Conveyors = append(sc.Conveyors, c.ID)
	}
	for _, l := range reg.Lines {
		if e.f.Ticked("line_" + plainInt(l.ID)) {
			sc.Lines = append(sc.Lines, l.ID)
		}
	}
	sc.Forms = ticked(e, "form_", assets.Forms)
	sc.Bonds = ticked(e, "bond_", assets.Bonds)
	for _, fd := range e.f.Fields {
		if name, is := strings.CutPrefix(fd.Name, "family_"); is && fd.Value == "yes" {
			sc.Families = append(sc.Families, name)
		}
	}
	sc.WashDown, sc.Outdoor = e.yesNo("wash_down"), e.yesNo("outdoor")
	return sc
}

// ticked returns the values whose boxes are ticked.
func ticked[T ~string](e *entry, prefix string, values []T) []T {
	var out []T
	for _, v := range values {
		if e.f.Ticked(prefix + string(v)) {
			out = append(out, v)
		}
	}
	return out
}

func (e *entry) yesNo(name string) *bool {
	v := oneOf(e, name, "choose yes, no or does not matter", "", "yes", "no")
	if v == "" {
		return nil
	}
	is := v == "yes"
	return &is
}

// ruleTrigger reads the fields of the kind chosen; what stands in those of other kinds does not count.
func (e *entry) ruleTrigger() rules.Trigger {
	t := rules.Trigger{Kind: rules.TriggerKind(e.text("kind"))}
	switch t.Kind {
	case rules.TriggerInterval:
		t.Every, t.Unit, t.CountedFrom, t.TimeOfDay = e.whole("every", 1, 10_000), e.text("unit"), e.text("counted_from"), e.text("time_of_day")
		if t.CountedFrom == rules.FromPlan {
			t.AnchorDay = e.day("anchor_day")
		}
		t.Repeats = t.CountedFrom == rules.FromMade && e.f.Ticked("repeats")
	case rules.TriggerCron:
		t.Cron = e.text("cron")
	case rules.TriggerHours:
		t.Hours, t.CountedFrom, t.Repeats = e.number("hours"), e.text("hours_from"), e.f.Ticked("hours_repeats")
	case rules.TriggerPasses:
		t.Passes, t.CountedFrom, t.Repeats = e.number("passes"), e.text("passes_from"), e.f.Ticked("passes_repeats")
	case rules.TriggerEvent:
		t.Event, t.AfterHours, t.RunningHours = e.text("event"), e.number("after_hours"), e.f.Ticked("running_hours")
	case rules.TriggerGrade:
		t.Grade, t.Categories = e.whole("grade", 1, 4), splitNames(e.text("categories"))
	case rules.TriggerLife:
		if t.BestAge = e.f.Ticked("best_age"); !t.BestAge {
			t.Chance = e.number("chance") / 100
		}
	case rules.TriggerTrend:
		t.Quantity = e.text("quantity")
	case rules.TriggerKit:
		t.Watches = e.text("watches")
	case rules.TriggerTakeUp:
		t.ResplicesLeft = e.whole("resplices_left", 1, 20)
	}
	return t
}

// ruleNames are the editor's names of fields that a rule's check calls by the trigger's.
func (e *entry) ruleNames(kind rules.TriggerKind) map[string]string {
	switch kind {
	case rules.TriggerHours:
		return map[string]string{"counted_from": "hours_from"}
	case rules.TriggerPasses:
		return map[string]string{"counted_from": "passes_from"}
	}
	return nil
}
