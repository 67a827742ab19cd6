package life

import "math"

// target is where a profile has fallen to the limit: 2 (maximum - profile) = z squared.
type target struct {
	s    *sample
	best profiled
	z    float64 // square root of the chi-square quantile with 1 degree of freedom
	tilt float64 // standard error of ln(shape)
}

// shapeLimits are the likelihood-ratio limits of the shape; NaN where the profile never falls that far.
func (t target) shapeLimits() (lower, upper float64) {
	return math.Exp(t.shapeLimit(-1)), math.Exp(t.shapeLimit(1))
}

// shapeLimit looks for ln(shape) on one side, by Newton on the signed root of the deviance, which is nearly straight in ln(shape).
func (t target) shapeLimit(side float64) float64 {
	end := math.Log(leastShapeLimit)
	if side > 0 {
		end = math.Log(greatestShapeLimit)
	}
	best := math.Log(t.best.b)
	near, far, seen := best, end, false // near is inside, far outside once it was seen
	at := best + side*t.z*t.tilt
	for range 200 {
		if (at-end)*side >= 0 {
			at = end
		}
		p := t.s.profile(math.Exp(at))
		root := math.Sqrt(max(0, 2*(t.best.l-p.l)))
		if math.Abs(root-t.z) <= 1e-9*t.z {
			return at
		}
		if root < t.z {
			if at == end {
				return math.NaN()
			}
			near = at
		} else {
			far, seen = at, true
		}
		if math.Abs(far-near) <= 1e-12 {
			return at
		}
		to := at + (t.z-root)*root/-p.slope
		inside := (to-near)*side > 0 && (to-far)*side < 0
		switch {
		case inside:
			at = to
		case seen:
			at = near + (far-near)/2
		default:
			at = near + side*max(1, t.z*t.tilt)
		}
	}
	return math.NaN()
}

// quantileLimits are the likelihood-ratio limits of ln(life) at which the cumulative hazard is c; NaN where open.
//
// c = 1 gives the scale, c = -ln(1-p) the life that a share p does not reach.
func (t target) quantileLimits(c float64) (lower, upper float64) {
	q := quantile{t, math.Log(c)}
	return math.Exp(q.limit(-1)), math.Exp(q.limit(1))
}

// quantile is a target for one life: ln H(life) is held at logC while the shape gives way.
type quantile struct {
	target
	logC float64
}

// held is the likelihood at (ln shape, y), y = ln(life/reference), with its derivatives.
type held struct {
	point
	lt, ly   float64 // in ln(shape) with y held, in y
	ltt, lty float64
}

// at evaluates the likelihood with k = logC - b y.
func (q quantile) at(logShape, y float64) held {
	b := math.Exp(logShape)
	return q.s.at(b).point(q.logC - b*y).held(y)
}

// held turns the derivatives in (b, k) into those in (ln shape, y).
func (p point) held(y float64) held {
	b, h := p.b, held{point: p}
	h.lt = b * (p.lb - y*p.lk)
	h.ly = -b * p.lk
	h.ltt = b*b*(p.lbb-2*y*p.lbk+y*y*p.lkk) + h.lt
	h.lty = -b*b*(p.lbk-y*p.lkk) - b*p.lk
	return h
}

// limit finds one limit of y, as ln(life) in the caller's unit.
func (q quantile) limit(side float64) float64 {
	if y, ok := q.direct(side); ok {
		return q.s.logRef + y
	}
	return q.s.logRef + q.nested(side)
}

// start is the estimate of y and its standard error, and how ln(shape) goes with y, from the curvature at the maximum.
func (q quantile) start() (y, spread, slope float64) {
	b := q.best.b
	y = (q.logC - q.best.k) / b
	h := q.best.point.held(y) // k = logC - b y holds at the maximum by the choice of y
	lyy := b * b * h.lkk
	spread = 1 / math.Sqrt(-(lyy - h.lty*h.lty/h.ltt))
	return y, spread, -h.lty / h.ltt
}

// direct solves both conditions at once by Newton: the deviance is at the limit, and the score in the shape is zero.
func (q quantile) direct(side float64) (float64, bool) {
	y0, spread, slope := q.start()
	if !(spread > 0) || math.IsInf(spread, 0) {
		return 0, false
	}
	top := math.Log(q.best.b)
	y := y0 + side*q.z*spread
	shape := top + slope*(y-y0)
	for range 12 {
		shape = min(max(shape, math.Log(leastShapeLimit)), math.Log(greatestShapeLimit))
		h := q.at(shape, y)
		root := math.Sqrt(max(0, 2*(q.best.l-h.l)))
		if !(root > 0) || math.IsInf(root, 0) || !(h.ltt < 0) {
			return 0, false
		}
		if math.Abs(root-q.z) <= 1e-8*q.z && h.lt*h.lt <= -1e-10*h.ltt {
			return y, (y-y0)*side > 0 && shape > math.Log(leastShapeLimit)
		}
		// root + (dt rt + dy ry) = z with rt = -lt/root; lt + dt ltt + dy lty = 0
		rt, ry, gap := -h.lt/root, -h.ly/root, q.z-root
		det := rt*h.lty - ry*h.ltt
		dt, dy := (gap*h.lty+ry*h.lt)/det, (-rt*h.lt-gap*h.ltt)/det
		if math.IsNaN(dt) || math.IsNaN(dy) {
			return 0, false
		}
		shape += min(max(dt, -1), 1)
		y += min(max(dy, -2*q.z*spread), 2*q.z*spread)
	}
	return 0, false
}

// nested walks y outward until the profile has fallen far enough, then halves; for each y the shape of greatest likelihood is
// found anew. It is slow and used only where direct fails: few failures, or late entries.
func (q quantile) nested(side float64) float64 {
	y0, spread, _ := q.start()
	if !(spread > 0) || math.IsInf(spread, 0) {
		spread = 1 / q.best.b
	}
	near, shape, far := y0, math.Log(q.best.b), math.NaN()
	for stride := q.z * spread; math.IsNaN(far); stride *= 2 {
		y := near + side*stride
		if math.Abs(y-y0) > 1e6 {
			return math.NaN()
		}
		l, at := q.overShapes(y, shape)
		if 2*(q.best.l-l) >= q.z*q.z {
			far = y
		} else {
			near, shape = y, at
		}
	}
	for range 100 {
		y := near + (far-near)/2
		l, at := q.overShapes(y, shape)
		if 2*(q.best.l-l) >= q.z*q.z {
			far = y
		} else {
			near, shape = y, at
		}
		if math.Abs(far-near) <= 1e-9*spread {
			break
		}
	}
	if shape <= math.Log(leastShapeLimit)+1e-6 {
		return math.NaN() // open: the shape would go lower still
	}
	return near
}

// overShapes maximises the likelihood over ln(shape) in [0.001, 10000] with y held, from a shape nearby.
func (q quantile) overShapes(y, from float64) (l, at float64) {
	in := bracket{lo: math.Log(leastShapeLimit), hi: math.Log(greatestShapeLimit)}
	at = from
	for range 200 {
		h := q.at(at, y)
		l = h.l
		step := -h.lt / h.ltt
		if h.ltt < 0 && math.Abs(step) <= 1e-8 {
			return l, at
		}
		if h.lt > 0 {
			in.lo, in.loSeen = at, true
		} else {
			in.hi, in.hiSeen = at, true
		}
		if in.hi-in.lo <= 1e-12 {
			return l, at
		}
		at = in.next(at, step, h.ltt < 0)
	}
	return l, at
}
