package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/life"
	"carryside/schedule/people"
	"carryside/server/web/drawing"
)

// Lives is what the pages about life need.
type Lives interface {
	Moving
	// LifeBook returns the laws of the cohorts of a plant's customer with the lives the reader may see. It may be shared:
	// screens do not change it. With a way of failing, failures in another way count as sound until then.
	LifeBook(ctx context.Context, scope assets.Scope, plantID int64, way string, now time.Time) (*LifeBook, error)
}

// LifeBook is what the splices of a customer have taught.
type LifeBook struct {
	Laws      []cohort.Law
	Lives     []cohort.Life // of the plants the reader may see
	Elsewhere bool          // plants the reader may not see have lives in it too
	Fitted    time.Time
	Kinds     []assets.SpliceKind
}

// lifePage answers: how old do splices of one sort get here, at what age are they best made anew, and what does that rest on?
type lifePage struct {
	Page
	Cohorts  []Option
	Chosen   string
	Ways     []Option // of failing that can be asked about
	ChosenAs string
	Plot     template.HTML
	Key      []template.HTML
	Points   []lifePoint
	Costs    template.HTML
	CostRows []lifePoint
	Money    string // unit of the cost of an age
	Clock    string // of the ages
	CostSays []Fact
	Lines    []cohortLine
	Rests    []Fact
	LivesTo  string
	LivesSay string
	Empty    *Empty
}

// lifePoint is one row of the table beside a chart.
type lifePoint struct{ Age, Observed, Fitted, Band string }

type cohortLine struct {
	Word, To                          string
	Shown                             bool
	Splices, Failures                 string
	Clock, Shape, Scale, B10, How, By string
	OwnShape, OwnScale, OwnB10        string // of its own lives alone, where the figures used are a blend; "" where they are the same
}

