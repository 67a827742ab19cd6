package due

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/clock"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
	"carryside/schedule/rules"
)

// Horizon is how far ahead dates are looked for; what lies beyond is said to.
const Horizon = 20 * 365 * 24 * time.Hour

// Cost is what replacing a splice costs, planned and after a failure, in the plant's currency, and what it rests on.
type Cost struct {
	life.Costs
	Words string // "planned 8 h of work; unplanned 14 h at 52 000 NOK/h and 8 h of work"
}

// Crossing is when a trend meets its limit: half of it before At and half after, normal to each side with a spread of its own.
// A slope that is not sure leaves the late side wider than the early one.
type Crossing struct {
	Quantity string       // "splice gap"
	Words    string       // "splice gap 2.1 mm growing 0.2 mm a month, limit 4 mm"
	Class    assets.Class // of the limit
	At       time.Time
	Spread   time.Duration // one standard deviation to the early side
	Late     time.Duration // the same to the late side; 0: as to the early one
	Margin   time.Duration // the recommended date is that much earlier
}

// short names the cause.
func (c Crossing) short() string {
	if c.Quantity == "" {
		return "limit passed"
	}
	return c.Quantity + " at its limit"
}

// LifeModel is what a forecast needs beside the standing: the laws of the cohorts, what replacing costs, trends and what
// findings demand.
type LifeModel struct {
	Laws     []cohort.Law
	Cost     func(s *assets.Splice) (Cost, bool) // nil: not known
	Trends   map[int64][]Crossing                // by splice
	Findings map[int64]Demand                    // by splice: the earliest date a finding's grade demands
}

// Demand is the date by which a finding's grade asks for work.
type Demand struct {
	By    time.Time
	Words string // "finding of 3 November, grade 3: act by 10 November"
}

// Forecast is when a splice comes due by every cause known, and the date it is best made anew.
//
// Coming due is failing, or passing a limit that binds: a rule of class A to C or P, or a trend. Causes are taken as
// independent.
type Forecast struct {
	SpliceID int64
	Key      cohort.Key
	Clock    cohort.Clock // of its cohort's law
	Age      float64      // on that clock
	Failures int64        // the law rests on
	Class    assets.Class // of the law: C from five failures of its own, else D
	NoLife   string       // why the life model says nothing of it; "" when it does
	Band     cohort.DueBand
	Causes   []string // in words; Band.Binding is one of them
	Short    []string // the same in a word or two: "failed", "limit passed"
	Best     BestAge
	Advice   Advice
	Limit    *Limit // the best age as a limit of the splice's age; nil: there is none

	causes  []cohort.Cause
	now     time.Time
	atLeast bool // the age is a lower bound
}

// Chances are the chances that a splice has come due by an instant: by any cause, and by each in the order of Causes.
func (f *Forecast) Chances(by time.Time) (any float64, each []float64) {
	none := 1.0
	for _, c := range f.causes {
		p := c.Chance(by)
		none *= 1 - p
		each = append(each, p)
	}
	return 1 - none, each
}

// FailsBy is the chance that a splice has failed in service by an instant, by the law of its cohort alone; false where no law says anything of it.
func (f *Forecast) FailsBy(by time.Time) (chance float64, known bool) {
	i := slices.Index(f.Short, failing)
	if i < 0 || i >= len(f.causes) {
		return 0, false
	}
	return f.causes[i].Chance(by), true
}

// failing is the short name of the cause that is the law's.
const failing = "failed"

// BestAge is the age at which replacing costs least in the long run.
type BestAge struct {
	Known     bool
	Age       float64 // on the law's clock
	Low, High float64 // the flat region: at most 5 % dearer; High +Inf when running to failure stays in it
	At        time.Time
	Words     string // with its numbers, or why there is none: 'run and inspect'
	Cost      string // what it is reckoned from: for those who may read costs
}

// Advice is the recommended date with what binds it; the zero time when nothing sets one.
type Advice struct {
	At     time.Time
	Day    assets.Day
	Reason string
	By     string       // what sets it, short: best age, rule, trend, finding
	Class  assets.Class // of what sets it; "": a finding
}

