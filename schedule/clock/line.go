package clock

import (
	"slices"
	"time"
)

// Point is a conveyor's running hours at an instant, as an accepted reading or a meter replacement gives them.
type Point struct {
	At    time.Time
	Hours float64 // running hours H, not what the meter shows
}

// Line is H(t) between accepted points: straight in elapsed time, never falling. Its zero value knows nothing.
//
// Reading it off costs a binary search. Two points around an instant are enough to know H there, so a screen that shows
// one instant loads two readings, and a projection those of its trailing period and the one before.
type Line struct {
	points []Point // ascending by instant, no two at one
}

// NewLine makes a line of points that were accepted; it sorts them and keeps the first of two at one instant.
func NewLine(points []Point) Line {
	sorted := slices.Clone(points)
	slices.SortStableFunc(sorted, func(a, b Point) int { return a.At.Compare(b.At) })
	return Line{slices.CompactFunc(sorted, func(a, b Point) bool { return a.At.Equal(b.At) })}
}

// Points returns the points in order of time; they must not be changed.
func (l Line) Points() []Point { return l.points }

// First returns the earliest point; false when there is none.
func (l Line) First() (Point, bool) {
	if len(l.points) == 0 {
		return Point{}, false
	}
	return l.points[0], true
}

// Last returns the latest point; false when there is none.
func (l Line) Last() (Point, bool) {
	if len(l.points) == 0 {
		return Point{}, false
	}
	return l.points[len(l.points)-1], true
}

// At returns the running hours at an instant; false before the first and after the last point, where no reading tells.
func (l Line) At(t time.Time) (float64, bool) {
	i, exact := l.search(t)
	switch {
	case exact:
		return l.points[i].Hours, true
	case i == 0 || i == len(l.points):
		return 0, false
	default:
		return between(l.points[i-1], l.points[i], t), true
	}
}

// search returns the place of the first point not before t, and whether it is at t.
func (l Line) search(t time.Time) (int, bool) {
	return slices.BinarySearchFunc(l.points, t, func(p Point, t time.Time) int { return p.At.Compare(t) })
}

// between reads the straight line from a to b at t.
func between(a, b Point, t time.Time) float64 {
	share := t.Sub(a.At).Seconds() / b.At.Sub(a.At).Seconds()
	return a.Hours + (b.Hours-a.Hours)*share
}

// When returns the first instant at which the line reaches so many hours; false when it never does, or only before its
// first point.
func (l Line) When(hours float64) (time.Time, bool) {
	i, _ := slices.BinarySearchFunc(l.points, hours, func(p Point, h float64) int {
		if p.Hours < h {
			return -1
		}
		return 1
	})
	switch {
	case i == len(l.points):
		return time.Time{}, false
	case l.points[i].Hours == hours:
		return l.points[i].At, true
	case i == 0:
		return time.Time{}, false
	}
	a, b := l.points[i-1], l.points[i]
	share := (hours - a.Hours) / (b.Hours - a.Hours)
	return a.At.Add(time.Duration(share * float64(b.At.Sub(a.At)))), true
}
