package drawing

import (
	"html/template"
	"strconv"
)

// Allowed is what a recipe allows a press cycle to be, in minutes from power on and the plant's units.
type Allowed struct {
	Sentence           string
	HeatSign           string
	Ambient            float64 // temperature the drawing begins at
	Set, Tolerance     float64
	Fastest, Slowest   float64 // minutes to the set temperature, and to the colder side's tolerance at the latest
	DwellLeast         float64
	DwellMost          float64
	CoolMost, WholeMax float64
	Release            float64
	Before             float64 // least dwell of the version before; equal to DwellLeast: the same
	BeforeSays         string
}

// OfAllowed draws the closed region in which a cycle may lie: the fastest and the slowest way up, the shortest and the longest dwell, the
// latest opening.
func OfAllowed(a Allowed) template.HTML {
	high, low := a.Set+a.Tolerance, a.Set-a.Tolerance
	earliest, latest := a.Fastest+a.DwellLeast, a.Slowest+a.DwellMost
	end := max(min(latest+a.CoolMost, a.WholeMax), earliest+1)
	p := &cyclePlot{long: max(end, a.WholeMax), hot: 1.12 * high, strong: 1}
	p.open("", 930, 250, false, a.Sentence)
	for t, step := 0.0, roundStep(p.hot/5); t <= p.hot; t += step {
		p.path("hairl", "M"+num(cycleLeft)+" "+num(p.y(t))+"H"+num(cycleRight))
		p.text("d s", cycleLeft-6, p.y(t)+4, "end", strconv.FormatFloat(t, 'f', -1, 64))
	}
	for m, step := 0.0, roundStep(p.long/8); m <= p.long*1.0001; m += step {
		p.path("thin", "M"+num(p.x(m))+" "+num(cycleMiddle)+"v4")
		p.text("d s", p.x(m), cycleMiddle+20, "middle", strconv.FormatFloat(m, 'f', -1, 64))
	}
	at := func(m, t float64) string { return num(p.x(m)) + " " + num(p.y(t)) }
	shape := "M" + at(0, a.Ambient) + "L" + at(a.Fastest, high) + "L" + at(min(latest, end), high) + "L" + at(end, a.Release) + "L" + at(earliest, a.Release) + "L" + at(max(earliest, a.Slowest), low) + "L" + at(a.Slowest, low) + "Z"
	p.path("tol", shape)
	p.path("tolb", shape)
	p.path("l-a", "M"+at(0, a.Ambient)+"L"+at(a.Fastest+(a.Slowest-a.Fastest)/2, a.Set)+"L"+at(a.Fastest+(a.Slowest-a.Fastest)/2+a.DwellLeast, a.Set)+"L"+at(end, a.Release))
	p.path("dash", "M"+at(a.Slowest, 0)+"L"+at(a.Slowest, high))
	p.text("s halo", p.x(a.Slowest)+4, cycleMiddle-8, "", "colder side there by "+strconv.FormatFloat(a.Slowest, 'f', 0, 64)+" min")
	p.path("dash", "M"+at(earliest, a.Release)+"H"+num(cycleRight))
	p.text("s halo", cycleRight, p.y(a.Release)+14, "end", "open at "+strconv.FormatFloat(a.Release, 'f', -1, 64)+" "+a.HeatSign+" or less")
	if a.Before != a.DwellLeast && a.Before > 0 {
		p.path("actd", "M"+at(a.Fastest+a.Before, high)+"L"+at(a.Fastest+a.Before, low))
		p.text("s act halo", p.x(a.Fastest+a.Before)-4, p.y(high)-6, "end", a.BeforeSays)
	}
	p.text("d s", 0, 14, "", a.HeatSign)
	p.text("d s", cycleRight, cycleMiddle+40, "end", "minutes from power on")
	p.close()
	return p.html()
}
