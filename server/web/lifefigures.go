package web

import (
	"fmt"
	"html/template"
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
	"carryside/server/web/drawing"
)

// bandLevel is what the band of a chart holds, bandZ the normal quantile that belongs to it.
const bandLevel, bandZ = 0.9, 1.6448536269514722

// plot draws the lives against the law, and gives the same facts as rows.
func (l *lifeLook) plot() (template.HTML, []lifePoint) {
	f := drawing.Failures{Most: l.farthest()}
	f.Shown, f.Axis = axisOf(f.Most, l.law.Clock)
	f.Steps = observed(l.law.Own)
	for _, o := range l.lives.Lives {
		ob, ok := o.On(l.law.Clock)
		if !ok {
			continue
		}
		at := ob.Life
		if ob.Event == life.Interval {
			at = (ob.Lower + ob.Upper) / 2
		}
		f.Marks = append(f.Marks, drawing.LifeMark{X: at, End: endOf(o)})
	}
	var rows []lifePoint
	if l.law.Predictive != nil {
		law := l.law.Predictive.Best
		for i := range 101 {
			x := f.Most * float64(i) / 100
			f.Fit = append(f.Fit, drawing.XY{X: x, Y: law.FailsWithin(0, x)})
			low, up := l.band(x)
			f.Low, f.Up = append(f.Low, drawing.XY{X: x, Y: low}), append(f.Up, drawing.XY{X: x, Y: up})
		}
		for _, q := range []struct {
			p    float64
			says string
		}{{0.1, "B10: 1 in 10 failed by "}, {0.5, "half failed by "}} {
			x := law.Quantile(q.p)
			f.Reads = append(f.Reads, drawing.Reads{Share: q.p, X: x, Says: q.says + ageFigure(x)})
		}
		rows = l.points(law, f.Most)
	} else {
		rows = l.unfailed(f.Most)
	}
	if l.best != nil && l.best.Result == life.Optimum {
		f.Best, f.FlatFrom, f.FlatTo = float64(l.best.Age), float64(l.best.Low), float64(l.best.High)
		if math.IsNaN(f.FlatTo) {
			f.FlatTo = f.Most
		}
		f.BestSays = "best age " + ageFigure(f.Best)
	}
	failed := l.lives.Failures() // of the lives that may be seen here
	f.Sentence = fmt.Sprintf("Share of splices failed against %s: %s, %d others, the fitted curve with its 90 %% band", l.law.Clock, Figure(failed, "failure", "failures"), len(f.Marks)-failed)
	return drawing.OfFailures(f), rows
}

// farthest is the age up to which is drawn: beyond the oldest life, and as far as half of them fail where that is near.
func (l *lifeLook) farthest() float64 {
	most := 0.0
	for _, o := range l.lives.On(l.law.Clock) {
		most = max(most, o.Life, o.Upper)
	}
	if l.law.Predictive != nil {
		most = max(most, min(1.6*most, 1.15*l.law.Predictive.Best.Quantile(0.5)))
	}
	if most == 0 {
		return 1
	}
	return 1.05 * most
}

// axisOf chooses thousands or millions for long clocks.
func axisOf(most float64, c cohort.Clock) (shown float64, words string) {
	switch {
	case most >= 5e6:
		return 1e6, "million " + c.String() + " since the splice was made"
	case most >= 1e4:
		return 1e3, "thousand " + c.String() + " since the splice was made"
	}
	return 1, c.String() + " since the splice was made"
}

// observed is the share failed from each failure on: Kaplan and Meier, or Turnbull where there are intervals.
func observed(f life.Fitted) (steps []drawing.XY) {
	for _, row := range f.ProductLimit {
		steps = append(steps, drawing.XY{X: float64(row.Time), Y: 1 - float64(row.Survival)})
	}
	if f.Turnbull != nil {
		for _, row := range f.Turnbull.Rows {
			if up := float64(row.Upper); !math.IsNaN(up) && !math.IsInf(up, 0) {
				steps = append(steps, drawing.XY{X: up, Y: 1 - float64(row.Survival)})
			}
		}
	}
	return steps
}

