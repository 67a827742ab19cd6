package calendar

import (
	"slices"
	"time"
)

// zoneClock is a zone's clock over a stretch of time, read off the zone data once: a sum of a plan places many wall times,
// and the data base is slow to ask.
type zoneClock []offsetFrom

// offsetFrom is the offset from UTC that the clock shows from an instant on, both in seconds.
type offsetFrom struct{ at, offset int64 }

// readClock reads a zone's clock between two instants.
func readClock(z Zone, from, through time.Time) zoneClock {
	loc := z.Location()
	offset, end := stretch(from.In(loc))
	c := zoneClock{{from.Unix(), offset}}
	for !end.IsZero() && !end.After(through) {
		at := end
		if offset, end = stretch(at.In(loc)); offset != c[len(c)-1].offset {
			c = append(c, offsetFrom{at.Unix(), offset})
		}
	}
	return c
}

// in returns which of the clock's stretches holds an instant, the first one before all of them.
func (c zoneClock) in(unix int64) int {
	i, exact := slices.BinarySearchFunc(c, unix, func(o offsetFrom, unix int64) int { return int(min(max(o.at-unix, -1), 1)) })
	if exact {
		return i
	}
	return max(0, i-1)
}

// date is the local date at an instant.
func (c zoneClock) date(unix int64) Date {
	return dateOfDay(floorDiv(unix+c[c.in(unix)].offset, secondsPerDay) + unixDayOne)
}

// instant is Zone.Instant: the first of two, and the offset before the gap where the clock skips the wall time.
func (c zoneClock) instant(l Local) int64 {
	wall := l.unix()
	i := c.in(wall - farthest)
	for i+1 < len(c) && wall-c[i].offset >= c[i+1].at {
		if wall-c[i+1].offset < c[i+1].at {
			break // skipped
		}
		i++
	}
	return wall - c[i].offset
}
