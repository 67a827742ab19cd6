package jobsheet

import (
	"cmp"
	"fmt"
	"math"

	"carryside/assets"
	"carryside/assets/loop"
	"carryside/schedule/press"
)

// Job is what the figures of one job are computed from. What is not known is zero (pointers: nil); its figures are then left out and told
// as missing.
type Job struct {
	Form              assets.Form
	Bond              assets.Bond
	WidthM            float64
	ThicknessM        float64
	MassKGPerM2       float64
	Plies             int
	StepM             float64  // of a stepped splice
	BiasM             *float64 // offset of one edge ahead of the other
	FingerPitchM      float64
	FingerLengthM     float64
	TrimEachEndM      float64
	PathM             float64 // round the pulleys, neutral layer
	PathMeasured      bool    // PathM is the loop as it was measured: where the pulleys are is not known
	FitStretchPercent float64
	Splices           int  // in the whole belt
	WholeBelt         bool // a new belt is cut: its cut length is wanted
	LiftM             float64
	Recipe            *press.Recipe
	RecipeName        string // with its version
	RecipeLacks       string // why there is none, in words
	AmbientC          float64
	CoolingKMin       float64
}

// Figure is one computed figure: what it is, in SI, how it comes about and what that rests on.
type Figure struct {
	What  string
	Value float64
	Unit  string // m, kg, fingers, min
	How   string
	Class assets.Class
	Look  string // what a person must do about it; "": nothing
}

// Defaults of a job where the register knows nothing (class D, common practice): squared ends of a stepped splice keep 0.4 of the width as bias; an
// uncooled press loses 2 K/min; five metres of belt are lifted at once.
const (
	BiasPerWidth   = 0.4
	SlowCoolingK   = 2.0
	LiftedAtOnceM  = 5.0
	liftByPlanOver = 25.0 // kg; common practice for one person
)

// Compute returns the figures of a job, and in words what is missing for the others. It never returns a figure computed from a guess that it
// does not name in How. show writes a figure inside a sentence in the reader's units.
func Compute(j Job, show func(v float64, unit string) string) (figures []Figure, missing []string) {
	c := computing{job: j, show: show}
	allowance := c.splice()
	c.cut(allowance)
	c.lift()
	c.cycle()
	return c.figures, c.missing
}

type computing struct {
	show    func(v float64, unit string) string
	job     Job
	figures []Figure
	missing []string
}

func (c *computing) say(f Figure) { c.figures = append(c.figures, f) }

// lack notes what is missing once.
func (c *computing) lack(what string) { c.missing = append(c.missing, what) }

// splice computes what one splice takes of the belt, in mm; NaN where that is not known.
func (c *computing) splice() float64 {
	switch j := c.job; {
	case j.Form == assets.FormStepped:
		return c.stepped()
	case j.Form == assets.FormFinger || j.Form == assets.FormFingerOverFinger:
		return c.fingers()
	case j.Form.Mechanical():
		return 0 // ends butt
	}
	return math.NaN()
}

func (c *computing) stepped() float64 {
	j := c.job
	if j.Plies < 2 || !(j.StepM > 0) || !(j.WidthM > 0) {
		c.lack("steps: width, number of plies and step length of the belt")
		return math.NaN()
	}
	bias, how, class := BiasPerWidth*j.WidthM, fmt.Sprintf("%.1f x width, nobody gave it", BiasPerWidth), assets.ClassD
	if j.BiasM != nil {
		bias, how, class = *j.BiasM, "as the last splice had it", assets.ClassC
	}
	slant := math.Atan2(bias, j.WidthM) * 180 / math.Pi
	f, err := loop.Stepped{Plies: j.Plies, StepMM: mmOf(j.StepM), WidthMM: mmOf(j.WidthM), Bias: loop.Bias{FromSquareDeg: &slant}, TrimEachEndMM: mmOf(j.TrimEachEndM)}.Figures()
	if err != nil {
		c.lack(err.Error())
		return math.NaN()
	}
	c.say(Figure{"Steps", float64(f.Steps), "steps", "plies less 1, as tabulated from DIN 22102-3", assets.ClassB, ""})
	c.say(Figure{"Step length", j.StepM, "m", "of the belt specification", assets.ClassB, ""})
	c.say(Figure{"Bias offset", bias, "m", how, class, ""})
	c.say(Figure{"Belt one splice takes", f.AllowanceMM / 1000, "m", "steps x step length + bias offset + 2 x trim", assets.ClassB, ""})
	return f.AllowanceMM
}

