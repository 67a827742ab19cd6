package web

import (
	"fmt"
	"math"

	"carryside/assets/loop"
	"carryside/assets/unit"
	"carryside/server/web/drawing"
)

// filled tells whether every named field holds something: a part with gaps is not reckoned, not refused.
func (e *entry) filled(names ...string) bool {
	for _, n := range names {
		if e.text(n) == "" || e.bad[n] != "" {
			return false
		}
	}
	return true
}

// length adds a length of the calculator, filled from the register.
func (f *Form) length(name, label string, field unit.Field, m float64) *Field {
	return f.Quantity(name, label, field, m, nil)
}

// step writes millimetres in the unit of splice lengths.
func (f Format) step(mm float64) string { return unit.Step.Show(mm/1000, f.Units) }

// finger writes millimetres of a finger, or of what is left beside the last one.
func (f Format) finger(mm float64) string { return unit.Finger.Show(mm/1000, f.Units) }

// stepped reckons a stepped splice.
func (p *calculatorPage) stepped(e *entry, start calcStart) *calcPart {
	f, sp := p.Form, start.splice
	plies := start.plies
	if sp.Steps > 0 {
		plies = sp.Steps + 1
	}
	bias := plainNumber(sp.BiasAngleDeg)
	if bias == "" {
		bias = plainNumber(usualBiasDeg)
	}
	c := p.part("st", "Stepped splice", "what it adds to the cut length",
		f.Number("plies", "Plies", plainWhole(plies), ""), f.length("step", "Length of one step", unit.Step, sp.StepLengthM),
		f.length("st_width", "Belt width", unit.Width, start.belt.WidthM), f.Number("bias", "Bias, from square", bias, "°"),
		f.Number("st_trim", "Trim of each end", "", unit.Step.Sign(f.Plain.Units)))
	n, angle := e.whole("plies", 0, 20), e.number("bias")
	step, _ := e.mm("step", "the step", unit.Step)
	width, _ := e.mm("st_width", "the width", unit.Width)
	trim, _ := e.mm("st_trim", "the trim", unit.Step)
	if !e.filled("plies", "step", "st_width") {
		return c
	}
	fig, err := loop.Stepped{Plies: n, StepMM: step, WidthMM: width, Bias: loop.Bias{FromSquareDeg: &angle}, TrimEachEndMM: trim}.Figures()
	if c.wrong(err) {
		return c
	}
	c.row("Steps", Int(int64(fig.Steps)), "plies less one", byStandard)
	c.row("Splice along the belt", f.Plain.step(fig.SpliceLengthMM), "steps times step", byStandard)
	c.row("Bias", f.Plain.step(fig.BiasOffsetMM), "width times tan(bias)", byGeometry)
	c.row("Adds to the cut length", f.Plain.step(fig.AllowanceMM), "splice, bias and trim of both ends", byPractice).Total = true
	c.row("Plies that carry across it", Percent(fig.PlyCountEfficiency), "(plies − 1) / plies", byPractice)
	return c
}

// fingers reckons a row of fingers across the width.
func (p *calculatorPage) fingers(e *entry, start calcStart) *calcPart {
	f, sp := p.Form, start.splice
	c := p.part("fi", "Fingers across a width", "a last finger of half a pitch or more holds; a narrower one lifts",
		f.length("fi_width", "Belt width", unit.Width, start.belt.WidthM), f.length("pitch", "Finger width", unit.Finger, sp.FingerPitchM),
		f.length("finger", "Finger length", unit.Finger, sp.FingerLengthM), f.Number("fi_trim", "Trim of each end", "", unit.Step.Sign(f.Plain.Units)))
	width, _ := e.mm("fi_width", "the width", unit.Width)
	pitch, _ := e.mm("pitch", "the finger width", unit.Finger)
	length, _ := e.mm("finger", "the finger length", unit.Finger)
	trim, _ := e.mm("fi_trim", "the trim", unit.Step)
	if !e.filled("fi_width", "pitch", "finger") {
		return c
	}
	fig, err := loop.Fingers{WidthMM: width, PitchMM: pitch, FingerLengthMM: length}.Figures()
	if c.wrong(err) {
		return c
	}
	cutOut, overlap, err := loop.FingerResplice(length, trim)
	if c.wrong(err) {
		return c
	}
	c.row("Fingers", Int(int64(fig.Full)), "width / finger width, whole ones", byGeometry)
	c.row("Left over at the edge", f.Plain.finger(fig.RemnantMM), pick(fig.RemnantAllowed, "nothing, or half a finger and more", "less than half a finger: it would lift; change the finger width"), byPractice).Bad = !fig.RemnantAllowed
	c.row("Flank of one finger", f.Plain.finger(fig.FlankMM), "√(length² + (finger width / 2)²)", byGeometry)
	c.row("Half angle at the tip", Num(fig.HalfAngleDeg, 1)+"°", "atan(half the finger width / length)", byGeometry)
	c.row("Seam per belt width", Num(fig.WeldLinePerWidth, 1)+" times", "two flanks / finger width", byGeometry)
	c.row("A re-splice shortens the loop by", f.Plain.step(cutOut+overlap), "finger length and trim cut out, and the overlap of the new fingers", byPractice).Total = true
	words := Figure(fig.Full, "finger", "fingers") + ", " + pick(fig.RemnantMM == 0, "nothing left over", f.Plain.finger(fig.RemnantMM)+" left over") + pick(fig.RemnantAllowed, "", ": it would lift")
	c.Drawing = drawing.OfFingers(drawing.Fingers{Sentence: words, Full: fig.Full, Remnant: fig.RemnantMM / pitch, Allowed: fig.RemnantAllowed, Words: words, LengthWas: f.Plain.finger(length) + " long"})
	return c
}

