package rules

import (
	"time"

	"carryside/assets"
)

// Line is what a rule asks of a conveyor's usage clock: running hours over time, read off the accepted
// readings and projected after the last of them.
type Line interface {
	// HoursAt returns the running hours at t; not known before the line begins.
	HoursAt(t time.Time) (hours float64, known bool)
	// HoursReachedAt returns when the running hours reach hours; not ok when they never do.
	HoursReachedAt(hours float64) (at time.Time, ok bool)
	// Begins returns the first instant whose hours are known; not ok when none are.
	Begins() (at time.Time, ok bool)
}

// Pace is a stretch of time in which a belt's splices passed the pulleys at one rate: 3600 v / L with belt
// speed v in m/s and loop length L in m. It holds from From until the next begins.
type Pace struct {
	From          assets.Instant
	PassesPerHour float64 // per running hour; 0: speed or length not known
}

// Clocks are the usage clocks of one plant.
type Clocks struct {
	Lines map[int64]Line   // by conveyor
	Paces map[int64][]Pace // by belt, in order of From
}

// counter counts running hours or splice passes from an instant on.
//
// Hours since a are H(t) - H(a). Passes are summed over stretches of constant pace: sum of pace times hours
// run in it. Where the line begins after the instant counted from, or a stretch has no pace, the count is a
// lower bound: what is due by it is due.
type counter struct {
	line    Line
	h0      float64
	atLeast bool
	steps   []countStep // passes only; empty: hours
}

// newCounter starts counting at an instant; false where no line tells the hours then or later.
func newCounter(line Line, from time.Time) (counter, bool) {
	if line == nil {
		return counter{}, false
	}
	if h, known := line.HoursAt(from); known {
		return counter{line: line, h0: h}, true
	}
	begins, ok := line.Begins()
	if !ok || begins.Before(from) {
		return counter{}, false
	}
	h, known := line.HoursAt(begins)
	return counter{line: line, h0: h, atLeast: true}, known
}

// at returns the count at an instant.
func (c counter) at(t time.Time) (float64, bool) {
	h, known := c.line.HoursAt(t)
	return c.atHours(h), known
}

// atHours returns the count when the conveyor has so many running hours.
func (c counter) atHours(h float64) float64 {
	if len(c.steps) == 0 {
		return max(0, h-c.h0)
	}
	s := c.steps[0]
	for _, next := range c.steps[1:] {
		if next.hours > h {
			break
		}
		s = next
	}
	return max(0, s.count+s.pace*(h-s.hours))
}

// hoursAt returns the conveyor's running hours at which the count reaches a value; false when it never does.
func (c counter) hoursAt(v float64) (float64, bool) {
	if len(c.steps) == 0 {
		return c.h0 + v, true
	}
	s := c.steps[0]
	for _, next := range c.steps[1:] {
		if next.count >= v {
			break
		}
		s = next
	}
	return s.hours + (v-s.count)/s.pace, s.pace > 0
}

// reaches returns the instant at which the count reaches a value; false when it never does.
func (c counter) reaches(v float64) (time.Time, bool) {
	h, ok := c.hoursAt(v)
	if !ok {
		return time.Time{}, false
	}
	at, ok := c.line.HoursReachedAt(h)
	return micro(at), ok
}

// counterOf returns the counter of a trigger's clock for a target on a conveyor with a belt.
func (o *Outlook) counterOf(kind TriggerKind, conveyorID, beltID int64, from time.Time) (counter, bool) {
	c, ok := newCounter(o.in.Clocks.Lines[conveyorID], from)
	if !ok || kind != TriggerPasses {
		return c, ok
	}
	return c.passesFrom(from, o.in.Clocks.Paces[beltID])
}

// hoursBy is a conveyor's hours at an instant.
type hoursBy struct {
	conveyor int64
	at       time.Time
}

// reachedBy returns the count at the end of a span. The hours of a conveyor there are asked once for all its
// splices.
func (o *Outlook) reachedBy(c counter, conveyorID int64, end time.Time) (float64, bool) {
	k := hoursBy{conveyorID, end}
	h, asked := o.ends[k]
	if !asked {
		var known bool
		if h, known = c.line.HoursAt(end); !known {
			h = -1
		}
		o.ends[k] = h
	}
	return c.atHours(h), h >= 0
}
