package due

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
	"carryside/schedule/rules"
)

// RuleLives returns what the laws tell of a plant's splices as rules ask for it, those that ended in its register too: a
// preview looks back. Splices without a date, without a law or on a clock that is not known are left out.
func RuleLives(now time.Time, reg *assets.Register, clocks Clocks, m LifeModel) map[int64]rules.SpliceLife {
	e := evaluation{now: now, reg: reg, zone: calendar.ZoneOf(reg.Plant.Location())}
	laws := make(map[cohort.Key]*cohort.Law, len(m.Laws))
	for i := range m.Laws {
		laws[m.Laws[i].Key] = &m.Laws[i]
	}
	out := make(map[int64]rules.SpliceLife, len(reg.Splices))
	for i := range reg.Splices {
		s := &reg.Splices[i]
		law := laws[e.key(s)]
		if law == nil || law.Predictive == nil || undated(s.Made) {
			continue
		}
		l := oneLife{s: s, law: law, r: run{clocks.Lines[s.ConveyorID], clocks.Duties[s.BeltID]}, now: now}
		if _, known := l.ranBetween(s.Made.At.Time(), now); known {
			out[s.ID] = l.forRules(m)
		}
	}
	return out
}

// oneLife is one splice under its law.
type oneLife struct {
	s   *assets.Splice
	law *cohort.Law
	r   run
	now time.Time
}

func (l oneLife) forRules(m LifeModel) rules.SpliceLife {
	rests := l.law.Own.RestsOn
	out := rules.SpliceLife{Within: l.within, Class: l.law.Class, Rests: fmt.Sprintf("%s among %s of its cohort", plural(int(rests.Failures), "failure"), livesWords(rests.Lives))}
	if m.Cost == nil {
		return out
	}
	if cost, ok := m.Cost(l.s); ok {
		if rep, err := l.law.BestAge(cost.Costs); err == nil && rep.Result == life.Optimum {
			age := float64(rep.Age)
			out.BestAt, out.Best = l.reaches(age), fmt.Sprintf("%s %s", Count(age), l.law.Clock)
			out.Share = func(share float64) time.Time { return l.reaches(age * share) }
		}
	}
	return out
}

func livesWords(n int64) string {
	if n == 1 {
		return "1 life"
	}
	return Count(float64(n)) + " lives"
}

// ranBetween is what the splice ran from one instant to another, on the law's clock.
func (l oneLife) ranBetween(from, to time.Time) (float64, bool) {
	if l.law.Clock == cohort.Days {
		return max(0, to.Sub(from).Hours()/24), true
	}
	u := l.r.between(from, to)
	f := u.hours
	if l.law.Clock == cohort.Passes {
		f = u.passes
	}
	return f.Value, f.Known
}

// within is the predictive chance of failing from one instant, sound then, to another.
func (l oneLife) within(from, to time.Time) float64 {
	age, known := l.ranBetween(l.s.Made.At.Time(), from)
	mean, ran := l.ranBetween(from, to)
	if !known || !ran || !(mean > 0) {
		return 0
	}
	spread := l.spread(from, to)
	if spread <= 0 {
		return l.law.Predictive.FailsWithin(age, mean)
	}
	// three points of Gauss and Hermite are exact to the fifth power of the spread
	step := math.Sqrt(3) * spread
	return l.law.Predictive.FailsWithin(age, mean)*2/3 + (l.law.Predictive.FailsWithin(age, max(0, mean-step))+l.law.Predictive.FailsWithin(age, mean+step))/6
}

// spread is one standard deviation of what is to be run, from the projection.
func (l oneLife) spread(from, to time.Time) float64 {
	sure, ok := l.r.line.(spreads)
	if !ok || l.law.Clock == cohort.Days || !to.After(l.now) {
		return 0
	}
	at := sure.Estimate(to).SpreadH
	if from.After(l.now) {
		before := sure.Estimate(from).SpreadH
		at = math.Sqrt(max(0, at*at-before*before))
	}
	if l.law.Clock != cohort.Passes {
		return at
	}
	perHour, err := l.r.duty.PassesPerHour(to)
	if err != nil {
		return 0
	}
	return at * perHour
}

// reaches is when the splice reaches an age; the zero time when it never does.
func (l oneLife) reaches(age float64) time.Time {
	made := l.s.Made.At.Time()
	if l.law.Clock == cohort.Days {
		if age > 100*365 {
			return time.Time{}
		}
		return made.Add(time.Duration(age * 24 * float64(time.Hour)))
	}
	h, ok := 0.0, false
	if l.law.Clock == cohort.RunHours {
		_, h, _, ok = l.r.begin(made)
		h += age
	} else {
		h, ok = l.r.hoursForPasses(made, age)
	}
	if !ok {
		return time.Time{}
	}
	at, _ := l.r.line.HoursReachedAt(h)
	return at
}