func (s *Site) life(r *Request) error {
	asked, err := s.askLife(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	p := &lifePage{}
	p.Sheet = "Life"
	if len(asked.here) == 0 {
		p.Say = "No splice of this plant has told anything about life yet"
		p.Empty = &Empty{What: "No lives yet", Why: "How long splices last is learnt from those that ended and those that still run. Bring in the plant's list, or enter belts and splices with the dates they were made and ended."}
		return r.Show("life", p)
	}
	look := lifeLook{r: r, lifeAsked: asked, reg: reg}
	look.measure()
	look.fill(p)
	return r.Show("life", p)
}

// lifeAsked is the cohort that an address asks about.
type lifeAsked struct {
	book  *LifeBook
	here  []cohort.Law // of the plant's cohorts
	law   cohort.Law   // of the one asked about
	lives cohort.Cohort
	way   string // of failing that is asked about; "": any
}

// askLife finds the cohort, the one with most failures where none is named. A way in which none of its lives failed is passed
// over: it was chosen when another cohort stood there.
func (s *Site) askLife(r *Request) (a lifeAsked, err error) {
	named := r.Query("cohort")
	for a.way = r.Query("way"); ; a.way = "" {
		if a.book, err = s.Lives.LifeBook(r.Context(), r.Scope, r.PlantID(), a.way, r.Now); err != nil {
			return a, err
		}
		if a.here = a.book.ofPlant(r.PlantID()); len(a.here) == 0 && named == "" {
			return a, nil
		}
		i := slices.IndexFunc(a.here, func(l cohort.Law) bool { return named == "" || l.Key.Words() == named })
		if i < 0 {
			return a, fmt.Errorf("cohort %q: %w", named, assets.ErrNotFound)
		}
		a.law = a.here[i]
		a.lives = a.book.livesOf(a.law.Key)
		if a.way == "" || a.lives.FailedBy(a.way) {
			return a, nil
		}
	}
}

// ofPlant returns the laws of the cohorts a plant has or had splices in, most failures first.
func (b *LifeBook) ofPlant(plantID int64) []cohort.Law {
	has := map[cohort.Key]bool{}
	for _, l := range b.Lives {
		if l.PlantID == plantID {
			has[l.Key] = true
		}
	}
	var out []cohort.Law
	for _, l := range b.Laws {
		if has[l.Key] {
			out = append(out, l)
		}
	}
	cohort.ByFailures(out)
	return out
}

// livesOf returns the visible lives of a cohort.
func (b *LifeBook) livesOf(k cohort.Key) cohort.Cohort {
	c := cohort.Cohort{Key: k}
	for _, l := range b.Lives {
		if l.Key == k {
			c.Lives = append(c.Lives, l)
		}
	}
	return c
}

// lifeLook is one cohort looked at.
type lifeLook struct {
	lifeAsked
	r   *Request
	reg *assets.Register

	best     *life.Replacement
	cost     due.Cost
	costs    bool // the cost is known
	currency string
}

// measure finds the best age. One way of failing alone has none: replacing forestalls them all.
func (l *lifeLook) measure() {
	if l.way != "" {
		return
	}
	l.cost, l.costs, l.currency = l.costOf()
	if !l.costs || l.law.Predictive == nil {
		return
	}
	if best, err := l.law.BestAge(l.cost.Costs); err == nil {
		l.best = &best
	}
}

// costOf is what a replacement costs at the conveyors of the cohort: at their mean cost of a stop.
func (l *lifeLook) costOf() (due.Cost, bool, string) {
	i := slices.IndexFunc(l.book.Kinds, func(k assets.SpliceKind) bool { return k.Form == l.law.Key.Form && k.Bond == l.law.Key.Bond })
	if i < 0 {
		return due.Cost{}, false, ""
	}
	seen, sum := map[int64]bool{}, 0.0
	n := 0.0
	for _, one := range l.lives.Lives {
		c, ok := l.reg.Conveyor(one.ConveyorID)
		if ok && !seen[c.ID] && c.StopCostPerHour > 0 {
			sum, n = sum+c.StopCostPerHour, n+1
		}
		seen[one.ConveyorID] = true
	}
	mean := assets.Conveyor{}
	currency := "stop hours"
	if n > 0 {
		mean.StopCostPerHour, currency = math.Round(sum/n), l.reg.Plant.Currency
	}
	c, ok := due.CostOf(l.book.Kinds[i], mean, l.reg.Plant.Currency)
	return c, ok, currency
}

func (l *lifeLook) fill(p *lifePage) {
	p.Say, p.Sub, p.Clock = l.say(), l.sub(), l.law.Clock.String()
	p.Chosen, p.ChosenAs = l.law.Key.Words(), Capital(l.law.Key.Words())
	for _, o := range l.here {
		p.Cohorts = append(p.Cohorts, Option{Value: o.Key.Words(), Label: Capital(o.Key.Words())})
		p.Lines = append(p.Lines, l.line(o))
	}
	p.Rests = l.rests()
	p.Ways, p.LivesTo = l.ways(), l.r.At("life", "lives")+"?cohort="+url.QueryEscape(p.Chosen)
	if l.way != "" {
		p.LivesTo += "&way=" + url.QueryEscape(l.way)
	}
	p.LivesSay = "The " + Figure(len(l.lives.Lives), "life", "lives") + " as a table"
	p.Plot, p.Points = l.plot()
	p.Key = l.key()
	if l.way == "" && l.r.May(people.ReadCosts) {
		p.CostSays = l.costFacts()
		if l.best != nil {
			p.Costs, p.CostRows, p.Money = l.costCurve()
		}
	}
}

// say is the headline: the best age, or why there is none.
func (l *lifeLook) say() string {
	kind := Capital(assets.KindWords(l.law.Key.Form, l.law.Key.Bond))
	if !l.law.Key.Form.Mechanical() {
		kind += " splices"
	}
	rests := l.law.Own.RestsOn
	switch {
	case rests.Lives == 0:
		return "No life of this cohort can be used"
	case l.law.Predictive == nil && len(l.lives.Lives) == 1:
		return "Its only splice has not failed yet: no date is set from its life"
	case l.law.Predictive == nil:
		return fmt.Sprintf("None of %s has failed yet: no date is set from their life", Figure(len(l.lives.Lives), "splice", "splices"))
	case l.way != "":
		return fmt.Sprintf("If %s were the only way to fail, half of %s would fail by %s", l.way, lower(kind), l.age(l.law.Predictive.Best.Quantile(0.5)))
	case l.best == nil:
		return fmt.Sprintf("Half of %s fail by %s", lower(kind), l.age(l.law.Predictive.Best.Quantile(0.5)))
	case l.best.Result == life.Optimum && math.IsNaN(float64(l.best.High)):
		return fmt.Sprintf("%s cost least when remade at %s; from %s on it costs within 5 %% of that", kind, l.age(float64(l.best.Age)), l.bare(float64(l.best.Low)))
	case l.best.Result == life.Optimum:
		return fmt.Sprintf("%s cost least when remade at %s; %s to %s costs within 5 %% of that", kind, l.age(float64(l.best.Age)), l.bare(float64(l.best.Low)), l.bare(float64(l.best.High)))
	case l.best.Reason == life.ByShape:
		return fmt.Sprintf("%s do not wear with age (shape %s): run and inspect", kind, Num(l.law.Predictive.Best.Shape, 2))
	case l.best.Reason == life.ByCosts:
		return fmt.Sprintf("A failure of %s costs no more than remaking them in time: run and inspect", lower(kind))
	default:
		return fmt.Sprintf("Remaking %s by age would save less than 1 %%: run and inspect", lower(kind))
	}
}

// sub says what the figures rest on.
func (l *lifeLook) sub() string {
	rests := l.law.Own.RestsOn
	where := "of this customer's plants"
	if l.onlyHere() {
		where = "of this plant"
	}
	counts := fmt.Sprintf("Rests on %s among %s %s", Figure(int(rests.Failures), "failure", "failures"), Figure(int(rests.Lives), "life", "lives"), where)
	if l.book.Elsewhere {
		counts = fmt.Sprintf("Rests on lives of this customer, of which %s may be seen here", Figure(len(l.lives.Lives), "life", "lives"))
	}
	class := "class D: fewer than five failures of its own, or a borrowed shape"
	if l.law.Class == assets.ClassC {
		class = "class C"
	}
	says := Capital(pick(l.law.Key.Family == "", "belts of no known family", "on "+l.law.Key.Family)+", "+l.law.Key.Duty) + ". " + counts + " (" + class + "); told in " + l.law.Clock.String() + "."
	if l.way != "" {
		says += " Only failures by " + l.way + " count here, the others as sound until then; dates and best ages rest on every failure."
	}
	return says
}

// ways are the ways of failing seen in the cohort, the most frequent first, behind all of them together.
func (l *lifeLook) ways() []Option {
	out := []Option{{Value: "", Label: "in any way", Chosen: l.way == ""}}
	for _, w := range l.lives.Ways() {
		out = append(out, Option{Value: w.Mode, Label: w.Mode + ", " + Int(int64(w.Failures)), Chosen: w.Mode == l.way})
	}
	return out
}

func (l *lifeLook) onlyHere() bool {
	return !l.book.Elsewhere && !slices.ContainsFunc(l.lives.Lives, func(o cohort.Life) bool { return o.PlantID != l.r.PlantID() })
}

// age writes an age on the law's clock with three figures that count.
func (l *lifeLook) age(v float64) string { return l.bare(v) + nb + l.law.Clock.String() }

func (l *lifeLook) bare(v float64) string { return ageFigure(v) }

// ageFigure rounds an age to three figures, below ten to a tenth: more are not known.
func ageFigure(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "open"
	}
	switch {
	case v <= 0:
		return "0"
	case v < 9.95:
		return Short(v, 1)
	}
	step := math.Pow(10, math.Max(0, math.Floor(math.Log10(v))-2))
	return Num(math.Round(v/step)*step, 0)
}

