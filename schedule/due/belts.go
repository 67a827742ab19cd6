package due

import (
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/cohort"
	"carryside/schedule/rules"
)

// BeltStanding is what sets the date to act on a belt as a whole. It is told beside the dates of its splices and does not move
// them: remaking a splice does not bring back worn cover.
type BeltStanding struct {
	BeltID, ConveyorID int64
	Advice             Advice
	Overdue            bool
	Band               cohort.DueBand // of passing a limit by its trends
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

// Belts returns the belts of a plant for which a trend or a finding sets a date, in the order of the register.
func Belts(now time.Time, reg *assets.Register, trends []Trend, demands map[int64]Demand) []BeltStanding {
	var out []BeltStanding
	zone := reg.Plant.Location()
	for _, c := range reg.Conveyors {
		b, fitted := reg.BeltOn(c.ID, 0)
		if !fitted {
			continue
		}
		st := BeltStanding{BeltID: b.ID, ConveyorID: c.ID}
		var causes []cohort.Cause
		for _, t := range trends {
			if t.SpliceID == 0 && t.BeltID == b.ID && t.Crossing != nil {
				st.Advice.earlier(Advice{At: t.Crossing.At.Add(-t.Crossing.Margin), By: ByTrend, Class: t.Crossing.Class, Reason: t.Crossing.Words})
				causes = append(causes, cohort.Cause{Words: t.Crossing.Words, Chance: t.Crossing.chance})
			}
		}
		if d, is := demands[b.ID]; is {
			st.Advice.earlier(Advice{At: d.By, By: ByFinding, Reason: d.Words})
		}
		if st.Advice.At.IsZero() {
			continue
		}
		st.Advice.Day = assets.DayOf(st.Advice.At.Add(-time.Microsecond).In(zone))
		st.Overdue = !st.Advice.At.After(now)
		st.Band = cohort.Compose(causes, now, now.Add(Horizon))
		out = append(out, st)
	}
	return out
}

// earlier keeps the earlier of two dates.
func (a *Advice) earlier(b Advice) {
	if a.At.IsZero() || b.At.Before(a.At) {
		*a = b
	}
}
