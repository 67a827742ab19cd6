package press

import "math"

// dwellTime judges the dwell by its proven part.
func (j *judging) dwellTime() {
	d, want := j.dwell, j.recipe.Dwell
	switch {
	case !known(d.provenMin) && d.elsewhere:
		j.cannot(DwellTime, math.NaN(), "the dwell is not seen: a sensor is missing")
	case !known(d.provenMin) && j.opened < 0:
		j.cannot(DwellTime, math.NaN(), "the file ends before the dwell")
	case !known(d.provenMin):
		j.say(DwellTime, 0, Outside, "never inside the tolerance on both sensors")
	case d.provenMin > want.Max:
		j.say(DwellTime, d.provenMin, Outside, "longer than the upper limit")
	case d.provenMin >= want.Min && d.possibleMin <= want.Max:
		j.say(DwellTime, d.provenMin, Within, "")
	case d.provenMin >= want.Min || d.elsewhere:
		j.cannot(DwellTime, d.provenMin, "only the proven part is given: "+d.whatIsMissing())
	default:
		j.say(DwellTime, d.provenMin, Outside, "shorter than the lower limit")
	}
}

// whatIsMissing says why a stretch is not proven whole.
func (d dwell) whatIsMissing() string {
	switch {
	case d.ends:
		return "the file ends inside the dwell"
	case math.IsInf(d.possibleMin, 1):
		return "the clock jumps inside the dwell"
	default:
		return "data are missing inside the dwell"
	}
}

// overshoot is the largest deviation above a set temperature.
func (j *judging) overshoot() {
	most := 0.0
	for i := j.first; i <= j.last; i++ {
		for _, dev := range []float64{j.devTop(i), j.devBottom(i)} {
			if dev > most {
				most = dev
			}
		}
	}
	switch {
	case most > j.recipe.OvershootMaxK:
		j.say(Overshoot, most, Outside, "hotter than the recipe allows")
	case j.missingNearSet():
		j.cannot(Overshoot, most, "data are missing near the set temperature")
	case j.opened < 0 && (!known(j.dwell.provenMin) || j.dwell.ends):
		j.cannot(Overshoot, most, "the file ends before the dwell is over")
	default:
		j.say(Overshoot, most, Within, "")
	}
}

// missingNearSet reports whether data are missing next to values at or above the lower tolerance.
func (j *judging) missingNearSet() bool {
	for i := j.first; i <= j.last; i++ {
		if (!known(j.top[i]) || !known(j.bottom[i])) && (j.nearSet(i-1) || j.nearSet(i) || j.nearSet(i+1)) {
			return true
		}
	}
	return j.lostNearSet()
}

func (j *judging) nearSet(i int) bool {
	return i >= j.first && i <= j.last && (j.devTop(i) >= -j.recipe.ToleranceK || j.devBottom(i) >= -j.recipe.ToleranceK)
}

// pressureInDwell judges the lowest and the highest pressure of the dwell's rows.
func (j *judging) pressureInDwell() {
	low, high, hole := math.Inf(1), math.Inf(-1), false
	for i := j.dwell.first; i <= j.dwell.last; i++ {
		if p := j.pressure[i]; known(p) {
			low, high = min(low, p), max(high, p)
		} else {
			hole = true
		}
	}
	slack := j.recipe.PressureBar * j.recipe.PressurePct / 100
	allowed := Band{j.recipe.PressureBar - slack, j.recipe.PressureBar + slack}
	j.inDwell(PressureMin, low, allowed, hole, "the pressure fell or rose out of its tolerance")
	j.inDwell(PressureMax, high, allowed, hole, "the pressure fell or rose out of its tolerance")
}

