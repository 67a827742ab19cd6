package press

import (
	"fmt"
	"math"
	"slices"

	"carryside/assets"
)

// Quantity is a figure that a recipe gives, as the register keeps it.
type Quantity struct {
	Name  string // ends in its unit
	Words string
	Unit  string  // as stored
	Needs bool    // a recipe without it cannot be judged by
	Least float64 // the least and the greatest value that can be meant
	Most  float64

	into func(*Recipe) *float64
}

// pascalsPerBar: the register keeps pressure in pascals, a recipe is judged in bar as presses show it.
const pascalsPerBar = 100_000

const pressurePa = "pressure_pa"

// HottestC is the highest temperature that a recipe sets and that work can ask of a press, in °C: our own bound against slips of the keys.
const HottestC = 320

// Quantities are the figures of a recipe in the order in which forms ask for them. The bounds catch slips of the pen; they are
// no advice: what a belt may be pressed at, its maker says.
var Quantities = []Quantity{
	{"set_top_c", "set temperature, top", "degC", true, 40, HottestC, func(r *Recipe) *float64 { return &r.SetTopC }},
	{"set_bottom_c", "set temperature, bottom", "degC", true, 40, HottestC, func(r *Recipe) *float64 { return &r.SetBottomC }},
	{"tolerance_k", "tolerance during the dwell, either way", "K", true, 0.1, 30, func(r *Recipe) *float64 { return &r.ToleranceK }},
	{"heating_rate_least_k_min", "heating rate, least", "K/min", true, 0, 100, func(r *Recipe) *float64 { return &r.HeatingRate.Min }},
	{"heating_rate_most_k_min", "heating rate, most", "K/min", true, 0.1, 100, func(r *Recipe) *float64 { return &r.HeatingRate.Max }},
	{"time_to_temperature_most_min", "colder side at temperature within", "min", true, 0.1, 600, func(r *Recipe) *float64 { return &r.TimeToTempMax }},
	{"dwell_least_min", "dwell, least", "min", true, 0.1, 600, func(r *Recipe) *float64 { return &r.Dwell.Min }},
	{"dwell_most_min", "dwell, most", "min", true, 0.1, 600, func(r *Recipe) *float64 { return &r.Dwell.Max }},
	{"overshoot_most_k", "above the set temperature, most", "K", true, 0, 50, func(r *Recipe) *float64 { return &r.OvershootMaxK }},
	{pressurePa, "set pressure", "Pa", true, 10_000, 6_000_000, func(r *Recipe) *float64 { return &r.PressureBar }},
	{"pressure_tolerance_percent", "tolerance of the pressure, either way", "%", true, 0.1, 50, func(r *Recipe) *float64 { return &r.PressurePct }},
	{"spread_most_k", "difference between the platens in the dwell, most", "K", true, 0.1, 50, func(r *Recipe) *float64 { return &r.SpreadMaxK }},
	{"cooling_most_min", "cooled within", "min", true, 0.1, 900, func(r *Recipe) *float64 { return &r.CoolingMax }},
	{"release_most_c", "opened at, most", "degC", true, 10, 150, func(r *Recipe) *float64 { return &r.ReleaseMaxC }},
	{"duration_most_min", "whole cycle, most", "min", true, 0.1, 1500, func(r *Recipe) *float64 { return &r.DurationMax }},
	{"excursion_s", "a dip out of tolerance counts for nothing up to", "s", false, 0, 120, func(r *Recipe) *float64 { return &r.ExcursionS }},
	{"excursion_k", "and no further out than", "K", false, 0, 20, func(r *Recipe) *float64 { return &r.ExcursionK }},
	{"cure_reference_c", "equivalent cure is reckoned at", "degC", false, 40, 320, func(r *Recipe) *float64 { return &r.cure().RefC }},
	{"cure_least_min", "equivalent cure, least", "min", false, 0, 900, func(r *Recipe) *float64 { return &r.cure().Minutes.Min }},
	{"cure_most_min", "equivalent cure, most", "min", false, 0.1, 900, func(r *Recipe) *float64 { return &r.cure().Minutes.Max }},
}

// recipe is a stored figure in the unit that recipes are judged in.
func (q Quantity) recipe(stored float64) float64 {
	if q.Name == pressurePa {
		return stored / pascalsPerBar
	}
	return stored
}

// cure is the recipe's cure, made when first asked for.
func (r *Recipe) cure() *Cure {
	if r.Cure == nil {
		r.Cure = &Cure{}
	}
	return r.Cure
}

// FromValues is the recipe that catalogue values give. assets.Invalid names, under "values.NAME", each figure that is missing, out of
// its bounds, or contradicts another.
func FromValues(values []assets.CatalogueValue) (Recipe, error) {
	var r Recipe
	bad := assets.Invalid{}
	for _, q := range Quantities {
		v, there := assets.ValueOf(values, q.Name)
		switch {
		case there && !(v.Value >= q.Least && v.Value <= q.Most):
			bad.Add("values."+q.Name, fmt.Sprintf("%s: give a value from %g to %g %s", q.Words, q.Least, q.Most, q.Unit))
		case there:
			*q.into(&r) = q.recipe(v.Value)
		case q.Needs:
			bad.Add("values."+q.Name, "give the figure: "+q.Words)
		}
	}
	for _, v := range values {
		if !slices.ContainsFunc(Quantities, func(q Quantity) bool { return q.Name == v.Quantity }) {
			bad.Add("values."+v.Quantity, "a recipe has no figure of this name")
		}
	}
	r.contradictions(bad, values)
	return r, bad.Err()
}

