package press

import "math"

// dwell is what a file shows of the time both platens were inside the tolerance.
type dwell struct {
	provenMin   float64 // minutes of the longest part that is proven; NaN when none is
	from, to    instant // of the whole stretch that part lies in
	possibleMin float64 // minutes if the missing data were good; infinite when the clock jumped or the file ends
	first, last int     // rows of the stretch; first > last when there is none
	broken      bool    // rows are missing or the clock jumped inside it
	holes       bool    // a sensor is missing inside it
	ends        bool    // the file ends inside it
	openEnd     bool    // its end is not seen
	elsewhere   bool    // another stretch would be long enough if its missing data were good
}

// rowState is whether both platens are inside the tolerance in a row.
type rowState int8

const (
	out rowState = iota
	in
	maybe // a sensor is missing and the other one is not outside
)

// excess is how far a row is beyond the tolerance, in kelvin; negative inside.
func (j *judging) excess(i int) float64 {
	return max(math.Abs(j.devTop(i)), math.Abs(j.devBottom(i))) - j.recipe.ToleranceK
}

func (j *judging) devTop(i int) float64    { return j.top[i] - j.recipe.SetTopC }
func (j *judging) devBottom(i int) float64 { return j.bottom[i] - j.recipe.SetBottomC }

// states tells for each row of the cycle whether it is inside. Excursions short and small enough count as inside.
func (j *judging) states() []rowState {
	st := make([]rowState, len(j.at))
	for i := j.first; i <= j.last; i++ {
		st[i] = j.state(i)
	}
	for i := j.first + 1; i <= j.last; i++ {
		if st[i] != out || st[i-1] != in {
			continue
		}
		to := i
		for to <= j.last && st[to] == out {
			to++
		}
		if to <= j.last && st[to] == in && j.forgivable(i, to) {
			for k := i; k < to; k++ {
				st[k] = in
			}
		}
		i = to
	}
	return st
}

func (j *judging) state(i int) rowState {
	t, b := math.Abs(j.devTop(i)), math.Abs(j.devBottom(i))
	switch tol := j.recipe.ToleranceK; {
	case t > tol || b > tol: // false for a missing value
		return out
	case known(t) && known(b):
		return in
	default:
		return maybe
	}
}

// forgivable reports whether the rows from..until-1, outside, are an excursion the recipe allows.
func (j *judging) forgivable(from, until int) bool {
	for i := from; i <= until; i++ {
		if j.lost[i] || j.jumped[i] || i < until && !(j.excess(i) <= j.recipe.ExcursionK) {
			return false
		}
	}
	return j.edge(until-1, until)-j.edge(from, from-1) <= j.recipe.ExcursionS
}

// edge is the time at which the straight line from a row outside to its neighbour inside enters the tolerance, in
// seconds. Each of the four bounds is a straight line of time, so the last one crossed decides.
func (j *judging) edge(outside, inside int) float64 {
	f := 0.0
	for _, v := range [][2]float64{{j.devTop(outside), j.devTop(inside)}, {j.devBottom(outside), j.devBottom(inside)}} {
		for _, bound := range []float64{j.recipe.ToleranceK, -j.recipe.ToleranceK} {
			if over := math.Copysign(1, bound) * (v[0] - bound); over > 0 {
				f = max(f, (bound-v[0])/(v[1]-v[0]))
			}
		}
	}
	return j.at[outside] + f*(j.at[inside]-j.at[outside])
}

// findDwell finds the stretch with the longest proven part.
func (j *judging) findDwell() dwell {
	st := j.states()
	best := dwell{provenMin: math.NaN(), first: 1, last: 0}
	var mostPossible float64
	for i := j.first; i <= j.last; i++ {
		if st[i] == out {
			continue
		}
		to := i
		for to < j.last && st[to+1] != out {
			to++
		}
		d := j.stretch(st, i, to)
		mostPossible = max(mostPossible, d.possibleMin)
		if known(d.provenMin) && !(d.provenMin <= best.provenMin) {
			best = d
		}
		i = to
	}
	best.elsewhere = mostPossible >= j.recipe.Dwell.Min
	return best
}

// stretch measures the rows from first to last, none of which is known to be outside.
func (j *judging) stretch(st []rowState, first, last int) dwell {
	d := dwell{provenMin: math.NaN(), first: first, last: last}
	from, fromSeen := j.beginning(first, st[first])
	to, toSeen := j.ending(last, st[last])
	d.from, d.to, d.openEnd = from, to, !toSeen
	d.ends = last == j.last && j.opened < 0
	part := from
	inside := st[first] == in && fromSeen
	if st[first] == in && !fromSeen {
		part, inside = instant{first, j.at[first]}, true
	}
	for i := first + 1; i <= last; i++ {
		cut := j.lost[i] || j.jumped[i]
		d.broken, d.holes = d.broken || cut, d.holes || st[i] == maybe
		if inside && (cut || st[i] != in) {
			d.prove(part, instant{i - 1, j.at[i-1]})
		}
		if st[i] == in && (cut || !inside) {
			part = instant{i, j.at[i]}
		}
		inside = st[i] == in
	}
	if inside {
		end := instant{last, j.at[last]}
		if toSeen {
			end = to
		}
		d.prove(part, end)
	}
	d.holes = d.holes || st[first] == maybe
	d.possibleMin = j.possible(d, from, to, fromSeen && toSeen)
	return d
}

func (d *dwell) prove(from, to instant) {
	if m := (to.s - from.s) / 60; !(m <= d.provenMin) {
		d.provenMin = m
	}
}

// beginning is where a stretch begins at the earliest, and whether that is seen.
func (j *judging) beginning(first int, s rowState) (instant, bool) {
	switch {
	case first == j.first:
		return instant{first, j.at[first]}, s == in
	case s == in && !j.lost[first] && !j.jumped[first] && known(j.excess(first-1)):
		return instant{first, j.edge(first-1, first)}, true
	default:
		return instant{first - 1, j.at[first-1]}, false
	}
}

// ending is where a stretch ends at the latest, and whether that is seen.
func (j *judging) ending(last int, s rowState) (instant, bool) {
	switch {
	case last == j.last:
		return instant{last, j.at[last]}, s == in && j.opened >= 0
	case s == in && !j.lost[last+1] && !j.jumped[last+1] && known(j.excess(last+1)):
		return instant{last + 1, j.edge(last+1, last)}, true
	default:
		return instant{last + 1, j.at[last+1]}, false
	}
}

// possible is the length of a stretch if everything missing in it were good. A step over which the clock jumped may
// have lasted any time.
func (j *judging) possible(d dwell, from, to instant, edgesSeen bool) float64 {
	if !edgesSeen || d.broken || d.holes {
		m, trusted := j.minutes(from, to)
		if !trusted || d.ends {
			return math.Inf(1)
		}
		return m
	}
	return d.provenMin
}