// band is the 90 % band of the share failed by an age. By the own fit alone it comes from the covariance of (ln shape, ln scale)
// by the delta method on ln(-ln S) = shape (ln age - ln scale) (Meeker and Escobar 1998, ch. 8); where the shape is drawn
// towards others, from what their likelihood together leaves open.
func (l *lifeLook) band(x float64) (low, up float64) {
	if x <= 0 {
		return 0, 0
	}
	f := l.law.Own
	if f.Covariance == nil || l.law.Prior != nil {
		return l.law.Predictive.Band(x, bandLevel)
	}
	b := float64(f.Shape)
	u := b * (math.Log(x) - math.Log(float64(f.Scale)))
	v := f.Covariance
	sd := math.Sqrt(u*u*float64(v[0][0]) - 2*u*b*float64(v[0][1]) + b*b*float64(v[1][1]))
	failed := func(u float64) float64 { return -math.Expm1(-math.Exp(u)) }
	return failed(u - bandZ*sd), failed(u + bandZ*sd)
}

// unfailed are the facts of the chart of a cohort without a failure: nothing is fitted.
func (l *lifeLook) unfailed(most float64) (rows []lifePoint) {
	for i := 2; i <= 10; i += 2 {
		rows = append(rows, lifePoint{Age: ageFigure(most * float64(i) / 10), Observed: Percent(0), Fitted: "none", Band: "none: no failure"})
	}
	return rows
}

// points are the facts of the chart at ten ages.
func (l *lifeLook) points(law life.Weibull, most float64) []lifePoint {
	steps := observed(l.law.Own)
	var rows []lifePoint
	for i := 1; i <= 10; i++ {
		x := most * float64(i) / 10
		seen := 0.0
		for _, s := range steps {
			if s.X <= x {
				seen = s.Y
			}
		}
		low, up := l.band(x)
		rows = append(rows, lifePoint{Age: ageFigure(x), Observed: Percent(seen), Fitted: Percent(law.FailsWithin(0, x)), Band: Percent(low) + " to " + Percent(up)})
	}
	return rows
}

// oneUnit is one unit of a clock in words.
var oneUnit = [...]string{cohort.Days: "day", cohort.RunHours: "running hour", cohort.Passes: "pass"}

// costCurve draws what each replacement age costs, and gives the same facts as rows.
func (l *lifeLook) costCurve() (of template.HTML, rows []lifePoint, money string) {
	law, costs := l.law.Predictive.Best, l.cost.Costs
	most := l.farthest()
	if l.best.Result == life.Optimum {
		most = max(most, 1.5*float64(l.best.Age))
	}
	shown, axis := axisOf(most, l.law.Clock)
	c := drawing.CostCurve{Most: most, Shown: shown, Axis: "replaced at, " + axis[:len(axis)-len(" since the splice was made")],
		Money: l.currency + " per " + pick(shown == 1, oneUnit[l.law.Clock], Num(shown, 0)+nb+l.law.Clock.String()), ToFailure: costs.Unplanned / law.Mean() * shown}
	for i := 1; i <= 80; i++ {
		x := most * float64(i) / 80
		y := life.CostRate(law, costs, x) * shown
		c.Points = append(c.Points, drawing.XY{X: x, Y: y})
		if i%8 == 0 {
			rows = append(rows, lifePoint{Age: ageFigure(x), Fitted: moneyFigure(y)})
		}
	}
	c.Sentence = "Cost against replacement age, " + c.Money + "; running to failure costs " + moneyFigure(c.ToFailure)
	if l.best.Result == life.Optimum {
		c.Best, c.From, c.To, c.Least = float64(l.best.Age), float64(l.best.Low), float64(l.best.High), float64(l.best.CostRate)*shown
		if math.IsNaN(c.To) {
			c.To = most
		}
		c.Sentence += fmt.Sprintf(", the least is %s at %s", moneyFigure(c.Least), l.age(c.Best))
	}
	return drawing.OfCosts(c), rows, c.Money
}

// moneyFigure writes three figures: the flat region is within 5 % of the least.
func moneyFigure(v float64) string {
	switch {
	case v < 10:
		return Short(v, 2)
	case v < 100:
		return Short(v, 1)
	}
	return ageFigure(v)
}

// costFacts says what the costs are made of.
func (l *lifeLook) costFacts() []Fact {
	if !l.costs {
		return []Fact{{"Not known", "the catalogue has no hours of work for this splice kind; a lead enters them there"}}
	}
	money := func(v float64) string { return With(ageFigure(v), l.currency) }
	return []Fact{{"Planned remake", money(l.cost.Planned)}, {"After a failure", money(l.cost.Unplanned)}, {"Made of", l.cost.Words}}
}

