package press

import (
	"math"
	"slices"
)

// Limits of what counts as missing, in seconds and kelvin (the check values' page of rules; common practice for loggers).
const (
	gapLeastS   = 15.0  // a step is a gap above this and above gapSteps median steps
	gapSteps    = 5.0   //
	jumpS       = 120.0 // a longer step is a clock that jumped
	stuckS      = 60.0  // one value for so long ...
	stuckOtherK = 5.0   // ... while the other sensor moves by more than this
	bridgeS     = 15.0  // a hole no longer than this is bridged by a straight line
)

// record is a trace made ready for judging: holes bridged, stuck sensors taken out, steps told apart.
type record struct {
	at, top, bottom, pressure []float64
	lost, jumped              []bool // the step from the row before: rows missing, clock jumped
	notices                   []Notice
}

// prepared copies the trace and prepares the copy.
func (t *Trace) prepared() *record {
	r := &record{at: t.AtS, top: slices.Clone(t.Top), bottom: slices.Clone(t.Bottom), pressure: slices.Clone(t.Pressure)}
	r.steps()
	r.stuck("bottom", r.bottom, t.Top)
	r.stuck("top", r.top, t.Bottom)
	r.bridge("top", r.top)
	r.bridge("bottom", r.bottom)
	r.bridge("pressure", r.pressure)
	r.notices = append(r.notices, t.incomplete...)
	return r
}

// steps marks the steps over which rows are missing or the clock jumped.
func (r *record) steps() {
	n := len(r.at)
	r.lost, r.jumped = make([]bool, n), make([]bool, n)
	gap := max(gapLeastS, gapSteps*r.medianStep())
	for i := 1; i < n; i++ {
		step := r.at[i] - r.at[i-1]
		switch {
		case step <= 0 || step > jumpS:
			r.jumped[i] = true
			r.note(Notice{Kind: ClockJump}, i-1, i)
		case step > gap:
			r.lost[i] = true
			r.note(Notice{Kind: RowsMissing}, i-1, i)
		}
	}
}

func (r *record) medianStep() float64 {
	steps := make([]float64, 0, len(r.at))
	for i := 1; i < len(r.at); i++ {
		if s := r.at[i] - r.at[i-1]; s > 0 {
			steps = append(steps, s)
		}
	}
	return median(steps)
}

// stuck takes out stretches in which a sensor showed exactly one value while the other moved.
func (r *record) stuck(name string, of, other []float64) {
	for from := 0; from < len(of); {
		to := from
		for to+1 < len(of) && of[to+1] == of[from] {
			to++
		}
		if to > from && r.elapsed(from, to) >= stuckS && moves(other[from:to+1]) > stuckOtherK {
			r.note(Notice{Kind: SensorStuck, Sensor: name, AtC: some(of[from])}, from, to)
			for i := from; i <= to; i++ {
				of[i] = math.NaN()
			}
		}
		from = to + 1
	}
}

// elapsed is the time between two rows without the steps at which the clock jumped.
func (r *record) elapsed(from, to int) float64 {
	sum := 0.0
	for i := from + 1; i <= to; i++ {
		if !r.jumped[i] {
			sum += r.at[i] - r.at[i-1]
		}
	}
	return sum
}

// moves is the range of the values that are there.
func moves(v []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if known(x) {
			low, high = min(low, x), max(high, x)
		}
	}
	return high - low
}

// bridge fills short holes of one sensor and notes every hole that no other notice explains.
func (r *record) bridge(name string, v []float64) {
	for i := 0; i < len(v); {
		if known(v[i]) {
			i++
			continue
		}
		from := i
		for i < len(v) && !known(v[i]) {
			i++
		}
		if r.isStuck(name, from) {
			continue
		}
		kind := SensorMissing
		if r.bridgeable(from, i) {
			kind = SensorBridged
			for k := from; k < i; k++ {
				v[k] = v[from-1] + (v[i]-v[from-1])*(r.at[k]-r.at[from-1])/(r.at[i]-r.at[from-1])
			}
		}
		r.note(Notice{Kind: kind, Sensor: name}, from, i-1)
	}
}

func (r *record) bridgeable(from, until int) bool {
	return from > 0 && until < len(r.at) && r.at[until]-r.at[from-1] <= bridgeS && !slices.Contains(r.jumped[from:until+1], true)
}

func (r *record) isStuck(name string, row int) bool {
	return slices.ContainsFunc(r.notices, func(n Notice) bool {
		return n.Kind == SensorStuck && n.Sensor == name && *n.FromS == r.at[row]
	})
}

func (r *record) note(n Notice, from, to int) {
	n.FromS, n.ToS = some(r.at[from]), some(r.at[to])
	r.notices = append(r.notices, n)
}

// span is the rows of one press cycle, first and last included; opened is the first row with the press open, -1 when
// the file ends before.
type span struct{ first, last, opened int }

// A press is closed above the first share of its set pressure and open again below the second.
const closedShare, openShare = 0.5, 0.1

// cycles finds the press cycles.
func (r *record) cycles(setBar float64) []span {
	found := []span{{0, len(r.at) - 1, -1}}
	closed := false
	for i, p := range r.pressure {
		s := &found[len(found)-1]
		switch {
		case s.opened >= 0 && p >= openShare*setBar:
			s.last = i - 1
			found = append(found, span{i, len(r.at) - 1, -1})
			closed = p > closedShare*setBar
		case p > closedShare*setBar:
			closed = true
		case closed && s.opened < 0 && p < openShare*setBar:
			s.opened = i
		}
	}
	return found
}

// median of values; zero of none. It sorts them.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	if m := len(v) / 2; len(v)%2 == 0 {
		return (v[m-1] + v[m]) / 2
	}
	return v[len(v)/2]
}
