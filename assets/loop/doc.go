// Package loop works out a belt's way round its pulleys, and the cutting figures that follow from it.
//
// A Loop is the list of pulleys in the order in which the belt meets them. Measure gives the length of the neutral layer,
// wraps, runs and bends, and the Path from which the loop is drawn and a splice is placed on it. Lengths are millimetres,
// as on drawings and job sheets; x runs to the right and y up. The package knows no register, no clock and no page.
//
//	path, err := loop.Loop{Sense: loop.Clockwise, Pulleys: []loop.Pulley{
//		{DiameterMM: 320, Face: loop.Inner},
//		{XMM: 8000, DiameterMM: 400, Face: loop.Inner},
//	}}.Measure()
//	path.LengthMM        // 17131.2
//	path.At(1000)        // the place 1 m after the tail, and the belt's direction there
//
// It ignores sag between idlers, troughing and stretch under tension; what a belt needs beyond its path is CutLength's.
package loop
