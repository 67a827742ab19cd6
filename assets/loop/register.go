package loop

import (
	"carryside/assets"
	"carryside/assets/unit"
)

// Of makes the loop of a conveyor's pulleys as the register keeps them: in belt order from the tail along the carry
// side, x in the direction of the material, so the belt runs clockwise. It reports false when a pulley's place was not
// given; then there is nothing to measure.
func Of(pulleys []assets.Pulley, beltThicknessM float64) (Loop, bool) {
	l := Loop{Sense: Clockwise, ThicknessMM: unit.MillimetresOf(beltThicknessM)}
	for _, p := range pulleys {
		if !p.Placed {
			return Loop{}, false
		}
		face := Inner
		if p.OuterFace {
			face = Outer
		}
		l.Pulleys = append(l.Pulleys, Pulley{
			XMM: unit.MillimetresOf(p.XM), YMM: unit.MillimetresOf(p.YM), DiameterMM: unit.MillimetresOf(p.DiameterM), Face: face,
		})
	}
	return l, len(pulleys) > 0
}