// line is a cohort in the list of all.
func (l *lifeLook) line(o cohort.Law) cohortLine {
	lives := l.book.livesOf(o.Key)
	c := cohortLine{Word: Capital(o.Key.Words()), To: l.r.At("life") + "?cohort=" + url.QueryEscape(o.Key.Words()), Shown: o.Key == l.law.Key,
		Splices: Int(int64(len(lives.Lives))), Failures: Int(int64(lives.Failures())), Clock: o.Clock.String(), How: howKnown(o), By: string(o.Class)}
	f := o.Own
	if seen, rests := lives.Failures(), int(f.RestsOn.Failures); !l.book.Elsewhere && rests < seen {
		c.Failures = Int(int64(rests))
		c.How += fmt.Sprintf("; %s more left out, its age in %s not known", Count(seen-rests, "failure", "failures"), o.Clock)
	}
	switch {
	case f.RestsOn.Lives == 0:
		c.Shape, c.Scale, c.B10 = "none", "none", "none"
	case o.Predictive == nil:
		c.Shape = Num(float64(f.Shape), 2) + ", fixed"
		c.Scale, c.B10 = "over "+ageFigure(float64(f.Limits.Scale[0])), "over "+ageFigure(float64(f.Limits.Scale[0])*math.Pow(-math.Log(0.9), 1/float64(f.Shape)))
	default:
		best := o.Predictive.Best
		c.Shape, c.Scale, c.B10 = Num(best.Shape, 2), ageFigure(best.Scale), ageFigure(best.Quantile(0.1))
	}
	c.own(o)
	return c
}

