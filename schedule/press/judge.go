package press

import (
	"fmt"
	"math"
)

// doubtAboveC and doubtWithinK: values so far above the set temperature that read as degrees Fahrenheit come near it.
const (
	doubtAboveC  = 60.0
	doubtWithinK = 25.0
)

const whyDoubtful = "the heading says degrees Celsius but the values look like degrees Fahrenheit; export the trace again or correct its heading"

// judging is one cycle of a record under judgement.
type judging struct {
	*record
	span
	recipe  Recipe
	dwell   dwell
	start   instant // start of heating
	startOK sight
	arrive  instant
	arrived sight
	open    instant
	openOK  sight
	out     []Criterion
}

// Judge finds the press cycles of a trace and judges each by the recipe.
//
// Rules: the check values' page of rules for press traces; instants between rows lie on the straight line between them,
// nothing is measured over a jump of the clock, and what is missing is never taken as good.
func (t *Trace) Judge(by Recipe) Judgement {
	r := t.prepared()
	j := Judgement{Notices: r.notices}
	doubtful := t.doubtful(by)
	if doubtful {
		j.Notices = append(j.Notices, Notice{Kind: UnitDoubtful})
	}
	for _, s := range r.cycles(by.PressureBar) {
		one := &judging{record: r, span: s, recipe: by}
		if doubtful {
			one.doubt()
		} else {
			one.judge()
		}
		c := Cycle{FirstRow: s.first + 1, LastRow: s.last + 1, Overall: overall(one.out), Criteria: one.out}
		if known(one.dwell.provenMin) && !doubtful {
			c.DwellFromS, c.DwellToS = one.dwell.from.s, one.dwell.to.s
		}
		j.Cycles = append(j.Cycles, c)
	}
	return j
}

// doubtful reports whether the values are likely in degrees Fahrenheit under a heading that says Celsius.
func (t *Trace) doubtful(by Recipe) bool {
	highest := math.Inf(-1)
	for _, v := range t.Top {
		if known(v) {
			highest = max(highest, v)
		}
	}
	return t.celsius && highest > by.SetTopC+doubtAboveC && math.Abs((highest-32)*5/9-by.SetTopC) <= doubtWithinK
}

func (j *judging) doubt() {
	for _, name := range []string{HeatingRateTop, HeatingRateBottom, TimeToTemperature, DwellTime, Overshoot, PressureMin, PressureMax, SpreadInDwell, ReleaseTemp, Duration, CoolingTime} {
		j.cannot(name, math.NaN(), whyDoubtful)
	}
	if j.recipe.Cure != nil {
		j.cannot(EquivalentCure, math.NaN(), whyDoubtful)
	}
}

func (j *judging) judge() {
	j.heatingRate(HeatingRateTop, j.top, j.recipe.SetTopC)
	j.heatingRate(HeatingRateBottom, j.bottom, j.recipe.SetBottomC)
	j.findArrival()
	j.findStart()
	j.findOpening()
	j.dwell = j.findDwell()
	j.timeToTemperature()
	j.dwellTime()
	j.overshoot()
	j.pressureInDwell()
	j.spread()
	j.release()
	j.duration()
	j.cooling()
	j.equivalentCure()
}

// say adds a criterion. Values are rounded as they are shown.
func (j *judging) say(name string, value float64, v Verdict, why string) {
	if known(value) {
		value = math.Round(value*decimals(name)) / decimals(name)
	}
	j.out = append(j.out, Criterion{name, some(value), v, why})
}

func (j *judging) cannot(name string, value float64, why string) {
	j.say(name, value, CannotJudge, why)
}

// limit judges a value against an upper limit.
func (j *judging) limit(name string, value, most float64, why string) {
	if value <= most {
		j.say(name, value, Within, "")
		return
	}
	j.say(name, value, Outside, why)
}

func decimals(name string) float64 {
	switch name {
	case Overshoot, SpreadInDwell, ReleaseTemp:
		return 10
	case PressureMin, PressureMax:
		return 1000
	default:
		return 100
	}
}

const (
	whyJumpHeating = "the clock jumps while heating"
	whyJumpCycle   = "the clock jumps inside the cycle"
	whyFileEnds    = "the file ends before the press opens"
	whyNoDwell     = "no dwell is seen"
)

