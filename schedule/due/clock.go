package due

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/rules"
)

// Line is what a standing asks of a conveyor's usage clock: running hours over time, read off the
// accepted readings and projected after the last of them.
type Line = rules.Line

// Clocks are the usage clocks of one plant: the line of each conveyor and the duty of each belt.
type Clocks struct {
	Lines  map[int64]Line       // by conveyor
	Duties map[int64]clock.Duty // by belt

	plans map[int64]clock.Plan // by line, 0 the plant's own
	began map[int64]time.Time  // since when each conveyor is known to run
}

// Rules returns the clocks as rules ask for them.
func (c Clocks) Rules() rules.Clocks {
	out := rules.Clocks{Lines: c.Lines, Paces: make(map[int64][]rules.Pace, len(c.Duties))}
	for belt, d := range c.Duties {
		out.Paces[belt] = paces(d)
	}
	return out
}

// NewLine makes a conveyor's line of its projection and of the readings it was projected from.
func NewLine(read clock.Line, projected clock.Projection) Line {
	l := line{projected: projected}
	if first, ok := read.First(); ok {
		l.begins, l.known = first.At, true
	} else if start, ok := projected.Start(); ok {
		l.begins, l.known = start.At, true
	}
	return l
}

type line struct {
	projected clock.Projection
	begins    time.Time
	known     bool
}

// HoursAt returns the running hours at t.
func (l line) HoursAt(t time.Time) (float64, bool) { return l.projected.HoursAt(t) }

// HoursReachedAt returns when the running hours reach hours.
func (l line) HoursReachedAt(hours float64) (time.Time, bool) { return l.projected.When(hours) }

// Begins returns the first instant whose hours are known.
func (l line) Begins() (time.Time, bool) { return l.begins, l.known }

// Duty returns what turns running hours into passes and flexes, from all versions of one belt and of its
// conveyor as the register holds them. What was first recorded stands for the time before it was recorded:
// a plant that writes its speed down in its third year has run with it since the first, unless it says
// otherwise. A value taken back as not known leaves the one before it. A version named twice counts once.
func Duty(conveyor []assets.Conveyor, belt []assets.Belt) clock.Duty {
	var d clock.Duty
	for _, c := range inOrder(conveyor, func(c assets.Conveyor) assets.Instant { return c.ValidFrom }) {
		d.SpeedMPS = level(d.SpeedMPS, c.ValidFrom, c.SpeedMPS)
		d.Bends = bends(d.Bends, c)
	}
	for _, b := range inOrder(belt, func(b assets.Belt) assets.Instant { return b.ValidFrom }) {
		d.LoopM = level(d.LoopM, b.ValidFrom, b.LoopLengthM)
	}
	return d
}

// between tells whether a figure is inside what can be reckoned with; what is no number is not.
func between(v, least, most float64) bool { return v >= least && v <= most }

// level adds a value (m/s or m) where it is known and differs; the first one holds since ever.
func level(levels []clock.Level, from assets.Instant, value float64) []clock.Level {
	switch n := len(levels); {
	case !between(value, 1e-6, 1e6) || n > 0 && levels[n-1].Value == value:
		return levels
	case n == 0:
		from = 0
	}
	return append(levels, clock.Level{From: from.Time(), Value: value})
}

// bends adds the pulleys a splice bends over, those on the carrying face apart.
func bends(known []clock.Bends, c assets.Conveyor) []clock.Bends {
	b := clock.Bends{From: c.ValidFrom.Time()}
	for _, p := range c.Pulleys {
		if p.OuterFace {
			b.Reverse++
		} else {
			b.Plain++
		}
	}
	switch n := len(known); {
	case len(c.Pulleys) == 0 || n > 0 && known[n-1].Plain == b.Plain && known[n-1].Reverse == b.Reverse:
		return known
	case n == 0:
		b.From = time.Time{}
	}
	return append(known, b)
}

func inOrder[T any](vs []T, from func(T) assets.Instant) []T {
	out := slices.Clone(vs)
	slices.SortStableFunc(out, func(a, b T) int { return int(min(max(from(a)-from(b), -1), 1)) })
	return out
}

// paces returns a belt's passes an hour over time.
func paces(d clock.Duty) []rules.Pace {
	var out []rules.Pace
	for _, at := range starts(d) {
		if perHour, err := d.PassesPerHour(at); err == nil {
			out = append(out, rules.Pace{From: assets.InstantOf(at), PassesPerHour: perHour})
		}
	}
	return out
}

// starts returns the instants at which speed or loop length change, ascending.
func starts(d clock.Duty) []time.Time {
	var out []time.Time
	for _, l := range append(slices.Clone(d.SpeedMPS), d.LoopM...) {
		out = append(out, l.From)
	}
	slices.SortFunc(out, time.Time.Compare)
	return slices.CompactFunc(out, time.Time.Equal)
}
