package press

import "math"

// instant is a moment of a trace: seconds of the file's clock, and the row at its end of the step it lies in.
type instant struct {
	row int
	s   float64
}

// sight is how well a crossing can be seen in the file.
type sight int

const (
	seen    sight = iota
	unseen        // it happened where data are missing
	jumping       // it happened while the clock jumped
	never
)

// minutes between two instants; false when the clock jumped between them.
func (r *record) minutes(a, b instant) (float64, bool) {
	for i := a.row + 1; i <= b.row; i++ {
		if r.jumped[i] {
			return math.NaN(), false
		}
	}
	return (b.s - a.s) / 60, true
}

// between is the instant at which a value crosses a level in the step that ends at a row.
func (r *record) between(row int, v []float64, level float64) instant {
	f := (level - v[row-1]) / (v[row] - v[row-1])
	return instant{row, r.at[row-1] + f*(r.at[row]-r.at[row-1])}
}

// upTo finds the first time a sensor is at or above a level, by a straight line between rows.
func (r *record) upTo(v []float64, level float64, s span) (instant, sight) {
	hole := false
	for i := s.first; i <= s.last; i++ {
		switch {
		case !known(v[i]):
			hole = true
		case v[i] < level:
		case i == s.first:
			return instant{i, r.at[i]}, seen
		case !known(v[i-1]):
			return instant{}, unseen
		case r.jumped[i]:
			return instant{}, jumping
		default:
			return r.between(i, v, level), seen
		}
	}
	if hole || s.opened < 0 {
		return instant{}, unseen
	}
	return instant{}, never
}

// lastUp finds the last upward crossing of a level up to a row.
func (r *record) lastUp(v []float64, level float64, first, last int) (at instant, how sight) {
	how = never
	below := -1 // the last known row below the level
	for i := first; i <= last; i++ {
		switch {
		case !known(v[i]):
		case v[i] < level:
			below = i
		case below >= 0:
			at, how = instant{}, unseen
			if below == i-1 && r.jumped[i] {
				how = jumping
			} else if below == i-1 {
				at, how = r.between(i, v, level), seen
			}
			below = -1
		}
	}
	return at, how
}

// colder and hotter platen of each row; NaN where a sensor is missing.
func colder(top, bottom []float64) []float64 { return each(top, bottom, math.Min) }
func hotter(top, bottom []float64) []float64 { return each(top, bottom, math.Max) }

func each(a, b []float64, f func(x, y float64) float64) []float64 {
	v := make([]float64, len(a))
	for i := range a {
		v[i] = f(a[i], b[i]) // math.Min and Max give NaN for NaN
	}
	return v
}

// startTemperature is the median of a sensor's first five values; NaN when it has none.
func startTemperature(v []float64, s span) float64 {
	var first []float64
	for i := s.first; i <= s.last && len(first) < 5; i++ {
		if known(v[i]) {
			first = append(first, v[i])
		}
	}
	if first == nil {
		return math.NaN()
	}
	return median(first)
}
