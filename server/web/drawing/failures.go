package drawing

import (
	"html/template"
	"math"
	"strconv"
	"strings"
)

// XY is a point of a curve in its own units.
type XY struct{ X, Y float64 }

// Failures is the lives of a cohort against its fitted law: share failed over age.
type Failures struct {
	Sentence string
	Axis     string // below the axis: "thousand passes since the splice was made"
	Most     float64
	Shown    float64 // units of the axis per unit of X: 1000 for thousands
	Fit      []XY    // share failed, 0 to 1
	Low, Up  []XY    // its band; nil: none
	Steps    []XY    // observed share from each failure on
	Marks    []LifeMark
	Best     float64 // 0: none
	BestSays string
	FlatFrom float64
	FlatTo   float64
	Reads    []Reads // dashed readings off the curve: B10, half failed
}

// LifeMark is one life: where it ended or stands, how.
type LifeMark struct {
	X   float64
	End End // Failed, otherwise sound; still running: Running
}

// Reads is a share read off the fitted curve.
type Reads struct {
	Share, X float64
	Says     string
}

const (
	plotLeft, plotRight = 58.0, 938.0
	plotTop, plotFoot   = 40.0, 300.0
)

type plot struct {
	svg
	most float64
}

func (p *plot) x(v float64) float64 {
	return plotLeft + (plotRight-plotLeft)*math.Min(1, math.Max(0, v/p.most))
}
func (p *plot) y(share float64) float64 {
	return plotFoot - (plotFoot-plotTop)*math.Min(1, math.Max(0, share))
}

// OfFailures draws them.
func OfFailures(f Failures) template.HTML {
	p := &plot{most: f.Most}
	p.open("", 956, 342, false, f.Sentence)
	for _, share := range []float64{0, 0.1, 0.25, 0.5, 0.75, 0.9, 1} {
		y := p.y(share)
		p.path("hairl", "M"+num(plotLeft)+" "+num(y)+"H"+num(plotRight))
		p.text("d s", plotLeft-8, y+4, "end", strconv.Itoa(int(math.Round(100*share)))+" %")
	}
	p.ticks(f.Most, f.Shown)
	p.text("d s", plotRight, 336, "end", f.Axis)
	p.text("d s", 0, 16, "", "failed by then")
	if f.Best > 0 {
		p.rect("flat", p.x(f.FlatFrom), plotTop, p.x(f.FlatTo)-p.x(f.FlatFrom), plotFoot-plotTop)
	}
	if len(f.Low) > 0 {
		p.path("cband", p.line(f.Up)+strings.Replace(p.line(backwards(f.Low)), "M", "L", 1)+"Z")
	}
	p.path("fit", p.line(f.Fit))
	if len(f.Steps) > 0 {
		p.path("km", p.steps(f.Steps))
	}
	for _, m := range f.Marks {
		p.lifeMark(m, f.Steps)
	}
	for _, r := range f.Reads {
		if r.X <= f.Most {
			p.path("dash", "M"+num(plotLeft)+" "+num(p.y(r.Share))+"H"+num(p.x(r.X))+"V"+num(plotFoot))
			p.text("s halo", plotLeft+8, p.y(r.Share)-6, "", r.Says)
		}
	}
	if f.Best > 0 && f.Best <= f.Most {
		p.path("st-ink", "M"+num(p.x(f.Best))+" "+num(plotTop)+"V"+num(plotFoot))
		anchor, x := "end", p.x(f.Best)-7
		if x < 220 {
			anchor, x = "", p.x(f.Best)+7
		}
		p.text("b halo", x, plotTop+16, anchor, f.BestSays)
	}
	p.close()
	return p.html()
}

// ticks rules the axis of ages at round figures.
func (p *plot) ticks(most, shown float64) {
	step := roundStep(most / shown / 8)
	for v := 0.0; v <= most/shown*1.0001; v += step {
		x := p.x(v * shown)
		p.path("thin", "M"+num(x)+" "+num(plotFoot)+"v5")
		p.text("d s", x, plotFoot+19, "middle", strconv.FormatFloat(v, 'f', -1, 64))
	}
}

// roundStep is the next of 1, 2, 5, 10 ... at or above a step.
func roundStep(step float64) float64 {
	if !(step > 0) {
		return 1
	}
	decade := math.Pow(10, math.Floor(math.Log10(step)))
	for _, m := range []float64{1, 2, 5} {
		if step <= m*decade*1.0001 {
			return m * decade
		}
	}
	return 10 * decade
}

