package clock

import (
	"slices"
	"time"
)

// Class is what becomes of a reading.
type Class string

// The classes of a reading.
const (
	Accepted     Class = ""                     // a point of the line
	Duplicate    Class = "duplicate"            // the same instant and value again: ignored, not held
	Backwards    Class = "backwards"            // held: the hours would fall
	MoreThanADay Class = "more_than_24_h_a_day" // held: more hours run than have elapsed, by more than a display step
	SameInstant  Class = "same_instant"         // held: another value at an instant that has one
)

// Held reports whether the reading waits for a person's decision.
func (c Class) Held() bool { return c != Accepted && c != Duplicate }

// Words says the class in a few words.
func (c Class) Words() string {
	switch c {
	case Accepted:
		return "accepted"
	case MoreThanADay:
		return "more than 24 h a day"
	case SameInstant:
		return "same instant, other value"
	default:
		return string(c)
	}
}

// roundingHours is what sums of decimal readings may be off in binary; no meter shows a thousand times as much.
const roundingHours = 1e-7

// Judge says what becomes of a new reading beside the accepted points around it.
//
//	accepted    points in ascending order of time; only the neighbours of the new one matter, so two are enough
//	reading     the new one, in running hours (Meter.Running of what the meter shows)
//	resolutionH one display step of the meter, hours, 0 or more
//
// The second result is the neighbour that the class rests on; the zero Point when accepted. The earlier neighbour is asked
// before the later one. A binary search and two comparisons.
func Judge(accepted []Point, reading Point, resolutionH float64) (Class, Point) {
	line := Line{accepted}
	i, exact := line.search(reading.At)
	if exact {
		return sameInstant(accepted[i], reading), accepted[i]
	}
	if i > 0 {
		if class := judgePair(accepted[i-1], reading, resolutionH); class != Accepted {
			return class, accepted[i-1]
		}
	}
	if i < len(accepted) {
		if class := judgePair(reading, accepted[i], resolutionH); class != Accepted {
			return class, accepted[i]
		}
	}
	return Accepted, Point{}
}

// sameInstant compares two values of one instant.
func sameInstant(accepted, reading Point) Class {
	if d := reading.Hours - accepted.Hours; d > roundingHours || d < -roundingHours {
		return SameInstant
	}
	return Duplicate
}

// judgePair asks whether the hours from one point to a later one are possible.
func judgePair(earlier, later Point, resolutionH float64) Class {
	grown, elapsed := later.Hours-earlier.Hours, later.At.Sub(earlier.At).Hours()
	switch {
	case grown < -roundingHours:
		return Backwards
	case grown > elapsed+resolutionH+roundingHours:
		return MoreThanADay
	default:
		return Accepted
	}
}

// Reading is what someone read off a meter.
type Reading struct {
	At    time.Time
	Shown float64 // hours as the meter shows them
}

// Verdict is what becomes of one reading.
type Verdict struct {
	Class   Class
	Hours   float64 // running hours that the reading stands for
	Against Point   // the neighbour it contradicts or repeats; zero when accepted
}

// Accept judges readings in the order in which they were entered and returns the line through those accepted, with one
// verdict for each. What is accepted stays: a late entry that contradicts it is itself held, and a held reading is nobody's
// neighbour. Meter replacements are points of the line from the start.
//
// A search for each reading; entering n readings out of order moves up to n points each.
func (m Meter) Accept(readings []Reading) (Line, []Verdict) {
	points := m.replacementPoints()
	fixed := len(points)
	var repeats []time.Time
	for _, p := range points {
		repeats = append(repeats, p.At)
	}
	verdicts := make([]Verdict, len(readings))
	for n, r := range readings {
		p := Point{r.At.UTC(), m.Running(r.At, r.Shown)}
		class, against := Judge(points, p, m.ResolutionH)
		if class == Duplicate && fixed > 0 && takeInstant(&repeats, p.At) {
			// The first reading at the instant of a replacement confirms it and repeats no reading.
			class, against = Accepted, Point{}
		} else if class == Accepted {
			i, _ := Line{points}.search(p.At)
			points = slices.Insert(points, i, p)
		}
		verdicts[n] = Verdict{class, p.Hours, against}
	}
	return Line{points}, verdicts
}

// takeInstant removes an instant from a list and reports whether it was there.
func takeInstant(list *[]time.Time, at time.Time) bool {
	i := slices.IndexFunc(*list, at.Equal)
	if i >= 0 {
		*list = slices.Delete(*list, i, i+1)
	}
	return i >= 0
}
