package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/workorder"
)

// mostPerDay is how often a day a calendar rule may fire: hourly. More is a sensor's work, not an order's.
const mostPerDay = 24

// Save checks a rule as a person typed it and returns it as it is kept: texts trimmed, class settled, raising
// nothing planned before now. before is the rule as it stood, nil for a new one; by is who saves it.
//
// A rule without a named source is that person's own decision: class P. Returns assets.Invalid by field name.
func Save(r Rule, before *Rule, by int64, now time.Time) (Rule, error) {
	wrong := assets.Invalid{}
	r.Name, r.Source, r.Template.Title = strings.TrimSpace(r.Name), strings.TrimSpace(r.Source), strings.TrimSpace(r.Template.Title)
	r.Trigger.Unit = strings.TrimSuffix(strings.ToLower(strings.TrimSpace(r.Trigger.Unit)), "s")
	if r.Name == "" {
		wrong.Add("name", "give the rule a name by which people find it")
	}
	if by == 0 {
		wrong.Add("saved_by", "say who saves this rule")
	}
	checkScope(r.Scope, wrong)
	checkTrigger(r.Trigger, r.Scope, wrong)
	checkTemplate(r.Template, wrong)
	settleClass(&r, wrong)
	if err := wrong.Err(); err != nil {
		return r, err
	}
	r.SavedBy, r.StartsAt = by, assets.InstantOf(now)
	if before != nil {
		r.ID, r.EditVersion = before.ID, before.EditVersion
	}
	return r, nil
}

// settleClass makes a rule without a source the plant's own decision, and refuses classes that nobody may claim
// by hand.
func settleClass(r *Rule, wrong assets.Invalid) {
	if r.Source == "" {
		r.Class = assets.ClassP
		return
	}
	switch {
	case r.Class == "":
		r.Class = assets.ClassP
	case r.Class == assets.ClassC:
		wrong.Add("class", "class C comes from at least five lives of this plant's own splices ended by failure, not from a form; choose P and say why in the source")
	case !slices.Contains(assets.Classes, r.Class):
		wrong.Add("class", "choose a class of evidence: A, B, D or P")
	}
}

// Check tells what is wrong with a rule, by field name; nil when it can be evaluated.
func Check(r Rule) error {
	wrong := assets.Invalid{}
	checkScope(r.Scope, wrong)
	checkTrigger(r.Trigger, r.Scope, wrong)
	checkTemplate(r.Template, wrong)
	return wrong.Err()
}

func checkScope(sc Scope, wrong assets.Invalid) {
	kinds := []TargetKind{"", TargetSplice, TargetBelt, TargetConveyor, TargetLine, TargetPlant}
	if !slices.Contains(kinds, sc.Target) {
		wrong.Add("target", "choose what the rule looks at: splice, belt, conveyor, line or plant")
	}
	if !(sc.UsedFrom >= 0 && sc.UsedFrom <= 2) {
		wrong.Add("used_from", "give life used as a share from 0 to 2; 0.8 is 80 %")
	}
	onSplices := sc.Target == "" || sc.Target == TargetSplice
	if !onSplices && sc.UsedFrom > 0 {
		wrong.Add("used_from", "life used is known of splices only; take it off or look at splices")
	}
	if sc.AgeUnknown && sc.UsedFrom > 0 {
		wrong.Add("used_from", "a splice whose age is not known has no life used; choose one of the two")
	}
	ofSplice := len(sc.Forms)+len(sc.Bonds)+len(sc.Families) > 0 || sc.AgeUnknown
	if (sc.Target == TargetLine || sc.Target == TargetPlant) && (ofSplice || len(sc.Conveyors) > 0 || sc.WashDown != nil || sc.Outdoor != nil) {
		wrong.Add("target", "a rule about a line or the plant cannot be narrowed by conveyor, belt or splice")
	}
}

func checkTrigger(t Trigger, sc Scope, wrong assets.Invalid) {
	switch t.Kind {
	case TriggerCron:
		checkCron(t, wrong)
	case TriggerInterval:
		checkInterval(t, sc, wrong)
	case TriggerHours:
		checkCount("hours", t.Hours, 1e6, "give the running hours as a number above 0, at most 1 000 000", wrong)
		checkCounted(t, sc, wrong)
	case TriggerPasses:
		checkCount("passes", t.Passes, 1e10, "give the splice passes as a number above 0, at most 10 000 million", wrong)
		checkCounted(t, sc, wrong)
	case TriggerEvent:
		checkEvent(t, wrong)
	case TriggerGrade:
		if t.Grade < 1 || t.Grade > 4 {
			wrong.Add("grade", "give the grade from which a finding raises an order: 1 to 4")
		}
	case TriggerTakeUp:
		if t.ResplicesLeft < 1 || t.ResplicesLeft > 20 {
			wrong.Add("resplices_left", "give a whole number of re-splices from 1 to 20; the rule fires when fewer are left")
		}
		if sc.Target != TargetBelt {
			wrong.Add("target", "take-up is a matter of the belt: let the rule look at belts")
		}
	case TriggerLife:
		checkLife(t, sc, wrong)
	case TriggerTrend:
		checkTrend(t, sc, wrong)
	case TriggerKit, TriggerStock:
		checkStores(t, sc, wrong)
	case TriggerTicket:
		checkTicket(sc, wrong)
	default:
		wrong.Add("kind", "choose what makes the rule fire: calendar, interval, running hours, passes, event, finding, take-up, life, trend, kit, stock or tickets")
	}
}