// Forecasts returns the forecasts of a plant's live splices at now, in the order of the register.
func Forecasts(now time.Time, reg *assets.Register, rs []rules.Rule, clocks Clocks, m LifeModel) []Forecast {
	e := evaluation{now: now, reg: reg, zone: calendar.ZoneOf(reg.Plant.Location())}
	e.limits = limitsOf(now, reg.Plant, rs)
	at := assets.InstantOf(now)
	laws := make(map[cohort.Key]*cohort.Law, len(m.Laws))
	for i := range m.Laws {
		laws[m.Laws[i].Key] = &m.Laws[i]
	}
	var live []*assets.Splice
	for i := range reg.Splices {
		if s := &reg.Splices[i]; s.Live(at) {
			live = append(live, s)
		}
	}
	out := make([]Forecast, len(live))
	sideBySide(len(live), func(from, to int) {
		fars := make(map[int64]*farLine, len(reg.Conveyors))
		for i, s := range live[from:to] {
			f := forecaster{evaluation: e, s: s, r: run{clocks.Lines[s.ConveyorID], clocks.Duties[s.BeltID]}, m: m, fars: fars}
			out[from+i] = f.forecast(laws[e.key(s)])
		}
	})
	return out
}

// leastShare is how many splices are worth a goroutine of their own.
const leastShare = 32

// sideBySide does something for n things in as many stretches as there are processors; few are done in one.
func sideBySide(n int, do func(from, to int)) {
	shares := max(1, min(runtime.GOMAXPROCS(0), n/leastShare))
	var all sync.WaitGroup
	for i := range shares {
		all.Go(func() { do(n*i/shares, n*(i+1)/shares) })
	}
	all.Wait()
}

// key is the closest cohort of a splice.
func (e evaluation) key(s *assets.Splice) cohort.Key {
	c, _ := e.reg.Conveyor(s.ConveyorID)
	return cohort.KeyOf(*s, e.family(s), cohort.DutyOf(c))
}

// forecaster forecasts one splice.
type forecaster struct {
	evaluation
	s *assets.Splice
	r run
	m LifeModel

	fars map[int64]*farLine // by conveyor

	out    Forecast
	causes []cohort.Cause
}

// cause adds a cause of coming due with its short name.
func (f *forecaster) cause(short string, c cohort.Cause) {
	f.causes, f.out.Short = append(f.causes, c), append(f.out.Short, short)
}

func (f *forecaster) forecast(law *cohort.Law) Forecast {
	f.out = Forecast{SpliceID: f.s.ID, Key: f.key(f.s), Best: BestAge{Words: "its cohort has no law yet"}}
	used := f.r.between(f.s.Made.At.Time(), f.now)
	f.byLife(law, used)
	f.byRules(used)
	for _, t := range f.m.Trends[f.s.ID] {
		f.byTrend(t)
	}
	if d, ok := f.m.Findings[f.s.ID]; ok {
		f.advise(d.By, ByFinding, "", d.Words)
	}
	f.out.Band = cohort.Compose(f.causes, f.now, f.now.Add(Horizon))
	f.out.causes, f.out.now = f.causes, f.now
	for _, c := range f.causes {
		f.out.Causes = append(f.out.Causes, c.Words)
	}
	if !f.out.Advice.At.IsZero() {
		f.out.Advice.Day = assets.Day(f.zone.Date(f.out.Advice.At.Add(-time.Microsecond)).String())
	}
	return f.out
}

// advise keeps the earliest date.
func (f *forecaster) advise(at time.Time, by string, class assets.Class, reason string) {
	if at.IsZero() || !f.out.Advice.At.IsZero() && !at.Before(f.out.Advice.At) {
		return
	}
	f.out.Advice = Advice{At: at, Reason: reason, By: by, Class: class}
}

