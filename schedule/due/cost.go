package due

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/schedule/life"
)

// Quantities of the splice-kind catalogue that a replacement's cost rests on.
const (
	WorkH          = "work_h"           // hours of work at the belt
	PlannedStopH   = "planned_stop_h"   // hours the conveyor stands for a planned replacement
	UnplannedStopH = "unplanned_stop_h" // hours it stands after a failure
	LabourCost     = "labour_cost"      // labour of a planned replacement, in the unit's currency
	CallOutCost    = "call_out_cost"    // what labour costs more after a failure
	BeltCost       = "belt_cost"        // belt and compound
)

// waitingH is how much longer a conveyor stands after a failure than for the same work planned: the crew is called, the
// belt's ends are cleared, press and belt are fetched. Rule of thumb, class D; a catalogue value overrules it.
const waitingH = 6

// CostOf returns what replacing a splice of a kind costs at a conveyor, planned and after a failure: stop hours times the
// conveyor's cost per hour, labour, belt. Without a cost per hour both are told in stop hours, which is enough for their
// ratio and so for the best age. Values in another currency than the plant's are left out, and the words say so. False when
// the catalogue does not even have the hours of work.
func CostOf(kind assets.SpliceKind, c assets.Conveyor, currency string) (Cost, bool) {
	planned, ok := kindHours(kind.Values, PlannedStopH)
	work, hasWork := kindHours(kind.Values, WorkH)
	if !ok {
		planned, ok = work, hasWork
	}
	if !ok || planned <= 0 {
		return Cost{}, false
	}
	unplanned, given := kindHours(kind.Values, UnplannedStopH)
	thumb := ""
	if !given {
		unplanned, thumb = planned+waitingH, ", rule of thumb"
	}
	if c.StopCostPerHour <= 0 {
		return Cost{Costs: life.Costs{Planned: planned, Unplanned: unplanned},
			Words: fmt.Sprintf("planned %s h of stop, after a failure %s h%s; no cost per hour given", short(planned), short(unplanned), thumb)}, true
	}
	p, u := planned*c.StopCostPerHour, unplanned*c.StopCostPerHour
	words := fmt.Sprintf("planned %s h, after a failure %s h%s, at %s %s an hour", short(planned), short(unplanned), thumb, currency, Count(c.StopCostPerHour))
	for _, v := range kind.Values {
		switch {
		case v.Quantity != LabourCost && v.Quantity != BeltCost && v.Quantity != CallOutCost:
		case v.Unit != currency:
			words += "; " + strings.ReplaceAll(v.Quantity, "_", " ") + " in " + v.Unit + " left out"
		case v.Quantity == CallOutCost:
			u += v.Value
		default:
			p, u = p+v.Value, u+v.Value
		}
	}
	return Cost{Costs: life.Costs{Planned: p, Unplanned: u}, Words: words}, true
}

// CostIn returns what replacing a splice of a plant costs where it is; false where its kind is not in the catalogue, or has no
// hours of work there.
func CostIn(reg *assets.Register, kinds []assets.SpliceKind) func(*assets.Splice) (Cost, bool) {
	return func(s *assets.Splice) (Cost, bool) {
		i := slices.IndexFunc(kinds, func(k assets.SpliceKind) bool { return k.Form == s.Form && k.Bond == s.Bond })
		if i < 0 {
			return Cost{}, false
		}
		c, _ := reg.Conveyor(s.ConveyorID)
		return CostOf(kinds[i], c, reg.Plant.Currency)
	}
}

func kindHours(values []assets.CatalogueValue, quantity string) (float64, bool) {
	v, ok := assets.ValueOf(values, quantity)
	return v.Value, ok
}

func short(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
