package loop

import (
	"math"
	"math/big"

	"carryside/assets/unit"
)

// Cut is what decides the length to which a belt is cut.
type Cut struct {
	PathMM            float64 // length of the loop's neutral layer
	FitStretchPercent float64 // by which the belt is stretched when fitted
	SpliceAllowanceMM float64 // per splice
	Splices           int
	TrimEachEndMM     float64
}

// LengthMM is path / (1 + stretch) + allowance per splice x splices + 2 x trim, common practice.
//
// It returns a Refused for a path that is not above zero or another figure below zero. It leaves out shrinkage of new
// belts.
func (c Cut) LengthMM() (float64, error) {
	if err := first(
		above("path_mm", "the path", c.PathMM),
		within("fit_stretch_percent", "the fit stretch", c.FitStretchPercent, 0, 100, "%"),
		atLeast0("splice_allowance_mm", "the splice allowance", c.SpliceAllowanceMM),
		atLeast0("splices", "the number of splices", float64(c.Splices)),
		atLeast0("trim_each_end_mm", "the trim", c.TrimEachEndMM),
	); err != nil {
		return 0, err
	}
	return c.PathMM/(1+c.FitStretchPercent/100) + c.SpliceAllowanceMM*float64(c.Splices) + 2*c.TrimEachEndMM, nil
}

// Bias is the slant of a splice across the belt, given as its offset per belt width or as the angle from square across.
type Bias struct {
	PerWidth      *float64
	FromSquareDeg *float64
}

// OffsetMM is how far one edge of a splice lies ahead of the other: width x offset per width, or width x tan(angle
// from square).
//
// It returns a Refused for a width that is not above zero, an angle outside [0, 90)°, and both or neither ways of
// giving the slant: a splice cut square is an angle of 0.
func (b Bias) OffsetMM(widthMM float64) (float64, error) {
	if err := above("width_mm", "the belt width", widthMM); err != nil {
		return 0, err
	}
	switch {
	case b.PerWidth != nil && b.FromSquareDeg != nil:
		return 0, bad("bias_per_width", "the bias is given twice; give it per width or as an angle, not both")
	case b.PerWidth != nil:
		return widthMM * *b.PerWidth, atLeast0("bias_per_width", "the bias per width", *b.PerWidth)
	case b.FromSquareDeg == nil:
		return 0, bad("bias_from_square_deg", "the bias is missing; give it per width or as an angle, 0 for a splice cut square")
	case !(*b.FromSquareDeg >= 0 && *b.FromSquareDeg < 90):
		return 0, bad("bias_from_square_deg", "the bias angle from square must be from 0 to below 90 degrees; %g given", *b.FromSquareDeg)
	}
	return widthMM * math.Tan(radians(*b.FromSquareDeg)), nil
}

// Stepped is a stepped splice of a belt with fabric plies.
type Stepped struct {
	Plies         int
	StepMM        float64
	WidthMM       float64
	Bias          Bias
	TrimEachEndMM float64
}

// SteppedFigures are what a stepped splice takes.
type SteppedFigures struct {
	Steps              int
	SpliceLengthMM     float64 // along the belt, without the bias
	BiasOffsetMM       float64
	AllowanceMM        float64 // what the splice adds to the cut length
	PlyCountEfficiency float64 // the share of the plies that carries across the splice
}

// Figures gives steps = plies - 1 (as tabulated from DIN 22102-3), allowance = steps x step + bias offset + 2 x trim,
// and the efficiency by ply count, (plies - 1) / plies.
//
// It returns a Refused for fewer than two plies, a step that is not above zero, or what Bias.OffsetMM refuses.
func (s Stepped) Figures() (SteppedFigures, error) {
	if s.Plies < 2 {
		return SteppedFigures{}, bad("plies", "a stepped splice needs at least two plies; %d given", s.Plies)
	}
	offset, err := s.Bias.OffsetMM(s.WidthMM)
	if err := first(above("step_mm", "the step", s.StepMM), atLeast0("trim_each_end_mm", "the trim", s.TrimEachEndMM), err); err != nil {
		return SteppedFigures{}, err
	}
	steps := s.Plies - 1
	along := float64(steps) * s.StepMM
	return SteppedFigures{steps, along, offset, along + offset + 2*s.TrimEachEndMM, float64(steps) / float64(s.Plies)}, nil
}