func (p *plot) line(points []XY) string {
	var b strings.Builder
	for i, pt := range points {
		b.WriteString(stroke(i == 0) + num(p.x(pt.X)) + " " + num(p.y(pt.Y)))
	}
	return b.String()
}

// stroke begins a path at its first point and goes on to every other.
func stroke(first bool) string {
	if first {
		return "M"
	}
	return "L"
}

func (p *plot) steps(points []XY) string {
	var b strings.Builder
	b.WriteString("M" + num(plotLeft) + " " + num(plotFoot))
	for _, pt := range points {
		b.WriteString("H" + num(p.x(pt.X)) + "V" + num(p.y(pt.Y)))
	}
	b.WriteString("H" + num(plotRight))
	return b.String()
}

// lifeMark draws one life on the observed line: a cross where it failed, a ring where it was taken out sound, a stroke
// where it still runs.
func (p *plot) lifeMark(m LifeMark, steps []XY) {
	share := 0.0
	for _, s := range steps {
		if s.X <= m.X {
			share = s.Y
		}
	}
	x, y := p.x(m.X), p.y(share)
	switch m.End {
	case Failed:
		p.path("st-fault", "M"+num(x-4.5)+" "+num(y-4.5)+"l9 9m0-9l-9 9")
	case Running:
		p.path("thin", "M"+num(x)+" "+num(y-5)+"v10")
	default:
		p.circle("pul", x, y, 3.8)
	}
}

func backwards(points []XY) []XY {
	out := make([]XY, len(points))
	for i, p := range points {
		out[len(points)-1-i] = p
	}
	return out
}

// CostCurve is what each replacement age costs in the long run.
type CostCurve struct {
	Sentence    string
	Axis, Money string
	Most        float64 // ages
	Shown       float64 // units of the age axis per unit of X
	Points      []XY    // age, cost a unit shown
	ToFailure   float64 // cost of running to failure
	Best, Least float64 // 0: none
	From, To    float64 // the flat region
}

// OfCosts draws it.
func OfCosts(c CostCurve) template.HTML {
	const left, right, top, foot = 58.0, 438.0, 30.0, 210.0
	var s svg
	high := roundStep(c.ToFailure*1.4/3) * 3
	x := func(v float64) float64 { return left + (right-left)*math.Min(1, v/c.Most) }
	y := func(v float64) float64 { return foot - (foot-top)*math.Min(1, v/high) }
	s.open("", 454, 252, false, c.Sentence)
	for i := range 4 {
		v := high * float64(i) / 3
		s.path("hairl", "M"+num(left)+" "+num(y(v))+"H"+num(right))
		s.text("d s", left-8, y(v)+4, "end", tick(v))
	}
	step := roundStep(c.Most / c.Shown / 4)
	for v := 0.0; v <= c.Most/c.Shown*1.0001; v += step {
		s.path("thin", "M"+num(x(v*c.Shown))+" "+num(foot)+"v5")
		s.text("d s", x(v*c.Shown), foot+19, "middle", tick(v))
	}
	if c.Best > 0 {
		s.rect("flat", x(c.From), top, x(c.To)-x(c.From), foot-top)
	}
	d := ""
	for _, pt := range c.Points {
		if pt.Y <= high {
			d += stroke(d == "") + num(x(pt.X)) + " " + num(y(pt.Y))
		}
	}
	s.path("fit", d)
	s.path("w-max", "M"+num(left)+" "+num(y(c.ToFailure))+"H"+num(right))
	beside := -5.0
	if c.Best == 0 { // the curve comes down to the line from above
		beside = 15
	}
	s.text("d s halo", right, y(c.ToFailure)+beside, "end", "run to failure: "+short(c.ToFailure))
	if c.Best > 0 {
		s.path("st-ink", "M"+num(x(c.Best))+" "+num(y(c.Least)-7)+"V"+num(foot))
		s.text("b halo", x(c.Best), y(c.Least)+20, "middle", short(c.Least)+" at "+short(c.Best/c.Shown))
	}
	s.text("d s", 0, 12, "", c.Money)
	s.text("d s", right, 246, "end", c.Axis)
	s.close()
	return s.html()
}

// short writes three figures that count.
func short(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if digits < 0 {
		step := math.Pow(10, float64(-digits))
		v = math.Round(v/step) * step
	}
	return strconv.FormatFloat(v, 'f', max(0, digits), 64)
}

// tick writes what a line of the grid stands for, without the noughts behind it.
func tick(v float64) string {
	s := short(v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
