package calendar

import (
	"strings"
	"time"
	_ "time/tzdata" // a plant computer without zone data must not fall back to UTC
)

// Zone is a plant's named time zone. Its zero value is UTC.
type Zone struct {
	loc *time.Location
}

// LoadZone finds a zone by its name in the zone data base, such as Europe/Berlin.
func LoadZone(name string) (Zone, error) {
	unknown := refuse(UnknownZone, "there is no time zone %q; write a name of the zone data base such as Europe/Berlin", name)
	switch {
	case name == "":
		return Zone{}, refuse(UnknownZone, "the time zone is missing; write a name of the zone data base such as Europe/Berlin")
	case namesThisMachine(name):
		return Zone{}, unknown
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return Zone{}, unknown
	}
	return Zone{loc}, nil
}

// namesThisMachine reports names that a system answers with its own zone or with data of another kind (leap seconds).
func namesThisMachine(name string) bool {
	lower := strings.ToLower(name)
	return lower == "local" || lower == "localtime" || lower == "posixrules" ||
		strings.HasPrefix(lower, "posix/") || strings.HasPrefix(lower, "right/")
}

// ZoneOf wraps a location that is loaded already.
func ZoneOf(loc *time.Location) Zone { return Zone{loc} }

// Location returns the location for packages that format times.
func (z Zone) Location() *time.Location {
	if z.loc == nil {
		return time.UTC
	}
	return z.loc
}

// String returns the zone's name.
func (z Zone) String() string { return z.Location().String() }

// Local returns the wall time at an instant, whole seconds.
func (z Zone) Local(at time.Time) Local { return wallOf(at.In(z.Location())) }

// Date returns the local date at an instant.
func (z Zone) Date(at time.Time) Date { return dateOf(at.In(z.Location())) }

// Showing tells how often the clock shows a wall time.
type Showing int

// How often a wall time is shown.
const (
	Once    Showing = iota
	Skipped         // the clock jumps over it
	Twice           // the clock goes back and shows it again
)

// Instant returns the instant of a planned wall time: a skipped one takes the offset before the gap, a doubled one is
// the first of the two (RFC 5545, 3.3.5).
func (z Zone) Instant(l Local) time.Time {
	at, _ := z.Resolve(l)
	return at
}

// Resolve returns the instant of a planned wall time and how often the clock shows it.
func (z Zone) Resolve(l Local) (time.Time, Showing) {
	r := z.resolve(l)
	return r.at, r.showing
}

// resolved is a wall time placed on the axis of instants.
type resolved struct {
	at      time.Time
	showing Showing
	jump    time.Time // when Skipped: the instant at which the clock jumps over the wall time
}

// farthest bounds how far any zone has ever stood from UTC; the date line was crossed by a whole day both ways.
const farthest = 26 * 3600

// resolve walks the zone's stretches of constant offset around the wall time, earliest first. The first stretch that
// shows it decides; when one stretch ends before it and the next begins after it, the clock skips it.
//
// time.Date does not say which of two instants it returns, and over a gap it may take either offset.
func (z Zone) resolve(l Local) resolved {
	wall := l.unix()
	probe := time.Unix(wall-farthest, 0).In(z.Location())
	offset, end := stretch(probe)
	for {
		at := time.Unix(wall-offset, 0).UTC()
		if end.IsZero() || at.Before(end) {
			return resolved{at: at, showing: z.again(wall, end)}
		}
		nextOffset, nextEnd := stretch(end.In(z.Location()))
		if time.Unix(wall-nextOffset, 0).Before(end) {
			return resolved{at: at, showing: Skipped, jump: end.UTC()}
		}
		offset, end = nextOffset, nextEnd
	}
}

// again reports Twice when the stretch after end shows the wall time once more.
func (z Zone) again(wall int64, end time.Time) Showing {
	if end.IsZero() {
		return Once
	}
	offset, nextEnd := stretch(end.In(z.Location()))
	at := time.Unix(wall-offset, 0)
	if at.Before(end) || (!nextEnd.IsZero() && !at.Before(nextEnd)) {
		return Once
	}
	return Twice
}

// stretch returns the offset in force at t, in seconds, and the instant at which it may change (zero: never).
//
// After the last change in the zone data the standard library also ends a stretch with the year, in leap years a day
// early: on their last day it gives an end that is past already. The next UTC midnight then stands in for it; an end
// without a change of offset does no harm.
func stretch(t time.Time) (offset int64, end time.Time) {
	_, o := t.Zone()
	_, end = t.ZoneBounds()
	if !end.IsZero() && !end.After(t) {
		end = t.Truncate(24 * time.Hour).Add(24 * time.Hour)
	}
	return int64(o), end
}

// StartOfDay returns the first instant of a local date. Where the clock skips midnight, that is the jump; where it skips
// the whole date, the date begins and ends at the jump.
func (z Zone) StartOfDay(d Date) time.Time {
	r := z.resolve(Local{Date: d})
	if r.showing == Skipped {
		return r.jump
	}
	return r.at
}

// EndOfDay returns the end of a local date (24:00), which is the start of the next.
func (z Zone) EndOfDay(d Date) time.Time { return z.StartOfDay(d.AddDays(1)) }

// Occurrence is a planned wall time with its instant.
type Occurrence struct {
	Planned Local     // what the plan says; with rule and target the key of what is raised
	At      time.Time // UTC
	Showing Showing   // whether the clock shows the planned time once, skips it or shows it twice
}

// Occurrence places a planned wall time.
func (z Zone) Occurrence(l Local) Occurrence {
	at, showing := z.Resolve(l)
	return Occurrence{Planned: l, At: at, Showing: showing}
}
