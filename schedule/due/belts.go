package due

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/calendar"
	"carryside/schedule/cohort"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// BeltStanding is what sets the date to act on a belt as a whole. It is told beside the dates of its splices and does not move
// them: remaking a splice does not bring back worn cover.
type BeltStanding struct {
	BeltID, ConveyorID int64
	Advice             Advice
	Overdue            bool
	Band               cohort.DueBand // of passing a limit: by its trends, or a rule that binds
}

// TakeUpTravel names the quantity of the take-up's position. Its limit is the end of the travel, from the register.
const TakeUpTravel = rules.TakeUpTravel

// BeltGauges are what can be watched on a belt as a whole. Repeats as for Gauges; a take-up is read to 5 mm (common practice).
var BeltGauges = []Gauge{Gauges[1], Gauges[2], {Quantity: TakeUpTravel, Repeats: 0.005, field: &unit.Travel}}

// BeltTrends returns what was measured on a plant's belts as they run, in the order of the register and of BeltGauges: cover
// thickness and hardness against the specification, take-up travel against its end. What was measured before the belt was
// fitted is another belt's; a take-up is looked at since the last re-splice, which brought it back. The rest is as in Trends.
func BeltTrends(now time.Time, reg *assets.Register, findings []assets.Finding) []Trend {
	var out []Trend
	for _, c := range reg.Conveyors {
		b, fitted := reg.BeltOn(c.ID, 0)
		if !fitted {
			continue
		}
		for _, g := range BeltGauges {
			points := onBelt(b, g, findings)
			if len(points) == 0 {
				continue
			}
			t := Trend{BeltID: b.ID, Gauge: g, Limit: beltLimit(g, b, reg), zone: reg.Plant.Location()}
			if g.Quantity == TakeUpTravel && c.TakeUpTravelM > 0 {
				t.Limit = assets.CatalogueValue{Quantity: TakeUpTravel, Value: c.TakeUpTravelM, Unit: "m", Class: assets.ClassP, Source: "end of the take-up's travel, from the register"}
			}
			t.take(points)
			t.meet(now, reg.Plant.UnitSystem)
			out = append(out, t)
		}
	}
	return out
}

// onBelt are the measurements of a quantity on a belt as a whole, from old to new.
func onBelt(b assets.Belt, g Gauge, findings []assets.Finding) (points []*assets.Finding) {
	since := b.Fitted.At
	if g.Quantity == TakeUpTravel {
		since = max(since, b.ValidFrom)
	}
	for i := range findings {
		f := &findings[i]
		of := f.BeltID == b.ID || f.BeltID == 0 && f.ConveyorID == b.ConveyorID
		if of && f.SpliceID == 0 && f.Measurement != nil && f.Quantity == g.Quantity && f.FoundAt >= since {
			points = append(points, f)
		}
	}
	fromOldToNew(points)
	return points
}

// BeltDemands returns by when findings of grade 3 and more on belts as a whole ask for work, the earliest of each belt, as
// Demands does for splices.
func BeltDemands(now time.Time, reg *assets.Register, rs []rules.Rule, findings []assets.Finding) map[int64]Demand {
	out := map[int64]Demand{}
	for i := range findings {
		f := &findings[i]
		b, known := reg.Belt(f.BeltID)
		if !known || b.Removed != nil || f.SpliceID != 0 || f.Grade == nil || *f.Grade < 3 || foundBetter(f, findings) {
			continue
		}
		d := demand(assets.InstantOf(now), f, reg.Plant, rs)
		if have, is := out[b.ID]; !is || d.By.Before(have.By) {
			out[b.ID] = d
		}
	}
	return out
}

// Belts returns the belts of a plant for which a rule, a trend or a finding sets a date, in the order of the register.
func Belts(now time.Time, reg *assets.Register, rs []rules.Rule, clocks Clocks, trends []Trend, demands map[int64]Demand) []BeltStanding {
	var out []BeltStanding
	e := evaluation{now: now, reg: reg, zone: calendar.ZoneOf(reg.Plant.Location())}
	e.limits = limitsAbout(rules.TargetBelt, workorder.KindBeltChange, now, reg.Plant, rs)
	for _, c := range reg.Conveyors {
		b, fitted := reg.BeltOn(c.ID, 0)
		if !fitted {
			continue
		}
		f := e.ofBelt(b, run{clocks.Lines[c.ID], clocks.Duties[b.ID]})
		for _, t := range trends {
			if t.SpliceID == 0 && t.BeltID == b.ID && t.Crossing != nil {
				f.byTrend(*t.Crossing)
			}
		}
		if d, is := demands[b.ID]; is {
			f.advise(d.By, ByFinding, "", d.Words)
		}
		if f.out.Advice.At.IsZero() {
			continue
		}
		st := BeltStanding{BeltID: b.ID, ConveyorID: c.ID, Advice: f.out.Advice, Band: cohort.Compose(f.causes, now, now.Add(Horizon))}
		st.Advice.Day = assets.DayOf(st.Advice.At.Add(-time.Microsecond).In(reg.Plant.Location()))
		st.Overdue = !st.Advice.At.After(now)
		out = append(out, st)
	}
	return out
}

// ofBelt begins the forecast of a belt as a whole with the rules that bind it: those of kind belt change, counted from the day it
// was fitted as those of a splice are from its making.
func (e evaluation) ofBelt(b assets.Belt, r run) forecaster {
	aged := assets.Splice{ConveyorID: b.ConveyorID, BeltID: b.ID, Made: b.Fitted}
	var limits []rules.Rule
	for _, rule := range e.limits {
		if e.holdsFor(rule.Scope, &b) {
			rule.Scope.Forms, rule.Scope.Bonds, rule.Scope.AgeUnknown = nil, nil, undated(b.Fitted)
			limits = append(limits, rule)
		}
	}
	e.limits = limits
	f := forecaster{evaluation: e, s: &aged, r: r, fars: map[int64]*farLine{}}
	if len(limits) > 0 {
		f.byRules(r.between(aged.Made.At.Time(), e.now))
	}
	return f
}

// holdsFor tells whether a belt has what a scope asks of splices: one in it that is such.
func (e evaluation) holdsFor(sc rules.Scope, b *assets.Belt) bool {
	if len(sc.Forms)+len(sc.Bonds) == 0 && !sc.AgeUnknown {
		return true
	}
	return slices.ContainsFunc(e.reg.SplicesOf(b.ID), func(s assets.Splice) bool { return e.matches(sc, &s) })
}
