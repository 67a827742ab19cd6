package life

import (
	"fmt"
	"math"
)

// Event is how one life ended, as far as it was seen.
type Event uint8

// The events a life can end with.
const (
	Failed   Event = iota + 1 // failed at an age that is known
	Censored                  // sound when last seen
	Interval                  // failed between two looks
)

// Observation is one life, or several identical ones.
type Observation struct {
	Event Event
	Life  float64 // age at failure, or when last seen sound; not read for Interval
	Lower float64 // Interval: last age at which it was sound, not below Entry
	Upper float64 // Interval: age at which it was found failed
	Entry float64 // age from which it was watched: known only because it survived until then; 0 = from new
	Count int64   // number of identical lives, at least 1
}

// Cohort is a named group of lives that are taken to follow one law.
type Cohort struct {
	Name  string
	Lives []Observation
}

// maxCount keeps sums of counts exact in a float64.
const maxCount = 1 << 53

// BadField is an observation that cannot be: the field it is to be blamed on, and one clause saying why.
type BadField struct {
	Field string // life, lower, upper, entry, count or event
	Why   string
}

// Error returns the field and the reason.
func (b *BadField) Error() string { return b.Field + " " + b.Why }

// Check says what is wrong with an observation, nil when it can be used. Ages are finite, not negative and end above the entry.
func (o Observation) Check() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"life", o.Life}, {"lower", o.Lower}, {"upper", o.Upper}, {"entry", o.Entry}} {
		switch {
		case math.IsNaN(f.value) || math.IsInf(f.value, 0):
			return &BadField{f.name, "is not a finite number; write one"}
		case f.value < 0:
			return &BadField{f.name, fmt.Sprintf("is negative (%g); an age is 0 or more", f.value)}
		}
	}
	if o.Count < 1 || o.Count > maxCount {
		return &BadField{"count", "is not a whole number of 1 or more; write how many identical lives the row stands for"}
	}
	switch o.Event {
	case Failed, Censored:
		if o.Life <= o.Entry {
			return &BadField{"life", fmt.Sprintf("(%g) is not above entry (%g); a life must end after it came under observation", o.Life, o.Entry)}
		}
	case Interval:
		return o.checkInterval()
	default:
		return &BadField{"event", "is not failed, censored or interval; write one of them"}
	}
	return nil
}

// checkInterval judges the ages of a life that failed between two looks.
func (o Observation) checkInterval() error {
	switch {
	case o.Lower > o.Upper:
		return &BadField{"lower", fmt.Sprintf("(%g) is above upper (%g); lower is the last age at which it was sound", o.Lower, o.Upper)}
	case o.Upper <= o.Entry:
		return &BadField{"upper", fmt.Sprintf("(%g) is not above entry (%g); a life must end after it came under observation", o.Upper, o.Entry)}
	case o.Lower < o.Entry:
		return &BadField{"lower", fmt.Sprintf("(%g) is below entry (%g); it cannot have been seen sound before it was watched", o.Lower, o.Entry)}
	}
	return nil
}

// plain turns an interval of no width into the exact failure that it is.
func (o Observation) plain() Observation {
	if o.Event == Interval && o.Lower == o.Upper {
		return Observation{Event: Failed, Life: o.Upper, Entry: o.Entry, Count: o.Count}
	}
	return o
}

// lastSound is the greatest age at which the life is known to have been sound.
func (o Observation) lastSound() float64 {
	if o.Event == Interval {
		return o.Lower
	}
	return o.Life
}

// Tally is how many lives a figure rests on.
type Tally struct {
	Rows        int   `json:"rows"`
	Lives       int64 `json:"lives"`
	Failures    int64 `json:"failures"` // exact and interval
	Exact       int64 `json:"exact"`
	Interval    int64 `json:"interval"`
	Censored    int64 `json:"censored"`
	LateEntries int64 `json:"late_entries"`
}

// tally counts the lives of a cohort.
func tally(lives []Observation) Tally {
	t := Tally{Rows: len(lives)}
	for _, o := range lives {
		o = o.plain()
		t.Lives += o.Count
		if o.Entry > 0 {
			t.LateEntries += o.Count
		}
		switch o.Event {
		case Failed:
			t.Exact += o.Count
		case Interval:
			t.Interval += o.Count
		case Censored:
			t.Censored += o.Count
		}
	}
	t.Failures = t.Exact + t.Interval
	return t
}