// own adds the fit of a cohort's own lives where others, or a rule of thumb, have a say in the figures used.
func (c *cohortLine) own(o cohort.Law) {
	switch f := o.Own; {
	case o.Prior == nil || o.Predictive == nil:
	case f.Method != life.MaximumLikelihood:
		c.OwnShape, c.OwnScale, c.OwnB10 = "no own fit", "no own fit", "no own fit"
	default:
		c.OwnShape, c.OwnScale = "own "+Num(float64(f.Shape), 2), "own "+ageFigure(float64(f.Scale))
		if len(f.Quantiles) > 0 {
			c.OwnB10 = "own " + ageFigure(float64(f.Quantiles[0].Life))
		}
	}
}

// howKnown says how a law came about.
func howKnown(o cohort.Law) string {
	f := o.Own
	switch {
	case f.RestsOn.Lives == 0:
		return "no life can be used: see why in its table"
	case f.RestsOn.Failures == 0 && o.Lent != nil:
		return fmt.Sprintf("no failures: a lower bound, no date is set from it; shape from %s of %s", Count(len(o.Lent), "cohort", "cohorts"), o.LentBy.Words())
	case f.RestsOn.Failures == 0:
		return "no failures: a lower bound, no date is set from it; shape by rule of thumb"
	case o.Prior == nil:
		return "own fit"
	case o.Lent == nil && f.Method == life.MaximumLikelihood:
		return "own fit; nobody has a shape to lend"
	case o.Lent == nil:
		return "too few failures: shape " + Num(math.Exp(o.Prior.LogShape), 1) + " by rule of thumb"
	case f.Method == life.MaximumLikelihood:
		return fmt.Sprintf("own shape %s, drawn towards that of %s of %s", Num(float64(f.Shape), 2), Count(len(o.Lent), "cohort", "cohorts"), o.LentBy.Words())
	default:
		return fmt.Sprintf("too few failures: shape from %s of %s", Count(len(o.Lent), "cohort", "cohorts"), o.LentBy.Words())
	}
}

// key explains the marks with their counts.
func (l *lifeLook) key() []template.HTML {
	count := map[drawing.End]int64{}
	for _, o := range l.lives.Lives {
		if o.Outcome != cohort.LeftOut {
			count[endOf(o)]++
		}
	}
	return []template.HTML{
		drawing.EndKey(drawing.Failed, "failed, "+Int(count[drawing.Failed])),
		drawing.EndKey(drawing.Replaced, "ended sound, "+Int(count[drawing.Replaced])),
		drawing.EndKey(drawing.Running, "still running, "+Int(count[drawing.Running])),
	}
}

// endOf is how a life ended, for its mark.
func endOf(o cohort.Life) drawing.End {
	switch {
	case o.Outcome == cohort.Failed || o.Outcome == cohort.FailedWithin:
		return drawing.Failed
	case o.Running:
		return drawing.Running
	}
	return drawing.Replaced
}
