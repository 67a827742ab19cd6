package drawing

import (
	"html/template"
	"math"
	"strconv"
	"strings"
)

// Cycle is a press cycle against its recipe: both platens, the pressure, and what is allowed.
type Cycle struct {
	Sentence              string
	Minutes               []float64 // of each row, from the first shown
	Top, Bottom, Pressure []float64 // degrees and pressure as the plant reads them; NaN where there is none
	HeatSign, PressSign   string
	DwellFrom, DwellTo    float64 // minutes; equal: no dwell is seen
	SetTop, SetBottom     float64
	Tolerance             float64
	Release               float64
	PressLow, PressHigh   float64
	Axis                  string // below the axis: "minutes from the first row shown"
}

const (
	cycleLeft, cycleRight = 58.0, 908.0
	cycleTop, cycleMiddle = 30.0, 206.0
	pressTop, pressFoot   = 240.0, 292.0
)

// mostCyclePoints bounds how many points a line has: more are not seen at this width.
const mostCyclePoints = 850

type cyclePlot struct {
	svg
	c           Cycle
	long        float64
	hot, strong float64
}

func (p *cyclePlot) x(m float64) float64 { return cycleLeft + (cycleRight-cycleLeft)*m/p.long }
func (p *cyclePlot) y(t float64) float64 { return cycleMiddle - (cycleMiddle-cycleTop)*t/p.hot }
func (p *cyclePlot) z(b float64) float64 { return pressFoot - (pressFoot-pressTop)*b/p.strong }

// OfCycle draws it.
func OfCycle(c Cycle) template.HTML {
	p := &cyclePlot{c: c, long: 1}
	p.hot, p.strong = 1.08*(max(c.SetTop, c.SetBottom)+c.Tolerance), 1.15*c.PressHigh
	for i, m := range c.Minutes {
		p.long = max(p.long, m)
		for _, v := range []float64{c.Top[i], c.Bottom[i]} {
			if v > p.hot {
				p.hot = v
			}
		}
		if c.Pressure[i] > p.strong {
			p.strong = c.Pressure[i]
		}
	}
	p.open("", 930, 336, false, c.Sentence)
	p.grid()
	p.set()
	p.allowed()
	p.path("l-a", p.line(c.Top, p.y))
	p.path("l-b", p.line(c.Bottom, p.y))
	p.path("l-a", p.line(c.Pressure, p.z))
	p.close()
	return p.html()
}

func (p *cyclePlot) grid() {
	step := roundStep(p.hot / 5)
	for t := 0.0; t <= p.hot; t += step {
		p.path("hairl", "M"+num(cycleLeft)+" "+num(p.y(t))+"H"+num(cycleRight))
		p.text("d s", cycleLeft-6, p.y(t)+4, "end", strconv.FormatFloat(t, 'f', -1, 64))
	}
	step = roundStep(p.strong / 2)
	for b := 0.0; b <= p.strong; b += step {
		p.path("hairl", "M"+num(cycleLeft)+" "+num(p.z(b))+"H"+num(cycleRight))
		p.text("d s", cycleLeft-6, p.z(b)+4, "end", strconv.FormatFloat(b, 'f', -1, 64))
	}
	step = roundStep(p.long / 8)
	for m := 0.0; m <= p.long*1.0001; m += step {
		p.path("thin", "M"+num(p.x(m))+" "+num(pressFoot+4)+"v4")
		p.text("d s", p.x(m), pressFoot+22, "middle", strconv.FormatFloat(m, 'f', -1, 64))
	}
	p.text("d s", 0, 14, "", p.c.HeatSign)
	p.text("d s", 0, 228, "", p.c.PressSign)
	p.text("d s", cycleRight, 332, "end", p.c.Axis)
}

// set draws the set temperatures over the whole width, dotted, so that they are told from traces and tolerance without colour.
func (p *cyclePlot) set() {
	words := "set " + strconv.FormatFloat(p.c.SetTop, 'f', -1, 64)
	p.path("setv", "M"+num(cycleLeft)+" "+num(p.y(p.c.SetTop))+"H"+num(cycleRight))
	if p.c.SetBottom != p.c.SetTop {
		p.path("setv", "M"+num(cycleLeft)+" "+num(p.y(p.c.SetBottom))+"H"+num(cycleRight))
		words += ", bottom " + strconv.FormatFloat(p.c.SetBottom, 'f', -1, 64)
	}
	p.text("d s halo", cycleLeft+6, p.y(min(p.c.SetTop, p.c.SetBottom))+14, "", words)
}

// allowed draws the regions in which the recipe wants temperature and pressure during the dwell, and the release line after it.
func (p *cyclePlot) allowed() {
	c := p.c
	if c.DwellTo > c.DwellFrom {
		low, high := min(c.SetTop, c.SetBottom)-c.Tolerance, max(c.SetTop, c.SetBottom)+c.Tolerance
		x, w := p.x(c.DwellFrom), p.x(c.DwellTo)-p.x(c.DwellFrom)
		p.rect("tol", x, p.y(high), w, p.y(low)-p.y(high))
		p.rect("tol", x, p.z(c.PressHigh), w, p.z(c.PressLow)-p.z(c.PressHigh))
	}
	p.path("tolb", "M"+num(p.x(max(c.DwellTo, 0)))+" "+num(p.y(c.Release))+"H"+num(cycleRight))
	p.text("d s halo", cycleRight, p.y(c.Release)+14, "end", "opened at "+strconv.FormatFloat(c.Release, 'f', -1, 64)+" or less")
}

// line is a curve with its gaps, thinned to what is seen: of each stretch its least and its greatest value stay.
func (p *cyclePlot) line(v []float64, y func(float64) float64) string {
	var b strings.Builder
	pen := false
	at := func(i int) {
		if math.IsNaN(v[i]) {
			pen = false
			return
		}
		b.WriteString(map[bool]string{false: "M", true: "L"}[pen] + num(p.x(p.c.Minutes[i])) + " " + num(y(v[i])))
		pen = true
	}
	stride := max(1, 2*len(v)/mostCyclePoints)
	for from := 0; from < len(v); from += stride {
		to := min(from+stride, len(v))
		least, most := from, from
		for i := from; i < to; i++ {
			if math.IsNaN(v[i]) {
				least, most = i, i
				break
			}
			if v[i] < v[least] {
				least = i
			}
			if v[i] > v[most] {
				most = i
			}
		}
		at(min(least, most))
		if least != most {
			at(max(least, most))
		}
	}
	return b.String()
}