// byLife adds the chance of failing and the best age.
func (f *forecaster) byLife(law *cohort.Law, used usage) {
	switch {
	case undated(f.s.Made):
		f.out.NoLife = "the date it was made is not known"
		return
	case law == nil || law.Own.RestsOn.Lives == 0:
		f.out.NoLife = "no life of its cohort can be used"
		return
	}
	f.out.Clock, f.out.Failures, f.out.Class = law.Clock, law.Own.RestsOn.Failures, law.Class
	age, known := f.ageOn(law.Clock, used)
	switch {
	case !known:
		f.out.NoLife = fmt.Sprintf("lives of its cohort are told in %s, which are not known here", law.Clock)
		return
	case law.Predictive == nil:
		f.out.Age, f.out.NoLife = age, fmt.Sprintf("none of the %s lives of its cohort has ended by failure", Count(float64(law.Own.RestsOn.Lives)))
		f.out.Best.Words = "no failure in its cohort yet: run and inspect"
		return
	}
	f.out.Age, f.out.atLeast = age, f.bound(law.Clock, used)
	ran := f.ran(law.Clock)
	most, _ := ran(f.now.Add(Horizon))
	if most > 0 {
		least, farthest := law.Predictive.Span(age)
		f.cause(failing, cohort.Cause{Words: fmt.Sprintf("failing, by %s failures among %s lives of its cohort", Count(float64(f.out.Failures)), Count(float64(law.Own.RestsOn.Lives))),
			Chance: cohort.FailsBy(law.Predictive.At(age).FailsWithin, ran, least, farthest)})
	}
	f.bestAge(law, age)
}

// ageOn is the splice's age on a clock.
func (f *forecaster) ageOn(c cohort.Clock, used usage) (float64, bool) {
	switch c {
	case cohort.RunHours:
		return used.hours.Value, used.hours.Known
	case cohort.Passes:
		return used.passes.Value, used.passes.Known
	}
	return max(0, f.now.Sub(f.s.Made.At.Time()).Hours()/24), true
}

// bound tells whether the age on a clock is a lower bound.
func (f *forecaster) bound(c cohort.Clock, used usage) bool {
	return onlyLatest(f.s.Made) || c == cohort.RunHours && used.hours.AtLeast || c == cohort.Passes && used.passes.AtLeast
}

// spreads is a line that knows how sure its projection is.
type spreads interface {
	Estimate(t time.Time) clock.Estimate
}

// Estimate returns the running hours at t with their spread.
func (l line) Estimate(t time.Time) clock.Estimate { return l.projected.At(t) }

// ran is what the splice will have run by a date since now, on a clock.
func (f *forecaster) ran(c cohort.Clock) cohort.Ran {
	if c == cohort.Days {
		return func(t time.Time) (float64, float64) { return t.Sub(f.now).Hours() / 24, 0 }
	}
	scale := 1.0
	if c == cohort.Passes {
		perHour, err := f.r.duty.PassesPerHour(f.now)
		if err != nil {
			return func(time.Time) (float64, float64) { return 0, 0 }
		}
		scale = perHour
	}
	if f.r.line == nil {
		return func(time.Time) (float64, float64) { return 0, 0 }
	}
	far := f.far(f.s.ConveyorID, f.r.line)
	return func(t time.Time) (mean, spread float64) {
		mean, spread = far.since(t)
		return mean * scale, spread * scale
	}
}

// far returns what a conveyor is projected to run, laid once for all its splices and causes.
func (f *forecaster) far(conveyor int64, l Line) *farLine {
	far := f.fars[conveyor]
	if far == nil {
		h0, _ := l.HoursAt(f.now)
		far = &farLine{line: l, now: f.now, h0: h0}
		far.sure, _ = l.(spreads)
		f.fars[conveyor] = far
	}
	return far
}

// farLine is the hours a conveyor is projected to run since now, with their spread: read off at whole weeks in the first two
// years and at every thirteenth week after, as asked, and taken as straight between: a date is then wrong by a weekend at most. A projection to a far date is a sum over its
// calendar, and dates are looked for by halving. Forecasts that are kept are asked by several at once.
type farLine struct {
	line Line
	sure spreads
	now  time.Time
	h0   float64

	laying sync.Mutex // held while a point is laid
	laid   [farPoints]ranPoint
	known  [farPoints]atomic.Bool // a point that is known is not written any more
}