// wrongAcross is how far off a tape over a roll usually is, mm.
const wrongAcross = 5

// roll reckons the belt left on a roll.
func (p *calculatorPage) roll(e *entry, start calcStart) *calcPart {
	f := p.Form
	c := p.part("ro", "Belt left on a roll", "as wound tight",
		f.Number("across", "Across the roll", "", unit.Diameter.Sign(f.Plain.Units)), f.Number("core", "Core", "", unit.Diameter.Sign(f.Plain.Units)),
		f.length("ro_thick", "Belt thickness", unit.Thickness, start.thickM))
	outer, _ := e.mm("across", "the diameter", unit.Diameter)
	core, _ := e.mm("core", "the core", unit.Diameter)
	thick, _ := e.mm("ro_thick", "the thickness", unit.Thickness)
	if !e.filled("across", "ro_thick") {
		return c
	}
	length, turns, err := loop.Roll{OuterMM: outer, CoreMM: core, ThicknessMM: thick}.Length()
	if c.wrong(err) {
		return c
	}
	more, _, err := loop.Roll{OuterMM: outer + wrongAcross, CoreMM: core, ThicknessMM: thick}.Length()
	if c.wrong(err) {
		return c
	}
	words := f.Plain.Loop(length)
	c.row("Belt on it", words, "π (across² − core²) / (4 × thickness)", byGeometry).Total = true
	c.row("Turns", Num(turns, 1), "(across − core) / (2 × thickness)", byGeometry)
	c.row(f.Plain.step(wrongAcross)+" wrong across", "± "+f.Plain.Loop(more-length), "measure across twice, at right angles", byGeometry)
	c.Drawing = drawing.OfRoll(core/math.Max(outer, 1), turns, words+" on it, "+Num(turns, 0)+" turns", "core "+unit.Diameter.Show(core/1000, f.Plain.Units), "A roll with "+words+" of belt on it")
	return c
}

// takeUp reckons how many re-splices a take-up leaves.
func (p *calculatorPage) takeUp(e *entry, start calcStart) *calcPart {
	f := p.Form
	zero := ""
	if start.travelM > 0 {
		zero = "0"
	}
	c := p.part("ta", "Take-up budget", "readings off the take-up's scale, whichever way it runs",
		f.Number("ta_new", "Reading with a new belt", zero, unit.Travel.Sign(f.Plain.Units)), f.Optional("ta_now", "Reading now", unit.Travel, start.usedM, nil),
		f.length("ta_end", "Reading at the end of travel", unit.Travel, start.travelM),
		f.Number("ta_cut", "Cut out with the old splice", "", unit.Travel.Sign(f.Plain.Units)), f.Number("ta_over", "Overlap of the new splice", "", unit.Travel.Sign(f.Plain.Units)))
	fresh, _ := e.mm("ta_new", "the reading", unit.Travel)
	now, _ := e.mm("ta_now", "the reading", unit.Travel)
	end, _ := e.mm("ta_end", "the reading", unit.Travel)
	cut, _ := e.mm("ta_cut", "what is cut out", unit.Travel)
	over, _ := e.mm("ta_over", "the overlap", unit.Travel)
	if !e.filled("ta_new", "ta_now", "ta_end", "ta_cut", "ta_over") {
		return c
	}
	b, err := loop.TakeUp{NewBeltMM: fresh, NowMM: now, EndMM: end, CutOutMM: cut, OverlapMM: over}.Budget()
	if c.wrong(err) {
		return c
	}
	travel := func(mm float64) string { return f.Plain.Travel(mm / 1000) }
	c.row("Used", Num(b.UsedPercent, 0)+nb+"%", "(now − new) / (end − new)", byPractice)
	c.row("One re-splice shortens the loop by", travel(b.ShortenedMM), "cut out and overlap together", byPractice)
	c.row("and gives back", travel(b.TravelMM), "half of that, in travel", byPractice)
	c.row("Re-splices left", Int(int64(b.ResplicesLeft)), "2 × travel used / shortening, whole ones", byPractice).Total = true
	c.Says = fmt.Sprintf("Belt is usually ordered at 60 %% used and fitted at 85 %% (%s).", byPractice)
	return c
}

// mass reckons what a piece of belt weighs.
func (p *calculatorPage) mass(e *entry, start calcStart, cut *cutResult) *calcPart {
	f := p.Form
	length := start.belt.LoopLengthM
	if cut != nil && !e.r.Posted() {
		length = cut.LengthMM / 1000
	}
	c := p.part("ma", "Mass of a piece of belt", "above 25 kg a lift needs a plan: common practice",
		f.length("ma_width", "Belt width", unit.Width, start.belt.WidthM), f.length("ma_length", "Length", unit.LoopLength, math.Round(length*1000)/1000),
		f.Quantity("ma_area", "Mass per area", unit.AreaMass, start.massKGM2, nil))
	width, _ := e.mm("ma_width", "the width", unit.Width)
	long := e.notBelowNought("ma_length", "the length", unit.LoopLength)
	area := e.notBelowNought("ma_area", "the mass per area", unit.AreaMass)
	if !e.filled("ma_width", "ma_length", "ma_area") {
		return c
	}
	kg, plan, err := loop.MassKG(width, long, area)
	if c.wrong(err) {
		return c
	}
	c.row("Mass", unit.BeltMass.Show(kg, f.Plain.Units), "width × length × mass per area", byGeometry).Total = true
	c.row("The lift", pick(plan, "needs a plan", "by hand, if the site's rules allow it"), "above 25 kg it is planned, with hoist and trained people", byPractice)
	return c
}