// rests says what the fit rests on.
func (l *lifeLook) rests() []Fact {
	f := l.law.Own
	limits := func(low, up life.Figure, write func(float64) string) string {
		side := func(v life.Figure) string {
			if math.IsNaN(float64(v)) {
				return "open"
			}
			return write(float64(v))
		}
		return side(low) + " to " + side(up)
	}
	two := func(v float64) string { return Num(v, 2) }
	var out []Fact
	if f.Method == life.MaximumLikelihood {
		out = append(out,
			Fact{"Own shape", Num(float64(f.Shape), 2) + ", 95 % " + limits(f.Limits.Shape[0], f.Limits.Shape[1], two) + wears(f)},
			Fact{"Own scale", ageFigure(float64(f.Scale)) + ", 95 % " + limits(f.Limits.Scale[0], f.Limits.Scale[1], ageFigure)})
		if len(f.Quantiles) > 0 {
			q := f.Quantiles[0]
			out = append(out, Fact{"Own B10", ageFigure(float64(q.Life)) + ", 95 % " + limits(q.Lower, q.Upper, ageFigure)})
		}
	}
	if l.law.Prior != nil && l.law.Predictive != nil {
		best := l.law.Predictive.Best
		out = append(out, Fact{"Scale and B10 used", ageFigure(best.Scale) + " and " + ageFigure(best.Quantile(0.1)) + ", by " + Figure(int(f.RestsOn.Failures), "failure", "failures") + " of its own"})
		out = append(out, Fact{"Shape used", Num(l.law.Predictive.Best.Shape, 2) + ": " + howKnown(l.law)})
	}
	out = append(out, Fact{"Clock", l.clockWords()})
	for i, rec := range recordsOf(l.lives.Lives) {
		out = append(out, Fact{pick(i == 0, "On record since", "and"), l.r.recordWords(rec)})
	}
	late, apart, asks := 0, 0, 0
	for _, o := range l.lives.Lives {
		late, apart, asks = late+b2i(o.Late), apart+b2i(o.Outcome == cohort.LeftOut), asks+b2i(o.Question != "")
	}
	out = append(out, Fact{"Set apart", fmt.Sprintf("%s left out; %s entered late, counted only from then; %s with a question", Count(apart, "life", "lives"), Count(late, "life", "lives"), Count(asks, "life", "lives"))})
	if g := float64(f.Goodness.MaxGap); !math.IsNaN(g) && f.Method == life.MaximumLikelihood {
		out = append(out, Fact{"Fit", fmt.Sprintf("the fitted curve is nowhere more than %s points from the observed one", Num(100*g, 0))})
	}
	return append(out, Fact{"Chances", "averaged over what the lives leave open, so that few failures make wide bands; causes of coming due are taken as independent"})
}

// recordsOf are the records that some lives rest on, one for each plant.
func recordsOf(lives []cohort.Life) (out []*cohort.Record) {
	for _, o := range lives {
		if o.Record != nil && !slices.ContainsFunc(out, func(r *cohort.Record) bool { return r.PlantID == o.Record.PlantID }) {
			out = append(out, o.Record)
		}
	}
	return out
}

// recordWords say since when a plant's endings are on record, and how that is known.
func (r *Request) recordWords(rec *cohort.Record) string {
	words := r.F.PlainDay(assets.DayOf(rec.Since.In(r.F.zone()))) + " at " + rec.Plant + ", "
	if rec.Stated {
		return words + "as the plant states: " + rec.Why
	}
	return words + "not stated but read off the register: " + rec.Why
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// wears says whether the shape shows wear.
func wears(f life.Fitted) string {
	switch low, up := float64(f.Limits.Shape[0]), float64(f.Limits.Shape[1]); {
	case low > 1:
		return ": above 1, they wear out"
	case up < 1:
		return ": below 1, most that fail do so early"
	}
	return ": whether they wear is not settled"
}

// tellsApart is the difference of log-likelihoods below which one law is hardly better than another: half the 5 % point of
// chi-square with one degree of freedom, 1.92, rounded.
const tellsApart = 2

// clockWords says on which clock lives are told and by how much it fits better.
func (l *lifeLook) clockWords() string {
	if l.law.Compared == nil {
		return l.law.Clock.String() + ": too few failures to compare clocks"
	}
	words, next := l.law.Clock.String()+" fit best", math.Inf(1)
	for _, c := range l.law.Compared {
		if c.Clock != l.law.Clock {
			next = min(next, c.Short)
			words += fmt.Sprintf(", %s fall short by %s in log-likelihood", c.Clock, Num(c.Short, 1))
		}
	}
	if l.law.ClockBy != l.law.Key {
		words += "; decided by " + l.law.ClockBy.Words()
	}
	if next < tellsApart {
		words += "; under " + Num(tellsApart, 0) + " the lives hardly tell clocks apart"
	}
	return words + ". To compare them each failure's density is taken per day: the log of the hours or passes a day over its life is added, and only lives known on every clock count"
}
