package calendar

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// TimeOfDay is a wall time in seconds after midnight, 0 to 86400; 86400 (24:00) is the end of the day.
type TimeOfDay int

// At returns the time of day of hour and minute.
func At(hour, minute int) TimeOfDay { return TimeOfDay(hour*3600 + minute*60) }

// ParseTimeOfDay reads HH:MM or HH:MM:SS, from 00:00 to 24:00.
func ParseTimeOfDay(s string) (TimeOfDay, error) {
	parts := strings.Split(s, ":")
	bad := refuse(BadTime, "%q is not a time of day; write hours and minutes as HH:MM, such as 06:00", s)
	if len(parts) != 2 && len(parts) != 3 {
		return 0, bad
	}
	total := 0
	for i, limit := range []int{24, 59, 59}[:len(parts)] {
		n, err := strconv.ParseUint(parts[i], 10, 8)
		if err != nil || len(parts[i]) != 2 || int(n) > limit {
			return 0, bad
		}
		total = total*60 + int(n)
	}
	if len(parts) == 2 {
		total *= 60
	}
	if total > secondsPerDay {
		return 0, bad
	}
	return TimeOfDay(total), nil
}

// String writes HH:MM, with seconds only where there are some.
func (t TimeOfDay) String() string {
	s := fmt.Sprintf("%02d:%02d", t/3600, t/60%60)
	if t%60 != 0 {
		s += fmt.Sprintf(":%02d", t%60)
	}
	return s
}

// Local is a planned wall time: a date and a time of day, no zone.
type Local struct {
	Date Date
	Time TimeOfDay
}

// The forms in which a planned wall time may be written.
var localForms = []string{"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04", "20060102T150405", "20060102T1504"}

// ParseLocal reads YYYY-MM-DDTHH:MM with or without seconds, or the basic form YYYYMMDDTHHMMSS.
func ParseLocal(s string) (Local, error) {
	for _, form := range localForms {
		if t, err := time.Parse(form, s); err == nil && t.Year() >= 1 && t.Nanosecond() == 0 {
			return wallOf(t), nil
		}
	}
	return Local{}, refuse(BadTime, "%q is not a date with a time of day; write it as YYYY-MM-DDTHH:MM, such as 2026-03-29T06:00", s)
}

// wallOf reads the wall time off t as t shows it, whole seconds.
func wallOf(t time.Time) Local {
	h, m, s := t.Clock()
	return Local{dateOf(t), TimeOfDay(h*3600 + m*60 + s)}
}

// String writes YYYY-MM-DDTHH:MM, with seconds only where there are some.
func (l Local) String() string { return l.Date.String() + "T" + l.Time.String() }

// Add returns the wall time so many wall seconds later: 22:00 and eight hours is 06:00 of the next day, whatever the clock does.
func (l Local) Add(wall time.Duration) Local {
	t := time.Unix(l.unix(), 0).UTC().Add(wall)
	return wallOf(t)
}

// Compare returns -1, 0 or +1 as l is before, the same as or after m on the wall.
func (l Local) Compare(m Local) int {
	switch a, b := l.unix(), m.unix(); {
	case a < b:
		return -1
	case a > b:
		return 1
	default:
		return 0
	}
}

// unix is the wall time counted as if it were UTC.
func (l Local) unix() int64 {
	return (int64(l.Date.n)-unixDayOne)*secondsPerDay + int64(l.Time)
}
