package due

import (
	"sort"
	"time"

	"carryside/assets"
)

// Line is what a standing asks of a conveyor's usage clock: running hours over time, read off the
// accepted readings and projected after the last of them.
type Line interface {
	// HoursAt returns the running hours at t; not known before the line begins.
	HoursAt(t time.Time) (hours float64, known bool)
	// HoursReachedAt returns when the running hours reach hours; not ok when they never do.
	HoursReachedAt(hours float64) (at time.Time, ok bool)
	// Begins returns the first instant whose hours are known; not ok when none are.
	Begins() (at time.Time, ok bool)
}

// Drive is a stretch of time in which a belt ran with one speed, one loop length and one set of
// pulleys. It holds from From until the next stretch begins.
type Drive struct {
	From        assets.Instant
	SpeedMPS    float64 // m/s; 0: not known
	LoopLengthM float64 // m; 0: not known
	PlainBends  int     // pulleys on the inner face; both bend counts 0: not known
	ReverseBend int     // pulleys on the carrying face
}

// passesPerHour returns the splice passes of one running hour, 3600 v / L.
func (d Drive) passesPerHour() (float64, bool) {
	if d.SpeedMPS <= 0 || d.LoopLengthM <= 0 {
		return 0, false
	}
	return 3600 * d.SpeedMPS / d.LoopLengthM, true
}

// Clocks are the usage clocks of one plant: the line of each conveyor and the stretches of each belt.
type Clocks struct {
	Lines  map[int64]Line    // by conveyor
	Drives map[int64][]Drive // by belt, in order of From
}

// Drives returns the stretches of one belt on its conveyor from all versions of both, as the register
// holds them. What was first recorded stands for the time before it was recorded: a plant that writes
// its speed down in its third year has run with it since the first, unless it says otherwise.
func Drives(conveyor []assets.Conveyor, belt []assets.Belt) []Drive {
	cs := inOrder(conveyor, func(c assets.Conveyor) assets.Instant { return c.ValidFrom })
	bs := inOrder(belt, func(b assets.Belt) assets.Instant { return b.ValidFrom })
	starts := []assets.Instant{0}
	for i := 1; i < len(cs); i++ {
		starts = append(starts, cs[i].ValidFrom)
	}
	for i := 1; i < len(bs); i++ {
		starts = append(starts, bs[i].ValidFrom)
	}
	sort.Slice(starts, func(i, j int) bool { return starts[i] < starts[j] })
	var out []Drive
	for _, at := range starts {
		d := driveAt(at, cs, bs)
		if n := len(out); n > 0 && (out[n-1].From == at || sameDrive(out[n-1], d)) {
			d.From = out[n-1].From
			out[n-1] = d
			continue
		}
		out = append(out, d)
	}
	return out
}

// driveAt returns what held at one instant: the last version begun by then, else the first.
func driveAt(at assets.Instant, cs []assets.Conveyor, bs []assets.Belt) Drive {
	d := Drive{From: at}
	for i, c := range cs {
		if i == 0 || c.ValidFrom <= at {
			d.SpeedMPS = c.SpeedMPS
			d.PlainBends, d.ReverseBend = bends(c.Pulleys)
		}
	}
	for i, b := range bs {
		if i == 0 || b.ValidFrom <= at {
			d.LoopLengthM = b.LoopLengthM
		}
	}
	return d
}

func sameDrive(a, b Drive) bool {
	b.From = a.From
	return a == b
}

// bends counts the pulleys the splice bends over, those on the carrying face apart.
func bends(ps []assets.Pulley) (plain, reverse int) {
	for _, p := range ps {
		if p.OuterFace {
			reverse++
		} else {
			plain++
		}
	}
	return plain, reverse
}

func inOrder[T any](vs []T, from func(T) assets.Instant) []T {
	out := append([]T(nil), vs...)
	sort.SliceStable(out, func(i, j int) bool { return from(out[i]) < from(out[j]) })
	return out
}