type ranPoint struct{ hours, spread float64 }

const (
	nearWeeks = 104
	farWeeks  = 13
	farPoints = nearWeeks + int(Horizon/(farWeeks*7*24*time.Hour)) + 2
)

func (l *farLine) since(t time.Time) (mean, spread float64) {
	weeks := t.Sub(l.now).Hours() / (7 * 24)
	if weeks <= 0 {
		p := l.read(t)
		return p.hours, p.spread
	}
	if weeks > nearWeeks {
		weeks = nearWeeks + (weeks-nearWeeks)/farWeeks
	}
	weeks = min(weeks, float64(farPoints-2))
	i, share := int(weeks), weeks-math.Floor(weeks)
	a, b := l.point(i), l.point(i+1)
	return a.hours + (b.hours-a.hours)*share, a.spread + (b.spread-a.spread)*share
}

// point is the i-th of the points laid.
func (l *farLine) point(i int) ranPoint {
	if !l.known[i].Load() {
		l.lay(i)
	}
	return l.laid[i]
}

func (l *farLine) lay(i int) {
	l.laying.Lock()
	defer l.laying.Unlock()
	if l.known[i].Load() {
		return
	}
	weeks := i
	if i > nearWeeks {
		weeks = nearWeeks + farWeeks*(i-nearWeeks)
	}
	l.laid[i] = l.read(l.now.Add(time.Duration(weeks) * 7 * 24 * time.Hour))
	l.known[i].Store(true)
}

func (l *farLine) read(t time.Time) (p ranPoint) {
	if l.sure != nil {
		if e := l.sure.Estimate(t); e.Known {
			p.hours, p.spread = max(0, e.Hours-l.h0), e.SpreadH
		}
		return p
	}
	if h, known := l.line.HoursAt(t); known {
		p.hours = max(0, h-l.h0)
	}
	return p
}

// bestAge finds T* of the law as it is best known, and the date on which the splice reaches it.
func (f *forecaster) bestAge(law *cohort.Law, age float64) {
	if f.m.Cost == nil {
		f.out.Best.Words = "what a failure costs here is not known: give the conveyor's cost of an unplanned stop"
		return
	}
	cost, ok := f.m.Cost(f.s)
	if !ok {
		f.out.Best.Words = "what a failure costs here is not known: give the conveyor's cost of an unplanned stop"
		return
	}
	rep, err := law.BestAge(cost.Costs)
	if err != nil {
		f.out.Best.Words = "no best age: " + err.Error()
		return
	}
	if rep.Result != life.Optimum {
		f.out.Best.Words = runAndInspect(rep.Reason, law.Predictive.Best)
		return
	}
	b := BestAge{Known: true, Age: float64(rep.Age), Low: float64(rep.Low), High: float64(rep.High)}
	if math.IsNaN(b.High) {
		b.High = math.Inf(1)
	}
	b.At = f.reached(law.Clock, b.Age-age)
	high := "no upper end"
	if !math.IsInf(b.High, 1) {
		high = estimate(b.High)
	}
	b.Words = fmt.Sprintf("%s %s (within 5 %% of the least cost from %s to %s)", estimate(b.Age), law.Clock, estimate(b.Low), high)
	b.Cost = cost.Words
	f.out.Best = b
	f.out.Limit = &Limit{Name: "best age", Class: law.Class, Clock: clockNames[law.Clock], Limit: b.Age, Reached: Figure{Value: age, Known: true},
		Source: fmt.Sprintf("%s failures among %s lives of its cohort", Count(float64(f.out.Failures)), Count(float64(law.Own.RestsOn.Lives)))}
	f.advise(b.At, ByBestAge, law.Class, fmt.Sprintf("best age %s, by %s of its cohort (%s); it is at %s", b.Words, plural(int(f.out.Failures), "failure"), classWords(law.Class), Count(age)))
}

