package loop

import (
	"fmt"
	"math"
	"math/big"

	"carryside/assets/unit"
)

// Sense is the way the belt runs round the loop, seen with x to the right and y up. Seen with the tail left, the head right
// and the carry side on top, the order tail, head, return bends is clockwise.
type Sense string

// The two ways round.
const (
	Clockwise        Sense = "clockwise"
	Counterclockwise Sense = "counterclockwise"
)

// Face is the belt face that a pulley touches.
type Face string

// The face that looks into the loop, and the other one, on which a pulley bends the belt in reverse.
const (
	Inner Face = "inner"
	Outer Face = "outer"
)

// Pulley is one pulley of a loop: its centre, its bare diameter, and the face it touches.
type Pulley struct {
	XMM, YMM   float64
	DiameterMM float64
	Face       Face
}

// Loop is a belt's way round its pulleys.
type Loop struct {
	Sense       Sense
	ThicknessMM float64
	// NeutralMM is the neutral layer's distance from the inner face; nil for the middle of the belt.
	NeutralMM *float64
	Pulleys   []Pulley
}

const (
	maxPulleys = 500 // a long overland belt has some dozens
	maxMM      = 1e9 // 1000 km

	// sameAngle, in radians, is the wrap below which a belt only touches: a billionth of a millimetre on a metre of
	// radius, well above what float64 loses on a loop of kilometres.
	sameAngle = 1e-9
	// clearMM is the distance below which things touch without cutting.
	clearMM = 1e-6
)

// Measure works out the loop's path.
//
// For pulley i let s be +1 when the belt turns counterclockwise on it, else -1, and r its radius to the neutral layer.
// The run from i to j, with D the distance and a the direction from centre to centre and k = s_j r_j - s_i r_i, has
// the direction a - asin(k/D) and the length sqrt(D² - k²); the wrap is s (direction after - direction before) in [0,
// 360)°. A wrap of zero stays zero.
//
// It returns a Refused of the first class that applies, in this order: BadInput for fewer than two pulleys or a size
// out of range; PulleysOverlap for bare pulleys that cut each other; NoTangent where the belt does not fit between two
// neighbours; BeltCrossesItself when it turns another number of times than once round, or two runs cross;
// BeltHitsPulley. Elementary geometry; lengths are good to 1e-6 mm on loops of a kilometre.
func (l Loop) Measure() (*Path, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	if err := l.checkApart(); err != nil {
		return nil, err
	}
	path, err := l.trace()
	if err != nil {
		return nil, err
	}
	if err := l.checkTurnsOnce(path); err != nil {
		return nil, err
	}
	if err := path.checkRunsApart(); err != nil {
		return nil, err
	}
	return path, l.checkClear(path)
}

// Sketch works out the path for a drawing out of scale, with pulleys drawn larger than they are: only BadInput and
// NoTangent are refused, for enlarged pulleys may overlap where the real ones do not.
func (l Loop) Sketch() (*Path, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	return l.trace()
}

// check refuses what is no loop at all.
func (l Loop) check() error {
	switch {
	case l.Sense != Clockwise && l.Sense != Counterclockwise:
		return bad("sense", "the sense %q is not known; give clockwise or counterclockwise", l.Sense)
	case len(l.Pulleys) < 2:
		return bad("pulleys", "a loop needs at least two pulleys; %d given", len(l.Pulleys))
	case len(l.Pulleys) > maxPulleys:
		return bad("pulleys", "a loop has at most %d pulleys; %d given", maxPulleys, len(l.Pulleys))
	}
	for i, p := range l.Pulleys {
		if err := p.check(i); err != nil {
			return err
		}
	}
	return l.checkBelt()
}

func (l Loop) checkBelt() error {
	if !(l.ThicknessMM >= 0 && l.ThicknessMM <= maxMM) {
		return bad("belt_thickness_mm", "the belt thickness must be zero or above; %g mm given", l.ThicknessMM)
	}
	if l.NeutralMM != nil && !(*l.NeutralMM >= 0 && *l.NeutralMM <= l.ThicknessMM) {
		return bad("neutral_layer_from_inner_face_mm", "the neutral layer must lie inside the belt, between 0 and %g mm from its inner face; %g mm given", l.ThicknessMM, *l.NeutralMM)
	}
	return nil
}

func (p Pulley) check(i int) error {
	field := func(name string) string { return fmt.Sprintf("pulleys[%d].%s", i, name) }
	switch {
	case !(p.DiameterMM > 0 && p.DiameterMM <= maxMM):
		return bad(field("diameter_mm"), "pulley %d needs a diameter above zero; %g mm given", i+1, p.DiameterMM)
	case !(math.Abs(p.XMM) <= maxMM):
		return bad(field("x_mm"), "pulley %d lies out of range at x = %g mm; give its centre in millimetres", i+1, p.XMM)
	case !(math.Abs(p.YMM) <= maxMM):
		return bad(field("y_mm"), "pulley %d lies out of range at y = %g mm; give its centre in millimetres", i+1, p.YMM)
	case p.Face != Inner && p.Face != Outer:
		return bad(field("face"), "pulley %d touches the face %q; give inner or outer", i+1, p.Face)
	}
	return nil
}

