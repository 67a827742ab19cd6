package due

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/life"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Limits that a measured quantity must not pass, as the catalogues call them: the gap and the hardness with the splice
// kind, what is left of the cover with the belt specification.
const (
	MaxSpliceGap      = "max_splice_gap_m"
	MaxHardness       = "max_hardness_shore_a"
	MinCoverThickness = "min_cover_thickness_m"
)

// Gauge is a quantity that is measured again and again and its limit.
type Gauge struct {
	Quantity string // as findings call it
	Limit    string // quantity of the catalogues
	Least    bool   // the limit is the least that may be left; else the most
	Repeats  float64
	field    *unit.Field // nil: in the unit it is kept in
	sign     string
}

// Gauges are what can be watched. Repeats is how much two readings of the same thing differ (common practice: 0.2 mm for
// the feeler in a seam and for the depth gauge, 2 points of hardness).
var Gauges = []Gauge{
	{Quantity: "splice gap", Limit: MaxSpliceGap, Repeats: 0.0002, field: &unit.Opening},
	{Quantity: "cover thickness", Limit: MinCoverThickness, Least: true, Repeats: 0.0002, field: &unit.Opening},
	{Quantity: "hardness", Limit: MaxHardness, Repeats: 2, sign: "Shore A"},
}

const (
	// trendFrom is the fewest measurements that make a trend (common practice).
	trendFrom = 3
	// TrendOf is how many of the newest are looked at: a seam opens faster as it goes, and the line through its whole life
	// would lag behind. Our own choice.
	TrendOf = 8
	// trendSure is the confidence at which a trend must head for its limit. Our own choice.
	trendSure = 0.8
	// oneSD is the share of a normal spread within one standard deviation of its middle.
	oneSD = 0.6826894921370859
)

// Trend is one quantity measured on one splice, or on a belt as a whole, held against its limit.
type Trend struct {
	SpliceID int64 // 0: on the belt as a whole
	BeltID   int64
	Gauge    Gauge
	Unit     string
	Times    []time.Time // of the measurements looked at, from old to new
	Values   []float64
	Limit    assets.CatalogueValue // in the unit of the values; no quantity: none is given
	PerDay   float64               // robust slope; 0 while there is none
	Level    float64               // of the line at the newest measurement
	Crossing *Crossing             // nil: Why says why
	Why      string                // with its numbers

	zone *time.Location
}

// Trends returns what was measured on a plant's live splices, in the order of the register and of Gauges. Of the findings
// those count that hold a measurement of a splice, in any order.
//
// The crossing lies on the robust line (Theil and Sen) through the newest eight measurements. Its spreads are how far the
// interval in which the least-squares line meets the limit at 68.3 % reaches to each side, and no less than what the two lines
// differ by; a
// trend whose interval is open at 80 % does not head for its limit for sure and sets no date. The margin is the time in
// which the line moves by what a measurement repeats to.
func Trends(now time.Time, reg *assets.Register, kinds []assets.SpliceKind, findings []assets.Finding) []Trend {
	of := measuredOn(findings)
	at, zone := assets.InstantOf(now), reg.Plant.Location()
	var out []Trend
	for i := range reg.Splices {
		s := &reg.Splices[i]
		if !s.Live(at) {
			continue
		}
		for _, g := range Gauges {
			if points := of[measuredAt{s.ID, g.Quantity}]; len(points) > 0 {
				t := Trend{SpliceID: s.ID, BeltID: s.BeltID, Gauge: g, Limit: limitOf(g, s, reg, kinds), zone: zone}
				t.take(points)
				t.meet(now, reg.Plant.UnitSystem)
				out = append(out, t)
			}
		}
	}
	return out
}

type measuredAt struct {
	splice   int64
	quantity string
}

// measuredOn sorts the measurements by what they are of, each from old to new.
func measuredOn(findings []assets.Finding) map[measuredAt][]*assets.Finding {
	of := map[measuredAt][]*assets.Finding{}
	for i := range findings {
		f := &findings[i]
		if f.Measurement != nil && f.SpliceID != 0 {
			k := measuredAt{f.SpliceID, f.Quantity}
			of[k] = append(of[k], f)
		}
	}
	for _, points := range of {
		fromOldToNew(points)
	}
	return of
}

func fromOldToNew(points []*assets.Finding) {
	slices.SortStableFunc(points, func(a, b *assets.Finding) int { return cmp.Compare(a.FoundAt, b.FoundAt) })
}

// limitOf finds the limit in the catalogues: the splice kind's, else the belt specification's.
func limitOf(g Gauge, s *assets.Splice, reg *assets.Register, kinds []assets.SpliceKind) assets.CatalogueValue {
	for _, k := range kinds {
		if v, ok := assets.ValueOf(k.Values, g.Limit); ok && k.Form == s.Form && k.Bond == s.Bond {
			return v
		}
	}
	b, _ := reg.Belt(s.BeltID)
	return beltLimit(g, b, reg)
}

