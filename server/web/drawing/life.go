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
	Undated  bool      // From is the earliest it can be, or nothing but a beginning for the axis
	Due      time.Time // zero: no date is set
	DueSays  string
	Band     Taper  // when it comes due, with its chances; the zero one draws no row
	BandSays string // the band in words
	Zone     *time.Location
	Series   []Series
	Grades   []GradeAt
	Orders   []OrderAt
}

// Series is one quantity measured again and again, or an age that grows.
type Series struct {
	Name, Unit string
	Points     []Point // from old to new
	Age        bool    // the points are ends of a line, not measurements
	Limit      *float64
	LimitSays  string
	Fit        [2]Point // ends of the trend's line; zero: there is none
	Meets      Taper    // when that meets the limit; the zero one: it does not
	MeetsSays  string
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
	lifeTop   = 30.0
)

// OfLife draws it: a band per quantity, then grades, then orders.
func OfLife(l Life) template.HTML {
	end := l.Now
	if !l.To.IsZero() {
		end = l.To
	}
	a := axis{from: l.From, until: end, left: lifeLeft, right: lifeRight}
	if l.To.IsZero() {
		a.until = l.reach()
	}
	a.until = a.until.Add(a.until.Sub(a.from)/20 + 24*time.Hour)
	var body svg
	y := lifeTop
	for _, series := range l.Series {
		y = body.series(series, a, y)
	}
	y = body.grades(l.Grades, a, y)
	y = body.orders(l.Orders, a, y, end)
	y = body.band(l, a, y)
	if y == lifeTop {
		y = body.inService(a, y, end, l.Undated)
	}
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

// inService draws from when to when it was in the belt, where nothing else is known of its life.
func (s *svg) inService(a axis, y float64, end time.Time, undated bool) float64 {
	s.text("b", 0, y+14, "", "In service")
	class := "wash2f"
	if undated { // an empty outline: it may have begun at any time in it
		class = "win dash"
		s.text("d s", 0, y+29, "", "begin unknown")
		y += 12
	}
	s.rect(class, a.x(a.from), y+3, math.Max(a.x(end)-a.x(a.from), 2), 14)
	return y + 30
}

// reach is how far the axis goes: to the due date and the whole due band, but no further ahead than what lies behind, a year at
// least; what goes on beyond has an arrow.
func (l Life) reach() time.Time {
	until := l.Now
	for _, at := range []time.Time{l.Due, l.Band.At10, l.Band.At50, l.Band.At90} {
		if at.After(until) {
			until = at
		}
	}
	most := l.Now.Add(max(l.Now.Sub(l.From), 365*24*time.Hour))
	if l.Due.After(most) {
		most = l.Due
	}
	if until.After(most) {
		return most
	}
	return until
}

// band draws when it comes due: dotted to 10 %, then to 50 and to 90 %.
func (s *svg) band(l Life, a axis, y float64) float64 {
	if l.Band.At10.IsZero() {
		return y
	}
	s.text("b", 0, y+14, "", "Coming due")
	s.text("d s", 0, y+29, "", "10, 50, 90 %")
	mid := y + 22
	s.path("hairl", "M"+num(lifeLeft)+" "+num(mid)+"H"+num(lifeRight))
	now := a
	now.from, now.left = l.Now, a.x(l.Now)
	s.taper(l.Band, now, mid)
	s.text("s halo", lifeLeft, mid+28, "", l.BandSays)
	return y + 62
}

// series draws one quantity in a band 90 high and returns where the next begins.
func (s *svg) series(q Series, a axis, y float64) float64 {
	low, high := 0.0, 0.0
	for _, p := range q.Points {
		low, high = math.Min(low, p.Value), math.Max(high, p.Value)
	}
	if q.Limit != nil {
		low, high = math.Min(low, *q.Limit), math.Max(high, *q.Limit)
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
	if q.Limit != nil {
		s.path("dash", "M"+num(lifeLeft)+" "+num(at(*q.Limit))+"H"+num(lifeRight))
		s.text("b s halo", lifeLeft+4, at(*q.Limit)-4, "", q.LimitSays)
	}
	s.trendLine(q.Fit[0], q.Fit[1], a, at)
	if q.Limit != nil && !q.Meets.At10.IsZero() && q.Meets.At10.Before(a.until) {
		s.meets(q, a, at(*q.Limit))
	}
	line := ""
	for i, p := range q.Points {
		cmd := "L"
		if i == 0 {
			cmd = "M"
		}
		line += cmd + num(a.x(p.At)) + " " + num(at(p.Value))
	}
	s.path(lineClass(q.Age), line)
	for _, p := range q.Points {
		if !q.Age {
			s.circle("inkf", a.x(p.At), at(p.Value), 3.4)
		}
	}
	if n := len(q.Points); n > 0 {
		p := q.Points[n-1]
		s.text("b s halo", a.x(p.At)-7, at(p.Value)-5, "end", strconv.FormatFloat(math.Round(p.Value*100)/100, 'f', -1, 64))
	}
	return bottom + 22
}

// trendLine draws a trend's line, as far as the sheet reaches.
func (s *svg) trendLine(from, to Point, a axis, at func(float64) float64) {
	if !to.At.After(from.At) {
		return
	}
	if to.At.After(a.until) {
		share := float64(a.until.Sub(from.At)) / float64(to.At.Sub(from.At))
		to = Point{a.until, from.Value + share*(to.Value-from.Value)}
	}
	s.path("fit", "M"+num(a.x(from.At))+" "+num(at(from.Value))+"L"+num(a.x(to.At))+" "+num(at(to.Value)))
}

// meets draws on a limit when the trend meets it, and says so to the left, below the line.
func (s *svg) meets(q Series, a axis, y float64) {
	a.left, a.from = a.x(q.Meets.At10), q.Meets.At10
	s.taper(q.Meets, a, y)
	s.text("b s halo", a.left-8, y+14, "end", q.MeetsSays)
}

func lineClass(age bool) string {
	if age {
		return "l-a"
	}
	return "thin"
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
