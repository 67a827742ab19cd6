package drawing

import (
	"html/template"
	"math"
	"strconv"
	"time"
)

// Life is everything measured, seen and done on a splice, on one axis from its making.
type Life struct {
	Sentence string
	From     time.Time
	To       time.Time // zero: still running
	Now      time.Time
	Due      time.Time // zero: no date is set
	DueSays  string
	Zone     *time.Location
	Series   []Series
	Grades   []GradeAt
	Orders   []OrderAt
}

// Series is one quantity measured again and again.
type Series struct {
	Name, Unit string
	Points     []Point // from old to new
}

// Point is one measurement.
type Point struct {
	At    time.Time
	Value float64
}

// GradeAt is the grade of a finding.
type GradeAt struct {
	At    time.Time
	Grade int
}

// OrderAt is an order from raised to done; a zero To is still open.
type OrderAt struct {
	From, To time.Time
	Says     string
}

const (
	lifeW     = 940.0
	lifeLeft  = 96.0
	lifeRight = 930.0
)

// OfLife draws it: a band per quantity, then grades, then orders.
func OfLife(l Life) template.HTML {
	end := l.Now
	if !l.To.IsZero() {
		end = l.To
	}
	a := axis{from: l.From, until: end, left: lifeLeft, right: lifeRight}
	if l.Due.After(end) && l.To.IsZero() {
		a.until = l.Due
	}
	a.until = a.until.Add(a.until.Sub(a.from)/20 + 24*time.Hour)
	var body svg
	y := 30.0
	for _, series := range l.Series {
		y = body.series(series, a, y)
	}
	y = body.grades(l.Grades, a, y)
	y = body.orders(l.Orders, a, y, end)
	var s svg
	s.open("", lifeW, y+24, false, l.Sentence)
	first, last := l.From.In(l.Zone).Year()+1, a.until.In(l.Zone).Year()
	s.years(a, first, last, y, l.Zone)
	s.raw(string(body.b))
	if l.To.IsZero() {
		x := a.x(l.Now)
		s.path("st-ink", "M"+num(x)+" 18V"+num(y))
		s.text("b s halo", x, y+16, "middle", l.Now.In(l.Zone).Format("2 Jan 2006"))
	}
	if !l.Due.IsZero() {
		x := a.x(l.Due)
		s.path("dash", "M"+num(x)+" 18V"+num(y))
		anchor, dx := "end", -4.0
		if x < lifeLeft+120 {
			anchor, dx = "", 4
		}
		s.text("b s halo", x+dx, 26, anchor, l.DueSays)
	}
	s.close()
	return s.html()
}

// series draws one quantity in a band 90 high and returns where the next begins.
func (s *svg) series(q Series, a axis, y float64) float64 {
	low, high := 0.0, 0.0
	for _, p := range q.Points {
		low, high = math.Min(low, p.Value), math.Max(high, p.Value)
	}
	step := niceStep((high - low) / 3)
	high = math.Ceil(high/step) * step
	low = math.Floor(low/step) * step
	if high == low {
		high = low + step
	}
	top, bottom := y+12, y+82
	at := func(v float64) float64 { return bottom - (v-low)/(high-low)*(bottom-top) }
	s.text("b", 0, y+14, "", q.Name)
	s.text("d s", 0, y+29, "", q.Unit)
	for v := low; v <= high+step/2; v += step {
		s.path("hairl", "M"+num(lifeLeft)+" "+num(at(v))+"H"+num(lifeRight))
		s.text("d s", lifeLeft-6, at(v)+4, "end", strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64))
	}
	line := ""
	for i, p := range q.Points {
		cmd := "L"
		if i == 0 {
			cmd = "M"
		}
		line += cmd + num(a.x(p.At)) + " " + num(at(p.Value))
	}
	s.path("thin", line)
	for _, p := range q.Points {
		s.circle("inkf", a.x(p.At), at(p.Value), 3.4)
	}
	if n := len(q.Points); n > 0 {
		p := q.Points[n-1]
		s.text("b s halo", a.x(p.At)-7, at(p.Value)-5, "end", strconv.FormatFloat(math.Round(p.Value*100)/100, 'f', -1, 64))
	}
	return bottom + 22
}

// niceStep rounds a step up to 1, 2 or 5 times a power of ten.
func niceStep(x float64) float64 {
	if !(x > 0) {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*p >= x*0.999 {
			return m * p
		}
	}
	return 10 * p
}

func (s *svg) grades(all []GradeAt, a axis, y float64) float64 {
	if len(all) == 0 {
		return y
	}
	s.text("b", 0, y+14, "", "Findings")
	s.text("d s", 0, y+29, "", "grade")
	foot := y + 30
	s.path("thin", "M"+num(lifeLeft)+" "+num(foot)+"H"+num(lifeRight))
	last := math.Inf(-1)
	for _, g := range all {
		x, h := a.x(g.At), 4+6*float64(g.Grade)
		s.rect("inkf", x-3, foot-h, 6, h)
		if x-last > 12 {
			s.text("s halo", x, foot+14, "middle", strconv.Itoa(g.Grade))
			last = x
		}
	}
	return foot + 26
}

func (s *svg) orders(all []OrderAt, a axis, y float64, now time.Time) float64 {
	if len(all) == 0 {
		return y
	}
	s.text("b", 0, y+14, "", "Orders")
	for _, o := range all {
		from, to, class := a.x(o.From), a.x(now), "win"
		if !o.To.IsZero() {
			to, class = a.x(o.To), "inkf"
		}
		s.path("hairl", "M"+num(lifeLeft)+" "+num(y+10)+"H"+num(lifeRight))
		s.rect(class, from, y+3, math.Max(to-from, 6), 14)
		if from > (lifeLeft+lifeRight)/2 {
			s.text("s halo", from-6, y+15, "end", o.Says)
		} else {
			s.text("s halo", math.Max(to, from+6)+6, y+15, "", o.Says)
		}
		y += 24
	}
	return y + 6
}
