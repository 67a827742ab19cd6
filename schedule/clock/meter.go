package clock

import (
	"slices"
	"time"
)

// Event is a declared break in what a meter shows: a replacement, or a rollover of its counter.
type Event struct {
	At       time.Time // from here on, this instant included
	Rollover bool
	RangeH   float64 // rollover: the hours at which the counter starts again from zero
	OldFinal float64 // replacement: what the old meter showed last
	NewStart float64 // replacement: what the new one showed when fitted
}

// Stretch is a time in which running hours are what the meter shows plus one offset.
type Stretch struct {
	From    time.Time
	OffsetH float64
	// Known is set when the stretch begins with a replacement: StartH are the running hours at From.
	Known  bool
	StartH float64
}

// Meter is a conveyor's hour meter over its replacements and rollovers.
type Meter struct {
	ResolutionH float64   // one display step, hours
	Stretches   []Stretch // ascending by From; before the first one the offset is zero
}

// NewMeter adds up the offsets of declared events: from a replacement on, H is the reading plus what the old meter showed
// last less what the new one showed first; from a rollover on, the counter's range is added.
func NewMeter(resolutionH float64, events []Event) Meter {
	sorted := slices.Clone(events)
	slices.SortStableFunc(sorted, func(a, b Event) int { return a.At.Compare(b.At) })
	m := Meter{ResolutionH: resolutionH}
	offset := 0.0
	for _, e := range sorted {
		s := Stretch{From: e.At.UTC()}
		if e.Rollover {
			offset += e.RangeH
		} else {
			s.Known, s.StartH = true, e.OldFinal+offset
			offset += e.OldFinal - e.NewStart
		}
		s.OffsetH = offset
		m.Stretches = append(m.Stretches, s)
	}
	return m
}

// OffsetAt returns what is added to the shown hours at an instant.
func (m Meter) OffsetAt(t time.Time) float64 {
	i, exact := slices.BinarySearchFunc(m.Stretches, t, func(s Stretch, t time.Time) int { return s.From.Compare(t) })
	for exact && i+1 < len(m.Stretches) && m.Stretches[i+1].From.Equal(t) {
		i++ // of several breaks at one instant the last one counts
	}
	switch {
	case exact:
		return m.Stretches[i].OffsetH
	case i == 0:
		return 0
	default:
		return m.Stretches[i-1].OffsetH
	}
}

// Running returns the running hours that a shown value stands for at an instant.
func (m Meter) Running(t time.Time, shown float64) float64 { return shown + m.OffsetAt(t) }

// Shown returns what the meter shows at an instant when so many hours are run.
func (m Meter) Shown(t time.Time, running float64) float64 { return running - m.OffsetAt(t) }

// replacementPoints returns the points that replacements give the line.
func (m Meter) replacementPoints() []Point {
	var points []Point
	for _, s := range m.Stretches {
		if s.Known {
			points = append(points, Point{s.From, s.StartH})
		}
	}
	return NewLine(points).Points()
}