// Fingers is a row of fingers across a belt's width.
type Fingers struct {
	WidthMM        float64
	PitchMM        float64 // width of one finger at its root
	FingerLengthMM float64
}

// FingerFigures are what a finger splice comes to.
type FingerFigures struct {
	Full             int     // whole fingers across the width
	RemnantMM        float64 // width left over
	RemnantAllowed   bool    // nothing, or at least half a pitch: a narrower finger lifts
	FlankMM          float64 // one side of a finger
	HalfAngleDeg     float64 // at the tip
	WeldLinePerWidth float64 // length of the seam for each unit of belt width
}

// Figures gives full = floor(width / pitch) in exact decimals (609.6 / 25.4 is 24), the remnant, flank = sqrt(length²
// + (pitch/2)²), half angle = atan((pitch/2) / length) and seam per width = 2 flank / pitch. The remnant rule is
// common practice.
//
// It returns a Refused for a size that is not above zero, and for more than a million fingers.
func (f Fingers) Figures() (FingerFigures, error) {
	if err := first(
		above("width_mm", "the belt width", f.WidthMM),
		above("pitch_mm", "the finger pitch", f.PitchMM),
		above("finger_length_mm", "the finger length", f.FingerLengthMM),
	); err != nil {
		return FingerFigures{}, err
	}
	width, pitch := unit.Exact(f.WidthMM), unit.Exact(f.PitchMM)
	full := floorOf(new(big.Rat).Quo(width, pitch))
	if full > maxFingers {
		return FingerFigures{}, bad("pitch_mm", "a pitch of %g mm gives more than a million fingers; correct it", f.PitchMM)
	}
	remnant := new(big.Rat).Sub(width, new(big.Rat).Mul(pitch, big.NewRat(full, 1)))
	left, _ := remnant.Float64()
	half := f.PitchMM / 2
	flank := math.Hypot(f.FingerLengthMM, half)
	return FingerFigures{
		Full: int(full), RemnantMM: left,
		RemnantAllowed: remnant.Sign() == 0 || remnant.Add(remnant, remnant).Cmp(pitch) >= 0,
		FlankMM:        flank, HalfAngleDeg: degrees(math.Atan2(half, f.FingerLengthMM)), WeldLinePerWidth: 2 * flank / f.PitchMM,
	}, nil
}

const maxFingers = 1_000_000

// floorOf rounds a positive fraction down; beyond any count it gives the largest int64.
func floorOf(r *big.Rat) int64 {
	n := new(big.Int).Div(r.Num(), r.Denom())
	if !n.IsInt64() {
		return math.MaxInt64
	}
	return n.Int64()
}

// liftPlanAboveKG is the mass from which lifting needs a plan, common practice.
const liftPlanAboveKG = 25

// MassKG is width x length x mass per area, and whether it is above the 25 kg from which the lift needs a plan (common
// practice).
//
// It returns a Refused for a figure that is not above zero. Reckoned in exact decimals, so that 25 kg is not above 25 kg.
func MassKG(widthMM, lengthM, perAreaKGM2 float64) (kg float64, liftPlan bool, err error) {
	if err := first(
		above("width_mm", "the belt width", widthMM),
		above("length_m", "the length", lengthM),
		above("mass_per_area_kg_m2", "the mass per area", perAreaKGM2),
	); err != nil {
		return 0, false, err
	}
	exact := new(big.Rat).Mul(unit.Exact(widthMM), unit.Exact(lengthM))
	exact.Mul(exact, unit.Exact(perAreaKGM2)).Mul(exact, big.NewRat(1, 1000))
	kg, _ = exact.Float64()
	return kg, exact.Cmp(big.NewRat(liftPlanAboveKG, 1)) > 0, nil
}
