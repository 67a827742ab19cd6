package api

import (
	"time"

	"carryside/assets"
	"carryside/schedule/due"
)

// instant is a moment as it is told; nil when it is not known.
func instant(i assets.Instant) *time.Time {
	if i == 0 {
		return nil
	}
	t := i.Time()
	return &t
}

func moment(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

// known leaves out a number of which 0 says that it is not known.
func known[N int | int64 | float64](n N) *N {
	if n == 0 {
		return nil
	}
	return &n
}

// lifeDate is a date of life as it is known: exact, or an interval.
type lifeDate struct {
	At        *time.Time `json:"at,omitempty" doc:"the instant it counts from"`
	Earliest  string     `json:"earliest_day,omitempty" format:"date" doc:"first day it can have been, in the plant's time zone"`
	Latest    string     `json:"latest_day,omitempty" format:"date" doc:"last day it can have been"`
	AsWritten string     `json:"as_written,omitempty" doc:"the words of an approximate date"`
	Exact     bool       `json:"exact" doc:"one day or one instant"`
}

func dateOf(w assets.When) *lifeDate {
	if w.IsZero() {
		return nil
	}
	return &lifeDate{At: instant(w.At), Earliest: string(w.Earliest), Latest: string(w.Latest), AsWritten: w.AsWritten, Exact: w.Exact()}
}

// figure is a figure that may be known only as a lower bound.
type figure struct {
	Value   float64 `json:"value"`
	AtLeast bool    `json:"at_least" doc:"the true value is this or more: the clock was not read over the whole life, or only the latest day is known"`
}

func figureOf(f due.Figure) *figure {
	if !f.Known {
		return nil
	}
	return &figure{f.Value, f.AtLeast}
}

// InPlant is the address of something of a plant.
type InPlant struct {
	Plant int64 `path:"plant" minimum:"1" doc:"number of the plant"`
}

// Then is as of when, and as known when, something is asked for. Together they have the meaning they have in a report.
type Then struct {
	AsOf  string `query:"as_of" maxLength:"40" doc:"as it was at the plant then: a day, YYYY-MM-DD, is its end in the plant's time zone, or now if that is earlier; or an instant of RFC 3339. Without it, as it is now"`
	Known string `query:"known_at" maxLength:"40" doc:"as it was known then: what was entered later is left out. A day is its end in the company's time zone; or an instant of RFC 3339. Without it, as known now"`
}

// now tells whether nothing was asked but the present.
func (t Then) now() bool { return t == Then{} }

// ListOf is the address of a list of a plant.
type ListOf struct {
	InPlant
	Paging
	Then
}