// offsetMM is the neutral layer's distance from a face.
func (l Loop) offsetMM(f Face) float64 {
	switch {
	case l.NeutralMM == nil:
		return l.ThicknessMM / 2
	case f == Outer:
		return difference(l.ThicknessMM, *l.NeutralMM)
	}
	return *l.NeutralMM
}

// radiusMM is pulley i's radius to the neutral layer.
func (l Loop) radiusMM(i int) float64 {
	return l.Pulleys[i].DiameterMM/2 + l.offsetMM(l.Pulleys[i].Face)
}

// turn is +1 where the belt turns counterclockwise, -1 where it turns clockwise.
func (l Loop) turn(i int) float64 {
	if (l.Sense == Counterclockwise) == (l.Pulleys[i].Face == Inner) {
		return 1
	}
	return -1
}

// checkApart refuses bare pulleys that cut each other, neighbours or not; touching is allowed.
func (l Loop) checkApart() error {
	for i, p := range l.Pulleys {
		for j := range i {
			q := l.Pulleys[j]
			if closer(p, q, p.DiameterMM, q.DiameterMM, 0) {
				return wrong(PulleysOverlap, "pulleys %d and %d overlap; correct a centre or a diameter", j+1, i+1)
			}
		}
	}
	return nil
}

// closer reports whether two centres are closer than half the sum of two diameters plus a distance. Near equality it
// is decided in exact decimals, so that pulleys that touch are not said to cut each other.
func closer(p, q Pulley, diameterP, diameterQ, plus float64) bool {
	distance, need := math.Hypot(p.XMM-q.XMM, p.YMM-q.YMM), math.Abs((diameterP+diameterQ)/2+plus)
	size := max(math.Abs(p.XMM), math.Abs(p.YMM), math.Abs(q.XMM), math.Abs(q.YMM), need)
	if math.Abs(distance-need) > 1e-9*size {
		return distance < need
	}
	sum := new(big.Rat).Add(unit.Exact(diameterP), unit.Exact(diameterQ))
	sum.Add(sum.Mul(sum, big.NewRat(1, 2)), unit.Exact(plus))
	return new(big.Rat).Add(squareOf(p.XMM, q.XMM), squareOf(p.YMM, q.YMM)).Cmp(sum.Mul(sum, sum)) < 0
}

// difference subtracts decimals: 6 - 5.9 is 0.1 and not a little less.
func difference(a, b float64) float64 {
	d, _ := new(big.Rat).Sub(unit.Exact(a), unit.Exact(b)).Float64()
	return d
}

// squareOf is the exact square of a difference.
func squareOf(a, b float64) *big.Rat {
	d := new(big.Rat).Sub(unit.Exact(a), unit.Exact(b))
	return d.Mul(d, d)
}

// checkTurnsOnce refuses a belt that turns another number of times than once round: a closed line that does not cross
// itself turns exactly once (Hopf's theorem on turning tangents).
func (l Loop) checkTurnsOnce(path *Path) error {
	total, once := 0.0, 2*math.Pi
	for _, a := range path.arcs {
		total += a.SweepRad
	}
	if l.Sense == Clockwise {
		total = -total
	}
	if math.Abs(total-once) < 1e-3 {
		return nil
	}
	times := math.Round(total / once)
	return wrong(BeltCrossesItself, "the belt turns %.0f times round instead of once; check the order of the pulleys, their faces and the sense", times+0)
}

// checkClear refuses a run that passes through a pulley it does not bend over, reckoned with the belt's own thickness.
func (l Loop) checkClear(path *Path) error {
	n := len(l.Pulleys)
	for i, r := range path.runs {
		for k, p := range l.Pulleys {
			if k == i || k == (i+1)%n {
				continue
			}
			centre := Point{p.XMM, p.YMM}
			if r.distance(centre) < p.DiameterMM/2+l.offsetMM(l.facing(r, centre))-clearMM {
				return wrong(BeltHitsPulley, "the run from pulley %d to %d passes through pulley %d; correct its centre, or list it where the belt bends over it", i+1, (i+1)%n+1, k+1)
			}
		}
	}
	return nil
}

// facing is the face that a run turns to a point.
func (l Loop) facing(r Piece, p Point) Face {
	left := cross(r.From, r.To, p) > 0
	if left == (l.Sense == Counterclockwise) {
		return Inner
	}
	return Outer
}
