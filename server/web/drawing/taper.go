package drawing

import (
	"html/template"
	"math"
	"time"
)

// Taper is when something comes due: the dates at which its chance reaches 10, 50 and 90 %. A zero date lies beyond what was
// looked at.
type Taper struct {
	At10, At50, At90 time.Time
	Advised          time.Time // the recommended date; zero: none
}

// TaperRow is one taper with its name at the left and its finding at the right.
type TaperRow struct {
	Name, Under string
	To          string // address of what it is about; "" for none
	Taper       Taper
	Says        string // in place of a taper where there is none
}

// Tapers shows several on one axis of time with the stops in front of them.
type Tapers struct {
	Sentence  string
	Now, From time.Time
	Until     time.Time
	Zone      *time.Location
	Rows      []TaperRow
	Stops     []StopBox
}

const (
	taperW    = 940.0
	taperLeft = 150.0
	taperRow  = 40.0
	leastBody = 6.0
	taperSays = 184.0 // room for the words at the right
)

// OfTapers draws them.
func OfTapers(t Tapers) template.HTML {
	a := axis{from: t.From, until: t.Until, left: taperLeft, right: taperW - taperSays}
	top := 46.0
	foot := top + taperRow*float64(len(t.Rows))
	var s svg
	linked := false
	for _, row := range t.Rows {
		linked = linked || row.To != ""
	}
	s.open("", taperW, foot+22, linked, t.Sentence)
	s.months(a, YearStrip{From: t.From, To: t.Until, Zone: t.Zone}, foot)
	free := 0.0 // right end of the last label on the upper level
	for _, b := range t.Stops {
		free = s.stopBox(b, a, top, foot, free)
	}
	for i, row := range t.Rows {
		s.taperRow(row, a, top+taperRow*(float64(i)+0.5))
	}
	x := a.x(t.Now)
	s.path("st-ink", "M"+num(x)+" 24V"+num(foot))
	s.text("b s halo", x, foot+16, "middle", t.Now.In(t.Zone).Format("2 Jan 2006"))
	s.close()
	return s.html()
}

// stopBox draws a stop over all rows; its label is left out where it would touch the one before.
func (s *svg) stopBox(b StopBox, a axis, top, foot, free float64) float64 {
	if b.To.Before(a.from) || b.From.After(a.until) {
		return free
	}
	x := a.x(b.From)
	w := math.Max(stopLeast, a.x(b.To)-x)
	s.rect("win", x, top-6, w, foot-top+6)
	wide := 7 * float64(len([]rune(b.Words)))
	if x < free {
		return free
	}
	s.text("s halo", x, top-10, "", b.Words)
	return x + wide
}

func (s *svg) taperRow(row TaperRow, a axis, y float64) {
	s.path("hairl", "M0 "+num(y+taperRow/2)+"H"+num(taperW-14))
	if row.To != "" {
		s.raw(`<a href="`, escape(row.To), `">`)
	}
	s.text("b", 0, y, "", row.Name)
	if row.To != "" {
		s.raw("</a>")
	}
	s.text("d s", 0, y+14, "", row.Under)
	if row.Taper.At10.IsZero() && row.Taper.At50.IsZero() {
		s.text("d s halo", taperLeft+8, y+4, "", row.Says)
		return
	}
	s.taper(row.Taper, a, y)
	s.text("s", a.right+18, y+4, "", row.Says)
}

// taper draws the shape about a middle line. Its height is 4 + 20 p for the chance p; it is dotted
// to 10 %, has a tick there, the first colour to 50 % and a line there, the second to 90 % and a bar there. Where it runs
// off the sheet an arrow says so.
func (s *svg) taper(t Taper, a axis, y float64) {
	cut := func(at time.Time) (float64, bool) {
		if at.IsZero() || at.After(a.until) {
			return a.right, true
		}
		return a.x(at), false
	}
	half := func(p float64) float64 { return 2 + 10*p }
	x10, off10 := cut(t.At10)
	x50, off50 := cut(t.At50)
	x90, off90 := cut(t.At90)
	if x90 < x10+leastBody { // a date, not a span: still to be seen
		x90 = x10 + leastBody
		x50 = math.Max(x50, x10+leastBody/2)
	}
	from := a.x(a.from)
	s.path("w-lead", "M"+num(from)+" "+num(y)+"H"+num(x10))
	if off10 {
		s.offSheet(a.right, y)
		return
	}
	s.wedge("w-lo", x10, x50, y, half(0.1), half(reached(0.5, t.At10, t.At50, a.until, off50, 0.1)))
	s.path("thin", "M"+num(x10)+" "+num(y-6)+"V"+num(y+6))
	if off50 {
		s.offSheet(a.right, y)
		return
	}
	s.wedge("w-hi", x50, x90, y, half(0.5), half(reached(0.9, t.At50, t.At90, a.until, off90, 0.5)))
	s.path("thin", "M"+num(x50)+" "+num(y-11)+"V"+num(y+11))
	if off90 {
		s.offSheet(a.right, y)
		return
	}
	s.path("w-end", "M"+num(x90)+" "+num(y-12)+"V"+num(y+12))
	if !t.Advised.IsZero() && t.Advised.Before(a.until) {
		x := a.x(t.Advised)
		s.path("inkf", "M"+num(x-5)+" "+num(y-18)+"H"+num(x+5)+"L"+num(x)+" "+num(y-11)+"Z")
	}
}

// reached is the chance at the end of a wedge: the one it runs to, or what it has reached where the sheet ends.
func reached(to float64, from, at, until time.Time, off bool, begins float64) float64 {
	if !off || at.IsZero() || !at.After(from) {
		return to
	}
	share := float64(until.Sub(from)) / float64(at.Sub(from))
	return begins + (to-begins)*math.Max(0, math.Min(1, share))
}

func (s *svg) wedge(class string, x0, x1, y, h0, h1 float64) {
	s.path(class, "M"+num(x0)+" "+num(y-h0)+"L"+num(x1)+" "+num(y-h1)+"V"+num(y+h1)+"L"+num(x0)+" "+num(y+h0)+"Z")
}

// offSheet says that a shape goes on beyond the sheet.
func (s *svg) offSheet(x, y float64) {
	s.path("inkf", "M"+num(x+2)+" "+num(y-5)+"L"+num(x+10)+" "+num(y)+"L"+num(x+2)+" "+num(y+5)+"Z")
}

// TaperCell is one taper small, for a row of a table: all cells of a table share one axis.
func TaperCell(t Taper, now, until time.Time, sentence string) template.HTML {
	const w, h = 132.0, 26.0
	a := axis{from: now, until: until, left: 1, right: w - 12}
	var s svg
	s.open("", w, h, false, sentence)
	s.path("hairl", "M1 3V23")
	t.Advised = time.Time{}
	s.taper(t, a, h/2)
	s.close()
	return s.html()
}