// spread is the largest difference between the platens' deviations in the dwell.
func (j *judging) spread() {
	most, hole := math.Inf(-1), false
	for i := j.dwell.first; i <= j.dwell.last; i++ {
		if d := math.Abs(j.devTop(i) - j.devBottom(i)); known(d) {
			most = max(most, d)
		} else {
			hole = true
		}
	}
	j.inDwell(SpreadInDwell, most, Band{0, j.recipe.SpreadMaxK}, hole, "the platens were further apart than the recipe allows")
}

// inDwell judges a value that the rows of the dwell have shown: one outside decides, otherwise missing rows do.
func (j *judging) inDwell(name string, v float64, allowed Band, hole bool, why string) {
	d := j.dwell
	switch {
	case !known(d.provenMin) || math.IsInf(v, 0):
		j.cannot(name, math.NaN(), whyNoDwell)
	case !allowed.holds(roundOff(v)):
		j.say(name, v, Outside, why)
	case d.ends:
		j.cannot(name, v, "the file ends inside the dwell")
	case d.broken:
		j.cannot(name, v, "rows are missing or the clock jumps inside the dwell")
	case hole:
		j.cannot(name, v, "values are missing inside the dwell")
	default:
		j.say(name, v, Within, "")
	}
}

// roundOff takes the last bits off a value, so that a figure exactly on a limit is not outside by the way it is stored.
func roundOff(v float64) float64 { return math.Round(v*1e9) / 1e9 }

// release judges the hotter platen at opening.
func (j *judging) release() {
	switch j.openOK {
	case never:
		j.cannot(ReleaseTemp, math.NaN(), whyFileEnds)
		return
	case unseen, jumping:
		j.cannot(ReleaseTemp, math.NaN(), "the opening of the press is not seen")
		return
	}
	t, b := j.valueAt(j.open, j.top), j.valueAt(j.open, j.bottom)
	hot, one := math.Max(t, b), false
	if !known(hot) {
		hot, one = t, true
		if !known(t) {
			hot = b
		}
	}
	switch {
	case hot > j.recipe.ReleaseMaxC:
		j.say(ReleaseTemp, hot, Outside, "opened too hot")
	case one:
		j.cannot(ReleaseTemp, hot, "a sensor is missing at opening")
	default:
		j.say(ReleaseTemp, hot, Within, "")
	}
}

// valueAt reads a sensor at an instant, by the straight line of its step.
func (j *judging) valueAt(at instant, v []float64) float64 {
	i := at.row
	if i == 0 || at.s == j.at[i] {
		return v[i]
	}
	return v[i-1] + (v[i]-v[i-1])*(at.s-j.at[i-1])/(j.at[i]-j.at[i-1])
}

// duration is the time from the start of heating to opening.
func (j *judging) duration() {
	switch {
	case j.openOK == never:
		j.cannot(Duration, math.NaN(), whyFileEnds)
	case j.openOK == jumping || j.startOK == jumping:
		j.cannot(Duration, math.NaN(), whyJumpCycle)
	case j.openOK != seen:
		j.cannot(Duration, math.NaN(), "the opening of the press is not seen")
	case j.startOK != seen:
		j.cannot(Duration, math.NaN(), "the start of heating is not seen")
	default:
		m, trusted := j.minutes(j.start, j.open)
		if !trusted {
			j.cannot(Duration, math.NaN(), whyJumpCycle)
			return
		}
		j.limit(Duration, m, j.recipe.DurationMax, "took longer than the limit")
	}
}

// cooling is the time from the end of the dwell until the hotter platen is down to the release temperature.
func (j *judging) cooling() {
	switch {
	case j.openOK == never:
		j.cannot(CoolingTime, math.NaN(), whyFileEnds)
		return
	case !known(j.dwell.provenMin):
		j.cannot(CoolingTime, math.NaN(), whyNoDwell)
		return
	case j.dwell.openEnd:
		j.cannot(CoolingTime, math.NaN(), "the end of the dwell is not seen")
		return
	}
	cooled, how := j.cooled()
	switch how {
	case never:
		j.say(CoolingTime, math.NaN(), Outside, "opened before the release temperature was reached")
	case unseen:
		j.cannot(CoolingTime, math.NaN(), "a sensor is missing while cooling")
	case jumping:
		j.cannot(CoolingTime, math.NaN(), "the clock jumps while cooling")
	default:
		m, trusted := j.minutes(j.dwell.to, cooled)
		if !trusted {
			j.cannot(CoolingTime, math.NaN(), "the clock jumps while cooling")
			return
		}
		j.limit(CoolingTime, m, j.recipe.CoolingMax, "took longer than the limit")
	}
}

