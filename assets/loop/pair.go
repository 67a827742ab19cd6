package loop

import "math"

// Arrangement is how a belt runs over two pulleys.
type Arrangement string

// Open, both pulleys turning the same way, and crossed, turning against each other.
const (
	Open    Arrangement = "open"
	Crossed Arrangement = "crossed"
)

// Pair is a belt over two pulleys alone. Which of them is called large does not matter.
type Pair struct {
	Arrangement Arrangement
	CentresMM   float64
	LargeMM     float64 // bare diameter
	SmallMM     float64 // bare diameter
	ThicknessMM float64
	NeutralMM   *float64 // from the inner face; nil for the middle
}

// PairPath is the closed form of a Pair: crossed, both wraps are the same.
type PairPath struct {
	LengthMM     float64
	WrapLargeDeg float64
	WrapSmallDeg float64
}

// Measure gives the closed forms. With C the centre distance and R, r the radii to the neutral layer:
//
//	open     L = 2 sqrt(C² - (R-r)²) + pi (R+r) + 2 (R-r) asin((R-r)/C); wraps 180° ± 2 asin((R-r)/C)
//	crossed  L = 2 sqrt(C² - (R+r)²) + (R+r) (pi + 2 asin((R+r)/C)); both wraps 180° + 2 asin((R+r)/C)
//
// A crossed belt is twisted, so that the same face touches both pulleys. It returns a Refused: BadInput,
// PulleysOverlap when C is below (D+d)/2, NoTangent when a crossed belt does not fit between the pulleys. Elementary
// geometry, in every machine handbook.
func (p Pair) Measure() (PairPath, error) {
	if err := p.check(); err != nil {
		return PairPath{}, err
	}
	large, small := Pulley{DiameterMM: p.LargeMM}, Pulley{XMM: p.CentresMM, DiameterMM: p.SmallMM}
	if closer(large, small, p.LargeMM, p.SmallMM, 0) {
		return PairPath{}, wrong(PulleysOverlap, "the pulleys overlap: their centres are %g mm apart and need at least %g mm", p.CentresMM, (p.LargeMM+p.SmallMM)/2)
	}
	offset := Loop{ThicknessMM: p.ThicknessMM, NeutralMM: p.NeutralMM}.offsetMM(Inner)
	if p.Arrangement == Open {
		return p.open(offset), nil
	}
	if closer(large, small, p.LargeMM, p.SmallMM, 2*offset) {
		return PairPath{}, wrong(NoTangent, "the crossed belt does not fit between the pulleys; set them further apart than %g mm", p.CentresMM)
	}
	return p.crossed(offset), nil
}

func (p Pair) check() error {
	switch {
	case p.Arrangement != Open && p.Arrangement != Crossed:
		return bad("arrangement", "the arrangement %q is not known; give open or crossed", p.Arrangement)
	case !(p.LargeMM > 0 && p.LargeMM <= maxMM):
		return bad("diameter_large_mm", "the large pulley needs a diameter above zero; %g mm given", p.LargeMM)
	case !(p.SmallMM > 0 && p.SmallMM <= maxMM):
		return bad("diameter_small_mm", "the small pulley needs a diameter above zero; %g mm given", p.SmallMM)
	case !(p.CentresMM > 0 && p.CentresMM <= maxMM):
		return bad("centre_distance_mm", "the centre distance must be above zero; %g mm given", p.CentresMM)
	}
	return Loop{ThicknessMM: p.ThicknessMM, NeutralMM: p.NeutralMM}.checkBelt()
}

func (p Pair) open(offset float64) PairPath {
	c, sum, diff := p.CentresMM, (p.LargeMM+p.SmallMM)/2+2*offset, (p.LargeMM-p.SmallMM)/2
	straight := math.Sqrt((c - diff) * (c + diff))
	lean := math.Atan2(diff, straight)
	return PairPath{
		LengthMM:     2*straight + math.Pi*sum + 2*diff*lean,
		WrapLargeDeg: degrees(math.Pi + 2*lean),
		WrapSmallDeg: degrees(math.Pi - 2*lean),
	}
}

func (p Pair) crossed(offset float64) PairPath {
	c, sum := p.CentresMM, (p.LargeMM+p.SmallMM)/2+2*offset
	straight := math.Sqrt(max(0, (c-sum)*(c+sum)))
	wrap := math.Pi + 2*math.Atan2(sum, straight)
	return PairPath{LengthMM: 2*straight + sum*wrap, WrapLargeDeg: degrees(wrap), WrapSmallDeg: degrees(wrap)}
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }
