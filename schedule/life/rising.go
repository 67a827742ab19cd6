package life

import "math"

// rising finds the zero of a function that rises from below zero at lo to above it at hi, to the last digits; where it does not, the
// end nearer to one.
//
// Halving first, since far out such functions are flat or infinite; then inverse quadratic interpolation held inside the bracket
// (Chandrupatla 1997, Advances in Engineering Software 28), which is there in a handful of steps.
func rising(lo, hi float64, f func(float64) float64) float64 {
	for hi-lo > 1 {
		mid := lo + (hi-lo)/2
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	a, b := lo, hi
	fa, fb := f(a), f(b)
	switch {
	case !(fa < 0):
		return a
	case !(fb > 0):
		return b
	}
	share := 0.5 // of the way from a, the latest point, to b, the end on the zero's other side
	for range 200 {
		x := a + share*(b-a)
		if x == a || x == b {
			break
		}
		fx := f(x)
		c, fc := a, fa // the point before
		if (fx < 0) != (fa < 0) {
			c, fc, b, fb = b, fb, a, fa
		}
		a, fa = x, fx
		width := math.Abs(b - a)
		tol := 2e-16 * max(1, math.Abs(a))
		if fa == 0 || width <= 2*tol {
			break
		}
		share = interpolated(a, b, c, fa, fb, fc)
		share = min(max(share, tol/width), 1-tol/width)
	}
	if math.Abs(fb) < math.Abs(fa) {
		return b
	}
	return a
}

// interpolated is the share of the way from a to b at which the inverse quadratic through three points is zero, or half of it where
// that curve cannot be trusted.
func interpolated(a, b, c, fa, fb, fc float64) float64 {
	xi, phi := (a-b)/(c-b), (fa-fb)/(fc-fb)
	if !(phi*phi < xi && (1-phi)*(1-phi) < 1-xi) { // also where a value is no number
		return 0.5
	}
	return fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
}