// cooled finds when the hotter platen is down to the release temperature; never when the press opened before.
func (j *judging) cooled() (instant, sight) {
	limit := j.recipe.ReleaseMaxC
	hot := hotter(j.top, j.bottom)
	doubt := false
	for i := max(j.dwell.to.row, j.first+1); i <= j.last; i++ {
		switch {
		case j.top[i] > limit || j.bottom[i] > limit:
			doubt = false
		case !known(hot[i]):
			doubt = true
		case doubt || !known(hot[i-1]):
			return instant{}, unseen
		case j.jumped[i]:
			return instant{}, jumping
		default:
			at := j.between(i, hot, limit)
			if hot[i-1] <= limit {
				at = instant{i, j.at[i-1]}
			}
			if j.openOK == seen && (i > j.open.row || i == j.open.row && at.s > j.open.s) {
				return instant{}, never
			}
			return at, seen
		}
		if i >= j.opened && !doubt {
			return instant{}, never
		}
	}
	if doubt {
		return instant{}, unseen
	}
	return instant{}, never
}

// equivalentCure is the sum of dt 2^((T - Tref)/10) in minutes, T the colder platen, from the start of heating to
// opening, by trapezoids between rows. A rise of 10 K doubles the rate of cure: common practice.
func (j *judging) equivalentCure() {
	c := j.recipe.Cure
	if c == nil {
		return
	}
	switch {
	case j.openOK == never:
		j.cannot(EquivalentCure, math.NaN(), whyFileEnds)
		return
	case j.openOK != seen || j.startOK != seen:
		j.cannot(EquivalentCure, math.NaN(), "the start of heating or the opening is not seen")
		return
	}
	if _, trusted := j.minutes(j.start, j.open); !trusted {
		j.cannot(EquivalentCure, math.NaN(), whyJumpCycle)
		return
	}
	sum, hole := j.cure(c.RefC)
	switch {
	case sum > c.Minutes.Max:
		j.say(EquivalentCure, sum, Outside, "over-cure")
	case hole || j.lostNearSet():
		j.cannot(EquivalentCure, sum, "data are missing while the platens are hot")
	case sum < c.Minutes.Min:
		j.say(EquivalentCure, sum, Outside, "under-cure")
	default:
		j.say(EquivalentCure, sum, Within, "")
	}
}

// cure adds up the steps between start and opening; hole reports a sensor missing in one of them.
func (j *judging) cure(refC float64) (minutes float64, hole bool) {
	cold := colder(j.top, j.bottom)
	rate := func(v float64) float64 { return math.Exp2((v - refC) / 10) }
	at, v := j.start.s, j.valueAt(j.start, cold)
	for i := j.start.row; i <= j.open.row; i++ {
		to, w := j.at[i], cold[i]
		if i == j.open.row {
			to, w = j.open.s, j.valueAt(j.open, cold)
		}
		if known(v) && known(w) {
			minutes += (rate(v) + rate(w)) / 2 * (to - at) / 60
		} else {
			hole = true
		}
		at, v = to, w
	}
	return minutes, hole
}

// lostNearSet reports whether whole rows are missing next to values at or above the lower tolerance.
func (j *judging) lostNearSet() bool {
	for i := j.first + 1; i <= j.last; i++ {
		if j.lost[i] && (j.nearSet(i-1) || j.nearSet(i)) {
			return true
		}
	}
	return false
}