func checkCron(t Trigger, wrong assets.Invalid) {
	expr, err := calendar.ParseCron(t.Cron)
	if err != nil {
		wrong.Add("cron", err.Error())
		return
	}
	utc := calendar.Zone{}
	first, ok := expr.Next(utc, time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))
	if !ok {
		return
	}
	day := utc.StartOfDay(first.Planned.Date)
	if n := len(expr.Between(utc, day.Add(-time.Second), day.Add(24*time.Hour-time.Second))); n > mostPerDay {
		wrong.Add("cron", fmt.Sprintf("the cron expression %q plans %d times a day for each target; plan at most once an hour", t.Cron, n))
	}
}

func checkInterval(t Trigger, sc Scope, wrong assets.Invalid) {
	if _, err := calendar.NewInterval(t.Every, t.Unit); err != nil {
		wrong.Add("every", err.Error())
	}
	if t.TimeOfDay != "" {
		if _, err := calendar.ParseTimeOfDay(t.TimeOfDay); err != nil {
			wrong.Add("time_of_day", err.Error())
		}
	}
	switch t.CountedFrom {
	case FromPlan:
		if d, err := calendar.ParseDate(string(t.AnchorDay)); err != nil || d.IsZero() {
			wrong.Add("anchor_day", "give the first planned date as YYYY-MM-DD; the interval counts from it")
		}
	case FromCompletion:
	case FromMade:
		checkOwnDate(sc, wrong)
	default:
		wrong.Add("counted_from", "say what the interval counts from: the plan, the last completion or the date it was made")
	}
}

func checkCount(field string, v, most float64, message string, wrong assets.Invalid) {
	if !(v > 0) || v > most || math.IsInf(v, 0) {
		wrong.Add(field, message)
	}
}

func checkCounted(t Trigger, sc Scope, wrong assets.Invalid) {
	if t.CountedFrom != FromCompletion && t.CountedFrom != FromMade && t.CountedFrom != "" {
		wrong.Add("counted_from", "hours and passes count from the last completion or from the date it was made")
	}
	if t.Repeats && (t.Kind == TriggerHours && t.Hours < 1 || t.Kind == TriggerPasses && t.Passes < 100) {
		wrong.Add(string(t.Kind), "what repeats must be at least 1 running hour or 100 passes apart")
	}
	if t.Kind == TriggerHours && sc.Target == TargetConveyor {
		return // the conveyor's own meter
	}
	checkOwnDate(sc, wrong)
}

// checkOwnDate refuses targets that were neither made nor fitted.
func checkOwnDate(sc Scope, wrong assets.Invalid) {
	if sc.Target != "" && sc.Target != TargetSplice && sc.Target != TargetBelt {
		wrong.Add("target", "only splices and belts have a date of their own to count from")
	}
}

func checkEvent(t Trigger, wrong assets.Invalid) {
	if t.Event != EventSpliceMade && t.Event != EventBeltFitted {
		wrong.Add("event", "choose the event that is followed: splice made or belt fitted")
	}
	checkCount("after_hours", t.AfterHours, 1e6, "give the hours after the event as a number above 0, at most 1 000 000", wrong)
}

func checkTemplate(t Template, wrong assets.Invalid) {
	if !slices.Contains(workorder.Kinds, t.Kind) {
		wrong.Add("order_kind", "choose what the rule raises: inspection, re-splice, belt change, run-in check, re-tension, insert piece, kit service or other")
	}
	if t.LeadDays < 0 || t.LeadDays > 366 {
		wrong.Add("lead_days", "give the days it is raised before it falls due as a whole number from 0 to 366")
	}
	if t.LatestDays < 0 || t.LatestDays > 3660 {
		wrong.Add("latest_days", "give the days from due to latest date as a whole number from 0 to 3660")
	}
	if !(t.WorkHours >= 0) || t.WorkHours > 24*60 {
		wrong.Add("work_hours", "give the expected hours of work as a number from 0 to 1440")
	}
	if t.Crew < 0 || t.Crew > 100 {
		wrong.Add("crew", "give the number of people as a whole number from 0 to 100")
	}
}
