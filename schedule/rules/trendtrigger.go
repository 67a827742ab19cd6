package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
)

// TriggerTrend fires when a quantity that is measured again and again is about to pass its limit.
const TriggerTrend TriggerKind = "trend"

// TrendQuantities are what can be watched, as findings call them. The gap is a splice's alone and the take-up's travel a belt's.
var TrendQuantities = []string{"splice gap", "cover thickness", "hardness", TakeUpTravel}

// TrendEnd is when a trend meets its limit.
type TrendEnd struct {
	SpliceID int64 // 0: measured on the belt as a whole
	BeltID   int64
	Quantity string
	Limit    string    // with its unit: "4 mm"
	At       time.Time // by when to act: the crossing less its margin, or the day on which it was measured past the limit
	Class    assets.Class
	Words    string // the trend with its numbers
}

// eachTrend visits the splices or belts on which a quantity meets its limit. The cycle is the target and the limit, until the next
// replacement: what is fitted then is another target. A take-up's travel starts again with each re-splice.
func (o *Outlook) eachTrend(r Rule, until time.Time, visit func(Proposal)) {
	if len(o.in.Trends) == 0 {
		return
	}
	for _, t := range o.inScope(r, until.AddDate(0, 0, r.Template.LeadDays+1)) {
		for _, end := range o.in.Trends {
			if !r.Trigger.watches(end.Quantity) || !end.on(t.Target) || !t.reachable(end.At) {
				continue
			}
			due := micro(end.At)
			cycle := fmt.Sprintf("%s limit %s", end.Quantity, end.Limit)
			if end.Quantity == TakeUpTravel {
				last, _ := o.lastSplice(t)
				cycle += fmt.Sprintf(" after splice %d", last)
			}
			p := o.proposal(r, t.Target, cycle, due, o.day(due), o.raiseAt(r, t, due))
			p.Thumb = !end.Class.RaisesOrders()
			if !o.silent {
				p.Values = map[string]any{"clock": "trend", "quantity": end.Quantity, "limit": end.Limit, "due": due, "class": end.Class}
				p.Why = o.because(r, end.Words)
			}
			visit(p)
		}
	}
}

// on tells whether it was measured on a target.
func (e TrendEnd) on(t Target) bool {
	if t.Kind == TargetBelt {
		return e.SpliceID == 0 && e.BeltID == t.ID
	}
	return t.Kind == TargetSplice && e.SpliceID == t.ID
}

// watches tells whether the trigger looks at a quantity.
func (t Trigger) watches(quantity string) bool {
	return t.Quantity == "" || t.Quantity == quantity
}

func (t Trigger) trendWords() string {
	if t.Quantity == "" {
		return "a trend about to pass its limit"
	}
	return t.Quantity + " about to pass its limit"
}

func checkTrend(t Trigger, sc Scope, wrong assets.Invalid) {
	if t.Quantity != "" && !slices.Contains(TrendQuantities, t.Quantity) {
		wrong.Add("quantity", "choose what is measured: "+strings.Join(TrendQuantities, ", ")+", or leave it open for all of them")
	}
	switch sc.Target {
	case TargetBelt:
		if t.Quantity == "splice gap" {
			wrong.Add("target", "a gap is measured on splices; let the rule look at splices")
		}
	case TargetSplice, "":
		if t.Quantity == TakeUpTravel {
			wrong.Add("target", "the take-up's travel is a matter of the belt; let the rule look at belts")
		}
	default:
		wrong.Add("target", "trends are measured on splices and on belts; let the rule look at one of them")
	}
}