func (c *computing) fingers() float64 {
	j := c.job
	if !(j.FingerPitchM > 0) || !(j.FingerLengthM > 0) || !(j.WidthM > 0) {
		c.lack("fingers: width, finger width and finger length")
		return math.NaN()
	}
	f, err := loop.Fingers{WidthMM: mmOf(j.WidthM), PitchMM: mmOf(j.FingerPitchM), FingerLengthMM: mmOf(j.FingerLengthM)}.Figures()
	if err != nil {
		c.lack(err.Error())
		return math.NaN()
	}
	look := ""
	if !f.RemnantAllowed {
		look = "what is left at the edges is narrower than half a finger and lifts: shift the cutter so that both edges share it, or choose another finger width"
	}
	c.say(Figure{"Whole fingers across the width", float64(f.Full), "fingers", "width / finger width, rounded down", assets.ClassB, look})
	if f.RemnantMM > 0 {
		c.say(Figure{"Left over at the edges", f.RemnantMM / 1000, "m", "width less whole fingers", assets.ClassB, ""})
	}
	takes := mmOf(j.FingerLengthM) + 2*mmOf(j.TrimEachEndM)
	if j.Form == assets.FormFingerOverFinger {
		takes += mmOf(j.FingerLengthM) // common practice: two rows, one a layer
	}
	c.say(Figure{"Belt one splice takes", takes / 1000, "m", "finger length + 2 x trim" + map[bool]string{true: ", twice the finger length for two layers"}[j.Form == assets.FormFingerOverFinger], assets.ClassD, ""})
	return takes
}

// cut is the length a new belt is cut to.
func (c *computing) cut(allowanceMM float64) {
	j := c.job
	if !j.WholeBelt {
		if j.PathM > 0 {
			how := "from where the pulleys are, at the middle of the belt's thickness"
			if j.PathMeasured {
				how = "the loop as it was measured; where the pulleys are is not known"
			}
			c.say(Figure{"Loop round the pulleys", j.PathM, "m", how + ". No new belt is cut in this job, so no cut length", assets.ClassC, ""})
		}
		return
	}
	if !(j.PathM > 0) {
		c.lack("cut length: where the pulleys are, or the loop length measured")
		return
	}
	if math.IsNaN(allowanceMM) {
		c.lack("cut length: what a splice takes")
		return
	}
	length, err := loop.Cut{PathMM: mmOf(j.PathM), FitStretchPercent: j.FitStretchPercent, SpliceAllowanceMM: allowanceMM, Splices: max(1, j.Splices)}.LengthMM()
	if err != nil {
		c.lack(err.Error())
		return
	}
	c.say(Figure{"Cut length for the loop", length / 1000, "m", fmt.Sprintf("path / (1 + %g %% stretch) + what %d splice(s) take; measure on the conveyor before you cut", j.FitStretchPercent, max(1, j.Splices)), assets.ClassD, "measure on the conveyor before you cut"})
}

// lift is the mass of the belt lifted at once.
func (c *computing) lift() {
	j := c.job
	if !(j.MassKGPerM2 > 0) || !(j.WidthM > 0) {
		c.lack("mass: mass per area and width of the belt")
		return
	}
	long := j.LiftM
	if !(long > 0) {
		long = LiftedAtOnceM
	}
	kg, plan, err := loop.MassKG(mmOf(j.WidthM), long, j.MassKGPerM2)
	if err != nil {
		c.lack(err.Error())
		return
	}
	look := ""
	if plan {
		look = "over " + c.show(liftByPlanOver, "kg") + ": by hoist and a lifting plan, not by hand"
	}
	c.say(Figure{"Mass of " + c.show(long, "m") + " of belt to lift", kg, "kg", "width x length x mass per area", assets.ClassB, look})
}

// cycle is how long the press cycle takes.
func (c *computing) cycle() {
	j := c.job
	if j.Bond != assets.BondHotPressed && j.Bond != assets.BondHotVulcanised {
		return
	}
	if j.Recipe == nil {
		c.lack("cycle time: " + cmp.Or(j.RecipeLacks, "a recipe for this kind of splice"))
		return
	}
	cooling, how := j.CoolingKMin, "as this press cools"
	if !(cooling > 0) {
		cooling, how = SlowCoolingK, "at "+c.show(SlowCoolingK, "K/min")+", nobody gave how fast the press cools"
	}
	by := ""
	if j.RecipeName != "" {
		by = "by " + j.RecipeName + ": "
	}
	up, dwell, down := j.Recipe.ExpectedMinutes(j.AmbientC, cooling)
	if most := j.Recipe.CoolingMax; !(j.CoolingKMin > 0) && most > 0 && down > most {
		down, how = most, "at most by the recipe, nobody gave how fast the press cools"
	}
	c.say(Figure{"Expected press cycle", up + dwell + down, "min", fmt.Sprintf("%s%.0f up, %.0f dwell, %.0f down %s", by, up, dwell, down, how), assets.ClassD, ""})
}

// mmOf is a length in millimetres, free of the last bits that a factor of a thousand adds.
func mmOf(m float64) float64 { return math.Round(m*1e7) / 1e4 }
