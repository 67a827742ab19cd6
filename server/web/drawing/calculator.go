package drawing

import (
	"html/template"
	"math"
	"strconv"

	"carryside/assets/loop"
)

const (
	calcW = 930.0
	calcH = 240.0
)

// OfLoop draws a loop as it is listed, centres to scale, each pulley with its number. It tells whether the
// pulleys are drawn larger than they are.
func OfLoop(l loop.Loop, sentence string) (drawn template.HTML, larger bool) {
	big := l
	big.Pulleys = append([]loop.Pulley(nil), l.Pulleys...)
	for i := range big.Pulleys {
		big.Pulleys[i].DiameterMM *= enlarged
	}
	path, err := big.Sketch()
	if larger = err == nil; !larger {
		big = l
		if path, err = l.Measure(); err != nil {
			return "", false
		}
	}
	low, high := path.Box()
	scale := math.Min((calcW-80)/math.Max(high.XMM-low.XMM, 1), (calcH-70)/math.Max(high.YMM-low.YMM, 1))
	at := func(p loop.Point) (x, y float64) {
		return 40 + (p.XMM-low.XMM)*scale, 26 + (high.YMM-p.YMM)*scale
	}
	var s svg
	s.open("", calcW, 26+(high.YMM-low.YMM)*scale+44, false, sentence)
	for _, p := range path.Pieces() {
		class := "ret"
		if !p.Arc && p.Pulley == 0 {
			class = "carry"
		}
		s.path(class, pieceOf(p, scale, at))
	}
	for i, p := range big.Pulleys {
		x, y := at(loop.Point{XMM: p.XMM, YMM: p.YMM})
		r := p.DiameterMM / 2 * scale
		s.circle("pul", x, y, math.Max(r-1.5, 1))
		s.badge(i, x, y, r)
	}
	s.close()
	return s.html(), larger
}

func pieceOf(p loop.Piece, scale float64, at func(loop.Point) (float64, float64)) string {
	x0, y0 := at(p.From)
	x1, y1 := at(p.To)
	d := "M" + num(x0) + " " + num(y0)
	if !p.Arc {
		return d + "L" + num(x1) + " " + num(y1)
	}
	large, sweep := "0", "1"
	if math.Abs(p.SweepRad) > math.Pi {
		large = "1"
	}
	if p.SweepRad > 0 {
		sweep = "0" // counterclockwise with y up is the other way with y down
	}
	r := num(p.RadiusMM * scale)
	return d + "A" + r + " " + r + " 0 " + large + " " + sweep + " " + num(x1) + " " + num(y1)
}

// badge is the number of a pulley beside it: the first left, the second right, the others below.
func (s *svg) badge(i int, x, y, r float64) {
	switch i {
	case 0:
		x -= r + 15
	case 1:
		x += r + 15
	default:
		y += r + 15
	}
	s.circle("inkf", x, y, 10)
	s.text("b s inv", x, y+4.5, "middle", strconv.Itoa(i+1))
}

// Fingers is a row of fingers across a belt's width.
type Fingers struct {
	Sentence  string
	Full      int
	Remnant   float64 // share of a finger left over, 0 to below 1
	Allowed   bool    // the remnant is nothing or wide enough to hold
	Words     string
	LengthWas string // "800 mm long"
}

const (
	fingerW   = 600.0
	fingerH   = 70.0
	mostTeeth = 150 // more are not told apart on a page
)

// OfFingers draws the fingers across the width, what is left over crossed where it would lift.
func OfFingers(f Fingers) template.HTML {
	var s svg
	s.open("", 684, fingerH+44, false, f.Sentence)
	s.text("b s"+fault(!f.Allowed), 40, 16, "", f.Words)
	s.text("d s", 640, 16, "end", f.LengthWas)
	s.rect("washf", 40, 26, fingerW, fingerH)
	class := "l-a"
	if !f.Allowed {
		class = "dash"
	}
	pitch := fingerW / (float64(f.Full) + f.Remnant)
	step := 1
	if f.Full > mostTeeth {
		step = f.Full/mostTeeth + 1
	}
	d := "M40 " + num(26+fingerH)
	for i := 0; i+step <= f.Full; i += step {
		x, w := 40+pitch*float64(i), pitch*float64(step)
		d += "L" + num(x+w/2) + " 26L" + num(x+w) + " " + num(26+fingerH)
	}
	s.path(class, d)
	if !f.Allowed {
		x := 40 + pitch*float64(f.Full)
		s.rect("nofit", x, 26, 40+fingerW-x, fingerH)
		s.path("outm", "M"+num(x)+" 26L"+num(40+fingerW)+" "+num(26+fingerH)+"M"+num(40+fingerW)+" 26L"+num(x)+" "+num(26+fingerH))
	}
	s.path("st-ink", "M40 20V"+num(32+fingerH)+"M"+num(40+fingerW)+" 20V"+num(32+fingerH))
	s.close()
	return s.html()
}

func fault(bad bool) string {
	if bad {
		return " fault"
	}
	return ""
}

// OfRoll draws a roll of belt with its core and its turns, as many as can be told apart.
func OfRoll(coreShare, turns float64, words, core, sentence string) template.HTML {
	const r = 78.0
	var s svg
	s.open("", 684, 2*r+12, false, sentence)
	s.circle("pul", r+4, r+4, r)
	rings := int(math.Min(turns, 24))
	for i := 1; i < rings; i++ {
		s.circle("hairl", r+4, r+4, r*(coreShare+(1-coreShare)*float64(i)/float64(rings)))
	}
	s.circle("pul", r+4, r+4, math.Max(r*coreShare, 1))
	s.path("carry", "M"+num(r+4)+" "+num(2*r+4)+"H560")
	s.text("b s", 560, 2*r-4, "end", words)
	s.text("s", 2*r+18, r+8, "", core)
	s.close()
	return s.html()
}