// heatingRate is 0.8 of the rise from start to set temperature over the time between its first 10 % and 90 %.
func (j *judging) heatingRate(name string, v []float64, set float64) {
	start := startTemperature(v, j.span)
	if !(start < set) {
		j.cannot(name, math.NaN(), "the sensor shows no value below the set temperature at the start")
		return
	}
	rise := set - start
	var at [2]instant
	for k, share := range []float64{0.1, 0.9} {
		var how sight
		at[k], how = j.upTo(v, start+share*rise, j.span)
		switch how {
		case unseen:
			j.cannot(name, math.NaN(), fmt.Sprintf("%.0f %% of the rise is not seen", 100*share))
			return
		case jumping:
			j.cannot(name, math.NaN(), whyJumpHeating)
			return
		case never:
			j.say(name, math.NaN(), Outside, fmt.Sprintf("%.0f %% of the rise was never reached", 100*share))
			return
		}
	}
	m, trusted := j.minutes(at[0], at[1])
	if !trusted || m <= 0 {
		j.cannot(name, math.NaN(), whyJumpHeating)
		return
	}
	rate := 0.8 * rise / m
	switch {
	case j.recipe.HeatingRate.holds(rate):
		j.say(name, rate, Within, "")
	case rate < j.recipe.HeatingRate.Min:
		j.say(name, rate, Outside, "heated too slowly")
	default:
		j.say(name, rate, Outside, "heated too fast")
	}
}

// findArrival finds when the colder platen, by its deviation, first reaches the lower tolerance.
func (j *judging) findArrival() {
	low := -j.recipe.ToleranceK
	dev := make([]float64, len(j.at))
	doubt := -1     // first row of those that may be there already since a sensor is missing
	likely := false // one platen was there while the other was not seen
	for i := j.first; i <= j.last; i++ {
		dev[i] = math.Min(j.devTop(i), j.devBottom(i))
		switch {
		case j.devTop(i) < low || j.devBottom(i) < low:
			doubt = -1
		case !known(dev[i]):
			likely = likely || known(j.top[i]) || known(j.bottom[i])
			if doubt < 0 {
				doubt = i
			}
		default:
			j.arrive, j.arrived = j.arrivalAt(i, dev, low, doubt)
			return
		}
	}
	j.arrived = never
	if doubt >= 0 || likely || j.opened < 0 {
		j.arrived = unseen
	}
}

func (j *judging) arrivalAt(i int, dev []float64, low float64, doubt int) (instant, sight) {
	switch {
	case i == j.first:
		return instant{i, j.at[i]}, seen
	case doubt >= 0 || !known(dev[i-1]):
		return instant{}, unseen
	case j.jumped[i]:
		return instant{}, jumping
	default:
		return j.between(i, dev, low), seen
	}
}

// findStart finds the start of heating: the last upward crossing, before arrival, of 2 K above the lower start temperature
// by the colder platen.
func (j *judging) findStart() {
	cold := colder(j.top, j.bottom)
	until := j.arrive.row
	if j.arrived != seen {
		until = j.first
		for i := j.first; i <= j.last; i++ {
			if known(cold[i]) && !(cold[i] <= cold[until]) {
				until = i
			}
		}
	}
	level := min(startTemperature(j.top, j.span), startTemperature(j.bottom, j.span)) + 2
	j.start, j.startOK = j.lastUp(cold, level, j.first, until)
}

// findOpening finds when the pressure falls through a tenth of its set value.
func (j *judging) findOpening() {
	switch o := j.opened; {
	case o < 0:
		j.openOK = never
	case o == j.first || !known(j.pressure[o-1]):
		j.openOK = unseen
	case j.jumped[o]:
		j.openOK = jumping
	default:
		j.open, j.openOK = j.between(o, j.pressure, openShare*j.recipe.PressureBar), seen
	}
}

func (j *judging) timeToTemperature() {
	switch {
	case j.arrived == never:
		j.say(TimeToTemperature, math.NaN(), Outside, "never reached the lower tolerance")
	case j.arrived == unseen && j.opened < 0 && !known(j.dwell.provenMin):
		j.cannot(TimeToTemperature, math.NaN(), "the file ends before arrival")
	case j.arrived == unseen:
		j.cannot(TimeToTemperature, math.NaN(), "arrival is not seen")
	case j.arrived == jumping || j.startOK == jumping:
		j.cannot(TimeToTemperature, math.NaN(), whyJumpHeating)
	case j.startOK != seen:
		j.cannot(TimeToTemperature, math.NaN(), "the start of heating is not seen")
	default:
		m, trusted := j.minutes(j.start, j.arrive)
		if !trusted {
			j.cannot(TimeToTemperature, math.NaN(), whyJumpHeating)
			return
		}
		j.limit(TimeToTemperature, m, j.recipe.TimeToTempMax, "took longer than the limit")
	}
}