var clockNames = [...]ClockName{cohort.Days: Days, cohort.RunHours: RunHours, cohort.Passes: Passes}

func runAndInspect(reason string, law life.Weibull) string {
	switch reason {
	case life.ByShape:
		return fmt.Sprintf("no best age: its cohort does not wear with age (shape %.2f): run and inspect", law.Shape)
	case life.ByCosts:
		return "no best age: a failure costs no more than a planned replacement: run and inspect"
	default:
		return "no best age worth keeping: it would save less than 1 % against running to failure: run and inspect"
	}
}

// reached is the date at which so many more units of a clock are run; now when they are, zero when they never are.
func (f *forecaster) reached(c cohort.Clock, more float64) time.Time {
	if more <= 0 {
		return f.now
	}
	switch {
	case c == cohort.Days:
		if more > Horizon.Hours()/24 {
			return time.Time{}
		}
		return f.now.Add(time.Duration(more * 24 * float64(time.Hour)))
	case f.r.line == nil:
		return time.Time{}
	}
	if c == cohort.Passes {
		perHour, err := f.r.duty.PassesPerHour(f.now)
		if err != nil || perHour <= 0 {
			return time.Time{}
		}
		more /= perHour
	}
	h0, known := f.r.line.HoursAt(f.now)
	if !known {
		return time.Time{}
	}
	at, _ := f.r.line.HoursReachedAt(h0 + more)
	return at
}

// byRules adds the limits of rules that bind by themselves: class A to C and P.
func (f *forecaster) byRules(used usage) {
	from := f.s.Made.At.Time()
	for _, rule := range f.limits {
		if !rule.Class.RaisesOrders() || !f.matches(rule.Scope, f.s) {
			continue
		}
		c := limitBy(rule)
		words := func() string {
			return fmt.Sprintf("limit of %s %s by rule %q (%s)", Count(c.Limit.Limit), c.Clock, rule.Name, classWords(rule.Class))
		}
		if c.Clock == Days {
			if c.onDays(f.s.Made, rule.Trigger, f.zone) {
				c.date(f.evaluation, f.s.Made)
				f.cause("limit passed", cohort.Cause{Words: words(), Chance: cohort.OnDate(c.at)})
				f.advise(c.at, ByRule, rule.Class, f.counted(f.s, c))
			}
			continue
		}
		if !c.onHours(f.r, from, used, rule.Trigger) {
			continue
		}
		c.invert(f.r.line, f.zone)
		h0, _ := f.r.line.HoursAt(f.now)
		f.cause("limit passed", cohort.Cause{Words: words(), Chance: cohort.PassesBy(c.targetH-h0, f.ran(cohort.RunHours))})
		f.advise(c.at, ByRule, rule.Class, f.counted(f.s, c))
	}
}

// byTrend adds a trend that heads for its limit.
func (f *forecaster) byTrend(t Crossing) {
	f.cause(t.short(), cohort.Cause{Words: t.Words, Chance: t.chance})
	f.advise(t.At.Add(-t.Margin), ByTrend, t.Class, t.Words)
}

// chance is that the limit has been met by an instant.
func (c Crossing) chance(at time.Time) float64 {
	spread := c.Spread
	if at.After(c.At) && c.Late > 0 {
		spread = c.Late
	}
	if spread <= 0 {
		return cohort.OnDate(c.At)(at)
	}
	return math.Erfc(float64(c.At.Sub(at))/(float64(spread)*math.Sqrt2)) / 2
}

// normal90 is the 90 % point of the normal distribution.
const normal90 = 1.2815515655446004

// Dates are when the limit has been met by 10, 50 and 90 %.
func (c Crossing) Dates() (at10, at50, at90 time.Time) {
	late := c.Late
	if late <= 0 {
		late = c.Spread
	}
	away := func(spread time.Duration) time.Duration { return time.Duration(normal90 * float64(spread)) }
	return c.At.Add(-away(c.Spread)), c.At, c.At.Add(away(late))
}
