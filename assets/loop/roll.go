package loop

import "math"

// Roll is belt wound on a core. Diameters are bare; a core of zero is belt wound on itself.
type Roll struct {
	OuterMM     float64
	CoreMM      float64
	ThicknessMM float64
}

// Length gives the belt on the roll, pi (outer² - core²) / (4 thickness), and its turns, (outer - core) / (2 thickness).
//
// It returns a Refused for a thickness that is not above zero or an outer diameter below the core's. It takes the belt
// as wound tight.
func (r Roll) Length() (metres, turns float64, err error) {
	if err := first(checkRoll(r.OuterMM, r.CoreMM), above("thickness_mm", "the belt thickness", r.ThicknessMM)); err != nil {
		return 0, 0, err
	}
	area := math.Pi * (r.OuterMM - r.CoreMM) * (r.OuterMM + r.CoreMM)
	return area / (4 * r.ThicknessMM) / 1000, difference(r.OuterMM, r.CoreMM) / (2 * r.ThicknessMM), nil
}

// LengthOfTurns gives the belt on a roll whose turns were counted: pi turns (outer + core) / 2.
//
// It returns a Refused for a negative count or an outer diameter below the core's.
func LengthOfTurns(outerMM, coreMM, turns float64) (metres float64, err error) {
	if err := first(checkRoll(outerMM, coreMM), atLeast0("turns", "the number of turns", turns)); err != nil {
		return 0, err
	}
	return math.Pi * turns * (outerMM + coreMM) / 2 / 1000, nil
}

// OuterMM gives the diameter of a roll of so much belt: sqrt(core² + 4 thickness length / pi).
//
// It returns a Refused for a figure below zero, or a thickness of zero.
func OuterMM(lengthM, thicknessMM, coreMM float64) (float64, error) {
	if err := first(
		atLeast0("length_m", "the length", lengthM),
		above("thickness_mm", "the belt thickness", thicknessMM),
		atLeast0("core_mm", "the core's diameter", coreMM),
	); err != nil {
		return 0, err
	}
	return math.Sqrt(coreMM*coreMM + 4*thicknessMM*lengthM*1000/math.Pi), nil
}

func checkRoll(outerMM, coreMM float64) error {
	if err := first(above("outer_mm", "the outer diameter", outerMM), atLeast0("core_mm", "the core's diameter", coreMM)); err != nil {
		return err
	}
	if outerMM < coreMM {
		return bad("outer_mm", "the roll's outer diameter of %g mm is below its core's of %g mm; correct one", outerMM, coreMM)
	}
	return nil
}