// contradictions names figures that cannot hold together.
func (r Recipe) contradictions(bad assets.Invalid, values []assets.CatalogueValue) {
	if r.HeatingRate.Max < r.HeatingRate.Min {
		bad.Add("values.heating_rate_most_k_min", "the most is below the least heating rate")
	}
	if r.Dwell.Max < r.Dwell.Min {
		bad.Add("values.dwell_most_min", "the most is below the least dwell")
	}
	if set := min(r.SetTopC, r.SetBottomC); set > 0 && r.ReleaseMaxC >= set {
		bad.Add("values.release_most_c", "the press is opened below its set temperature; check both")
	}
	if r.DurationMax > 0 && r.DurationMax < r.Dwell.Min {
		bad.Add("values.duration_most_min", "the whole cycle is shorter than its dwell")
	}
	if r.Cure == nil {
		return
	}
	for _, name := range []string{"cure_reference_c", "cure_least_min", "cure_most_min"} {
		if _, there := assets.ValueOf(values, name); !there {
			bad.Add("values."+name, "an equivalent cure needs its reference temperature, its least and its most")
		}
	}
	if r.Cure.Minutes.Max < r.Cure.Minutes.Min {
		bad.Add("values.cure_most_min", "the most is below the least equivalent cure")
	}
}

// Criteria are the names of the criteria in the order of a judgement.
var Criteria = []string{HeatingRateTop, HeatingRateBottom, TimeToTemperature, DwellTime, Overshoot, PressureMin, PressureMax, SpreadInDwell, ReleaseTemp, Duration, CoolingTime, EquivalentCure}

// Allowed is what the recipe allows for a criterion, an open side infinite; false for a criterion it does not ask.
func (r Recipe) Allowed(name string) (Band, bool) {
	atMost := func(v float64) (Band, bool) { return Band{math.Inf(-1), v}, true }
	slack := r.PressureBar * r.PressurePct / 100
	switch name {
	case HeatingRateTop, HeatingRateBottom:
		return r.HeatingRate, true
	case TimeToTemperature:
		return atMost(r.TimeToTempMax)
	case DwellTime:
		return r.Dwell, true
	case Overshoot:
		return atMost(r.OvershootMaxK)
	case PressureMin, PressureMax:
		return Band{r.PressureBar - slack, r.PressureBar + slack}, true
	case SpreadInDwell:
		return atMost(r.SpreadMaxK)
	case ReleaseTemp:
		return atMost(r.ReleaseMaxC)
	case Duration:
		return atMost(r.DurationMax)
	case CoolingTime:
		return atMost(r.CoolingMax)
	case EquivalentCure:
		if r.Cure != nil {
			return r.Cure.Minutes, true
		}
	}
	return Band{}, false
}

// JudgeFigures judges figures that a person read off the press, by the names of the criteria. What was not read cannot be judged.
func JudgeFigures(by Recipe, read map[string]float64) Cycle {
	var all []Criterion
	for _, name := range Criteria {
		allowed, asked := by.Allowed(name)
		if !asked {
			continue
		}
		v, there := read[name]
		switch v := v; {
		case !there:
			all = append(all, Criterion{name, nil, CannotJudge, "not read off the press"})
		case allowed.holds(roundOff(v)):
			all = append(all, Criterion{name, &v, Within, ""})
		case v < allowed.Min:
			all = append(all, Criterion{name, &v, Outside, "less than the recipe allows"})
		default:
			all = append(all, Criterion{name, &v, Outside, "more than the recipe allows"})
		}
	}
	return Cycle{Overall: overall(all), Criteria: all}
}

// ExpectedMinutes is how long a cycle takes from a temperature, heated at the recipe's middle rate, held for its least dwell and cooled
// at coolingKMin: the arithmetic of a press cycle, (set - ambient)/rate + dwell + (set - release)/cooling. NaN when a rate is not positive.
func (r Recipe) ExpectedMinutes(ambientC, coolingKMin float64) (up, dwell, down float64) {
	set, rate := max(r.SetTopC, r.SetBottomC), (r.HeatingRate.Min+r.HeatingRate.Max)/2
	if !(rate > 0) || !(coolingKMin > 0) {
		return math.NaN(), r.Dwell.Min, math.NaN()
	}
	return max(0, set-ambientC) / rate, r.Dwell.Min, max(0, set-r.ReleaseMaxC) / coolingKMin
}

// Words says in words what a criterion is about.
func Words(name string) string {
	switch name {
	case HeatingRateTop:
		return "heating rate, top"
	case HeatingRateBottom:
		return "heating rate, bottom"
	case TimeToTemperature:
		return "time to temperature"
	case DwellTime:
		return "dwell, both sides in tolerance"
	case Overshoot:
		return "highest above the set temperature"
	case PressureMin:
		return "lowest pressure in the dwell"
	case PressureMax:
		return "highest pressure in the dwell"
	case SpreadInDwell:
		return "difference between the platens"
	case ReleaseTemp:
		return "temperature at opening"
	case Duration:
		return "whole cycle"
	case CoolingTime:
		return "cooling time"
	case EquivalentCure:
		return "equivalent cure"
	}
	return name
}
