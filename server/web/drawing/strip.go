package drawing

import (
	"html/template"
	"math"
	"strconv"
	"time"
)

// YearStrip shows what a rule raised over the last year and will raise in the next: a row a target, every
// occurrence a stroke.
type YearStrip struct {
	Sentence string
	From, To time.Time
	Now      time.Time
	Zone     *time.Location
	Rows     []StripRow
}

// StripRow is one target of a rule.
type StripRow struct {
	Name          string
	InFrom, InTo  time.Time // while it is in scope: grey; zero ends are open
	Stands, Edits []time.Time
}

const (
	stripW    = 940.0
	stripLeft = 150.0
	stripRow  = 22.0
)

// OfYear draws the strip: ink strokes as the rule stands, blue ones below as edited.
func OfYear(y YearStrip) template.HTML {
	a := axis{from: y.From, until: y.To, left: stripLeft, right: stripW - 12}
	foot := 28 + stripRow*float64(len(y.Rows))
	var s svg
	s.open("", stripW, foot+22, false, y.Sentence)
	s.months(a, y, foot)
	for i, row := range y.Rows {
		s.stripRow(row, a, 28+stripRow*float64(i))
	}
	x := a.x(y.Now)
	s.path("st-ink", "M"+num(x)+" 18V"+num(foot))
	s.text("b s halo", x, foot+16, "middle", y.Now.In(y.Zone).Format("2 Jan 2006"))
	s.close()
	return s.html()
}

// months rules a line per month; every third has its name, the first of a year its number.
func (s *svg) months(a axis, y YearStrip, foot float64) {
	from := y.From.In(y.Zone)
	m := time.Date(from.Year(), from.Month(), 1, 0, 0, 0, 0, y.Zone)
	if m.Before(y.From) {
		m = m.AddDate(0, 1, 0)
	}
	for ; m.Before(y.To); m = m.AddDate(0, 1, 0) {
		x := a.x(m)
		s.path("hairl", "M"+num(x)+" 18V"+num(foot))
		switch {
		case m.Month() == time.January:
			s.text("d s", x+3, 14, "", strconv.Itoa(m.Year()))
		case (m.Month()-1)%3 == 0:
			s.text("d s", x+3, 14, "", m.Format("Jan"))
		}
	}
}

func (s *svg) stripRow(row StripRow, a axis, y float64) {
	s.text("s", 0, y+15, "", row.Name)
	from, to := a.left, a.right
	if !row.InFrom.IsZero() {
		from = a.x(row.InFrom)
	}
	if !row.InTo.IsZero() {
		to = a.x(row.InTo)
	}
	s.rect("wash2f", from, y+9, math.Max(to-from, 0), 4)
	for _, st := range [...]struct {
		class string
		top   float64
		at    []time.Time
	}{{"st-ink", 2, row.Stands}, {"actl", 11, row.Edits}} {
		if d := s.strokes(st.at, a, y+st.top); d != "" {
			s.path(st.class, d)
		}
	}
}

// strokes is one path with a stroke for each instant inside the axis.
func (s *svg) strokes(at []time.Time, a axis, y float64) string {
	var d []byte
	last := math.Inf(-1)
	for _, t := range at {
		if t.Before(a.from) || t.After(a.until) {
			continue
		}
		x := math.Round(a.x(t)*10) / 10
		if x == last {
			continue // two of a day: one stroke, the counts tell how many
		}
		last = x
		d = append(d, "M"+num(x)+" "+num(y)+"v9"...)
	}
	return string(d)
}

// everyMonth rules a line per month and names each; the first and each January carry their year.
func (s *svg) everyMonth(a axis, zone *time.Location, foot float64) {
	from := a.from.In(zone)
	m := time.Date(from.Year(), from.Month(), 1, 0, 0, 0, 0, zone)
	if m.Before(a.from) {
		m = m.AddDate(0, 1, 0)
	}
	for first := true; m.Before(a.until); m = m.AddDate(0, 1, 0) {
		x := a.x(m)
		s.path("hairl", "M"+num(x)+" 18V"+num(foot))
		s.text("d s", x+3, 14, "", m.Format(map[bool]string{true: "Jan 2006", false: "Jan"}[first || m.Month() == time.January]))
		first = false
	}
}