// beltLimit is the limit the belt's specification gives.
func beltLimit(g Gauge, b assets.Belt, reg *assets.Register) assets.CatalogueValue {
	for _, spec := range reg.Specifications {
		if spec.ID == b.SpecificationID {
			v, _ := assets.ValueOf(spec.Values, g.Limit)
			return v
		}
	}
	return assets.CatalogueValue{}
}

// take keeps the newest measurements in one unit.
func (t *Trend) take(points []*assets.Finding) {
	t.Unit = points[len(points)-1].MeasurementUnit
	points = slices.DeleteFunc(slices.Clone(points), func(f *assets.Finding) bool { return f.MeasurementUnit != t.Unit })
	for _, f := range points[max(0, len(points)-TrendOf):] {
		t.Times, t.Values = append(t.Times, f.FoundAt.Time()), append(t.Values, *f.Measurement)
	}
}

// Show writes a value of the trend's quantity with its unit.
func (t *Trend) Show(v float64, u assets.UnitSystem) string {
	if t.Gauge.field != nil && t.Unit == "m" {
		return t.Gauge.field.Show(v, u)
	}
	return fmt.Sprintf("%.4g\u00a0%s", v, cmp.Or(t.Unit, t.Gauge.sign))
}

// passed tells whether a value is at its limit or beyond.
func (t *Trend) passed(v float64) bool {
	if t.Gauge.Least {
		return v <= t.Limit.Value
	}
	return v >= t.Limit.Value
}

// meet finds when the limit is met.
func (t *Trend) meet(now time.Time, u assets.UnitSystem) {
	last := len(t.Values) - 1
	begins := fmt.Sprintf("%s %s on %s", t.Gauge.Quantity, t.Show(t.Values[last], u), dayOf(t.Times[last], t.zone))
	t.Level = t.Values[last]
	if t.Limit.Quantity == "" {
		t.Why = begins + "; the catalogues give no limit for it"
		return
	}
	limit := fmt.Sprintf("limit %s (%s)", t.Show(t.Limit.Value, u), classWords(t.Limit.Class))
	if t.passed(t.Values[last]) {
		t.Crossing = &Crossing{Quantity: t.Gauge.Quantity, Class: t.Limit.Class, Words: begins + ", past its " + limit, At: t.Times[last]}
		return
	}
	if len(t.Values) < trendFrom {
		t.Why = fmt.Sprintf("%s, %s; %s of the three that make a trend", begins, limit, plural(len(t.Values), "measurement"))
		return
	}
	t.project(now, begins, limit, u)
}

// project lays the lines and says where they meet the limit.
func (t *Trend) project(now time.Time, begins, limit string, u assets.UnitSystem) {
	m := life.Measurements{Times: daysSince(t.Times, now), Values: t.Values, Limit: t.Limit.Value, Confidence: trendSure}
	robust, err := m.Robust()
	if err != nil {
		t.Why = begins + ", " + limit + "; " + err.Error()
		return
	}
	t.PerDay, t.Level = robust.Slope, robust.Intercept+robust.Slope*m.Times[len(m.Times)-1]
	sure, err := m.LeastSquares()
	if err != nil || !robust.Crossing.Known() || !sure.MeanLatest.Known() {
		t.Why = fmt.Sprintf("%s, %s; %s do not head for it for sure", begins, limit, plural(len(t.Values), "measurement"))
		return
	}
	m.Confidence = oneSD
	one, _ := m.LeastSquares()
	apart := math.Abs(float64(one.Crossing - robust.Crossing))
	early, late := apart, apart
	if one.MeanEarliest.Known() && one.MeanLatest.Known() {
		early, late = max(apart, float64(one.Crossing-one.MeanEarliest)), max(apart, float64(one.MeanLatest-one.Crossing))
	}
	days := func(d float64) time.Duration { return time.Duration(min(d, 1e5) * 24 * float64(time.Hour)) }
	c := Crossing{Quantity: t.Gauge.Quantity, Class: t.Limit.Class, At: now.Add(days(float64(robust.Crossing))), Spread: days(early), Late: days(late), Margin: days(t.Gauge.Repeats / math.Abs(t.PerDay))}
	// The newest measurement showed the limit not yet passed.
	if newest := t.Times[len(t.Times)-1]; c.At.Before(newest) {
		c.At = newest
	}
	c.Words = fmt.Sprintf("%s, %s over %s, %s, met about %s; margin %s", begins, t.pace(u),
		plural(len(t.Values), "measurement"), limit, dayOf(c.At, t.zone), plural(max(1, int(math.Round(c.Margin.Hours()/24))), "day"))
	t.Crossing = &c
}

