package web

import (
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/clock"
)

// This file says what a held reading contradicts, judged beside what is accepted now: since it was held, the
// reading it contradicted may have been left out, or a change of meter declared.

// usualResolutionH is one display step of a meter of which nothing is known.
const usualResolutionH = 0.1

// meterOf is a conveyor's meter as the clock reckons with it.
func meterOf(stretches []assets.Meter) clock.Meter {
	m := clock.Meter{ResolutionH: usualResolutionH}
	for _, s := range stretches {
		if s.ResolutionH > 0 {
			m.ResolutionH = s.ResolutionH
		}
		m.Stretches = append(m.Stretches, clock.Stretch{From: s.FromAt.Time(), OffsetH: s.OffsetH, Known: s.Why == assets.MeterReplaced, StartH: s.StartH + s.OffsetH})
	}
	return m
}

// judgeHeld judges a held reading beside the accepted ones next to it.
func judgeHeld(stretches []assets.Meter, near []assets.Reading, h assets.HeldReading) (clock.Class, clock.Point) {
	m := meterOf(stretches)
	var points []clock.Point
	for _, rd := range near {
		points = append(points, clock.Point{At: rd.At.Time(), Hours: m.Running(rd.At.Time(), rd.ShownH)})
	}
	for _, s := range m.Stretches {
		if s.Known {
			points = append(points, clock.Point{At: s.From, Hours: s.StartH})
		}
	}
	at := h.At.Time()
	return clock.Judge(clock.NewLine(points).Points(), clock.Point{At: at, Hours: m.Running(at, h.ShownH)}, m.ResolutionH)
}

// question asks what a held reading contradicts, in the hours a meter shows; across a change of meter in running
// hours, because two meters cannot be compared.
func (f Format) question(stretches []assets.Meter, near []assets.Reading, h assets.HeldReading) string {
	class, against := judgeHeld(stretches, near, h)
	m := meterOf(stretches)
	own, what := m.OffsetAt(h.At.Time()), "h"
	if m.OffsetAt(against.At) != own {
		own, what = 0, "running hours"
	}
	shown := With(Short(m.Running(h.At.Time(), h.ShownH)-own, 1), what)
	said := shown + pick(what == "h", " contradicts ", " contradict ") + With(Short(against.Hours-own, 1), what)
	when := " of " + f.Stamp(assets.InstantOf(against.At))
	switch class {
	case clock.Backwards:
		return said + when + ": the hours would fall. Was the meter replaced, did it roll over, or is one of them wrong?"
	case clock.MoreThanADay:
		return said + when + ": more hours than have passed between. Was the meter replaced, or is one of them wrong?"
	case clock.SameInstant:
		return said + " at the same moment, " + f.Stamp(h.At) + ". Which one is right?"
	case clock.Duplicate:
		return shown + " is what was accepted for the same moment, " + f.Stamp(h.At) + ": this reading contradicts nothing any more. Is it right, or left out?"
	}
	return shown + " contradicts nothing any more: what it contradicted was corrected since. Is it right, or left out?"
}

// How far around a held reading its neighbours are looked for first: in a list near, on its own page farther.
const (
	nearSpan = 40 * 24 * time.Hour
	farSpan  = 400 * 24 * time.Hour
)

// mostAsked is how many readings of one page are judged anew; those after them say as what they are held.
const mostAsked = 100

// heldAs says in a few words why a reading was held.
func heldAs(class string) string {
	switch clock.Class(class) {
	case clock.Backwards:
		return "the hours would fall"
	case clock.MoreThanADay:
		return "more hours than had passed since the reading before"
	case clock.SameInstant:
		return "another value at the same moment"
	}
	return "it contradicted what was accepted"
}

// questionOf asks about a held reading beside what is accepted now; above says how many stand above it on the page.
func (s *Site) questionOf(r *Request, h assets.HeldReading, stretches []assets.Meter, above int) (string, error) {
	if above >= mostAsked {
		return "Held because of this: " + heldAs(h.Class) + ".", nil
	}
	near, err := s.neighbours(r, h, nearSpan)
	return r.F.question(stretches, near, h), err
}

// neighbours returns accepted readings around a held one, the next before and after it among them: those of a span
// on both sides, and all where one side has none.
func (s *Site) neighbours(r *Request, h assets.HeldReading, span time.Duration) ([]assets.Reading, error) {
	at := h.At.Time()
	near, err := s.Meters.ReadingsBetween(r.Context(), r.Scope, h.ConveyorID, assets.InstantOf(at.Add(-span)), assets.InstantOf(at.Add(span)))
	if n := len(near); err != nil || n > 0 && near[0].At <= h.At && near[n-1].At > h.At {
		return near, err
	}
	return s.Meters.ReadingsBetween(r.Context(), r.Scope, h.ConveyorID, math.MinInt64, math.MaxInt64)
}