// pace is how fast the line moves: by the year where a month's change is less than a measurement tells.
func (t *Trend) pace(u assets.UnitSystem) string {
	perDay, days, span := math.Abs(t.PerDay), 30.0, "a month"
	if perDay*days < t.Gauge.Repeats {
		days, span = 365, "a year"
	}
	return fmt.Sprintf("%s %s %s", changes(t.PerDay), t.Show(perDay*days, u), span)
}

func changes(perDay float64) string {
	if perDay < 0 {
		return "falling"
	}
	return "growing"
}

// daysSince counts days from now, so that numbers stay small: the past is negative.
func daysSince(times []time.Time, now time.Time) []float64 {
	out := make([]float64, len(times))
	for i, at := range times {
		out[i] = at.Sub(now).Hours() / 24
	}
	return out
}

func dayOf(t time.Time, zone *time.Location) string { return t.In(zone).Format("2 Jan 2006") }

// CrossingsOf are the crossings of some trends, by splice.
func CrossingsOf(trends []Trend) map[int64][]Crossing {
	out := map[int64][]Crossing{}
	for _, t := range trends {
		if t.Crossing != nil && t.SpliceID != 0 {
			out[t.SpliceID] = append(out[t.SpliceID], *t.Crossing)
		}
	}
	return out
}

// RuleTrends are the crossings of some trends as rules ask for them, in the order of the trends.
func RuleTrends(trends []Trend, u assets.UnitSystem) []rules.TrendEnd {
	var out []rules.TrendEnd
	for i := range trends {
		if t := &trends[i]; t.Crossing != nil {
			end := rules.TrendEnd{SpliceID: t.SpliceID, BeltID: t.BeltID, Quantity: t.Gauge.Quantity, Limit: t.Show(t.Limit.Value, u),
				At: t.Crossing.At.Add(-t.Crossing.Margin), Class: t.Crossing.Class, Words: t.Crossing.Words}
			if newest := t.Times[len(t.Times)-1]; end.At.Before(newest) {
				end.At = newest // it was not passed before
			}
			out = append(out, end)
		}
	}
	return out
}

// Days in which a grade asks for work where no rule says otherwise: common practice, class D.
const (
	gradeThreeDays = 30
	gradeFourDays  = 0
)

// Demands returns by when findings of grade 3 and more ask for work on the splices they are about, the earliest of each. The
// findings are those not answered for good (neither refused nor followed by work that was done) and later ones, which may
// have found the same sound again. The date is that of the strictest rule in force that remakes on such findings, else common
// practice: grade 4 at once, grade 3 within 30 days.
func Demands(now time.Time, reg *assets.Register, rs []rules.Rule, findings []assets.Finding) map[int64]Demand {
	out := map[int64]Demand{}
	at := assets.InstantOf(now)
	for i := range findings {
		f := &findings[i]
		s, ok := reg.Splice(f.SpliceID)
		if !ok || !s.Live(at) || f.Grade == nil || *f.Grade < 3 || foundBetter(f, findings) {
			continue
		}
		d := demand(at, f, reg.Plant, rs)
		if have, is := out[s.ID]; !is || d.By.Before(have.By) {
			out[s.ID] = d
		}
	}
	return out
}

// foundBetter tells whether the same was found below grade 3 later.
func foundBetter(f *assets.Finding, findings []assets.Finding) bool {
	return slices.ContainsFunc(findings, func(g assets.Finding) bool {
		return g.SpliceID == f.SpliceID && (f.SpliceID != 0 || g.BeltID == f.BeltID) && g.Category == f.Category && g.Grade != nil && *g.Grade < 3 && g.FoundAt > f.FoundAt
	})
}

func demand(at assets.Instant, f *assets.Finding, plant assets.Plant, rs []rules.Rule) Demand {
	days, why := gradeThreeDays, "within 30 days, common practice"
	if *f.Grade >= 4 {
		days, why = gradeFourDays, "at once, common practice"
	}
	named := false
	for _, r := range rs {
		if !r.AppliesTo(plant) || r.StartsAt > at || r.Trigger.Kind != rules.TriggerGrade || r.Trigger.Grade > *f.Grade || !r.Class.RaisesOrders() ||
			r.Template.Kind == workorder.KindInspection || len(r.Trigger.Categories) > 0 && !slices.Contains(r.Trigger.Categories, f.Category) {
			continue
		}
		if !named || r.Template.LatestDays < days {
			named, days = true, r.Template.LatestDays
			why = fmt.Sprintf("within %s by rule %q (%s)", plural(days, "day"), r.Name, classWords(r.Class))
		}
	}
	by := f.FoundAt.Time().AddDate(0, 0, days)
	return Demand{By: by, Words: fmt.Sprintf("finding of grade %d on %s, %s: %s", *f.Grade, dayOf(f.FoundAt.Time(), plant.Location()), f.Category, why)}
}
